"""The scan field, the stepper and the components in a real browser, under the application's content policy.

Pages are rendered here and handed to Chromium by interception, so no server and no database are needed.
Accessibility rules: axe-core (general library), WCAG 2.0 to 2.2 level A and AA.
"""

import mimetypes
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from django import forms
from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import HttpResponse
from django.template import Context, RequestContext, Template
from django.test import RequestFactory
from django.urls import path

SITE = "http://planner.test"
GS = "\x1d"
LABEL = "010950600013435217281231" + "10000123" + GS + "21SER9"

urlpatterns = [
    path("scan/", lambda request: HttpResponse(), name="scan"),
    path("sign-out/", lambda request: HttpResponse(), name="sign_out"),
    path("clinic/", lambda request: HttpResponse(), name="choose_clinic"),
]
pytestmark = [pytest.mark.urls(__name__), pytest.mark.browser]

HEAD = "{% extends 'base.html' %}{% block title %}Parts{% endblock %}{% block h1 %}Parts{% endblock %}"
TYPING = (
    HEAD + "{% block main %}<label for='note'>Note</label><input id='note' type='text'>"
    "<button id='press' type='button' class='btn'>Press</button>{% endblock %}"
)
ANSWERED = (
    HEAD
    + "{% block scan %}{% include 'ui/scan_field.html' with method='post' post_to='/answer/' %}{% endblock %}"
)
STEPPER = (
    HEAD + "{% block main %}{% include 'ui/stepper.html' with name='packs' value=3 "
    "min=1 max=4 label='packs of suture' each=12 %}"
    "{% endblock %}"
)
PARTS = HEAD + Path(__file__).with_name("parts.html").read_text()


class Choice(forms.Form):
    place = forms.ChoiceField(choices=[("a", "Cart A2"), ("b", "Stockroom 3")], help_text="Where it lies.")


def rendered(source):
    """One page of the application's frame round a piece of template source."""
    clinics = [SimpleNamespace(pk=1, name="North"), SimpleNamespace(pk=2, name="South")]
    return Template(source).render(
        RequestContext(
            RequestFactory().get("/parts/"),
            {
                "practice": SimpleNamespace(name="Thackerfold", short_name="Thackerfold"),
                "clinic": clinics[0],
                "clinics": clinics,
                "user": SimpleNamespace(is_authenticated=True),
                "role": "Assistant",
                "nav": [{"label": "Today", "url": "/t/", "current": True}],
                "csrf_token": "TOKEN",
                "crumbs": [("Stock", "/s/")],
                "sums": [("Need", "3 units")],
                "form": Choice({"place": "c"}),
            },
        )
    )


def policy():
    """The application's own content policy as a header value."""
    directives = settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]
    return "; ".join(f"{name} {' '.join(sources)}" for name, sources in directives.items())


@pytest.fixture
def show(browser):
    """Open a rendered page in Chromium; requests are answered here, console faults fail the test."""
    contexts, faults = [], []

    def opened(source, **options):
        context = browser.new_context(**{"viewport": {"width": 1180, "height": 820}, **options})
        contexts.append(context)
        page = context.new_page()
        page.asked = []
        page.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: faults.append(str(error)))

        def answer(route):
            address = urlsplit(route.request.url)
            if address.path.startswith("/static/"):
                found = finders.find(address.path.removeprefix("/static/"))
                kind = mimetypes.guess_type(found)[0]
                return route.fulfill(path=found, content_type=kind)
            if address.path == "/page/":
                body, headers = rendered(source), {"Content-Security-Policy": policy()}
                return route.fulfill(body=body, content_type="text/html; charset=utf-8", headers=headers)
            page.asked.append((address.path, address.query, route.request.post_data))
            body = Template('{% include "ui/said.html" with kind="refused" title="No" %}').render(Context())
            return route.fulfill(body=body, content_type="text/html; charset=utf-8")

        page.route("**/*", answer)
        page.goto(f"{SITE}/page/", wait_until="load")
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not faults


def scanner_types(page, text, *, separator="Control+BracketRight"):
    """Type as a scanner does: quickly, GS as the key combination it is set to, Enter at the end."""
    for number, part in enumerate(text.split(GS)):
        if number:
            page.keyboard.press(separator)
        page.keyboard.type(part)


def code_of(page):
    return page.eval_on_selector("#scan-code", "field => field.value")


def focused(page):
    return page.evaluate("document.activeElement.id")


def test_scan_field_has_focus_on_arrival(show):
    assert focused(show(TYPING)) == "scan-code"


def test_keys_struck_anywhere_reach_the_scan_field(show):
    page = show(TYPING)
    page.evaluate("document.activeElement.blur()")
    page.keyboard.type("L23910")
    assert code_of(page) == "L23910"


def test_typing_elsewhere_is_left_alone(show):
    page = show(TYPING)
    page.click("#note")
    page.keyboard.type("two dropped")
    assert page.input_value("#note") == "two dropped"
    assert code_of(page) == ""
    assert focused(page) == "note"


def test_focus_returns_after_a_touch_on_a_button(show):
    page = show(TYPING)
    page.click("#press")
    page.wait_for_function("document.activeElement.id === 'scan-code'")


def test_group_separator_survives_as_a_caret(show):
    page = show(TYPING)
    scanner_types(page, LABEL)
    assert code_of(page) == LABEL.replace(GS, "^")


def test_group_separator_from_the_number_pad(show):
    page = show(TYPING)
    page.keyboard.type("10A")
    page.keyboard.down("Alt")
    for digit in "029":
        page.keyboard.press(f"Numpad{digit}")
    page.keyboard.up("Alt")
    page.keyboard.type("21B")
    assert code_of(page) == "10A^21B"


def test_group_separator_as_a_bare_control_character(show):
    page = show(TYPING)
    page.evaluate(
        """() => { const field = document.getElementById('scan-code');
        const always = {bubbles: true, cancelable: true}, pasted = new DataTransfer();
        field.dispatchEvent(new KeyboardEvent('keydown', {key: '\\u001d', ...always}));
        pasted.setData('text', '10A\\u001d21B');
        field.dispatchEvent(new ClipboardEvent('paste', {clipboardData: pasted, ...always})); }"""
    )
    assert code_of(page) == "^10A^21B"


def test_enter_sends_the_scan_and_an_empty_field_sends_nothing(show):
    page = show(TYPING)
    page.keyboard.press("Enter")
    page.keyboard.type("L23910")
    page.keyboard.press("Enter")
    page.wait_for_url("**/scan/?code=L23910")
    assert [asked[0] for asked in page.asked] == ["/scan/"]


def test_a_scan_that_starts_on_a_button_does_not_press_it(show):
    page = show(TYPING)
    page.evaluate(
        "document.getElementById('press').addEventListener('click', () => { window.pressed = true })"
    )
    page.focus("#press")
    scanner_types(page, LABEL)
    page.keyboard.press("Enter")
    page.wait_for_url("**/scan/?code=*")
    assert "pressed" not in page.evaluate("Object.keys(window)")


def test_answer_in_place_empties_the_field_and_keeps_focus(show):
    page = show(ANSWERED)
    page.keyboard.type("L20417")
    page.keyboard.press("Enter")
    page.wait_for_selector("#said .said.is-refused")
    page.wait_for_function("document.getElementById('scan-code').value === ''")
    assert focused(page) == "scan-code"
    where, _, sent = page.asked[0]
    assert where == "/answer/"
    assert "code=L20417" in sent


def test_stepper_steps_within_its_bounds_and_says_pieces(show):
    page = show(STEPPER)
    more, less = page.get_by_label("One more"), page.get_by_label("One fewer")
    assert page.inner_text(".stepper-says") == "3 packs = 36 pieces"
    more.click()
    assert page.input_value("[name=packs]") == "4"
    assert more.is_disabled()
    for _ in range(3):
        less.click()
    assert page.input_value("[name=packs]") == "1"
    assert less.is_disabled()
    assert page.inner_text(".stepper-says") == "1 pack = 12 pieces"


def test_stepper_without_scripts_is_a_number_field(show):
    page = show(STEPPER, java_script_enabled=False)
    assert page.locator("[name=packs]").is_visible()
    assert not page.locator(".stepper-more").is_visible()


TARGETS = """() => [...document.querySelectorAll('a.btn, button, summary, select, input:not([type=hidden])')]
  .filter(e => e.checkVisibility() && e.id !== 'scan-code')
  .map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
  .filter(([_, box]) => Math.min(box.width, box.height) < 40).map(([html]) => html)"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 820, 390])
def test_parts_are_accessible_and_fit(show, scheme, width):
    page = show(PARTS, viewport={"width": width, "height": 900}, color_scheme=scheme)
    found = Axe().run(page).response["violations"]
    assert [(rule["id"], rule["nodes"][0]["html"]) for rule in found] == []
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    assert page.evaluate(TARGETS) == []


def test_axe_bites(show):
    page = show(HEAD + "{% block main %}<input type='text'><img src='/static/img/mark.svg'>{% endblock %}")
    found = {rule["id"] for rule in Axe().run(page).response["violations"]}
    assert {"label", "image-alt"} <= found


def test_ticks_keep_eight_pixels_apart(show):
    page = show(PARTS)
    boxes = page.evaluate("[...document.querySelectorAll('.open .tick')].map(e => e.getBoundingClientRect())")
    assert all(box["width"] >= 44 and box["height"] >= 44 for box in boxes)
    gaps = [low["top"] - high["bottom"] for high, low in zip(boxes, boxes[1:], strict=False)]
    assert min(gaps) >= 8


def test_paper_shows_lines_and_no_buttons(show):
    page = show(PARTS)
    page.emulate_media(media="print")
    for hidden in (".top", ".btn", ".filter", ".sticky-bar", ".said-region"):
        assert not page.locator(hidden).first.is_visible(), hidden
    assert page.locator(".line-name", has_text="Saline").is_visible()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.querySelector('h1')).color") == "rgb(0, 0, 0)"
