"""Booked surgery as it stands in a spreadsheet: rows with dates, times, charts and words, not yet understood.

The database is not asked. What the words mean for this clinic is settled in ``kits.importing_bookings``.
"""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial

from practice.spreadsheets import (
    Problem,
    Row,
    Sheet,
    UnreadableCell,
    Wanted,
    find_day_first,
    is_blank,
    read_date,
    read_sheet,
    read_text,
    read_time,
    read_whole,
    shown,
)

COLUMNS = (
    Wanted("on", ("Appt date", "date", "appointment date", "day", "surgery date")),
    Wanted("start", ("time", "start time", "appt time", "begins", "from"), required=False),
    Wanted("minutes", ("Dur (min)", "duration", "length", "dur", "duration (min)", "min"), required=False),
    Wanted("room", ("Chair", "operatory", "op", "surgery room"), required=False),
    Wanted("provider", ("clinician", "doctor", "dentist", "surgeon", "dr"), required=False),
    Wanted("chart", ("Chart #", "chart no", "chart number", "patient id", "patient no", "file no", "pat id")),
    Wanted("name", ("Patient", "patient name"), required=False),
    Wanted("born", ("DOB", "birth date", "date of birth", "birth year", "year of birth"), required=False),
    Wanted("procedure", ("treatment", "appointment type", "appt type", "type", "reason", "procedures")),
    Wanted("teeth", ("tooth", "site", "tooth no", "tooth #", "sites"), required=False),
    Wanted("status", ("state", "appt status"), required=False),
    Wanted("note", ("notes", "comment", "remarks"), required=False),
    Wanted("id", ("appt id", "appointment id", "booking id", "uid", "reference"), required=False),
)
GONE = re.compile(r"cancel|no[- ]?show|did not attend|\bdna\b|failed|broken|deleted", re.IGNORECASE)
SHORTEST, LONGEST = 5, 720  # minutes
YEAR = re.compile(r"(?:19|20)\d{2}")
LONGEST_NOTE = 255  # characters


@dataclass(frozen=True)
class Booked:
    """One booking as the file has it. ``starts_at`` is aware; minutes is None where the file does not say."""

    row: int
    identity: str
    starts_at: dt.datetime
    minutes: int | None
    chart: str
    words: str
    teeth: str = ""
    room: str = ""
    provider: str = ""
    name: str = ""
    born_in: int | None = None
    gone: bool = False
    note: str = ""


@dataclass
class BookingFile:
    """What a file of bookings holds. ``columns`` names our columns as the file writes them.

    Closures and other all-day entries are (row, first day, last day, words). Rows that cannot be booked as
    they are stand in ``broken`` as (row, words, teeth), so that these are checked all the same.
    """

    columns: Mapping[str, str]
    read: int = 0
    skipped: int = 0
    booked: list[Booked] = field(default_factory=list)
    closures: list[tuple[int, dt.date, dt.date, str]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    notices: list[Problem] = field(default_factory=list)
    others: list[tuple[int, dt.date, dt.date, str]] = field(default_factory=list)
    broken: list[tuple[int, str, str]] = field(default_factory=list)

    def header(self, name: str) -> str:
        """The column as the file writes it."""
        return self.columns.get(name, name)


def read_rows(
    data: bytes,
    *,
    filename: str,
    zone: dt.tzinfo,
    columns: Mapping[str, str],
    day_first: bool | None,
    encoding: str | None,
) -> BookingFile:
    """Read a table of bookings (CSV, XLSX, ...); every row is booked, or has problems.

    Raises UnreadableFile or NoHeaderRow.
    """
    sheet = read_sheet(data, filename=filename, wanted=COLUMNS, mapping=columns, encoding=encoding)
    found = BookingFile(sheet.columns, read=len(sheet.rows) + len(sheet.totals), skipped=len(sheet.totals))
    found.notices += sheet.problems
    order = find_day_first(sheet.column_values("on")) if day_first is None else day_first
    for row in sheet:
        problems: list[Problem] = []
        booked = _read_row(sheet, row, order, zone, problems)
        if problems:
            found.problems += problems
            found.broken.append((row.number, *(_as_text(row, name) for name in ("procedure", "teeth"))))
        else:
            found.booked.append(booked)
    return found


def _as_text(row: Row, name: str) -> str:
    return "" if is_blank(row[name]) else shown(row[name])


def _read_row(
    sheet: Sheet, row: Row, day_first: bool | None, zone: dt.tzinfo, problems: list[Problem]
) -> Booked | None:
    take = partial(sheet.take, row, problems=problems)
    on = take("on", read=partial(read_date, day_first=day_first, allow_month=False, century=2000))
    start = _start(sheet, row, problems)
    chart = take("chart", read=read_text) or ""
    words = take("procedure", read=read_text) or ""
    for name, value in (("chart", chart), ("procedure", words)):
        if not value:
            problems.append(sheet.problem(row, name, "This must not be empty."))
    minutes = take("minutes", read=partial(read_whole, least=SHORTEST), optional=True)
    if minutes is not None and minutes > LONGEST:
        problems.append(sheet.problem(row, "minutes", f"Nobody operates for {minutes} minutes."))
    texts = {
        name: take(name, read=read_text) or ""
        for name in ("room", "provider", "name", "teeth", "status", "note", "id")
    }
    born_in = _born_in(sheet, row, day_first, problems)
    if problems or on is None or start is None:
        return None
    return Booked(
        row=row.number,
        identity=texts["id"],
        starts_at=dt.datetime.combine(on, start, tzinfo=zone),
        minutes=minutes,
        chart=chart,
        words=words,
        teeth=texts["teeth"],
        room=texts["room"],
        provider=texts["provider"],
        name=texts["name"],
        born_in=born_in,
        gone=GONE.search(texts["status"]) is not None,
        note=texts["note"][:LONGEST_NOTE],
    )


def _start(sheet: Sheet, row: Row, problems: list[Problem]) -> dt.time | None:
    """The time of its own column, or of the date column where that holds whole moments."""
    if is_blank(row["start"]):
        moment = row["on"]
        if isinstance(moment, dt.datetime) and moment.time() != dt.time(0):
            return moment.time()
        text = "" if is_blank(moment) else str(moment)
        match = re.search(r"[T ](\d{1,2}:\d{2}(?::\d{2})?(?: ?[AP]M)?)", text, re.IGNORECASE)
        if match:
            return read_time(match[1])
    return sheet.take(row, "start", read_time, problems)


def _born_in(sheet: Sheet, row: Row, day_first: bool | None, problems: list[Problem]) -> int | None:
    """The birth year alone: that much tells two people apart, and no more is kept."""
    value = row["born"]
    if is_blank(value):
        return None
    try:
        text = read_text(value)
        return int(text) if YEAR.fullmatch(text) else read_date(value, day_first=day_first).year
    except UnreadableCell as refusal:
        # An ambiguous day still has an unambiguous year.
        year = YEAR.search(refusal.value)
        if year:
            return int(year[0])
        problems.append(sheet.problem(row, "born", refusal.reason))
        return None
