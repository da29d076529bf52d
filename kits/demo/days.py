"""The calendar of the demo practice, relative to the day it is built for."""

import datetime as dt
from dataclasses import dataclass
from functools import cached_property
from zoneinfo import ZoneInfo

from kits.demo.cast import CLINICS
from practice.workdays import Workdays, workdays

ZONE = ZoneInfo("Europe/London")
ONE_DAY = dt.timedelta(days=1)
# Implants placed this long before the history begins bring their later visits into it (unit: days).
RUN_UP_DAYS = 210
# Bookings reach this far ahead (unit: days).
AHEAD_DAYS = 35
# January to December: how busy each month is against an ordinary one.
MONTH_FACTORS = (1.04, 1.00, 1.05, 0.98, 1.00, 0.95, 0.86, 0.80, 1.03, 1.08, 1.08, 0.78)
GROWTH_OVER_A_YEAR = 0.03


def first_monday(year: int, month: int) -> dt.date:
    """The first Monday of a month."""
    first = dt.date(year, month, 1)
    return first + ONE_DAY * (-first.weekday() % 7)


def last_monday(year: int, month: int) -> dt.date:
    """The last Monday of a month that has 31 days."""
    last = dt.date(year, month, 31)
    return last - ONE_DAY * last.weekday()


def _holidays(year: int) -> list[tuple[dt.date, dt.date, str]]:
    """Eight invented public holidays and the week the practice rests, as (first, last, reason)."""
    days = [
        dt.date(year, 1, 1),
        first_monday(year, 4),
        first_monday(year, 5),
        last_monday(year, 5),
        last_monday(year, 8),
        first_monday(year, 10),
    ]
    found = [(day, day, "Public holiday") for day in days]
    return [*found, (dt.date(year, 12, 25), dt.date(year, 12, 31), "Closed between the years")]


@dataclass(frozen=True)
class DemoDays:
    """Every day of the demo: the day it is built for, and how many weeks of history it has."""

    today: dt.date
    weeks: int = 52

    @property
    def start(self) -> dt.date:
        """First day of the ledger."""
        return self.today - dt.timedelta(weeks=self.weeks)

    @property
    def run_up(self) -> dt.date:
        """First day of the surgery that only brings later visits."""
        return self.start - dt.timedelta(days=RUN_UP_DAYS)

    @property
    def end(self) -> dt.date:
        """Last day that may be booked."""
        return self.today + dt.timedelta(days=AHEAD_DAYS)

    def closures(self, clinic: str) -> list[tuple[dt.date, dt.date, str]]:
        """(first day, last day, reason) of every closure that can matter."""
        found = []
        for year in range(self.run_up.year, self.end.year + 2):
            found += _holidays(year)
            if clinic == "B":
                summer = first_monday(year, 8)
                found.append((summer, summer + ONE_DAY * 13, "Summer closure"))
        return sorted(found)

    @cached_property
    def _workdays(self) -> dict[str, Workdays]:
        return {
            code: workdays(weekdays=flags, closures=[(a, b) for a, b, _ in self.closures(code)])
            for code, _, flags in CLINICS
        }

    def is_open(self, clinic: str, day: dt.date) -> bool:
        """Whether the clinic opens that day."""
        return self._workdays[clinic].is_open(day)

    def open_from(self, clinic: str, day: dt.date) -> dt.date:
        """The first open day on or after a day."""
        return self._workdays[clinic].on_or_after(day)

    @property
    def surgery_day(self) -> dt.date:
        """Today, or the next day that Skellowick Road opens."""
        return self.open_from("A", self.today)

    @property
    def next_surgery_day(self) -> dt.date:
        """The open day at Skellowick Road after ``surgery_day``."""
        return self.open_from("A", self.surgery_day + ONE_DAY)

    def busyness(self, day: dt.date) -> float:
        """How busy a day is against an ordinary one: the month, and the growth over the year."""
        share = (day - self.start).days / 365
        return MONTH_FACTORS[day.month - 1] * (1 + GROWTH_OVER_A_YEAR * share)


def moment(day: dt.date, hour: int, minute: int = 0) -> dt.datetime:
    """A moment of a day at the practice."""
    extra, minute = divmod(minute, 60)
    return dt.datetime.combine(day, dt.time(hour + extra, minute), tzinfo=ZONE)
