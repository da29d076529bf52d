"""Working days. Weekdays of 2026 are checked against ISO 8601 week dates of the standard library."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from practice.workdays import BadCalendar, NeverOpen, workdays

MONDAY_TO_FRIDAY = "1111100"
DAY = dt.timedelta(days=1)
EASTER_2026 = dt.date(2026, 4, 5)  # Gregorian computus, Sunday; from memory, and it must be a Sunday.


def day(text):
    return dt.date.fromisoformat(text)


def with_easter():
    return workdays(weekdays=MONDAY_TO_FRIDAY, closures=[(EASTER_2026 - 2 * DAY, EASTER_2026 + DAY)])


def test_weekend_and_closure_are_closed():
    assert EASTER_2026.isoweekday() == 7
    calendar = with_easter()
    assert calendar.flags(day("2026-04-01"), 8) == [True, True, False, False, False, False, True, True]


def test_next_and_last_open_day():
    calendar = with_easter()
    assert calendar.on_or_after(day("2026-04-03")) == day("2026-04-07")
    assert calendar.on_or_before(day("2026-04-06")) == day("2026-04-02")
    assert calendar.on_or_after(day("2026-04-08")) == day("2026-04-08")


@pytest.mark.parametrize(
    ("needed", "lead", "order_by"),
    [
        ("2026-03-19", 3, "2026-03-16"),  # Thursday, three days back is Monday
        ("2026-03-18", 3, "2026-03-13"),  # three days back is Sunday: order on Friday
        ("2026-04-07", 1, "2026-04-02"),  # Monday is closed; sent on Thursday it comes on Tuesday
        ("2026-04-05", 3, "2026-03-30"),  # needed on a closed day: it must be in by Thursday
        ("2026-04-02", 0, "2026-04-02"),
    ],
)
def test_order_by_worked_by_hand(needed, lead, order_by):
    assert with_easter().order_by(day(needed), lead) == day(order_by)


def test_calendar_that_cannot_be_is_refused():
    with pytest.raises(BadCalendar, match="11111"):
        workdays(weekdays="11111")
    with pytest.raises(BadCalendar, match="ends before"):
        workdays(weekdays=MONDAY_TO_FRIDAY, closures=[(day("2026-04-03"), day("2026-04-02"))])


def test_clinic_that_never_opens_says_so():
    with pytest.raises(NeverOpen, match="closures"):
        workdays(weekdays="0000000").on_or_after(day("2026-04-03"))


@given(
    weekdays_open=st.text(alphabet="01", min_size=7, max_size=7).filter(lambda flags: "1" in flags),
    closures=st.lists(st.tuples(st.integers(0, 80), st.integers(0, 12)), max_size=4),
    needed=st.integers(60, 100),
    lead=st.integers(0, 30),
)
def test_order_by_is_the_last_open_day_in_time(weekdays_open, closures, needed, lead):
    start = day("2026-01-01")
    calendar = workdays(
        weekdays=weekdays_open,
        closures=[(start + DAY * first, start + DAY * (first + length)) for first, length in closures],
    )
    needed_on = start + DAY * needed
    found = calendar.order_by(needed_on, lead)
    assert calendar.is_open(found)
    assert calendar.arrival(found, lead) <= needed_on
    later = [found + DAY * step for step in range(1, (needed_on - found).days + 1)]
    assert not any(calendar.is_open(d) and calendar.arrival(d, lead) <= needed_on for d in later)
