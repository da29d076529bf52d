"""What a file says otherwise of a case that is there: time, people and plan, and what lies on its tray.

A change of plan is one that the file made since it was last read. What people planned here in the meantime
stays, and where file and plan simply disagree, that is said and nothing is done.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from kits.booking_meanings import Understood
from kits.models import Case, FileBooking, Procedure, TrayUnit
from kits.rebooking import teeth_words
from practice.teeth import show_teeth


@dataclass(frozen=True)
class Plan:
    """The plan a case should get, with the changes in words (none: it stays) and what to take note of.

    teeth are FDI numbers. minutes is set only where other procedures bring another length. A notice is the
    column of ours it belongs to, and a sentence.
    """

    procedures: tuple[Procedure, ...] = ()
    teeth: tuple[str, ...] = ()
    minutes: int | None = None
    words: list[str] = field(default_factory=list)
    notices: list[tuple[str, str]] = field(default_factory=list)


def differences(case: Case, booking: Understood, plan: Plan) -> list[str]:
    """What the file says otherwise of a case's time and people, in words."""
    booked, said = booking.booked, []
    if case.starts_at != booked.starts_at:
        was = case.starts_at.astimezone(booked.starts_at.tzinfo)
        said.append(f"{was:%a %d %b %H:%M} → {booked.starts_at:%a %d %b %H:%M}")
    minutes = booked.minutes or plan.minutes
    if minutes is not None and case.minutes != minutes:
        said.append(f"{case.minutes} → {minutes} min")
    if booking.room is not None and case.room_id != booking.room.pk:
        said.append(f"room {case.room or 'none'} → {booking.room}")
    if booking.clinician is not None and case.clinician_id != booking.clinician.pk:
        said.append(f"{case.clinician or 'nobody'} → {booking.clinician}")
    return said


def plan_change(case: Case, booking: Understood, last: FileBooking | None) -> Plan:
    """The plan that follows from what the file says now and what it said last (None: never heard of).

    Teeth: those that the file dropped go, those it added come, those that people added stay. A file without
    teeth says nothing about them.
    """
    procedures, words, notices = _procedures(case, booking, last)
    teeth, more_words, more_notices = _teeth(case, booking, last)
    takes_their_minutes = bool(words) and booking.booked.minutes is None
    return Plan(
        procedures=procedures,
        teeth=teeth,
        minutes=booking.minutes if takes_their_minutes else None,
        words=words + more_words,
        notices=notices + more_notices,
    )


def _procedures(case: Case, booking: Understood, last: FileBooking | None) -> tuple[tuple, list, list]:
    planned = {each.procedure.code: each.procedure for each in case.procedures.all() if each.planned}
    before, now = ", ".join(planned), set(booking.codes)
    if now == set(planned):
        return tuple(planned.values()), [], []
    if last is not None and now != set(last.procedures.split()):
        return booking.procedures, [f"{before} → {', '.join(booking.codes)}"], []
    sentence = f"{case.code} is planned as {before}. Change its plan by hand if that is wrong."
    return tuple(planned.values()), [], [("procedure", sentence)]


def _teeth(case: Case, booking: Understood, last: FileBooking | None) -> tuple[tuple, list, list]:
    had, notation = [site.tooth for site in case.sites.all()], case.clinic.tooth_notation
    dropped = set(last.teeth.split()) - set(booking.teeth) if last is not None and booking.teeth else set()
    wanted = tuple(dict.fromkeys([*(tooth for tooth in had if tooth not in dropped), *booking.teeth]))
    if set(wanted) == set(had):
        return tuple(had), [], []
    if not had or (last is not None and set(booking.teeth) != set(last.teeth.split())):
        return wanted, [teeth_words(had, wanted, notation) + _lost(case, wanted)], []
    if last is not None:
        return tuple(had), [], []
    shown = show_teeth(tuple(had), notation)
    sentence = f"{case.code} is planned at {shown}. Change its teeth by hand if that is wrong."
    return tuple(had), [], [("teeth", sentence)]


def _lost(case: Case, teeth: Iterable[str]) -> str:
    """A warning where an implant was planned at a tooth that goes."""
    lost = [str(site.implant) for site in case.sites.all() if site.tooth not in teeth and site.implant]
    return f" (no longer planned: {', '.join(lost)})" if lost else ""


def put_back_words(cases: Iterable[Case]) -> dict[int, str]:
    """What lies on the tray of each case and where it goes when the case is cancelled, by case id."""
    pending = (
        TrayUnit.objects.filter(line__case__in=list(cases), outcome=TrayUnit.Outcome.PENDING)
        .select_related("line", "lot__item", "place", "tray")
        .order_by("place__name", "pk")
    )
    back: dict[int, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    opened: dict[int, list[str]] = defaultdict(list)
    for unit in pending:
        what = f"{unit.quantity} × {unit.lot}"
        if unit.opened_at is None:
            back[unit.line.case_id][f"from {unit.tray} to {unit.place}"].append(what)
        else:
            opened[unit.line.case_id].append(what)
    said = {}
    for case_id in {*back, *opened}:
        parts = [f"Put back {way}: {', '.join(units)}." for way, units in back[case_id].items()]
        if opened[case_id]:
            parts.append(f"Opened, so it is wasted: {', '.join(opened[case_id])}.")
        said[case_id] = " ".join(parts)
    return said
