"""Cutting a GS1 text into its fields: raw with separators, bracketed, or as a web address. Pure.

The table of application identifiers and their patterns comes from the biip library. Cutting is done here,
because a message with one bad field must still give up its item number, and because brackets may be part of
a lot number.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from urllib.parse import parse_qsl, unquote, urlsplit

from biip import ParseError
from biip.gs1_application_identifiers import GS1ApplicationIdentifier

from stock.scanning.symbols import GROUP_SEPARATOR

ITEM_NUMBERS = ("01", "02", "03")
DAYS = ("11", "12", "13", "15", "16", "17", "7006")

_LINK_KEYS = ("01", "8006", "8003", "8004", "8010", "00")
# Short names of an earlier edition of the web address standard, still printed on packs.
_LINK_NAMES = {"gtin": "01", "cpv": "22", "lot": "10", "ser": "21", "exp": "17"}
_BRACKETS = {"(": re.compile(r"\s*\(([0-9]{2,4})\)\s*"), "[": re.compile(r"\s*\[([0-9]{2,4})\]\s*")}
_PART = re.compile(r"\[?\+?([NX])(\.\.)?([0-9]+)\]?")


@dataclass(frozen=True)
class Element:
    """One field: its identifier ("" for text that belongs to no field), its value, and what is wrong."""

    ai: str
    value: str
    fault: str | None = None


@dataclass(frozen=True)
class Shape:
    """Length limits of a field's value in characters, whether digits only, and its pattern."""

    shortest: int
    longest: int
    digits_only: bool
    pattern: re.Pattern[str]


@cache
def shape(ai: str) -> Shape:
    """The shape of a known identifier's value, from the identifier table."""
    entry = GS1ApplicationIdentifier.extract(ai)
    parts = entry.format.partition("+")[2]
    shortest = longest = 0
    for found in _PART.finditer(parts):
        kind, variable, length = found.groups()
        optional = found.group().startswith("[")
        shortest += 0 if optional else 1 if variable else int(length)
        longest += int(length)
    digits_only = "X" not in parts and "Y" not in parts and "Z" not in parts
    # The table's date patterns fold the range of months in; a bad month is better told as a bad date.
    pattern = f"{ai}([0-9]{{6}})" if ai in DAYS else entry.pattern.removeprefix("^").removesuffix("$")
    return Shape(shortest, longest, digits_only, re.compile(pattern, re.ASCII))


# Any scanned text comes through here, so what is remembered is bounded.
@lru_cache(maxsize=4096)
def starts_with_ai(text: str) -> str | None:
    """The application identifier a text begins with, or None."""
    try:
        return GS1ApplicationIdentifier.extract(text).ai
    except ParseError:
        return None


def split_raw(text: str) -> list[Element]:
    """Cut a raw message (real separators only; extra and leading ones are allowed) into its fields."""
    return [
        element for chunk in text.split(GROUP_SEPARATOR) if chunk.strip() for element in _split_chunk(chunk)
    ]


def _split_chunk(chunk: str) -> Iterator[Element]:
    """Cut what lies between two separators."""
    rest = chunk
    while rest:
        ai = starts_with_ai(rest[:4])
        if ai is None:
            yield Element("", rest, f"“{rest}” belongs to no field that is known")
            return
        limits = shape(ai)
        found = limits.pattern.match(rest)
        if limits.shortest == limits.longest:
            end = len(ai) + limits.longest
        elif found is None or starts_with_ai(rest[found.end() : found.end() + 4]) is None:
            end = len(rest)
        else:
            end = found.end()
        value = rest[len(ai) : end]
        yield Element(ai, value, fault_in(ai, value))
        rest = rest[end:]


def split_brackets(text: str) -> list[Element] | None:
    """Cut a text with bracketed identifiers; None when it does not begin with one.

    Only brackets round a known identifier cut, so "(10)AB(C)D" is the lot "AB(C)D". Where a cut makes a
    field impossible while the uncut value would be a proper lot or serial, nobody can tell which was meant:
    the field is refused.
    """
    mark = _BRACKETS.get(text[:1])
    first = mark.match(text) if mark else None
    if mark is None or first is None:
        return None
    cuts = [found for found in mark.finditer(text) if starts_with_ai(found[1]) == found[1]]
    if not cuts or cuts[0].start() != 0:
        return [Element("", text, f"“({first[1]})” is not a field that is known")]
    elements: list[Element] = []
    for cut, following in zip(cuts, [*cuts[1:], None], strict=True):
        value = text[cut.end() : following.start() if following else len(text)]
        value = value.replace(" ", "") if shape(cut[1]).digits_only else value.strip()
        element = Element(cut[1], value, fault_in(cut[1], value))
        elements.append(_with_doubt(element, elements[-1] if elements else None, cut.group()))
    return elements


def _with_doubt(element: Element, before: Element | None, cut: str) -> Element:
    """Refuse a field whose bracket may as well be part of the value before it."""
    if element.fault is None or before is None or before.fault is not None:
        return element
    joined = f"{before.value}{cut}{element.value}"
    if shape(before.ai).digits_only or fault_in(before.ai, joined) is not None:
        return element
    fault = (
        f"“{cut.strip()}” may be part of {name(before.ai)} or begin {name(element.ai)}; "
        "scan the code itself instead of typing it"
    )
    return Element(element.ai, element.value, fault)


def split_link(text: str) -> list[Element] | None:
    """Cut a GS1 web address (Digital Link) into its fields; None for any other web address."""
    try:
        address = urlsplit(text.strip())
    except ValueError:
        return None
    segments = [unquote(segment) for segment in address.path.split("/")]
    keys = [_LINK_NAMES.get(segment, segment) for segment in segments]
    start = next((at for at, key in enumerate(keys[:-1]) if key in _LINK_KEYS), None)
    if start is None or not segments[start + 1]:
        return None
    pairs = list(zip(keys[start::2], segments[start + 1 :: 2], strict=False))
    # Parameters that are no application identifiers are allowed in an address and mean nothing here.
    pairs += [
        (_LINK_NAMES.get(key, key), value)
        for key, value in parse_qsl(address.query, keep_blank_values=True)
        if _is_ai(_LINK_NAMES.get(key, key))
    ]
    return [_link_element(ai, value) for ai, value in pairs]


def _link_element(ai: str, value: str) -> Element:
    if not _is_ai(ai):
        return Element("", f"{ai}/{value}", f"“{ai}/{value}” belongs to no field that is known")
    if ai in ITEM_NUMBERS:
        value = value.zfill(14)
    return Element(ai, value, fault_in(ai, value))


def _is_ai(text: str) -> bool:
    return starts_with_ai(text) == text


def fault_in(ai: str, value: str) -> str | None:
    """What is wrong with a field's value by its length and characters, as half a sentence, or None."""
    limits = shape(ai)
    if not value.strip():
        return f"{name(ai)} is empty"
    if limits.digits_only and not re.fullmatch("[0-9]+", value):
        return f"{name(ai)} “{value}” may hold digits only"
    if len(value) > limits.longest:
        return f"{name(ai)} “{value}” is longer than the {limits.longest} characters allowed"
    if " " in value:
        return f"{name(ai)} “{value}” holds a blank, which this kind of code does not allow"
    if len(value) < limits.shortest:
        return f"{name(ai)} “{value}” is shorter than the {limits.shortest} characters needed"
    if not limits.pattern.fullmatch(ai + value):
        return f"{name(ai)} “{value}” holds characters that are not allowed there"
    return None


def name(ai: str) -> str:
    """A field in plain words, to stand in a sentence."""
    return _NAMES.get(ai, f"the field ({ai})")


_NAMES = {
    "00": "the parcel number",
    "01": "the item number",
    "02": "the item number of the contents",
    "03": "the item number",
    "10": "the lot number",
    "11": "the date of making",
    "13": "the packing date",
    "15": "the best-before date",
    "17": "the expiry date",
    "21": "the serial number",
    "30": "the quantity",
    "37": "the count of pieces",
    "235": "the second serial number",
    "240": "the maker's item number",
    "250": "the second serial number",
    "7003": "the expiry date and time",
    "8003": "the number of the returnable item",
    "8004": "the number of the instrument or tray",
    "8006": "the item number of the part",
}
