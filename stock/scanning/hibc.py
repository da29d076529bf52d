"""HIBC supplier labels: primary, secondary, both in one code, and supplements. Pure.

Sources: ANSI/HIBC 2.6 (supplier labelling) as its examples and tables are published, and appendix A of
IMDRF/UDI WG/N48 FINAL:2019.

primary    + maker (4) item (1-18) packing digit (1) check
secondary  + $ or $$ ... link check                  a second code on the pack; link = check of the primary
joined     + primary / secondary [/ supplement ...] check
"""

import re
from collections.abc import Callable
from datetime import date, time

from stock.scanning import dates
from stock.scanning.check_digits import hibc_character
from stock.scanning.label import HIBC, Reading, spoken
from stock.scanning.symbols import Scan

_BY_HAND = "Compare the code with the pack and type the missing details by hand."
_LOOKS_LIKE = re.compile(r"\+(?:[A-Z][A-Z0-9]{2}|\$|\+[A-Z]|/[A-Z]|[0-9]{5}.)", re.IGNORECASE | re.DOTALL)
_PRIMARY = re.compile(r"([A-Z][A-Z0-9]{3})([A-Z0-9]{1,18})([0-9])")
_LONGEST_LOT = 18
# A slash may stand inside a serial number, so only a slash before a known supplement cuts.
_SUPPLEMENT = re.compile(r"/(?=\$|S|16D[0-9]{8}|14D[0-9]{8}|Q[0-9])")
_LEGACY = re.compile(r"([0-9]{2})([0-9]{3})(.{0,13})", re.DOTALL)


def read(scan: Scan, *, today: date) -> Reading | None:
    """The HIBC reading of a scan, or None when it is no HIBC code. ``today`` settles two-digit years."""
    text = scan.text
    # Code 39 prints its start and stop signs as asterisks, and people copy them.
    if len(text) > 2 and text[0] == text[-1] == "*":
        text = text[1:-1]
    if not _LOOKS_LIKE.match(text):
        return None
    reading = Reading(HIBC)
    data = _checked_data(text, reading)
    if data is None:
        # Without a letter or a dollar sign it may as well be a telephone number.
        return None if text[1].isdigit() else reading
    if data.startswith("++"):
        reading.refuse(
            "This number names a model in a register, not a pack. Scan the code on the pack itself."
        )
    elif data.startswith("+/"):
        reading.refuse(
            "This is a code of a ward or office form, not of a product. Scan the code on the pack."
        )
    elif data[1] == "$" or data[1].isdigit():
        _note_secondary_alone(reading, data[1:], today=today)
    else:
        _note_joined(reading, data[1:], today=today)
    return reading


def _checked_data(text: str, reading: Reading) -> str | None:
    """The code without its check character, or None after saying why it fails the check.

    The check character may be a blank, which prints show as an underscore: a field for scans must not trim.
    """
    if hibc_character(text.replace("_", " ")) is None:
        hint = (
            "it holds small letters; see whether Caps Lock is on"
            if text.upper() != text
            else ("it holds characters that such a code never has")
        )
        reading.refuse(f"The code was misread: {hint}. Scan it again.")
        return None
    last = " " if text[-1] == "_" else text[-1]
    if len(text) > 2 and hibc_character(text[:-1]) == last:
        return text[:-1]
    reading.refuse(_why_not(text))
    return None


def _why_not(text: str) -> str:
    """Why a code of allowed characters fails its check, and what to do."""
    if hibc_character(text) == " ":
        # Taking the code as it is would let one misread code in 43 pass, with a wrong lot.
        return "The code was misread: a blank at its end may be lost. Scan it again, do not type or copy it."
    right = hibc_character(text[:-1])
    if right is None:
        return "The code was misread: it holds characters that such a code never has. Scan it again."
    shown = "a blank" if right == " " else f"“{right}”"
    return (
        f"The code was misread: it ends in “{text[-1]}” where {shown} would be right. A character is wrong "
        "or a blank inside was lost. Scan it again, do not type or copy it."
    )


def _note_joined(reading: Reading, data: str, *, today: date) -> None:
    """A primary code, with what may follow it after slashes."""
    primary, slash, rest = data.partition("/")
    found = _PRIMARY.fullmatch(primary)
    if found is None:
        reading.fields.append(("item", primary))
        reading.refuse(
            f"“{primary}” is not an item number of this kind: it needs a letter and three more characters "
            f"for the maker, the item, and a digit for the packing at its end. {_BY_HAND}"
        )
    else:
        reading.product = primary
        maker, item, packing = found.groups()
        reading.fields += [("maker", maker), ("item", item), ("packing", packing)]
        if packing == "9":
            reading.warn("The number of pieces varies from pack to pack; count them.")
    if slash:
        _note_parts(reading, f"/{rest}", today=today)


def _note_secondary_alone(reading: Reading, data: str, *, today: date) -> None:
    """A secondary code by itself: its last character links it to the primary code on the same pack."""
    reading.warn("This code carries no item number. Scan the other code on the pack as well.")
    body, link = data[:-1], data[-1]
    if body.startswith("$"):
        _note_parts(reading, f"/{body}", today=today)
    else:
        _note_legacy(reading, body, today=today)
    reading.fields.append(("link", link))


def _note_parts(reading: Reading, text: str, *, today: date) -> None:
    """The secondary part and the supplements, each beginning with a slash."""
    pieces = _SUPPLEMENT.split(text)
    if pieces[0]:
        reading.fields.append(("other", pieces[0]))
        reading.warn(f"The part “{pieces[0]}” of the code is of no known kind and was left out.")
    for piece in pieces[1:]:
        mark = next(mark for mark in _PARTS if piece.startswith(mark))
        reading.fields.append((mark, piece[len(mark) :]))
        try:
            _PARTS[mark](reading, piece[len(mark) :], today)
        except dates.ImpossibleDate as impossible:
            reading.refuse(
                f"A date on the label, “{impossible.digits}”, is impossible: {impossible.reason}. {_BY_HAND}"
            )


def _note_dated(reading: Reading, text: str, today: date) -> None:
    """After ``$$``: an optional quantity, an optional expiry date, then the lot."""
    _note_lot(reading, _take_quantity_and_date(reading, text, today), today)


def _note_dated_serial(reading: Reading, text: str, today: date) -> None:
    """After ``$$+``: the same, with a serial number at the end instead of a lot."""
    _note_serial(reading, _take_quantity_and_date(reading, text, today), today)


def _take_quantity_and_date(reading: Reading, text: str, today: date) -> str:
    """Note quantity and expiry, and give back what follows them. Raises ImpossibleDate."""
    for flag, digits in (("8", 2), ("9", 5)):
        if text.startswith(flag):
            count, text = text[1 : digits + 1], text[digits + 1 :]
            if len(count) != digits or not count.isdigit():
                reading.refuse(f"The quantity “{count}” on the label is not {digits} digits. {_BY_HAND}")
            else:
                reading.quantity = int(count)
            break
    if text[:1] in ("0", "1"):
        return _take_date(reading, text, "MMYY", today)
    if text[:1] in _DATE_FLAGS:
        return _take_date(reading, text[1:], _DATE_FLAGS[text[0]], today)
    return text.removeprefix("7")


def _take_date(reading: Reading, text: str, layout: str, today: date) -> str:
    """Note the expiry written in a layout such as "YYMMDDHH" and give back what follows it."""
    digits, rest = text[: len(layout)], text[len(layout) :]
    if len(digits) != len(layout) or not digits.isdigit():
        raise dates.ImpossibleDate(digits, f"{len(layout)} digits are needed")

    def part(letters: str) -> int:
        at = layout.index(letters)
        return int(digits[at : at + len(letters)])

    year = dates.full_year(part("YY"), today=today)
    if "JJJ" in layout:
        day, left_out = dates.from_year_day(year, part("JJJ"), digits=digits), False
    else:
        day_of_month = part("DD") if "DD" in layout else 0
        day, left_out = dates.from_parts(year, part("MM"), day_of_month, digits=digits)
    hour: time | None = dates.hour(part("HH"), 0, digits=digits) if "HH" in layout else None
    if left_out:
        reading.warn(
            f"The label gives no day for the expiry; the last day of the month is used, {spoken(day)}."
        )
    reading.expires(day, hour)
    return rest


def _note_legacy(reading: Reading, text: str, *, today: date) -> None:
    """The older secondary code without ``$``: year, day of the year, lot of up to 13 characters."""
    found = _LEGACY.fullmatch(text)
    if found is None:
        reading.refuse(f"The code “{text}” is of an older kind and longer than that allows. {_BY_HAND}")
        return
    year, day_of_year, lot = found.groups()
    reading.fields.append(("dated lot", text))
    try:
        full = dates.full_year(int(year), today=today)
        reading.expires(dates.from_year_day(full, int(day_of_year), digits=year + day_of_year))
    except dates.ImpossibleDate as impossible:
        reading.refuse(f"The expiry date on the label is impossible: {impossible.reason}. {_BY_HAND}")
    reading.lot = lot or None


def _note_lot(reading: Reading, text: str, today: date) -> None:
    if len(text) > _LONGEST_LOT:
        reading.warn(f"The lot “{text}” is longer than {_LONGEST_LOT} characters; compare it with the pack.")
    reading.lot = text or None


def _note_serial(reading: Reading, text: str, today: date) -> None:
    # No limit here: the standard's own published example is one character longer than its table allows.
    if reading.serial not in (None, text):
        reading.refuse(f"The code gives two serial numbers, “{reading.serial}” and “{text}”. {_BY_HAND}")
    else:
        reading.serial = text or None


def _note_made_on(reading: Reading, text: str, today: date) -> None:
    reading.made_on = _long_date(text)


def _note_expiry(reading: Reading, text: str, today: date) -> None:
    reading.expires(_long_date(text))


def _note_quantity(reading: Reading, text: str, today: date) -> None:
    if re.fullmatch("[0-9]{1,5}", text):
        reading.quantity = int(text)
    else:
        reading.refuse(f"The quantity “{text}” on the label is not a number. {_BY_HAND}")


def _long_date(text: str) -> date:
    """Eight digits YYYYMMDD. Raises ImpossibleDate."""
    if not re.fullmatch("[0-9]{8}", text):
        raise dates.ImpossibleDate(text, "8 digits are needed")
    day, left_out = dates.from_parts(int(text[:4]), int(text[4:6]), int(text[6:]), digits=text)
    if left_out:
        raise dates.ImpossibleDate(text, "there is no day 00")
    return day


_DATE_FLAGS = {"2": "MMDDYY", "3": "YYMMDD", "4": "YYMMDDHH", "5": "YYJJJ", "6": "YYJJJHH"}

# The longer marks stand first, because "$" begins them all.
_PARTS: dict[str, Callable[[Reading, str, date], None]] = {
    "$$+": _note_dated_serial,
    "$$": _note_dated,
    "$+": _note_serial,
    "$": _note_lot,
    "16D": _note_made_on,
    "14D": _note_expiry,
    "Q": _note_quantity,
    "S": _note_serial,
}
