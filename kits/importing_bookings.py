"""Bringing in booked surgery from a table or a calendar: new cases, moved cases, cancelled cases, closures.

A booking is known by its id in the file, or by chart, day and procedures where the file has none, so the same
file read again changes nothing and a changed one moves the case. Cases go through the verbs of scheduling.
"""

import datetime as dt
from collections import Counter
from dataclasses import dataclass, field
from functools import partial
from itertools import pairwise
from zoneinfo import ZoneInfo

from kits.booking_calendar import is_calendar, read_calendar
from kits.booking_meanings import Clinicwise, Understood, check_words, gather, is_left_out, understand
from kits.booking_rows import Booked, read_rows
from kits.models import Case
from kits.procedure_words import code_of
from kits.scheduling import book, cancel_case, move_case, plan_case
from practice.importing import Change, Options, Report, Step, settle, with_remembered
from practice.models import Clinic, Closure
from practice.organising import close_days
from practice.patients import register
from practice.spreadsheets import Problem
from practice.workdays import Workdays

FILE_KIND = "bookings"
CLOSED = "closed"
GONE_REASON = "cancelled in the imported calendar"
LONGEST_ID = 120  # characters


@dataclass
class _Known:
    """Cases that are there already, by their identity in a file and by what they are."""

    by_identity: dict[str, Case] = field(default_factory=dict)
    by_moment: dict[tuple, Case] = field(default_factory=dict)


def import_bookings(data: bytes, *, filename: str, clinic: Clinic, options: Options) -> Report:
    """Take in the bookings of one clinic; see the module. Raises UnreadableFile or NoHeaderRow."""
    meanings = with_remembered(options.meanings, clinic=clinic, file_kind=FILE_KIND)
    zone = ZoneInfo(clinic.time_zone)
    if is_calendar(data):
        file = read_calendar(
            data,
            filename=filename,
            zone=zone,
            today=options.today,
            is_known=lambda words: bool(code_of(words) or meanings.of(words, "procedure", "SUMMARY")),
        )
    else:
        file = read_rows(
            data,
            filename=filename,
            zone=zone,
            columns=meanings.columns,
            day_first=meanings.day_first,
            encoding=meanings.encoding,
        )
    report = Report(
        filename, read=file.read, skipped=file.skipped, problems=file.problems, notices=file.notices
    )
    known = gather(file, clinic=clinic, meanings=meanings, report=report)
    steps = _closure_steps(known, options)
    cases = _known_cases(clinic, options.today)
    bookings = _understand_all(known, cases, options, steps)
    for row, words, teeth in file.broken:
        check_words(known, row=row, words=words, teeth=teeth)
    for identity, booking in bookings:
        steps += _steps(known, identity, booking, cases, options)
    _note_double_bookings(known, [booking for _, booking in bookings])
    _note_closed_days(known, [booking for _, booking in bookings])
    return settle(report, steps, options=options, clinic=clinic, subject=filename)


def _known_cases(clinic: Clinic, today: dt.date) -> _Known:
    known = _Known()
    cases = Case.objects.filter(clinic=clinic).select_related("patient", "room", "clinician")
    for case in cases.exclude(external_id="").filter(on__gte=today - dt.timedelta(days=31)):
        known.by_identity[case.external_id] = case
    for case in (
        cases.filter(on__gte=today)
        .exclude(state=Case.State.CANCELLED)
        .prefetch_related("procedures__procedure")
    ):
        codes = frozenset(each.procedure.code for each in case.procedures.all())
        known.by_moment[(case.patient.chart_number, case.starts_at, codes)] = case
    return known


def _understand_all(
    known: Clinicwise, cases: _Known, options: Options, steps: list[Step]
) -> list[tuple[str, Understood]]:
    """The bookings that stand, with their identities; the others are counted, cancelled or reported."""
    report = known.report
    found: list[tuple[str, Understood]] = []
    rows: dict[tuple, int] = {}
    past = 0
    identities: Counter[str] = Counter()
    for booked in known.file.booked:
        if is_left_out(known, booked.words):
            report.skipped += 1
        elif booked.gone:
            steps += _cancel_steps(known, booked, cases, options)
        elif booked.starts_at.date() < options.today:
            report.skipped += 1
            past += 1
        elif (booking := understand(known, booked)) is not None:
            key = (booked.chart, booked.starts_at, booking.codes)
            if key in rows:
                report.skipped += 1
                report.notices.append(
                    _problem(known, booked, "chart", f"The same booking as row {rows[key]}.")
                )
                continue
            rows[key] = booked.row
            found.append((_identity(booked, booking.codes, identities), booking))
    if past:
        report.notices.append(
            Problem(0, known.file.header("on"), str(past), "So many bookings are past; left out.")
        )
    return found


def _problem(known: Clinicwise, booked: Booked, name: str, reason: str) -> Problem:
    value = {"chart": booked.chart, "procedure": booked.words, "on": booked.starts_at.date().isoformat()}
    return Problem(booked.row, known.file.header(name), value.get(name, ""), reason)


def _identity(booked: Booked, codes: tuple[str, ...], seen: Counter[str]) -> str:
    """The id of the file, or chart, day and procedures; a second such visit that day gets a number."""
    if booked.identity:
        return booked.identity[:LONGEST_ID]
    base = f"{booked.chart}|{booked.starts_at.date().isoformat()}|{'+'.join(codes)}"
    seen[base] += 1
    return (base if seen[base] == 1 else f"{base}|{seen[base]}")[:LONGEST_ID]


def _find(cases: _Known, identity: str, booking: Understood) -> Case | None:
    moment = (booking.booked.chart, booking.booked.starts_at, frozenset(booking.codes))
    return cases.by_identity.get(identity) or cases.by_moment.get(moment)


def _cancel_steps(known: Clinicwise, booked: Booked, cases: _Known, options: Options) -> list[Step]:
    """Cancel the case of a booking that the file says is off; one we never had is left out."""
    case = cases.by_identity.get(booked.identity[:LONGEST_ID]) if booked.identity else None
    if case is None:
        # Without an id the chart and the moment tell which case it was.
        case = next(
            (c for (chart, at, _), c in cases.by_moment.items() if (chart, at) == _place(booked)), None
        )
    if case is None or case.state not in Case.OPEN:
        known.report.skipped += 1
        return []
    known.report.accepted += 1
    known.report.changes.append(Change(booked.row, "cancelled", case.code, f"{booked.chart} {booked.words}"))
    take = partial(cancel_case, case=case, reason=GONE_REASON, by=options.by, at=options.at)
    return [Step(booked.row, known.file.header("status"), booked.chart, take)]


def _place(booked: Booked) -> tuple[str, dt.datetime]:
    return booked.chart, booked.starts_at


def _steps(
    known: Clinicwise, identity: str, booking: Understood, cases: _Known, options: Options
) -> list[Step]:
    report, booked = known.report, booking.booked
    case = _find(cases, identity, booking)
    words = f"{booked.starts_at:%a %d %b %H:%M} {booked.chart} {', '.join(booking.codes)}"
    if case is None:
        report.accepted += 1
        report.changes.append(Change(booked.row, "booked", words))
        take = partial(_book, known.clinic, identity, booking, options)
    elif case.state not in Case.OPEN:
        report.unchanged += 1
        if case.state == Case.State.CANCELLED:
            sentence = (
                f"{case.code} was cancelled here and stays so. Book it again by hand if it takes place."
            )
            report.notices.append(_problem(known, booked, "chart", sentence))
        return []
    else:
        _note_other_plan(known, booking, case)
        differs = _differences(case, booking)
        if not differs:
            report.unchanged += 1
            return []
        report.accepted += 1
        report.changes.append(Change(booked.row, "moved", f"{case.code} {booked.chart}", "; ".join(differs)))
        take = partial(_move, case, booking, options)
    return [Step(booked.row, known.file.header("on"), booked.starts_at.isoformat(), take)]


def _differences(case: Case, booking: Understood) -> list[str]:
    """What the file says otherwise of a case's time and people, in words."""
    booked, said = booking.booked, []
    if case.starts_at != booked.starts_at:
        was = case.starts_at.astimezone(booked.starts_at.tzinfo)
        said.append(f"{was:%a %d %b %H:%M} → {booked.starts_at:%a %d %b %H:%M}")
    if booked.minutes is not None and case.minutes != booked.minutes:
        said.append(f"{case.minutes} → {booked.minutes} min")
    if booking.room is not None and case.room_id != booking.room.pk:
        said.append(f"room {case.room or 'none'} → {booking.room}")
    if booking.clinician is not None and case.clinician_id != booking.clinician.pk:
        said.append(f"{case.clinician or 'nobody'} → {booking.clinician}")
    return said


def _note_other_plan(known: Clinicwise, booking: Understood, case: Case) -> None:
    planned = {each.procedure.code for each in case.procedures.all() if each.planned}
    if planned != set(booking.codes):
        plan = ", ".join(sorted(planned))
        sentence = f"{case.code} is planned as {plan}. Change its plan by hand if that is wrong."
        known.report.notices.append(_problem(known, booking.booked, "procedure", sentence))


def _book(clinic: Clinic, identity: str, booking: Understood, options: Options) -> None:
    booked = booking.booked
    patient = register(
        practice=clinic.practice,
        chart_number=booked.chart,
        name=booked.name,
        born_in=booked.born_in,
        by=options.by,
        at=options.at,
    )
    book(
        clinic=clinic,
        patient=patient,
        procedures=list(booking.procedures),
        starts_at=booked.starts_at,
        on=booked.starts_at.date(),
        minutes=booking.minutes,
        room=booking.room,
        clinician=booking.clinician,
        teeth=list(booking.teeth),
        by=options.by,
        at=options.at,
        external_id=identity,
        note=booked.note,
    )


def _move(case: Case, booking: Understood, options: Options) -> None:
    booked, facts = booking.booked, {"by": options.by, "at": options.at}
    move_case(
        case=case,
        starts_at=booked.starts_at,
        on=booked.starts_at.date(),
        minutes=booked.minutes,
        room=booking.room,
        **facts,
    )
    if booking.clinician is not None and booking.clinician.pk != case.clinician_id:
        plan_case(case=case, clinician=booking.clinician, **facts)


def _closure_steps(known: Clinicwise, options: Options) -> list[Step]:
    """Close the clinic on all-day entries that say so; other all-day entries need a meaning."""
    report, file, clinic = known.report, known.file, known.clinic
    column = file.header("procedure")
    there = set(Closure.objects.filter(clinic=clinic).values_list("starts_on", "ends_on"))
    steps = []
    closures = list(file.closures)
    for entry in file.others:
        words = entry[3]
        if known.meanings.of(words, "procedure", column) == CLOSED:
            closures.append(entry)
        elif is_left_out(known, words):
            report.skipped += 1
        else:
            report.leave_unmapped(column, words)
    for row, first, last, words in closures:
        if (first, last) in there:
            report.unchanged += 1
            continue
        report.accepted += 1
        report.changes.append(Change(row, "closed", f"{first} to {last}", words))
        take = partial(
            close_days,
            clinic=clinic,
            starts_on=first,
            ends_on=last,
            reason=words,
            by=options.by,
            at=options.at,
        )
        steps.append(Step(row, column, words, take))
    return steps


def _note_double_bookings(known: Clinicwise, bookings: list[Understood]) -> None:
    """Say where one clinician or one room is booked twice at once; both cases stand."""
    for name, of in (("provider", lambda b: b.booked.provider), ("room", lambda b: b.booked.room)):
        ordered = sorted((b for b in bookings if of(b)), key=lambda b: (of(b).casefold(), b.booked.starts_at))
        for earlier, later in pairwise(ordered):
            same = of(earlier).casefold() == of(later).casefold()
            ends = earlier.booked.starts_at + dt.timedelta(minutes=earlier.minutes)
            if same and later.booked.starts_at < ends:
                known.report.notices.append(
                    Problem(
                        later.booked.row,
                        known.file.header(name),
                        of(later),
                        f"Booked twice at once: row {earlier.booked.row} lasts until {ends:%H:%M}.",
                    )
                )


def _note_closed_days(known: Clinicwise, bookings: list[Understood]) -> None:
    closures = [(c.starts_on, c.ends_on) for c in known.clinic.closures.all()]
    closures += [(first, last) for _, first, last, _ in known.file.closures]
    days = Workdays(known.clinic.open_weekdays, tuple(closures))
    shut: dict[dt.date, list[Understood]] = {}
    for booking in bookings:
        on = booking.booked.starts_at.date()
        if not days.is_open(on):
            shut.setdefault(on, []).append(booking)
    for there in shut.values():
        count = "1 booking" if len(there) == 1 else f"{len(there)} bookings"
        sentence = f"{known.clinic} is closed on that day: {count}, this one first."
        known.report.notices.append(_problem(known, there[0].booked, "on", sentence))
