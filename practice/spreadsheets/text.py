"""Text cells, and what every cell reader shares. Pure."""

import math
import re
import unicodedata
from datetime import date, datetime, time
from decimal import Decimal

# A spreadsheet keeps 15 significant digits; a longer number was rounded when the file was made.
LONGEST_EXACT_NUMBER = 10**15
ROUNDED_BY_A_PROGRAM = re.compile(r"[+-]?\d[.,]\d+E\+\d+", re.IGNORECASE)
FAULT = re.compile(r"#(?:DIV/0!|N/A|NAME\?|NULL!|NUM!|REF!|VALUE!)")
FORCED_TEXT = re.compile(r'="(.*)"', re.DOTALL)


class UnreadableCell(ValueError):
    """A cell that cannot be read as what its column holds.

    `value` is the cell as text and `reason` a sentence a person can act on.
    """

    def __init__(self, value: object, reason: str) -> None:
        self.value = shown(value)
        self.reason = reason
        super().__init__(f"“{self.value}”: {reason}" if self.value else reason)


def shown(value: object) -> str:
    """Return any cell as a person would see it: no `.0` on whole numbers, ISO days, no digit lost."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float) and math.isfinite(value):
        return format(Decimal(repr(value)), "f").removesuffix(".0")
    if isinstance(value, datetime):
        midnight = value.time() == time(0)
        return value.date().isoformat() if midnight else value.isoformat(sep=" ", timespec="minutes")
    if isinstance(value, time):
        return value.isoformat(timespec="minutes")
    if isinstance(value, date):
        return value.isoformat()
    return tidy(str(value))


def tidy(text: str) -> str:
    """Return the text composed (NFC), its odd spaces made plain and its ends trimmed; inner spaces stay."""
    return re.sub(r"[^\S\n]", " ", unicodedata.normalize("NFC", text)).strip(" \n\u200b\ufeff")


def is_blank(value: object) -> bool:
    """Return whether a cell holds nothing a person would see."""
    return value is None or (isinstance(value, str) and not tidy(value))


def read_text(value: object) -> str:
    """Return a code, name or lot number as text, exactly as long as it was written.

    Leading zeros stay (`000123`), a number cell `123.0` reads `123`, and the two ways programs force text
    (`="000123"` and an apostrophe before `= + - @`) are undone. An empty cell gives an empty text.

    Raises `UnreadableCell` where digits were already lost: a number of more than 15 digits, or text such as
    `4.01E+12`, which is what a spreadsheet makes of a long code on saving; and for a failed formula (`#N/A`).
    """
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        if not math.isfinite(value):
            raise UnreadableCell(value, "This is not a number that can be written out.")
        if abs(value) >= LONGEST_EXACT_NUMBER:
            raise UnreadableCell(
                value, "A number this long was rounded by the spreadsheet; format the column as text."
            )
    text = shown(value)
    if ROUNDED_BY_A_PROGRAM.fullmatch(text):
        raise UnreadableCell(
            value, "The spreadsheet turned this code into a rounded number; format the column as text."
        )
    if FAULT.fullmatch(text):
        raise UnreadableCell(value, "The formula in this cell failed; mend it in the spreadsheet.")
    forced = FORCED_TEXT.fullmatch(text)
    if forced:
        return tidy(forced.group(1).replace('""', '"'))
    return text[1:] if re.match(r"'[=+\-@]", text) else text
