"""The components of templates/ui, the base page and the words of the template filters."""

import re
from datetime import date
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace

import django_tables2 as tables
import pytest
from django import forms
from django.contrib.messages.storage.base import Message
from django.http import HttpResponse
from django.template import Context, Template
from django.template.base import Lexer, TokenType
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.urls import path

from practice.templatetags import ui

ROOT = Path(__file__).resolve().parents[2]
TEMPLATES = ROOT / "templates"
COMPONENTS = sorted((TEMPLATES / "ui").glob("*.html"))
OURS = [*COMPONENTS, *sorted((TEMPLATES / "tables").glob("*.html")), *sorted(TEMPLATES.glob("*.html"))]

urlpatterns = [
    path("scan/", lambda request: HttpResponse(), name="scan"),
    path("sign-out/", lambda request: HttpResponse(), name="sign_out"),
    path("clinic/", lambda request: HttpResponse(), name="choose_clinic"),
]
pytestmark = pytest.mark.urls(__name__)


# Templates


def test_templates_keep_the_content_policy():
    for template in OURS:
        text = template.read_text()
        assert not re.search(r"\sstyle=|\son\w+=|hx-on|javascript:|\|safe\b", text), template.name
        assert not re.search(r"<script(?![^>]*\ssrc=)", text), template.name
        assert "://" not in text, template.name


KEYWORDS = {
    "and",
    "or",
    "not",
    "in",
    "is",
    "if",
    "elif",
    "for",
    "include",
    "with",
    "only",
    "None",
    "True",
    "False",
}


def variables_of(text):
    """Names a component reads from its context: first words of values, conditions, loops and inclusions."""
    found, bound = set(), {"forloop", "csrf_token"}
    for token in Lexer(text).tokenize():
        body = re.sub(r"'[^']*'|\"[^\"]*\"", "", token.contents)
        if token.token_type == TokenType.VAR:
            found.add(re.match(r"\w*", body).group())
        elif token.token_type == TokenType.BLOCK and body.split()[0] in ("if", "elif", "for", "include"):
            if body.startswith("for "):
                names, body = body[4:].split(" in ", 1)
                bound |= {name.strip() for name in names.split(",")}
            body = re.sub(r"\|\w+:?|\w+=", " ", body)
            found |= {word.split(".")[0] for word in re.findall(r"(?<![\w.])[A-Za-z_][\w.]*", body)}
    return found - bound - KEYWORDS - {""}


@pytest.mark.parametrize("component", COMPONENTS, ids=lambda component: component.stem)
def test_component_opens_by_naming_its_variables(component):
    text = component.read_text()
    opening = re.match(r"{% comment %}\n(.*?){% endcomment %}", text, re.S)
    assert opening, "a component opens with a comment"
    said = set(re.findall(r"\w+", opening.group(1)))
    # The sequence of fields of a form and its like are named by what is handed in.
    assert variables_of(text[opening.end() :]) <= said
    assert text.count("\n") <= 60


def test_naming_check_bites():
    assert variables_of("{{ lot|day }}{% if not a.b and c == 'x' %}{% endif %}") == {"lot", "a", "c"}
    assert variables_of("{% for n, v in rows %}{{ n }}{{ v }}{% endfor %}") == {"rows"}
    assert variables_of('{% include "x.html" with state=mark only %}') == {"mark"}


def render(component, **context):
    return render_to_string(f"ui/{component}.html", context)


def test_status_is_word_and_shape():
    shapes = {
        state: render("status", state=state, word="W")
        for state in ("ready", "done", "thin", "stop", "waiting")
    }
    drawn = {re.search(r"<svg.*</svg>", html, re.S).group() for html in shapes.values()}
    assert len(drawn) == 5
    assert all("W" in html and 'aria-hidden="true"' in html for html in shapes.values())


def test_line_says_what_it_shows():
    done = render(
        "line", name="Suture <b>", quantity=Decimal("2.00"), lot="000123", state="done", tick_url="/t/"
    )
    assert "Suture &lt;b&gt;" in done
    assert "000123" in done
    assert 'aria-pressed="true"' in done
    assert ">2<" in done
    todo = render("line", name="Drape", quantity=1, expiry=date(2029, 4, 30), place="Cart A2")
    assert "Cart A2" in todo and "to 30 Apr 2029" in todo
    assert "<button" not in todo
    assert ">to do<" in todo


def test_block_tags_frame_their_lines():
    page = Template(
        '{% openblock "Open at set-up" count="1 of 2" %}<li>a</li>{% endopenblock %}'
        '{% pouch "If the plate is missing" chance=0.3 note="41 cases here" action_url="/f/" %}'
        "<li>{{ name }}</li>{% endpouch %}"
    )
    html = page.render(Context({"name": "<i>x</i>", "csrf_token": "TOKEN"}))
    assert html.index("Open at set-up") < html.index("<li>a</li>") < html.index("3 in 10 · 41 cases here")
    assert "<li>&lt;i&gt;x&lt;/i&gt;</li>" in html
    assert 'value="TOKEN"' in html
    assert html.count('class="full"') == 3
    opened = Template('{% pouch "P" opened=True action_url="/f/" %}{% endpouch %}').render(Context())
    assert "is-opened" in opened
    assert "<form" not in opened


def test_why_and_sticky_bar():
    why = Template('{% why "Order now." rows=rows %}more{% endwhy %}').render(
        Context({"rows": [("Need", "3 < 4")]})
    )
    assert "Order now." in why
    assert "<dt>Need</dt><dd>3 &lt; 4</dd>" in why
    assert "more" in why
    assert "<details>" not in render("why", sentence="Just so.")
    bar = Template('{% stickybar "7 lines" total="9.00" %}<button>Go</button>{% endstickybar %}').render(
        Context()
    )
    assert "7 lines" in bar
    assert "9.00" in bar
    assert "<button>Go</button>" in bar


def test_said_is_announced_in_words():
    refused = render(
        "said",
        kind="refused",
        title="Lot L1 is expired",
        text="Take L2.",
        action_url="/q/",
        action_label="Hold",
    )
    assert "Refused: " in refused
    assert 'data-said="refused"' in refused
    assert 'href="/q/"' in refused
    messages = [Message(40, "Not <so>"), Message(30, "Mind"), Message(25, "Done")]
    html = render("messages", messages=messages)
    assert re.findall(r'data-said="(\w+)"', html) == ["refused", "notice", "ok"]
    assert "Not &lt;so&gt;" in html


def test_meter_and_stepper_need_no_script():
    assert '<progress max="34" value="13"' in render("meter", done=13, total=34)
    assert "13 of 34" in render("meter", done=13, total=34)
    stepper = render("stepper", name="packs", value=5, label="packs of suture", min=1, max=9, each=12)
    assert 'type="number"' in stepper
    assert 'min="1" max="9"' in stepper
    assert len(re.findall(r"<button[^>]* hidden>", stepper)) == 2


class Receipt(forms.Form):
    lot = forms.CharField(help_text="As printed.")
    kind = forms.ChoiceField(choices=[("a", "A"), ("b", "B")], widget=forms.RadioSelect)
    tissue = forms.BooleanField(required=False)


def test_form_field_ties_label_help_and_fault():
    form = Receipt({})
    html = render("form_field", field=form["lot"])
    described = re.search(r'aria-describedby="([^"]*)"', html).group(1).split()
    assert described == ["id_lot_helptext", "id_lot_error"]
    assert all(f'id="{name}"' in html for name in described)
    assert '<label for="id_lot">' in html
    radio = render("form_field", field=form["kind"])
    assert "<fieldset" in radio
    assert "<legend" in radio
    assert 'class="choice"' in render("form_field", field=form["tissue"])


class Items(tables.Table):
    name = tables.Column()
    units = tables.Column(attrs={"th": {"class": "number"}, "td": {"class": "number"}})


def test_table_sorts_and_pages_in_words():
    request = RequestFactory().get("/items/", {"q": "sut", "page": "2"})
    table = Items([{"name": f"n{n}", "units": n} for n in range(30)], order_by="-units")
    table.paginate(page=2, per_page=10)
    html = table.as_html(request)
    assert html.count("aria-sort=") == 1
    assert 'aria-sort="descending"' in html
    assert "q=sut" in html
    assert "page 2 of 3" in html
    assert "Previous" in html
    assert "Next" in html
    assert 'data-label="Units"' in html
    assert Items([], empty_text="No item matches").as_html(request).count("No item matches") == 1


PAGE = "{% extends 'base.html' %}{% block title %}Items{% endblock %}{% block h1 %}Items{% endblock %}"


def frame(**context):
    clinics = [SimpleNamespace(pk=1, name="North"), SimpleNamespace(pk=2, name="South")]
    person = SimpleNamespace(is_authenticated=True)
    known = {
        "practice": SimpleNamespace(name="Thackerfold", short_name="Thackerfold"),
        "clinic": clinics[0],
        "clinics": clinics,
        "role": "Assistant",
        "user": person,
        "nav": [
            {"label": "Today", "url": "/t/", "current": True},
            {"label": "Stock", "url": "/s/", "current": False},
        ],
        "request": RequestFactory().get("/items/?q=1"),
        "csrf_token": "TOKEN",
    }
    return Template(PAGE).render(Context(known | context))


def test_base_has_one_h1_a_skip_link_and_the_scan_field():
    html = frame()
    assert html.count("<h1>") == 1
    assert html.index('href="#main"') < html.index("<header")
    assert '<form class="scan" role="search" action="/scan/" method="get"' in html
    assert 'name="code"' in html
    assert 'id="said" aria-live="assertive"' in html
    assert "<title>Items · Thackerfold</title>" in html
    assert html.count('aria-current="page"') == 1
    assert '<form method="post" action="/sign-out/">' in html
    assert '"includeIndicatorStyles":false' in html


def test_clinic_switch_only_with_a_choice():
    assert 'action="/clinic/"' in frame()
    assert 'value="/items/?q=1"' in frame()
    only = [SimpleNamespace(pk=1, name="North")]
    assert 'action="/clinic/"' not in frame(clinics=only)
    assert "North" in frame(clinics=only)


@pytest.mark.parametrize("name", ["403", "403_csrf", "404", "429"])
def test_error_pages_stand_alone(name):
    html = render_to_string(f"{name}.html", {})
    assert html.count("<h1>") == 1
    assert "<nav" not in html


def test_500_needs_no_context():
    html = render_to_string("500.html")
    assert html.count("<h1>") == 1
    assert "Nothing of this step was saved" in html


# Words


@pytest.mark.parametrize(
    ("chance", "words", "filled"),
    [
        (0, "never", 0),
        (0.0004, "fewer than 1 in 1,000", 1),
        (0.004, "4 in 1,000", 1),
        (0.04, "4 in 100", 1),
        (0.3, "3 in 10", 3),
        (0.349, "35 in 100", 3),
        (0.5, "5 in 10", 5),
        (0.97, "97 in 100", 9),
        (0.9996, "more than 999 in 1,000", 9),
        (1, "always", 10),
    ],
)
def test_chance_in_words_and_dots(chance, words, filled):
    assert ui.chance_words(chance) == words
    assert sum(dot["filled"] for dot in ui.chance_dots(chance)) == filled


@pytest.mark.parametrize("chance", [-0.1, 1.01, float("nan")])
def test_no_sentence_about_an_impossible_chance(chance):
    with pytest.raises(ui.UnsayableChance, match="between 0 and 1"):
        ui.chance_words(chance)
    with pytest.raises(ui.UnsayableChance):
        ui.chance_dots(chance)


def test_words_stay_near_the_chance():
    for chance in (n / 1000 for n in range(1, 1000)):
        part, whole = re.match(r"([\d,]+) in ([\d,]+)", ui.chance_words(chance)).groups()
        said = int(part.replace(",", "")) / int(whole.replace(",", ""))
        assert 0 < said < 1, chance
        assert abs(said - chance) <= 0.025, chance


def test_numbers_and_dates():
    assert [ui.quantity(n) for n in (3, Decimal("3.00"), 5.4, 1200, 0, None, "")] == [
        "3", "3", "5.4", "1,200", "0", "–", "–",
    ]  # fmt: skip
    assert [ui.money(n) for n in (1932.2, Decimal("0"), None)] == ["1,932.20", "0.00", "–"]
    assert [ui.counted(n, "case,cases") for n in (0, 1, 3)] == ["no cases", "1 case", "3 cases"]
    assert ui.day(date(2027, 2, 28)) == "28 Feb 2027"
    assert ui.near_day(date(2026, 11, 25)) == "Wed 25 Nov"
    assert ui.day(None) == "–"
