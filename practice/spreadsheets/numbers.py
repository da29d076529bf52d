"""Quantities, prices and pack sizes as practice programs write them. Pure."""

import math
import re
from collections.abc import Iterable
from decimal import Decimal

from practice.spreadsheets.text import UnreadableCell, is_blank, shown

# The signs and codes of money that may stand before or after a number.
MONEY = re.compile(r"(?:[€$£¥]|\b(?:EUR|USD|GBP|CHF|CAD|AUD|NZD|SEK|NOK|DKK|PLN|CZK)\b)", re.IGNORECASE)
PLAIN = re.compile(r"\d+")
MARKED = re.compile(r"\d*(?:[.,' ]\d+)+[.,]?|\d+")

ONE_EACH = frozenset(
    ("each", "ea", "single", "piece", "pc", "unit", "vial", "bottle", "tube", "cartridge", "syringe", "kit")
    + ("set", "roll", "sheet", "block")
)
PACK = (
    re.compile(r"[a-z. ]*(?:/|\bof\b|:| )\s*(\d+)\s*[a-z.]*"),  # Box/50, pack of 10, box 12
    re.compile(r"(\d+)\s*(?:/|\bper\b|\ba\b)?\s*[a-z.]*"),  # 50/box, 10 per pack, 12 pcs, 12
)
NESTED_PACK = re.compile(r"[a-z/ ]*?(\d+)\s*[x×]\s*(\d+)\s*[a-z.]*")  # case 4 x 12


def read_quantity(value: object, *, decimal: str | None = None) -> Decimal:
    """Return a number cell or a number written as text, with its sign; money signs are dropped.

    `1.234,50`, `1,234.50`, `1'234.50`, `€ 159,51`, `(12)` and `12-` (both -12) are read. Where one mark could
    be either (`1,234`), `decimal` decides: the decimal mark declared for the file, "," or "."; with None such
    a cell is refused. Numbers in number cells need no rule.

    Raises `UnreadableCell` for anything else, with the reason, and `ValueError` for an unknown `decimal`.
    """
    if decimal not in (None, ",", "."):
        raise ValueError(f"The decimal mark is “,” or “.”, not {decimal!r}.")
    if is_blank(value):
        raise UnreadableCell(value, "The number is missing.")
    if isinstance(value, Decimal):
        return value
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        if not math.isfinite(value):
            raise UnreadableCell(value, "This is not a number that can be written out.")
        return Decimal(shown(value))
    if not isinstance(value, str):
        raise UnreadableCell(value, "This is not a number.")
    negative, digits = _sign(MONEY.sub("", shown(value)).strip())
    if not MARKED.fullmatch(digits):
        raise UnreadableCell(value, "This is not a number.")
    number = Decimal(_plain(value, digits, decimal))
    return -number if negative else number


def _sign(text: str) -> tuple[bool, str]:
    bracketed = re.fullmatch(r"\((.*)\)", text)
    if bracketed:
        return True, bracketed[1].strip()
    text = text.replace("\u2212", "-")
    if text.startswith(("-", "+")):
        return text[0] == "-", text[1:].strip()
    return (True, text[:-1].strip()) if text.endswith("-") else (False, text)


def _plain(value: object, digits: str, decimal: str | None) -> str:
    """Return the digits with a point for the decimal mark and nothing between thousands."""
    mark = decimal or _decimal_mark(value, digits)
    whole, _, fraction = digits.partition(mark) if mark else (digits, "", "")
    groups = re.split(r"[.,' ]", whole)
    grouped = len(groups) > 1
    if not all(map(PLAIN.fullmatch, [*(groups if grouped else []), fraction or "0"])) or (
        grouped and (len(groups[0]) > 3 or any(len(group) != 3 for group in groups[1:]))
    ):
        wanted = f" when “{mark}” marks decimals" if mark else ""
        raise UnreadableCell(value, f"The digits of this number are not grouped as numbers are{wanted}.")
    return ("".join(groups) or "0") + ("." + fraction if fraction else "")


def _decimal_mark(value: object, digits: str) -> str:
    """Return the decimal mark that the number itself shows, or "" if it has none."""
    marks = [char for char in digits if char in ".,"]
    if not marks:
        return ""
    if len(set(marks)) == 2 or len(marks) > 1:
        return marks[-1] if marks.count(marks[-1]) == 1 else ""
    whole, _, fraction = digits.partition(marks[0])
    could_be_thousands = len(fraction) == 3 and re.fullmatch(r"[1-9]\d{0,2}", whole)
    if could_be_thousands:
        raise UnreadableCell(
            value, "This could be thousands or decimals; say which mark is the decimal mark."
        )
    return marks[0]


def read_whole(value: object, *, decimal: str | None = None, least: int | None = None) -> int:
    """Return a whole number, as `read_quantity` reads it.

    Raises `UnreadableCell` for fractions and for numbers under `least`.
    """
    number = read_quantity(value, decimal=decimal)
    if number != number.to_integral_value():
        raise UnreadableCell(value, "This must be a whole number.")
    if least is not None and number < least:
        raise UnreadableCell(value, f"This must be {least} or more.")
    return int(number)


def find_decimal(values: Iterable[object]) -> str | None:
    """Return the decimal mark that the text numbers of one column show, or None if they show none or both."""
    marks = set()
    for value in values:
        if not isinstance(value, str) or is_blank(value):
            continue
        _, digits = _sign(MONEY.sub("", shown(value)).strip())
        if MARKED.fullmatch(digits):
            marks |= _marks_shown(value, digits)
    return marks.pop() if len(marks) == 1 else None


def _marks_shown(value: object, digits: str) -> set[str]:
    try:
        mark = _decimal_mark(value, digits)
    except UnreadableCell:
        return set()
    if mark:
        return {mark}
    # A mark that stands more than once parts thousands, so the other one must be the decimal mark.
    return {"." if mark == "," else "," for mark in digits if mark in ".,"}


def read_pack(value: object) -> int:
    """Return how many units a pack holds: `Box/50` 50, `each` 1, `pack of 10` 10, `4 x 12` 48, `12` 12.

    Raises `UnreadableCell` where no number is said (`box`) or it is none or more than 100,000.
    """
    if is_blank(value):
        raise UnreadableCell(value, "The pack size is missing.")
    if not isinstance(value, str):
        return _pack_size(value, read_whole(value))
    text = shown(value).casefold()
    if text.rstrip(".") in ONE_EACH:
        return 1
    nested = NESTED_PACK.fullmatch(text)
    if nested:
        return _pack_size(value, int(nested[1]) * int(nested[2]))
    for pattern in PACK:
        match = pattern.fullmatch(text)
        if match:
            return _pack_size(value, int(match[1]))
    raise UnreadableCell(value, "This does not say how many units are in the pack.")


def _pack_size(value: object, size: int) -> int:
    if not 1 <= size <= 100_000:
        raise UnreadableCell(value, "A pack holds between 1 and 100,000 units.")
    return size
