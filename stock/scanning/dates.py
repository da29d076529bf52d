"""Dates as labels write them: two-digit years, days of the year, months without a day. Pure.

The day a label is read on is always handed in. Nothing here looks at the machine's clock, because a century
worked out from a wrong clock would give a graft another hundred years.
"""

import calendar
from datetime import date, time, timedelta


class ImpossibleDate(ValueError):
    """Digits on a label that name no day or hour. Carries the digits and a whole sentence."""

    def __init__(self, digits: str, reason: str) -> None:
        self.digits = digits
        self.reason = reason
        super().__init__(f"“{digits}” is not a date: {reason}.")


def full_year(two_digits: int, *, today: date) -> int:
    """The year a two-digit year stands for: from 49 years back to 50 years ahead of today's year.

    GS1 General Specifications, section 7.12. No rule for the century was found for HIBC, so the same window
    is used there.
    """
    century = today.year - today.year % 100
    ahead = two_digits - today.year % 100
    if ahead >= 51:
        return century - 100 + two_digits
    if ahead <= -50:
        return century + 100 + two_digits
    return century + two_digits


def from_parts(year: int, month: int, day: int, *, digits: str) -> tuple[date, bool]:
    """A day from its parts, and whether the label left the day out (00: the last day of that month).

    Raises ImpossibleDate, quoting ``digits``.
    """
    if not 1 <= month <= 12:
        raise ImpossibleDate(digits, f"there is no month {month:02d}")
    if not 1 <= year <= 9999:
        raise ImpossibleDate(digits, f"there is no year {year}")
    last = calendar.monthrange(year, month)[1]
    if day > last:
        raise ImpossibleDate(digits, f"that month of {year} has only {last} days")
    return date(year, month, day or last), day == 0


def from_yymmdd(digits: str, *, today: date) -> tuple[date, bool]:
    """Six digits YYMMDD as a day, and whether the day was left out. Raises ImpossibleDate."""
    year = full_year(int(digits[:2]), today=today)
    return from_parts(year, int(digits[2:4]), int(digits[4:6]), digits=digits)


def from_year_day(year: int, day_of_year: int, *, digits: str) -> date:
    """The given day (1 to 365 or 366) of a year. Raises ImpossibleDate, quoting ``digits``."""
    length = 366 if calendar.isleap(year) else 365
    if not 1 <= day_of_year <= length:
        raise ImpossibleDate(digits, f"{year} has no day {day_of_year}")
    return date(year, 1, 1) + timedelta(days=day_of_year - 1)


def hour(hours: int, minutes: int, *, digits: str) -> time:
    """A time of day. Raises ImpossibleDate, quoting ``digits``."""
    if hours > 23 or minutes > 59:
        raise ImpossibleDate(digits, f"there is no such time as {hours:02d}:{minutes:02d}")
    return time(hours, minutes)
