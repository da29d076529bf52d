"""Booked surgery as it stands in a calendar file (RFC 5545): events, series, closures.

No clock: the window of days is given. Series that repeat within the day are refused, since expanding them
can take for ever and no surgery does.
"""

import datetime as dt
import re
from collections.abc import Callable

import recurring_ical_events
from icalendar import Calendar
from icalendar.error import BrokenCalendarProperty

from kits.booking_rows import LONGEST, SHORTEST, Booked, BookingFile
from kits.procedure_words import code_of, says_closed
from practice.spreadsheets import Problem, UnreadableFile

START = b"BEGIN:VCALENDAR"
LARGEST = 5 * 1024 * 1024  # bytes; five thousand events are under two megabytes
MOST_EVENTS = 20_000
WINDOW_DAYS = 400
TOO_OFTEN = frozenset({"SECONDLY", "MINUTELY", "HOURLY"})
COLUMNS = {
    "on": "DTSTART",
    "start": "DTSTART",
    "minutes": "DTEND",
    "procedure": "SUMMARY",
    "teeth": "SUMMARY",
    "room": "LOCATION",
    "provider": "DESCRIPTION",
    "chart": "DESCRIPTION",
    "status": "STATUS",
    "id": "UID",
}
TOOTH_AT_END = re.compile(r"^(.*\S)\s+(#?\d{1,2}[,;&/]?)$")
CHART = re.compile(
    r"\b(?:chart|patient|pat|file|record)\s*(?:no\.?|number|id|#)?\s*[:#]?\s*([A-Z]{0,4}-?\d[\w/-]*)", re.I
)
PROVIDER = re.compile(r"\b((?:Dr|Doctor|Prof)\.?\s+[^\n,;]+)", re.IGNORECASE)
TAG = re.compile(r"<[^>]+>")


def is_calendar(data: bytes) -> bool:
    """Whether the bytes are a calendar file, whatever its name."""
    return data.lstrip(b"\xef\xbb\xbf \r\n\t")[: len(START)].upper() == START


def read_calendar(
    data: bytes,
    *,
    filename: str,
    zone: dt.tzinfo,
    today: dt.date,
    is_known: Callable[[str], bool] = lambda words: code_of(words) is not None,
) -> BookingFile:
    """Read a calendar from today through the next 400 days; ``row`` is the number of the event in the file.

    ``is_known`` tells which titles need no further taking apart.

    Raises UnreadableFile for files that are too large or no calendar.
    """
    if len(data) > LARGEST:
        raise UnreadableFile(filename, f"it is larger than {LARGEST // 1024**2} megabytes.")
    try:
        calendar = Calendar.from_ical(data)
    except ValueError as fault:
        raise UnreadableFile(filename, f"it is not a whole calendar ({str(fault)[:80]}).") from fault
    found = BookingFile(COLUMNS)
    rows = _sort_out(calendar, found, zone, today)
    repeated = {str(event.get("UID")) for event in calendar.walk("VEVENT") if "RRULE" in event}
    first = dt.datetime.combine(today, dt.time(0), tzinfo=zone)
    series = recurring_ical_events.of(calendar, skip_bad_series=True)
    occurrences = sorted(
        series.between(first, first + dt.timedelta(days=WINDOW_DAYS)),
        key=lambda event: (rows.get(str(event.get("UID")), 0), str(event["DTSTART"].dt)),
    )
    if len(occurrences) > MOST_EVENTS:
        raise UnreadableFile(filename, f"it holds more than {MOST_EVENTS:,} events of the coming year.")
    for event in occurrences:
        found.read += 1
        _read_event(event, rows.get(str(event.get("UID")), 0), found, zone, repeated, is_known)
    return found


def _sort_out(calendar: Calendar, found: BookingFile, zone: dt.tzinfo, today: dt.date) -> dict[str, int]:
    """Number the events; take out what cannot be expanded and count what lies outside the window."""
    rows: dict[str, int] = {}
    left_out: set[int] = set()
    for number, event in enumerate(list(calendar.walk("VEVENT")), start=1):
        rows.setdefault(str(event.get("UID")), number)
        reason = _unusable(event)
        if reason:
            found.read += 1
            found.problems.append(Problem(number, reason[0], reason[1], reason[2]))
            left_out.add(id(event))
        elif "RRULE" not in event and not _in_window(event, zone, today):
            found.read += 1
            found.skipped += 1
            left_out.add(id(event))
    calendar.subcomponents = [part for part in calendar.subcomponents if id(part) not in left_out]
    if found.skipped:
        found.notices.append(
            Problem(0, "DTSTART", str(found.skipped), "So many events lie in the past or over a year ahead.")
        )
    return rows


def _moment(event, name: str) -> dt.date | dt.datetime | None:
    """The day or moment of a property, or None where it is missing or cannot be read."""
    try:
        return event[name].dt
    except (KeyError, AttributeError, BrokenCalendarProperty):
        return None


def _unusable(event) -> tuple[str, str, str] | None:
    for name in ("DTSTART", "DTEND", "RECURRENCE-ID"):
        if _moment(event, name) is None and (name == "DTSTART" or name in event):
            said = next((str(fault) for column, fault in event.errors if column == name), "")
            return name, said[:80], "The event has no day or time here that can be read."
    rules = event.get("RRULE")
    for rule in rules if isinstance(rules, list) else [rules] if rules else []:
        often = {str(each).upper() for each in rule.get("FREQ", [])}
        if often & TOO_OFTEN or any(name in rule for name in ("BYSECOND", "BYMINUTE", "BYHOUR")):
            return (
                "RRULE",
                rule.to_ical().decode()[:80],
                "A series within the day is refused; no surgery does.",
            )
    return None


def _in_window(event, zone: dt.tzinfo, today: dt.date) -> bool:
    """Whether any day of a single event lies within the window."""
    start = _day(event["DTSTART"].dt, zone)
    ends = _moment(event, "DTEND")
    end = max(start, _day(ends, zone) - dt.timedelta(days=1)) if ends is not None else start
    return end >= today and start < today + dt.timedelta(days=WINDOW_DAYS)


def _day(moment: dt.date | dt.datetime, zone: dt.tzinfo) -> dt.date:
    return _aware(moment, zone).date() if isinstance(moment, dt.datetime) else moment


def _aware(moment: dt.datetime, zone: dt.tzinfo) -> dt.datetime:
    """A moment in the clinic's zone; a floating one means the clinic's wall clock (RFC 5545, 3.3.5)."""
    return moment.replace(tzinfo=zone) if moment.tzinfo is None else moment.astimezone(zone)


def _read_event(event, row: int, found: BookingFile, zone: dt.tzinfo, repeated: set[str], is_known) -> None:
    start = event["DTSTART"].dt
    summary = " ".join(str(event.get("SUMMARY", "")).split())
    if not isinstance(start, dt.datetime):
        last = _last_day(event, start)
        (found.closures if says_closed(summary) else found.others).append((row, start, last, summary))
        return
    begins = _aware(start, zone)
    description = TAG.sub("\n", str(event.get("DESCRIPTION", "")))
    chart, provider = CHART.search(description), PROVIDER.search(description)
    words, teeth = split_summary(summary, is_known)
    minutes = _minutes(event, begins, zone)
    found.booked.append(
        Booked(
            row=row,
            identity=_identity(event, repeated),
            starts_at=begins,
            minutes=minutes if minutes and SHORTEST <= minutes <= LONGEST else None,
            chart=chart[1] if chart else "",
            words=words,
            teeth=teeth,
            room=str(event.get("LOCATION", "")).strip(),
            provider=provider[1].strip() if provider else "",
            gone=str(event.get("STATUS", "")).upper() == "CANCELLED",
        )
    )


def _last_day(event, start: dt.date) -> dt.date:
    """The last day of an all-day event: its end is the day after (RFC 5545, 3.6.1)."""
    end = _moment(event, "DTEND")
    return max(start, end - dt.timedelta(days=1)) if end is not None else start


def _minutes(event, begins: dt.datetime, zone: dt.tzinfo) -> int | None:
    end = _moment(event, "DTEND")
    if not isinstance(end, dt.datetime):
        return None
    return round((_aware(end, zone) - begins).total_seconds() / 60)


def _identity(event, repeated: set[str]) -> str:
    """The event's UID; an occurrence of a series is known by its place in the series as well."""
    uid = str(event.get("UID", ""))
    if uid not in repeated:
        return uid
    place = event.get("RECURRENCE-ID") or event["DTSTART"]
    return f"{uid}@{place.dt.isoformat()}"


def split_summary(summary: str, is_known: Callable[[str], bool]) -> tuple[str, str]:
    """Words and teeth of an event's title: "Suture removal 11, 20" is ("Suture removal", "11, 20").

    Words that are known with a number of their own keep it: "Stage 2 9" is ("Stage 2", "9"). Where no split
    gives known words, all numbers at the end are teeth.
    """
    words, teeth = summary, ""
    while not is_known(words):
        match = TOOTH_AT_END.match(words)
        if match is None:
            break
        words, teeth = match[1], f"{match[2]} {teeth}".strip()
    return words, teeth
