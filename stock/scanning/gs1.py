"""GS1 labels: GTINs, element strings and web addresses, read into a Reading. Pure.

Sources: GS1 General Specifications (sections 7.8, 7.9, 7.12) and the GS1 syntax dictionary, by way of the
biip library's identifier table.
"""

import re
from collections.abc import Callable
from datetime import date

from stock.scanning import dates, gs1_rules
from stock.scanning.check_digits import gs1_digit, gs1_is_right
from stock.scanning.gs1_elements import (
    DAYS,
    Element,
    name,
    split_brackets,
    split_link,
    split_raw,
    starts_with_ai,
)
from stock.scanning.label import GS1, Reading, spoken
from stock.scanning.symbols import (
    GROUP_SEPARATOR,
    GS1_MESSAGE_SYMBOLS,
    ITEM_NUMBER_SYMBOLS,
    Scan,
    with_real_separators,
)

_BY_HAND = "Check the item against the pack and type the missing details by hand."
# The longest lot, serial or item code anyone types; a longer unbroken text can only come from a code.
_LONGEST_TYPED = 20
_DAY_SHAPE = r"[0-9]{2}(?:0[1-9]|1[0-2])(?:[0-2][0-9]|3[01])"
_STARTS_WITH_DAY = re.compile(rf"(?:11|13|15|16|17){_DAY_SHAPE}")
_STARTS_WITH_MOMENT = re.compile(rf"7003{_DAY_SHAPE}(?:[01][0-9]|2[0-3])[0-5][0-9]")


def read(scan: Scan, *, today: date) -> Reading | None:
    """The GS1 reading of a scan, or None when it is no GS1 code. ``today`` settles two-digit years."""
    text = scan.text.strip()
    if re.match("https?://", text, re.IGNORECASE):
        elements = split_link(text)
        return None if elements is None else _interpret(elements, today=today, lots_end=True)
    bracketed = split_brackets(text)
    if bracketed is not None and (bracketed[0].ai or " " not in text):
        return _interpret(bracketed, today=today, lots_end=False)
    message = with_real_separators(text)
    body = message.strip(GROUP_SEPARATOR + " ")
    if scan.symbol in ITEM_NUMBER_SYMBOLS:
        return _bare_number(body)
    if scan.symbol in GS1_MESSAGE_SYMBOLS or _is_message(message):
        return _interpret(split_raw(message), today=today, lots_end=GROUP_SEPARATOR in body)
    if body == message and _is_bare_number(body):
        return _bare_number(body)
    return None


def _is_message(message: str) -> bool:
    """Whether a text nobody has marked as GS1 is an element string all the same.

    Lots and chart numbers are typed into the same field, and many begin with digits that happen to be an
    application identifier, so a text counts only on stronger evidence than that.
    """
    body = message.strip(GROUP_SEPARATOR)
    if starts_with_ai(body[:4]) is None:
        return False
    if GROUP_SEPARATOR in message or re.match("01[0-9]{14}", body):
        return True
    if re.fullmatch("00[0-9]{18}", body):
        return gs1_is_right(body[2:])
    start = _STARTS_WITH_MOMENT.match(body) or _STARTS_WITH_DAY.match(body)
    if start is not None:
        rest = body[start.end() :]
        return not rest or starts_with_ai(rest[:4]) is not None
    return len(body) > _LONGEST_TYPED and " " not in body and body.isascii()


def _is_bare_number(text: str) -> bool:
    """Whether typed or unmarked digits are an item number (GTIN-8, -12, -13 or -14).

    A wrong check digit is worth telling for 13 and 14 digits. Shorter digits with a wrong one are a lot or a
    chart number. Eight digits beginning with 0 or 2 are never a global item number (restricted circulation),
    but often a lot made from a date.
    """
    if not re.fullmatch("[0-9]{8}|[0-9]{12,14}", text) or not text.strip("0"):
        return False
    if len(text) == 8 and text[0] in "02":
        return False
    return len(text) >= 13 or gs1_is_right(text)


def _bare_number(digits: str) -> Reading:
    """A GTIN standing alone, from an EAN, UPC or ITF-14 symbol or typed."""
    reading = Reading(GS1, fields=[("01", digits)])
    if re.fullmatch("[0-9]{8}|[0-9]{12,14}", digits):
        _note_item_number(reading, Element("01", digits.zfill(14)), digits)
    else:
        reading.refuse(f"“{digits}” is not an item number: it needs 8, 12, 13 or 14 digits.")
    if len(digits) == 8 and not reading.problems:
        reading.warn(
            "These eight digits were read as an item number. If you typed a lot, look it up as a lot."
        )
    return reading


def _interpret(elements: list[Element], *, today: date, lots_end: bool) -> Reading:
    """Put the fields of a message together. ``lots_end``: whether it shows where its lots end."""
    reading = Reading(GS1)
    seen: dict[str, Element] = {}
    for element in elements:
        reading.fields.append((element.ai, element.value))
        if element.fault is not None:
            reading.refuse(f"{element.fault[0].upper()}{element.fault[1:]}. {_BY_HAND}")
        elif element.ai in seen and seen[element.ai].value != element.value:
            reading.refuse(
                f"The code gives {name(element.ai)} twice: “{seen[element.ai].value}” and “{element.value}”. "
                "Scan it again, one code at a time."
            )
        elif element.ai not in seen:
            seen[element.ai] = element
            _note(reading, element, today=today)
    if not elements:
        reading.refuse("The code is empty. Scan it again.")
    gs1_rules.check_together(reading, {element.ai for element in elements})
    if not lots_end:
        gs1_rules.check_endings(reading, elements, today=today)
    return reading


def _note(reading: Reading, element: Element, *, today: date) -> None:
    """Write one sound field into the reading."""
    if element.ai in DAYS:
        _note_day(reading, element, today=today)
    elif element.ai == "7003":
        _note_moment(reading, element, today=today)
    elif element.ai in _NOTES:
        _NOTES[element.ai](reading, element)


def _note_day(reading: Reading, element: Element, *, today: date) -> None:
    try:
        day, left_out = dates.from_yymmdd(element.value, today=today)
    except dates.ImpossibleDate as impossible:
        reading.refuse(_impossible(element, impossible))
        return
    if left_out and element.ai in ("11", "15", "17"):
        # Regulated healthcare items have to carry a real day since 1 January 2025; older packs need not.
        reading.warn(
            f"The label gives no day for {name(element.ai)}; "
            f"the last day of the month is used, {spoken(day)}."
        )
    if element.ai == "11":
        reading.made_on = day
    elif element.ai in ("15", "17"):
        reading.expires(day)
    if element.ai == "15":
        reading.warn(f"The label says best before {spoken(day)}; that is taken as the expiry date.")


def _note_moment(reading: Reading, element: Element, *, today: date) -> None:
    digits = element.value
    try:
        day, left_out = dates.from_yymmdd(digits[:6], today=today)
        if left_out:
            raise dates.ImpossibleDate(digits, "a date with an hour needs a day as well")
        hour = None if digits[6:] == "9999" else dates.hour(int(digits[6:8]), int(digits[8:]), digits=digits)
    except dates.ImpossibleDate as impossible:
        reading.refuse(_impossible(element, impossible))
        return
    reading.expires(day, hour)


def _impossible(element: Element, impossible: dates.ImpossibleDate) -> str:
    words = name(element.ai)
    return f"{words[0].upper()}{words[1:]} “{element.value}” is impossible: {impossible.reason}. {_BY_HAND}"


def _note_item_number(reading: Reading, element: Element, shown: str | None = None) -> None:
    number = element.value
    if not number.strip("0"):
        reading.refuse(f"The item number is all zeros. {_BY_HAND}")
    elif not gs1_is_right(number):
        reading.refuse(
            f"The item number {shown or number} is wrong: it ends in {number[-1]} where "
            f"{gs1_digit(number[:-1])} would be right. Scan the code again, or compare it with the pack."
        )
    else:
        reading.gtin = number


def _note_contents(reading: Reading, element: Element) -> None:
    _note_item_number(reading, element)
    reading.warn("This code stands on a box and names what is in it, not the single item.")


def _note_part(reading: Reading, element: Element) -> None:
    _note_item_number(reading, Element("8006", element.value[:14]))
    reading.warn(f"This is part {int(element.value[14:16])} of {int(element.value[16:])} of one item.")


def _note_parcel(reading: Reading, element: Element) -> None:
    if not gs1_is_right(element.value):
        reading.refuse(
            f"The parcel number {element.value} is wrong: it ends in {element.value[-1]} where "
            f"{gs1_digit(element.value[:-1])} would be right. Scan it again."
        )


def _note_returnable(reading: Reading, element: Element) -> None:
    number = element.value[:14]
    reading.product, reading.serial = number, element.value[14:] or reading.serial
    if not gs1_is_right(number):
        # Such numbers name trays and boxes, not what goes into a patient, so a doubt is enough.
        reading.warn(
            f"The number of the returnable item {number} ends in {number[-1]} where "
            f"{gs1_digit(number[:-1])} would be right. Compare it with the label."
        )


def _note_lot(reading: Reading, element: Element) -> None:
    reading.lot = element.value


def _note_serial(reading: Reading, element: Element) -> None:
    reading.serial = reading.serial or element.value


def _note_product(reading: Reading, element: Element) -> None:
    reading.product = reading.product or element.value


def _note_quantity(reading: Reading, element: Element) -> None:
    reading.quantity = int(element.value) if reading.quantity is None else reading.quantity


_NOTES: dict[str, Callable[[Reading, Element], None]] = {
    "00": _note_parcel,
    "01": _note_item_number,
    "02": _note_contents,
    "03": _note_item_number,
    "10": _note_lot,
    "21": _note_serial,
    "235": _note_serial,
    "240": _note_product,
    "241": _note_product,
    "30": _note_quantity,
    "37": _note_quantity,
    "8003": _note_returnable,
    "8004": _note_product,
    "8006": _note_part,
}
