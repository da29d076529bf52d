"""Days, times and spans of days as practice programs write them. Pure."""

import calendar
import math
import re
from collections.abc import Iterable
from datetime import date, datetime, time

from practice.spreadsheets.text import UnreadableCell, is_blank, shown

FIRST_YEAR, LAST_YEAR = 1900, 2199
MONTHS = {name.casefold(): number for number, name in enumerate(calendar.month_name) if name}
MONTHS |= {name.casefold(): number for number, name in enumerate(calendar.month_abbr) if name} | {"sept": 9}

CLOCK = r"(?:[T ]+\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: ?[AP]M)?(?:Z|[+-]\d{2}:?\d{2})?)?"
YEAR_FIRST = re.compile(rf"(\d{{4}})[-/.](\d{{1,2}})[-/.](\d{{1,2}}){CLOCK}", re.IGNORECASE)
COMPACT = re.compile(r"((?:19|20|21)\d{2})(\d{2})(\d{2})")
YEAR_LAST = re.compile(rf"(\d{{1,2}})([-/.])(\d{{1,2}})\2(\d{{4}}|\d{{2}}){CLOCK}", re.IGNORECASE)
MONTH_YEAR = re.compile(r"(\d{1,2})[-/.](\d{4})")
YEAR_MONTH = re.compile(r"(\d{4})[-/.](\d{1,2})")
DAY_NAMED = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[-/. ]+([A-Z]+)\.?[-/., ]+(\d{4})", re.IGNORECASE)
NAMED_DAY = re.compile(r"([A-Z]+)\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4})", re.IGNORECASE)
NAMED_MONTH = re.compile(r"([A-Z]+)\.?[-/., ]+(\d{4})", re.IGNORECASE)

TIME_OF_DAY = re.compile(r"(\d{1,2})[:.h](\d{2})(?::\d{2})?(?: ?([AP])\.?M\.?)?", re.IGNORECASE)

# Calendar days in one of each unit. A month counts 31 days and a working week 7, so a promise is never
# read as sooner than it was meant (common practice).
DAYS_IN = {"day": 1.0, "week": 7.0, "month": 31.0, "hour": 1 / 24}
UNIT = r"(h|hours?|hrs?|d|days?|w|wks?|weeks?|mths?|months?)"
SPAN = re.compile(
    rf"(?:(\d+(?:[.,]\d+)?) ?(?:-|–|to) ?)?(\d+(?:[.,]\d+)?) ?(working |business |work )?{UNIT}?\.?", re.I
)
NAMED_SPANS = {"same day": 0, "next day": 1, "overnight": 1, "a day": 1, "a week": 7}


def read_date(
    value: object, *, day_first: bool | None = None, allow_month: bool = True, century: int | None = None
) -> date:
    """Return the day a cell means.

    Real dates and moments, ISO 8601 (`2026-11-30`, with or without a time; `20261130`), `30/11/2026` with
    `/`, `.` or `-`, and English month names are read. A month alone (`09/2029`, `2029-09`, `Sep 2029`) means
    its last day, as an expiry month does on medical labels (GS1 General Specifications, AI 17 with day 00);
    `allow_month=False` refuses it.

    `day_first` is the order declared for the file: with None, `05/06/2027` is refused because it could be two
    days. `century` (such as 2000) is what two-figure years are added to; with None they are refused.

    Raises `UnreadableCell` for anything else, with the reason.
    """
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    if isinstance(value, (bool, int, float)):
        raise UnreadableCell(value, "This is a plain number, not a date; format the column as a date.")
    text = shown(value)
    if not text:
        raise UnreadableCell(value, "The date is missing.")
    found = _whole_day(text, day_first=day_first, century=century)
    if found is None:
        found = _month_end(text)
        if found is not None and not allow_month:
            raise UnreadableCell(value, "This is a month; a day is needed.")
    if found is None:
        raise UnreadableCell(value, "This is not a date.")
    return found


def _whole_day(text: str, *, day_first: bool | None, century: int | None) -> date | None:
    for pattern in (YEAR_FIRST, COMPACT):
        match = pattern.fullmatch(text)
        if match:
            return _day(text, *(int(part) for part in match.groups()))
    match = DAY_NAMED.fullmatch(text)
    if match:
        return _day(text, int(match[3]), _month(text, match[2]), int(match[1]))
    match = NAMED_DAY.fullmatch(text)
    if match:
        return _day(text, int(match[3]), _month(text, match[1]), int(match[2]))
    match = YEAR_LAST.fullmatch(text)
    if not match:
        return None
    first, second = int(match[1]), int(match[3])
    return _day(text, _year(text, match[4], century), *_month_and_day(text, first, second, day_first))


def _month_end(text: str) -> date | None:
    month_year, year_month = MONTH_YEAR.fullmatch(text), YEAR_MONTH.fullmatch(text)
    named = NAMED_MONTH.fullmatch(text)
    if month_year:
        month, year = int(month_year[1]), int(month_year[2])
    elif year_month:
        year, month = int(year_month[1]), int(year_month[2])
    elif named:
        month, year = _month(text, named[1]), int(named[2])
    else:
        return None
    if not 1 <= month <= 12:
        raise UnreadableCell(text, f"There is no month {month}.")
    _day(text, year, month, 1)
    return date(year, month, calendar.monthrange(year, month)[1])


def _month_and_day(text: str, first: int, second: int, day_first: bool | None) -> tuple[int, int]:
    if day_first is None:
        if first <= 12 and second <= 12 and first != second:
            raise UnreadableCell(
                text, "This could be two different days; say whether the day or the month comes first."
            )
        day_first = first > 12 or first == second
    return (second, first) if day_first else (first, second)


def _month(text: str, name: str) -> int:
    month = MONTHS.get(name.casefold())
    if month is None:
        raise UnreadableCell(text, f"“{name}” is not the name of a month.")
    return month


def _year(text: str, digits: str, century: int | None) -> int:
    if len(digits) == 4:
        return int(digits)
    if century is None:
        raise UnreadableCell(text, "The year has two figures; write all four.")
    return century + int(digits)


def _day(text: str, year: int, month: int, day: int) -> date:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise UnreadableCell(text, f"The year {year} is out of reach ({FIRST_YEAR} to {LAST_YEAR}).")
    if not 1 <= month <= 12:
        raise UnreadableCell(text, f"There is no month {month}.")
    if not 1 <= day <= calendar.monthrange(year, month)[1]:
        raise UnreadableCell(text, f"There is no {day} {calendar.month_name[month]} {year}.")
    return date(year, month, day)


def find_day_first(values: Iterable[object]) -> bool | None:
    """Return the order that the dates of one column show: day first (True), month first (False) or neither.

    A first figure above 12 shows day first, a second one above 12 month first. Where both occur the column
    contradicts itself and None is returned, so that the ambiguous cells are refused until someone says.
    """
    matches = [YEAR_LAST.fullmatch(shown(value)) for value in values if isinstance(value, str)]
    pairs = [(int(match[1]), int(match[3])) for match in matches if match]
    day_first = any(first > 12 for first, _ in pairs)
    month_first = any(second > 12 for _, second in pairs)
    return None if day_first == month_first else day_first


def read_time(value: object) -> time:
    """Return the time of day a cell means: a real time or moment, `08:00`, `8.30`, `1:15 PM`.

    Raises `UnreadableCell` for anything else, `25:10` included.
    """
    if isinstance(value, datetime):
        return value.time()
    if isinstance(value, time):
        return value
    if is_blank(value):
        raise UnreadableCell(value, "The time is missing.")
    match = TIME_OF_DAY.fullmatch(shown(value)) if isinstance(value, str) else None
    if not match:
        raise UnreadableCell(value, "This is not a time of day.")
    hour, minute, half = int(match[1]), int(match[2]), (match[3] or "").upper()
    if minute > 59 or hour > 23 or (half and not 1 <= hour <= 12):
        raise UnreadableCell(value, "There is no such time of day.")
    if half:
        hour = hour % 12 + (12 if half == "P" else 0)
    return time(hour, minute)


def read_days(value: object) -> int:
    """Return a lead time in calendar days, rounded up: `3 days` 3, `1 week` 7, `2-3 days` 3, `48 h` 2, `5` 5.

    Working days are stretched to calendar days (5 working days 7), a month counts 31: a promise is never read
    as sooner than it was meant. Raises `UnreadableCell` for anything else and for negative spans.
    """
    if is_blank(value):
        raise UnreadableCell(value, "The number of days is missing.")
    text = shown(value).casefold()
    if text in NAMED_SPANS:
        return NAMED_SPANS[text]
    match = None if isinstance(value, (bool, date, time)) else SPAN.fullmatch(text)
    if not match:
        raise UnreadableCell(value, "This is not a number of days or weeks.")
    number = max(float(part.replace(",", ".")) for part in (match[1] or "0", match[2]))
    word = match[4] or "day"
    unit = "month" if word.startswith("m") else {"h": "hour", "d": "day", "w": "week"}[word[0]]
    working = 7 / 5 if match[3] and unit == "day" else 1
    return math.ceil(round(number * DAYS_IN[unit] * working, 6))
