"""GS1 rules that look at more than one field: which belong together, and lots that swallowed the next field.

Pure. Source of the pairs: GS1 syntax dictionary (requires and excludes lists of the identifiers).
"""

import re
from datetime import date

from stock.scanning import dates
from stock.scanning.gs1_elements import Element, starts_with_ai
from stock.scanning.label import Reading, spoken

# A message says what it is about by one of these; without one its lot and dates hang in the air.
_KEYS = {"00", "01", "02", "03", "253", "255", "8003", "8004", "8006", "8010", "8013", "8017", "8018", "8026"}
_NOT_TOGETHER = {
    ("01", "02"): "the item's own number and the number of a box's contents",
    ("21", "235"): "two kinds of serial number",
}

# A date inside a lot is suspected only if a pack on the shelf could carry it.
_PLAUSIBLE_YEARS = 15
# A look-ahead, so that finds may overlap: "1117261231" holds a date only from its third character.
_DATE_IN_TAIL = re.compile(r"(?=(?:11|13|15|16|17)([0-9]{6}))")
# Three characters either side, and not a year such as 2021: shorter finds are mostly ordinary lots.
_SERIAL_IN_TAIL = re.compile(r".{3,}?(?<!20)21(.{3,})")


def check_together(reading: Reading, ais: set[str]) -> None:
    """Note fields that contradict each other (problems) or lack the field they belong to (warnings)."""
    for pair, words in _NOT_TOGETHER.items():
        if ais.issuperset(pair):
            reading.refuse(
                f"The code mixes {words}, which no sound label does. Scan one code on the pack at a time."
            )
    if "02" in ais and "37" not in ais:
        reading.refuse("The code names the contents of a box but not how many. Count them by hand.")
    if "37" in ais and not ais & {"02", "8026"}:
        reading.warn(
            "The number of pieces is written the way shipping boxes write it; count the pieces in the pack."
        )
    if "250" in ais and "21" not in ais:
        reading.warn("The label gives a second serial number without the first; look for it on the pack.")
    if "00" in ais and not ais & {"01", "02", "03", "8006"}:
        reading.warn("This is the number of a parcel, not of an item. Open it and scan what is inside.")
    elif not ais & _KEYS:
        reading.warn(
            "This code carries no item number. "
            "Scan the other code on the pack as well, or pick the item by hand."
        )


def check_endings(reading: Reading, elements: list[Element], *, today: date) -> None:
    """Warn when the last lot or serial looks as if the next field had run into it.

    Scanners that leave out the separator give "LOT7A21SER9" for lot LOT7A, serial SER9. Nothing in such a
    text is against the standard, so this can only be a question to the person.
    """
    last = elements[-1] if elements else None
    if last is None or last.fault is not None or last.ai not in ("10", "21"):
        return
    words = "lot" if last.ai == "10" else "serial number"
    advice = "Compare it with the pack; if so, have the scanner's group separator (GS) switched on."
    found = _date_in_tail(last.value, today=today)
    if found is not None:
        before, day = found
        reading.warn(
            f"The {words} “{last.value}” may be “{before}” with the date {spoken(day)} run into it. {advice}"
        )
        return
    serial = _SERIAL_IN_TAIL.fullmatch(last.value)
    if last.ai == "10" and serial is not None and not any(element.ai == "21" for element in elements):
        before = last.value[: serial.start(1) - 2]
        reading.warn(
            f"The lot “{last.value}” may be “{before}” with the serial number “{serial[1]}” run into it. "
            f"{advice}"
        )


def _date_in_tail(value: str, *, today: date) -> tuple[str, date] | None:
    """What stands before a plausible date field at the end of a value, and that date."""
    for found in _DATE_IN_TAIL.finditer(value):
        rest = value[found.end(1) :]
        if found.start() == 0 or (rest and starts_with_ai(rest[:4]) is None):
            continue
        try:
            day, _ = dates.from_yymmdd(found[1], today=today)
        except dates.ImpossibleDate:
            continue
        if abs(day.year - today.year) <= _PLAUSIBLE_YEARS:
            return value[: found.start()], day
    return None
