"""Bringing in booked surgery from a table or a calendar: cases new, moved, changed and cancelled; closures.

A booking is known by its id in the file, or by chart, day and procedures where the file has none, so the same
file read again changes nothing and a changed one moves or re-plans the case. A list and a calendar that hold
the same booking lead to one case. Cases go through the verbs of scheduling and rebooking.
"""

import datetime as dt
from collections import Counter
from functools import partial
from itertools import pairwise
from zoneinfo import ZoneInfo

from kits.booking_calendar import is_calendar, read_calendar
from kits.booking_changes import Plan, differences, plan_change, put_back_words
from kits.booking_matches import KnownCases, Named, identity_of, known_cases, match
from kits.booking_meanings import Clinicwise, Understood, check_words, gather, is_left_out, understand
from kits.booking_rows import Booked, BookingFile, read_rows
from kits.models import Case
from kits.procedure_words import code_of
from kits.rebooking import rebook, recognise
from kits.scheduling import book, cancel_case, move_case, plan_case
from practice.importing import Change, Meanings, Options, Report, Step, settle, with_remembered
from practice.models import Clinic, Closure
from practice.organising import close_days
from practice.patients import register
from practice.spreadsheets import Problem
from practice.teeth import show_teeth
from practice.workdays import Workdays

FILE_KIND = "bookings"
CLOSED = "closed"
GONE_REASON = "cancelled in the imported calendar"


def import_bookings(data: bytes, *, filename: str, clinic: Clinic, options: Options) -> Report:
    """Take in the bookings of one clinic; see the module. Raises UnreadableFile or NoHeaderRow."""
    meanings = with_remembered(options.meanings, clinic=clinic, file_kind=FILE_KIND)
    file = _read(data, filename, clinic, meanings, options)
    report = Report(
        filename, read=file.read, skipped=file.skipped, problems=file.problems, notices=file.notices
    )
    known = gather(file, clinic=clinic, meanings=meanings, report=report)
    steps = _closure_steps(known, options)
    bookings, gone = _understand_all(known, options)
    for row, words, teeth in file.broken:
        check_words(known, row=row, words=words, teeth=teeth)
    cases = known_cases(clinic, options.today)
    steps += _case_steps(known, cases, bookings, gone, options)
    understood = [named.booking for named in bookings]
    _note_double_bookings(known, understood)
    _note_closed_days(known, understood)
    return settle(report, steps, options=options, clinic=clinic, subject=filename)


def _read(data: bytes, filename: str, clinic: Clinic, meanings: Meanings, options: Options) -> BookingFile:
    zone = ZoneInfo(clinic.time_zone)
    if is_calendar(data):
        return read_calendar(
            data,
            filename=filename,
            zone=zone,
            today=options.today,
            is_known=lambda words: bool(code_of(words) or meanings.of(words, "procedure", "SUMMARY")),
        )
    return read_rows(
        data,
        filename=filename,
        zone=zone,
        columns=meanings.columns,
        day_first=meanings.day_first,
        encoding=meanings.encoding,
    )


def _understand_all(known: Clinicwise, options: Options) -> tuple[list[Named], list[Booked]]:
    """The bookings that stand, with their ids, and those that are off; others are counted or reported."""
    report = known.report
    found: list[Named] = []
    gone: list[Booked] = []
    rows: dict[tuple, int] = {}
    past = 0
    identities: Counter[str] = Counter()
    for booked in known.file.booked:
        if is_left_out(known, booked.words):
            report.skipped += 1
        elif booked.gone:
            gone.append(booked)
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
            found.append(Named(*identity_of(booked, booking.codes, identities), booking))
    if past:
        report.notices.append(
            Problem(0, known.file.header("on"), str(past), "So many bookings are past; left out.")
        )
    return found, gone


def _problem(known: Clinicwise, booked: Booked, column: str, reason: str) -> Problem:
    value = {"chart": booked.chart, "procedure": booked.words, "teeth": booked.teeth}
    value["on"] = booked.starts_at.date().isoformat()
    return Problem(booked.row, known.file.header(column), value.get(column, ""), reason)


def _case_steps(
    known: Clinicwise, cases: KnownCases, bookings: list[Named], gone: list[Booked], options: Options
) -> list[Step]:
    matches = match(bookings, gone, cases)
    steps = _cancel_steps(known, gone, matches.gone, options)
    linked = 0
    for number, named in enumerate(bookings):
        case = matches.booked.get(number)
        steps += _steps(known, named, case, cases, options)
        linked += case is not None and case.state in Case.OPEN and named.identity not in cases.said
    if linked:
        sentence = (
            "So many bookings were already here, booked by hand or from another file. From now on a change "
            "in this file reaches the same cases."
        )
        known.report.notices.append(Problem(0, known.file.header("chart"), str(linked), sentence))
    return steps


def _cancel_steps(
    known: Clinicwise, gone: list[Booked], cases: dict[int, Case], options: Options
) -> list[Step]:
    """Cancel the cases of bookings that the file says are off; one we never had is left out."""
    report, steps = known.report, []
    there = put_back_words(cases.values())
    for number, booked in enumerate(gone):
        case = cases.get(number)
        if case is None or case.state not in Case.OPEN:
            report.skipped += 1
            continue
        report.accepted += 1
        report.changes.append(Change(booked.row, "cancelled", case.code, f"{booked.chart} {booked.words}"))
        if case.pk in there:
            report.to_do.append(Change(booked.row, "put back", case.code, there[case.pk]))
        take = partial(cancel_case, case=case, reason=GONE_REASON, by=options.by, at=options.at)
        steps.append(Step(booked.row, known.file.header("status"), booked.chart, take))
    return steps


def _steps(
    known: Clinicwise, named: Named, case: Case | None, cases: KnownCases, options: Options
) -> list[Step]:
    report, booking, booked = known.report, named.booking, named.booking.booked
    if case is None:
        words = f"{booked.starts_at:%a %d %b %H:%M} {booked.chart}"
        report.accepted += 1
        report.changes.append(Change(booked.row, "booked", words, _plan_words(known, booking)))
        return [_step(known, booked, "on", partial(_book, known.clinic, named, options))]
    if case.state in Case.OPEN:
        return _change_steps(known, named, case, cases, options)
    report.unchanged += 1
    if case.state == Case.State.CANCELLED:
        sentence = f"{case.code} was cancelled here and stays so. Book it again by hand if it takes place."
        report.notices.append(_problem(known, booked, "chart", sentence))
    return []


def _plan_words(known: Clinicwise, booking: Understood) -> str:
    """Procedures and teeth as they were understood, for people to check against the file."""
    said = [procedure.short_name for procedure in booking.procedures]
    if booking.teeth:
        said.append(f"at {show_teeth(booking.teeth, known.clinic.tooth_notation)}")
    return ", ".join(said)


def _step(known: Clinicwise, booked: Booked, column: str, take) -> Step:
    value = booked.words if column == "procedure" else booked.starts_at.isoformat()
    return Step(booked.row, known.file.header(column), value, take)


def _change_steps(
    known: Clinicwise, named: Named, case: Case, cases: KnownCases, options: Options
) -> list[Step]:
    """Bring an open case to what the file says of it, or at least keep the id it has there."""
    report, booked = known.report, named.booking.booked
    plan = plan_change(case, named.booking, cases.last_said(named, case))
    report.notices += [_problem(known, booked, column, why) for column, why in plan.notices]
    moved = differences(case, named.booking, plan)
    if moved or plan.words:
        report.accepted += 1
        what, detail = "moved" if moved else "planned anew", "; ".join([*moved, *plan.words])
        report.changes.append(Change(booked.row, what, f"{case.code} {booked.chart}", detail))
    else:
        report.unchanged += 1
        if cases.heard(named):
            return []
        return [_step(known, booked, "on", partial(_recognise, case, named, options))]
    column = "procedure" if plan.words and not moved else "on"
    return [_step(known, booked, column, partial(_change, case, named, plan, options))]


def _book(clinic: Clinic, named: Named, options: Options) -> None:
    booking, booked = named.booking, named.booking.booked
    patient = register(
        practice=clinic.practice,
        chart_number=booked.chart,
        name=booked.name,
        born_in=booked.born_in,
        by=options.by,
        at=options.at,
    )
    case = book(
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
        external_id=named.identity,
        note=booked.note,
    )
    _recognise(case, named, options)


def _recognise(case: Case, named: Named, options: Options) -> None:
    said = {"procedures": named.booking.codes, "teeth": named.booking.teeth}
    recognise(case=case, identity=named.identity, **said, by=options.by, at=options.at)


def _change(case: Case, named: Named, plan: Plan, options: Options) -> None:
    """Bring a case to what its file says now; each verb leaves alone what is so already."""
    booking, booked, facts = named.booking, named.booking.booked, {"by": options.by, "at": options.at}
    if plan.words:
        rebook(case=case, procedures=plan.procedures, teeth=plan.teeth, **facts)
    move_case(
        case=case,
        starts_at=booked.starts_at,
        on=booked.starts_at.date(),
        minutes=plan.minutes or booked.minutes,
        room=booking.room,
        **facts,
    )
    if booking.clinician is not None and booking.clinician.pk != case.clinician_id:
        plan_case(case=case, clinician=booking.clinician, **facts)
    _recognise(case, named, options)


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
        report.changes.append(Change(row, "closed", f"{first:%d %b %Y} to {last:%d %b %Y}", words))
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
