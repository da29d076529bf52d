"""The stylesheet and the components of templates/ui.

Contrast: relative luminance and contrast ratio as WCAG 2.2 defines them (W3C Recommendation, "relative
luminance" and "contrast ratio" in its glossary); limits from success criteria 1.4.3 (text 4.5:1) and
1.4.11 (edges of controls and meaningful shapes 3:1).
"""

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
CSS = ROOT / "static" / "css"
TEMPLATES = ROOT / "templates"
COMPONENTS = sorted((TEMPLATES / "ui").glob("*.html"))
OURS = [*COMPONENTS, *sorted((TEMPLATES / "tables").glob("*.html")), *sorted(TEMPLATES.glob("*.html"))]

urlpatterns = [
    path("scan/", lambda request: HttpResponse(), name="scan"),
    path("sign-out/", lambda request: HttpResponse(), name="sign_out"),
    path("clinic/", lambda request: HttpResponse(), name="choose_clinic"),
]
pytestmark = pytest.mark.urls(__name__)


# Colour


def tokens(scheme):
    """Colour tokens of one scheme from tokens.css: name to #rrggbb; dark ones override the light ones."""
    light, dark = (CSS / "tokens.css").read_text().split("@media (prefers-color-scheme: dark)")
    colour = re.compile(r"--([\w-]+):\s*(#[0-9a-f]{6})\b")
    return dict(colour.findall(light)) | (dict(colour.findall(dark)) if scheme == "dark" else {})


def luminance(colour):
    """WCAG 2.2: 0.2126 R + 0.7152 G + 0.0722 B over channels made linear (threshold 0.04045)."""
    channels = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    """WCAG 2.2: (L1 + 0.05) / (L2 + 0.05), the lighter over the darker."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


TEXT = [
    *[(ink, ground) for ink in ("ink", "ink-2", "act") for ground in ("paper", "card", "sunk")],
    *[("ink", soft) for soft in ("act-soft", "ok-soft", "thin-soft", "stop-soft")],
    ("act-hover", "act-soft"),
    ("act-ink", "act"),
    ("act-ink", "act-hover"),
    *[(state, ground) for state in ("ok", "thin", "stop") for ground in ("card", "paper", f"{state}-soft")],
    ("stop-ink", "stop"),
]
EDGES = [
    *[(edge, ground) for edge in ("edge", "act") for ground in ("paper", "card", "sunk")],
    ("ink-2", "sunk"),
    ("ok-ink", "ok"),
    ("ok", "card"),
    ("stop", "card"),
    ("thin", "card"),
    ("act", "line"),
]


def test_contrast_formula_gives_the_known_ends():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#123456", "#123456") == pytest.approx(1)
    # The lightest grey that still passes on white and the next that fails: widely taught, from memory.
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)
    assert contrast("#777777", "#ffffff") < 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), TEXT)
def test_text_contrast(scheme, ink, ground):
    colours = tokens(scheme)
    assert contrast(colours[ink], colours[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("edge", "ground"), EDGES)
def test_edge_contrast(scheme, edge, ground):
    colours = tokens(scheme)
    assert contrast(colours[edge], colours[ground]) >= 3


def test_dark_scheme_names_every_colour_again():
    css = (CSS / "tokens.css").read_text().split("@media (prefers-color-scheme: dark)")
    names = [set(re.findall(r"--([\w-]+):\s*#[0-9a-f]{6}", part)) for part in css]
    assert names[0] == names[1]


# Stylesheet


def sheets():
    return {sheet.name: sheet.read_text() for sheet in CSS.glob("*.css")}


def test_sheets_stay_small_and_ask_nobody():
    for name, text in sheets().items():
        assert text.count("\n") <= 400, name
        assert not re.search(r"@import|url\(|https?:", text), name


def test_every_token_used_is_defined():
    text = "\n".join(sheets().values())
    defined = set(re.findall(r"(?<![\w-])(--[\w-]+)\s*:", text))
    assert set(re.findall(r"var\((--[\w-]+)", text)) <= defined


def test_colours_live_in_the_tokens_only():
    for name in ("base.css", "parts.css", "pages.css"):
        colours = set(re.findall(r"#[0-9a-fA-F]{3,8}\b", sheets()[name]))
        # The one exception: a barcode needs a white ground in the dark, too.
        assert colours <= {"#fff"}, name


def test_every_class_of_the_templates_has_a_rule():
    defined = set(re.findall(r"\.([a-zA-Z][\w-]*)", "\n".join(sheets().values())))
    for template in OURS:
        text = re.sub(r"{% comment %}.*?{% endcomment %}", "", template.read_text(), flags=re.S)
        for value in re.findall(r'class="([^"]*)"', text):
            plain = re.sub(r"[\w-]*{{.*?}}[\w-]*|{%.*?%}", " ", value).split()
            assert set(plain) <= defined, f"{template.name}: {value}"


def test_print_leaves_out_the_frame_and_numbers_pages():
    text = sheets()["print.css"]
    assert "size: A4" in text
    assert 'counter(page) " of " counter(pages)' in text
    hidden = re.search(r"([^{}]*){ display: none !important; }", text).group(1)
    for part in (".top", ".nav", ".said-region", ".btn", ".filter", ".sticky-bar", ".page-actions"):
        assert part in hidden


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
