"""ISBT 128 labels of human tissue and blood products, as delivered. Pure.

Sources: ICCBBA ST-001 (standard), ST-012 (bar code size and data), ST-017 (tissue labels as devices).
Only labels that come with a product are read. Making such labels needs a licence, and the product code
tables are not part of this program.
"""

import re
from collections.abc import Callable
from datetime import date, time

from stock.scanning import dates
from stock.scanning.check_digits import isbt_character, isbt_value
from stock.scanning.label import ISBT_128, Reading, spoken
from stock.scanning.symbols import Scan

_AGAIN = "Scan the code again, or compare the characters with the pack."
_DONATION = re.compile(r"([A-Z1-9][A-Z0-9]{4}[0-9]{8})([0-9A-Z]{2})")
# As printed under the code for typing: five characters, year, six digits, flags, check character in a box.
_TYPED_DONATION = re.compile(
    r"([A-Z1-9][A-Z0-9]{4}) ([0-9]{2}) ([0-9]{6})(?: ([0-9A-Z]{2}))?(?: ?\[?([0-9A-Z*])\]?)"
)
_EUROPEAN = re.compile(r"([A-Z]{2})([A-Z0-9]{6})([A-Z0-9]{13})([ABE])([A-Z0-9]{7})([0-9A-Z]{3})([0-9]{8})")
_IDENTIFIER = re.compile(r"&,[0-9]|[=&][^A-Za-z0-9]|=(?=[A-Za-z0-9])")
_LOOKS_LIKE = re.compile(
    r"=[A-Z1-9][A-Z0-9]{4}[0-9]{2}|(?:=[<>*};+\]/),%]|&[>*})]|&,[0-9])[A-Z0-9]", re.IGNORECASE
)
# Flags 60 to 96 carry the check of the donation number, 0 to 36, on top of 60 (ST-001, type 3 flags).
_FIRST_CHECK_FLAG = 60
_LAST_CHECK_FLAG = 96


def read(scan: Scan, *, today: date) -> Reading | None:
    """The ISBT 128 reading of a scan, or None when it is none. ``today`` is not needed: years are in full."""
    text = scan.text.strip()
    typed = _TYPED_DONATION.fullmatch(text)
    if typed is not None:
        return _typed_donation(typed)
    european = re.sub(r"^SEC:? *", "", text).replace(" ", "")
    if _EUROPEAN.fullmatch(european):
        reading = Reading(ISBT_128, fields=[("&,4", european)])
        _guarded(_note_european, reading, european)
        return reading
    if not _LOOKS_LIKE.match(text):
        return None
    reading = Reading(ISBT_128)
    structures = [part for part in re.split("(?=[=&])", text) if part]
    for structure in structures:
        _note_structure(reading, structure)
    _check_count(reading)
    if not (reading.product or reading.donation or reading.problems):
        reading.warn(
            "This code carries no product or donation number. Scan the other codes on the pack as well."
        )
    return reading


def _typed_donation(typed: re.Match[str]) -> Reading | None:
    """A donation number typed from the print; only its check character tells it from any other text."""
    facility, year, sequence, flags, check = typed.groups()
    number = f"{facility}{year}{sequence}"
    if isbt_character(number) != check:
        return None
    return Reading(ISBT_128, donation=number, fields=[("=", number + (flags or ""))])


def _note_structure(reading: Reading, structure: str) -> None:
    """One data structure: its identifier, the length its data must have, and what it says."""
    found = _IDENTIFIER.match(structure)
    mark = found.group() if found else structure[:2]
    data = structure[len(mark) :]
    reading.fields.append((mark, data))
    if mark not in _STRUCTURES:
        reading.warn(
            f"The part “{structure}” of the code is of a kind that is not read here and was left out."
        )
        return
    length, words, note = _STRUCTURES[mark]
    if not re.fullmatch("[A-Z0-9]*", data):
        hint = (
            "small letters; see whether Caps Lock is on"
            if data.upper() != data
            else "characters never used there"
        )
        reading.refuse(f"The code was misread: {words} “{data}” holds {hint}. {_AGAIN}")
    elif length is not None and len(data) != length:
        reading.refuse(
            f"The code was misread: {words} “{data}” needs {length} characters and has {len(data)}. {_AGAIN}"
        )
    else:
        _guarded(note, reading, data)


def _check_count(reading: Reading) -> None:
    """Structure 023 opens a compound message and says how many structures follow it."""
    marks = [mark for mark, _ in reading.fields]
    if "=+" not in marks:
        return
    at = marks.index("=+")
    declared, present = reading.fields[at][1][:2], len(marks) - at - 1
    if declared.isdigit() and int(declared) != present:
        reading.refuse(f"The code says it has {int(declared)} parts but {present} were read. Scan it again.")


def _guarded(note: Callable[[Reading, str], None], reading: Reading, data: str) -> None:
    """Run a note, turning an impossible date into a problem in words."""
    try:
        note(reading, data)
    except dates.ImpossibleDate as impossible:
        reading.refuse(
            f"A date on the label, “{impossible.digits}”, is impossible: {impossible.reason}. {_AGAIN}"
        )


def _note_donation(reading: Reading, data: str) -> None:
    """Structure 001: the donation number and its two flag characters."""
    found = _DONATION.fullmatch(data)
    if found is None:
        reading.refuse(
            f"“{data}” is not a donation number: five characters, a year and six digits are needed. {_AGAIN}"
        )
        return
    number, flags = found.groups()
    if flags.isdigit() and _FIRST_CHECK_FLAG <= int(flags) <= _LAST_CHECK_FLAG:
        right = _FIRST_CHECK_FLAG + isbt_value(number)
        if int(flags) != right:
            reading.refuse(
                f"The donation number {number} was misread: its check is {flags} where {right} would be "
                f"right. {_AGAIN}"
            )
            return
    if reading.donation not in (None, number):
        reading.refuse(f"The code gives two donation numbers, {reading.donation} and {number}. {_AGAIN}")
        return
    reading.donation = number


def _note_product(reading: Reading, data: str) -> None:
    """Structure 003: five characters of product, then the division.

    Tissue products (T) number divisions with three characters, 000 meaning undivided. Blood and cell products
    put a type of donation first and number divisions with two (this last from memory).
    """
    reading.product = reading.product or data[:5]
    reading.division = reading.division or (data[5:] if data[0] == "T" else data[6:])


def _note_processor_product(reading: Reading, data: str) -> None:
    """Structure 034: processor, its product, and the product description; the device identifier."""
    reading.product = data


def _note_division(reading: Reading, data: str) -> None:
    """Structure 032: the division of a product, which stands for its serial number."""
    reading.division = reading.serial = data


def _note_supply(reading: Reading, data: str) -> None:
    reading.product = reading.product or data


def _note_lot(reading: Reading, data: str) -> None:
    if not data.strip("0"):
        reading.refuse(f"The lot number on the label is empty. {_AGAIN}")
    else:
        reading.lot = data


def _note_expiry(reading: Reading, data: str) -> None:
    reading.expires(_day(data))


def _note_expiry_moment(reading: Reading, data: str) -> None:
    day, hour = _day(data[:6]), _hour(data)
    reading.expires(day, hour)


def _note_expiry_month(reading: Reading, data: str) -> None:
    """Structure 026: year in full and month."""
    _digits(data)
    day, _ = dates.from_parts(int(data[:4]), int(data[4:]), 0, digits=data)
    reading.warn(f"The label gives no day for the expiry; the last day of the month is used, {spoken(day)}.")
    reading.expires(day)


def _note_made_on(reading: Reading, data: str) -> None:
    reading.made_on = _day(data)


def _note_made_at(reading: Reading, data: str) -> None:
    _hour(data)
    reading.made_on = _day(data[:6])


def _note_collected(reading: Reading, data: str) -> None:
    """Structures 006 and 007: when the donation was collected; kept among the fields only."""
    _day(data[:6])
    if len(data) > 6:
        _hour(data)


def _note_kept(reading: Reading, data: str) -> None:
    """A structure that is kept among the fields and means nothing for stock."""


def _note_european(reading: Reading, data: str) -> None:
    """Structure 038, the single European code: who, which donation, which product, which part, until when."""
    found = _EUROPEAN.fullmatch(data)
    if found is None:
        reading.refuse(f"“{data}” is not a European tissue code. {_AGAIN}")
        return
    _, _, donation, system, product, division, expiry = found.groups()
    reading.donation = reading.donation or donation
    reading.product = reading.product or (product.removeprefix("00") if system == "A" else system + product)
    reading.division = reading.division or division
    if expiry.strip("0"):
        day, left_out = dates.from_parts(int(expiry[:4]), int(expiry[4:6]), int(expiry[6:]), digits=expiry)
        if left_out:
            raise dates.ImpossibleDate(expiry, "there is no day 00")
        reading.expires(day)


def _day(data: str) -> date:
    """Six digits cyyjjj: the last three digits of the year, then the day. Raises ImpossibleDate."""
    _digits(data)
    last_three = int(data[:3])
    year = 1000 + last_three if last_three >= 900 else 2000 + last_three
    return dates.from_year_day(year, int(data[3:6]), digits=data)


def _hour(data: str) -> time:
    _digits(data)
    return dates.hour(int(data[6:8]), int(data[8:10]), digits=data)


def _digits(data: str) -> None:
    if not re.fullmatch("[0-9]+", data):
        raise dates.ImpossibleDate(data, "only digits are allowed")


# Identifier: length of the data (None where it varies), what it is in words, what to do with it.
_STRUCTURES: dict[str, tuple[int | None, str, Callable[[Reading, str], None]]] = {
    "=": (15, "the donation number", _note_donation),
    "=+": (5, "the count of parts", _note_kept),
    "=<": (8, "the product code", _note_product),
    "=>": (6, "the expiry date", _note_expiry),
    "&>": (10, "the expiry date", _note_expiry_moment),
    "=]": (6, "the expiry month", _note_expiry_month),
    "=*": (6, "the collection date", _note_collected),
    "&*": (10, "the collection date", _note_collected),
    "=}": (6, "the date of making", _note_made_on),
    "&}": (10, "the date of making", _note_made_at),
    "=;": (None, "the donor number", _note_kept),
    "=%": (None, "the blood group", _note_kept),
    "=,": (6, "the division", _note_division),
    "=/": (16, "the product number", _note_processor_product),
    "&,1": (18, "the lot number", _note_lot),
    "&,2": (18, "the lot number", _note_lot),
    "&,4": (40, "the European tissue code", _note_european),
    "=)": (10, "the product number", _note_supply),
    "&)": (10, "the lot number", _note_lot),
}
