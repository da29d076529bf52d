"""Calendars as RFC 5545 has them: zones, series, cancelled and all-day events, and what is refused."""

import datetime as dt
import time
from zoneinfo import ZoneInfo

import pytest

from kits.booking_calendar import is_calendar, read_calendar, split_summary
from kits.procedure_words import code_of
from practice.spreadsheets import UnreadableFile

LONDON = ZoneInfo("Europe/London")
TODAY = dt.date(2026, 3, 20)


def calendar(*events):
    bodies = ("\r\n".join(("BEGIN:VEVENT", *lines, "END:VEVENT")) for lines in events)
    return "\r\n".join(
        ("BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//t//EN", *bodies, "END:VCALENDAR", "")
    ).encode()


def event(uid="a", start="20260401T090000", *more, summary="Extraction 4"):
    return (
        f"UID:{uid}",
        f"DTSTART:{start}",
        f"SUMMARY:{summary}",
        "DESCRIPTION:Chart P-1\\nDr Q. Marr",
        *more,
    )


def read(*events):
    return read_calendar(calendar(*events), filename="c.ics", zone=LONDON, today=TODAY)


def test_a_floating_time_is_the_clinics_and_utc_is_turned():
    """RFC 5545, 3.3.5. The clocks went forward on 29 March 2026 in London (EU summer time rule)."""
    floating, utc = read(event("a"), event("b", "20260401T090000Z")).booked
    assert floating.starts_at == dt.datetime(2026, 4, 1, 9, tzinfo=LONDON)
    assert utc.starts_at == dt.datetime(2026, 4, 1, 10, tzinfo=LONDON)


def test_a_series_keeps_its_wall_clock_across_the_change_and_each_has_its_own_id():
    found = read(event("s", "20260326T090000", "RRULE:FREQ=WEEKLY;COUNT=3", "EXDATE:20260402T090000")).booked
    assert [b.starts_at.hour for b in found] == [9, 9]
    assert [b.starts_at.date().day for b in found] == [26, 9]
    assert len({b.identity for b in found}) == 2


def test_length_comes_from_end_or_duration():
    ends = event("a", "20260401T090000", "DTEND:20260401T103000")
    lasts = event("b", "20260401T090000", "DURATION:PT45M")
    assert [b.minutes for b in read(ends, lasts, event("c")).booked] == [90, 45, None]


def test_chart_and_clinician_are_found_in_the_description():
    booked = read(event()).booked[0]
    assert (booked.chart, booked.provider, booked.words, booked.teeth) == (
        "P-1",
        "Dr Q. Marr",
        "Extraction",
        "4",
    )


@pytest.mark.parametrize(
    ("summary", "words", "teeth"),
    [
        ("Suture removal 11, 20", "Suture removal", "11, 20"),
        ("Suture removal 11 20", "Suture removal", "11 20"),
        ("Stage 2", "Stage 2", ""),
        ("Stage 2 9", "Stage 2", "9"),
        ("Implant stage 1 #14, #20", "Implant stage 1", "#14, #20"),
        ("Something odd 9", "Something odd", "9"),
        ("Team meeting", "Team meeting", ""),
    ],
)
def test_teeth_are_taken_from_the_end_of_the_title(summary, words, teeth):
    assert split_summary(summary, lambda text: code_of(text) is not None) == (words, teeth)


def test_cancelled_and_all_day_events():
    found = read(
        event("a", "20260401T090000", "STATUS:CANCELLED"),
        ("UID:b", "DTSTART;VALUE=DATE:20260406", "DTEND;VALUE=DATE:20260408", "SUMMARY:Closed"),
        ("UID:c", "DTSTART;VALUE=DATE:20260409", "SUMMARY:Course"),
    )
    assert [b.gone for b in found.booked] == [True]
    # The end of an all-day event is the day after its last (RFC 5545, 3.6.1).
    assert found.closures == [(2, dt.date(2026, 4, 6), dt.date(2026, 4, 7), "Closed")]
    assert found.others == [(3, dt.date(2026, 4, 9), dt.date(2026, 4, 9), "Course")]


def test_a_series_within_the_day_is_refused_at_once():
    started = time.monotonic()
    found = read(
        *(event(f, "20260401T090000", f"RRULE:FREQ={f}") for f in ("SECONDLY", "MINUTELY", "HOURLY"))
    )
    assert [p.reason for p in found.problems] == ["A series within the day is refused; no surgery does."] * 3
    assert time.monotonic() - started < 2


def test_events_that_cannot_be_read_or_lie_outside_are_counted_and_said():
    found = read(event("a", "20261301T090000"), event("b", "20200401T090000"), event("c"))
    assert (found.read, found.skipped, len(found.booked)) == (3, 1, 1)
    assert (found.problems[0].row, found.problems[0].column) == (1, "DTSTART")


def test_what_is_no_calendar_is_refused_in_words():
    assert is_calendar(b"\xef\xbb\xbfBEGIN:VCALENDAR\r\n")
    assert not is_calendar(b"PK\x03\x04")
    with pytest.raises(UnreadableFile, match="not a whole calendar"):
        read_calendar(b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n", filename="c", zone=LONDON, today=TODAY)
    with pytest.raises(UnreadableFile, match="larger than 5 megabytes"):
        read_calendar(b"BEGIN:VCALENDAR" + b" " * 6_000_000, filename="c", zone=LONDON, today=TODAY)


def test_five_thousand_events_are_read_in_reasonable_time():
    started = time.monotonic()
    found = read(*(event(str(n), f"202604{n % 28 + 1:02}T{8 + n % 9:02}0000") for n in range(5000)))
    assert len(found.booked) == 5000
    assert time.monotonic() - started < 20
