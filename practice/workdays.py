"""A clinic's working days: which weekdays it opens, and when it is closed.

Pure: days go in, days come out; the clock and the database stay outside.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

ONE_DAY = dt.timedelta(days=1)
# Longest closure that is believed, in days: past it the calendar itself must be wrong.
LONGEST_CLOSURE_DAYS = 400


class BadCalendar(ValueError):
    """The weekday flags or a closure cannot be understood."""


class NeverOpen(ValueError):
    """No open day was found within reach, so a date that needs one cannot be told."""


@dataclass(frozen=True)
class Workdays:
    """Open days of one clinic.

    weekdays: seven characters, Monday first, "1" for a weekday on which the clinic opens.
    closures: pairs (first day, last day) on which it stays closed, both ends included.
    """

    weekdays: str
    closures: tuple[tuple[dt.date, dt.date], ...] = ()

    def __post_init__(self) -> None:
        if len(self.weekdays) != 7 or set(self.weekdays) - {"0", "1"}:
            raise BadCalendar(
                f"Open weekdays are seven characters 0 or 1, Monday first; “{self.weekdays}” is not."
            )
        for first, last in self.closures:
            if last < first:
                raise BadCalendar(f"The closure from {first} to {last} ends before it starts.")

    @cached_property
    def _closed(self) -> frozenset[dt.date]:
        return frozenset(
            first + ONE_DAY * offset
            for first, last in self.closures
            for offset in range((last - first).days + 1)
        )

    def is_open(self, day: dt.date) -> bool:
        """Whether the clinic opens on that day."""
        return self.weekdays[day.weekday()] == "1" and day not in self._closed

    def on_or_after(self, day: dt.date) -> dt.date:
        """The first open day that is not before `day`; raises NeverOpen."""
        return self._search(day, ONE_DAY)

    def on_or_before(self, day: dt.date) -> dt.date:
        """The last open day that is not after `day`; raises NeverOpen."""
        return self._search(day, -ONE_DAY)

    def _search(self, day: dt.date, step: dt.timedelta) -> dt.date:
        for offset in range(LONGEST_CLOSURE_DAYS):
            if self.is_open(day + step * offset):
                return day + step * offset
        raise NeverOpen(
            f"No open day within {LONGEST_CLOSURE_DAYS} days of {day}. Check the weekdays and closures."
        )

    def flags(self, start: dt.date, days: int) -> list[bool]:
        """One flag for each of `days` days from `start` on: True where the clinic opens."""
        return [self.is_open(start + ONE_DAY * offset) for offset in range(days)]

    def arrival(self, sent: dt.date, lead_days: int) -> dt.date:
        """The day goods sent for on `sent` can be received: `lead_days` calendar days later, once open."""
        return self.on_or_after(sent + ONE_DAY * lead_days)

    def order_by(self, needed: dt.date, lead_days: int) -> dt.date:
        """The last open day to order on so that goods are received on or before `needed`.

        They are received on an open day only, so a closure before `needed` moves the day back.
        """
        order = self.on_or_before(self.on_or_before(needed) - ONE_DAY * lead_days)
        while self.arrival(order, lead_days) > needed:
            order = self.on_or_before(order - ONE_DAY)
        return order


def workdays(*, weekdays: str, closures: Iterable[tuple[dt.date, dt.date]] = ()) -> Workdays:
    """The calendar of a clinic from its flags and its closures; raises BadCalendar."""
    return Workdays(weekdays, tuple(sorted(closures)))
