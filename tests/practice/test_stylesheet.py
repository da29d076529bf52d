"""The stylesheet: contrast, tokens, rules for every class, print.

Contrast: relative luminance and contrast ratio as WCAG 2.2 defines them (W3C Recommendation, "relative
luminance" and "contrast ratio" in its glossary); limits from success criteria 1.4.3 (text 4.5:1) and
1.4.11 (edges of controls and meaningful shapes 3:1).
"""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CSS = ROOT / "static" / "css"
TEMPLATES = ROOT / "templates"
OURS = [
    *sorted((TEMPLATES / "ui").glob("*.html")),
    *sorted((TEMPLATES / "tables").glob("*.html")),
    *sorted(TEMPLATES.glob("*.html")),
]


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
