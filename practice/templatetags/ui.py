"""Tags and filters of the components in templates/ui: dates, quantities, money, chances as people say them.

Nothing here reads the database or the clock; every tag renders one template of templates/ui.
"""

from datetime import date
from decimal import Decimal
from math import floor, isfinite

from django import template
from django.template.loader import render_to_string
from django.utils.formats import date_format

register = template.Library()

ABSENT = "–"
"""What stands where a value is not known: an en dash, never an empty cell that looks forgotten."""

DOTS = 10
FIRST_DOT_X, DOT_STEP = 5, 12


class UnsayableChance(ValueError):
    """A chance outside 0 to 1 was given, so no sentence about it would be true."""

    def __init__(self, chance):
        super().__init__(f"A chance lies between 0 and 1, so {chance!r} cannot be shown as one.")


def chance_words(chance):
    """Say a probability (0 to 1) as whole numbers people can picture: "3 in 10", "4 in 100", "2 in 1,000".

    Never rounds a chance to certainty or to nothing: "always" and "never" are said of exactly 1 and 0 only.
    Raises UnsayableChance outside 0 to 1.
    """
    if not isfinite(chance) or not 0 <= chance <= 1:
        raise UnsayableChance(chance)
    if chance in (0, 1):
        return "always" if chance else "never"
    if 0.05 <= chance <= 0.95 and abs(chance * 10 - round(chance * 10)) < 0.25:
        return f"{round(chance * 10)} in 10"
    for whole in (100, 1000):
        if 1 / whole <= chance <= 1 - 1 / whole:
            return f"{round(chance * whole)} in {whole:,}"
    return "fewer than 1 in 1,000" if chance < 0.5 else "more than 999 in 1,000"


def chance_dots(chance):
    """Ten dots for a probability (0 to 1), filled from the left: dicts of x (in a 118-wide box) and filled.

    A chance above nothing fills one dot at least and one below certainty leaves one dot open,
    so that the picture never says what the words do not.
    """
    if not isfinite(chance) or not 0 <= chance <= 1:
        raise UnsayableChance(chance)
    filled = floor(chance * DOTS + 0.5)
    if 0 < chance < 1:
        filled = min(max(filled, 1), DOTS - 1)
    return [{"x": FIRST_DOT_X + DOT_STEP * n, "filled": n < filled} for n in range(DOTS)]


@register.filter
def chance(value):
    """A probability in words; see chance_words. None gives the dash."""
    return ABSENT if value is None else chance_words(float(value))


@register.filter
def day(value):
    """A date with its year, as on a lot: "28 Feb 2027"."""
    return date_format(value, "j M Y") if isinstance(value, date) else ABSENT


@register.filter
def near_day(value):
    """A date in the coming weeks, with its weekday and no year: "Wed 25 Nov"."""
    return date_format(value, "D j M") if isinstance(value, date) else ABSENT


@register.filter
def quantity(value):
    """Units without needless zeros and with thousands apart: 3.00 gives "3", 5.40 "5.4", 1200 "1,200"."""
    if value is None or value == "":
        return ABSENT
    exact = value if isinstance(value, Decimal) else Decimal(str(value))
    text = f"{exact:,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


@register.filter
def money(value):
    """An amount with two decimals and thousands apart: "1,932.20"; None gives the dash (price not known)."""
    return ABSENT if value is None else f"{Decimal(str(value)):,.2f}"


@register.filter
def counted(number, words):
    """A count with its noun: ``3|counted:"case,cases"`` gives "3 cases", 1 gives "1 case", 0 "no cases"."""
    one, many = words.split(",")
    return f"1 {one}" if number == 1 else f"{quantity(number) if number else 'no'} {many}"


@register.simple_tag
def odds(chance, note=""):
    """A probability (0 to 1) as ten dots and words, with a note on where it comes from."""
    shown = {"dots": chance_dots(float(chance)), "words": chance_words(float(chance)), "note": note}
    return render_to_string("ui/odds.html", shown)


def _framed(context, template_name, content, variables):
    """Render a frame of templates/ui round a block; a form in the frame needs the page's request token."""
    shown = {"csrf_token": context.get("csrf_token"), **variables, "content": content}
    return render_to_string(template_name, shown)


@register.simple_block_tag(takes_context=True)
def openblock(context, content, heading, **variables):
    """What is opened at set-up: a solid frame round tray lines. Variables: see ui/openblock.html."""
    return _framed(context, "ui/openblock.html", content, {"heading": heading, **variables})


@register.simple_block_tag(takes_context=True)
def pouch(context, content, heading, **variables):
    """What stays sealed until its condition is met: a dashed frame. Variables: see ui/pouch.html."""
    return _framed(context, "ui/pouch.html", content, {"heading": heading, **variables})


@register.simple_block_tag(takes_context=True)
def why(context, content, sentence, **variables):
    """A reason in a sentence with the sums behind it in the block. Variables: see ui/why.html."""
    return _framed(context, "ui/why.html", content, {"sentence": sentence, **variables})


@register.simple_block_tag(takes_context=True)
def stickybar(context, content, lead, **variables):
    """The bar at the foot of a long page; the block holds its buttons. Variables: see ui/sticky_bar.html."""
    return _framed(context, "ui/sticky_bar.html", content, {"lead": lead, **variables})
