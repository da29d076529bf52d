"""Booking, moving and cancelling cases, and deciding their plan: teeth, implants, choices, findings."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from enum import Enum
from typing import Final
from zoneinfo import ZoneInfo

from django.db import transaction

from kits.case_codes import next_code
from kits.chairside import OtherCase
from kits.models import (
    BomVersion,
    Case,
    CaseProcedure,
    CaseSite,
    PlanChoice,
    Procedure,
    TrayUnit,
)
from kits.tray import WrongState, keep_in_step, locked, source_of
from practice import audit
from practice.models import Clinic, Patient, Room
from practice.refusals import Refusal
from practice.teeth import UnknownTooth, is_tooth
from stock.consuming import waste
from stock.models import Entry, Item
from stock.moving import put_back

BOOK = audit.action("case.book", "booked {subject} for {patient}, {on}: {procedures}")
MOVE = audit.action("case.move", "moved {subject} from {before} to {after}")
CANCEL = audit.action("case.cancel", "cancelled {subject}: {reason}")
PLAN_SITE = audit.action("case.plan-site", "planned {tooth} of {subject}: {what}")
PLAN = audit.action("case.plan", "set the plan of {subject}: {what}")
CHOOSE = audit.action("case.choose", "chose for {subject} {place}: {choice} as {what}")

_MEASURES = (
    *("longest_safe_mm", "widest_safe_mm", "healing_height_mm", "connection_in_place"),
    *("defect_width_mm", "defect_height_mm", "graft_cc"),
)


class Kept(Enum):
    """The one value that means "as it is" where nothing at all (None) means "cleared"."""

    KEEP = "as it is"


KEEP: Final = Kept.KEEP
_CASE_FIELDS = ("graft_material", "membrane_class", "guided", "clinician", "assistant", "note")


class NothingPublished(Refusal):
    """A procedure has no bill to set out by."""

    def __init__(self, procedure: Procedure) -> None:
        super().__init__(f"{procedure} has no published bill of materials. Publish one, then book it.")


class NoProcedure(Refusal):
    """A booking without a procedure needs nothing."""

    def __init__(self) -> None:
        super().__init__("Say which procedure is booked; without one there is nothing to set out.")


class OtherClinic(Refusal):
    """The room stands in another clinic."""

    def __init__(self, room: Room, clinic: Clinic) -> None:
        super().__init__(f"Room {room} is not at {clinic}. Choose a room of that clinic.")


class AlreadyUsed(Refusal):
    """A case in which something was used has happened."""

    def __init__(self, case: Case) -> None:
        super().__init__(
            f"Something was already used in {case}, so it cannot be cancelled. Record the rest and close it."
        )


class NotAnImplant(Refusal):
    """The item planned for a site is no implant."""

    def __init__(self, item: Item) -> None:
        super().__init__(f"{item} is not an implant. Choose an implant for the site.")


@transaction.atomic
def book(
    *,
    clinic: Clinic,
    patient: Patient,
    procedures: Sequence[Procedure],
    starts_at: dt.datetime,
    on: dt.date,
    by,
    at: dt.datetime,
    minutes: int | None = None,
    room: Room | None = None,
    clinician=None,
    assistant=None,
    teeth: Iterable[str] = (),
    external_id: str = "",
    note: str = "",
) -> Case:
    """Book a case with the bills published now; they stay with it. ``teeth`` are FDI numbers.

    ``on`` is the day in the clinic's own calendar. Minutes default to those of the procedures. Where an
    implant is already in place at a tooth, its platform is taken over from the earlier case. Raises
    NoProcedure, NothingPublished, OtherClinic, UnknownTooth.
    """
    if not procedures:
        raise NoProcedure()
    if room is not None and room.clinic_id != clinic.pk:
        raise OtherClinic(room, clinic)
    versions = published_versions(procedures)
    who_and_where = {"clinic": clinic, "room": room, "patient": patient, "clinician": clinician}
    minutes = minutes or max(procedure.minutes for procedure in procedures)
    case = Case(code=next_code(), on=on, starts_at=starts_at, minutes=minutes, **who_and_where)
    case.assistant, case.external_id, case.note = assistant, external_id, note[:255]
    case.booked_at = case.changed_at = at
    case.save()
    CaseProcedure.objects.bulk_create(
        CaseProcedure(case=case, procedure=procedure, version=versions[procedure.pk])
        for procedure in dict.fromkeys(procedures)
    )
    add_sites(case, teeth)
    _say_booked(case, procedures, by=by, at=at)
    return case


def _say_booked(case: Case, procedures: Sequence[Procedure], *, by, at: dt.datetime) -> None:
    codes = ", ".join(procedure.code for procedure in procedures)
    facts = {"patient": case.patient.chart_number, "on": case.on.isoformat(), "procedures": codes}
    audit.record(BOOK, by=by, at=at, subject=case.code, clinic=case.clinic, **facts)


def published_versions(procedures: Sequence[Procedure]) -> dict[int, BomVersion]:
    """The bill published now, by id of each procedure. Raises NothingPublished."""
    versions = BomVersion.objects.filter(procedure__in=procedures, state=BomVersion.State.PUBLISHED)
    found = {version.procedure_id: version for version in versions}
    for procedure in procedures:
        if procedure.pk not in found:
            raise NothingPublished(procedure)
    return found


def add_sites(case: Case, teeth: Iterable[str]) -> None:
    """Add tooth sites (FDI) to a case, each with the platform of an implant that stands there already.

    Part of the verbs that plan a case, which check its state and write the audit. Raises UnknownTooth.
    """
    teeth = list(dict.fromkeys(teeth))
    for tooth in teeth:
        if not is_tooth(tooth):
            raise UnknownTooth(tooth, "fdi")
    in_place = connections_in_place(case.patient, teeth) if teeth else {}
    CaseSite.objects.bulk_create(
        CaseSite(case=case, tooth=tooth, connection_in_place=in_place.get(tooth, "")) for tooth in teeth
    )


def connections_in_place(patient: Patient, teeth: Iterable[str]) -> dict[str, str]:
    """Platform of the implant that stands at each tooth (FDI) of a patient, from what was used there last."""
    used = TrayUnit.objects.filter(
        line__case__patient=patient,
        outcome=TrayUnit.Outcome.USED,
        site__tooth__in=list(teeth),
        lot__item__category="Implant",
    ).order_by("decided_at", "pk")
    return dict(used.values_list("site__tooth", "lot__item__connection"))


@transaction.atomic
def move_case(
    *,
    case: Case,
    starts_at: dt.datetime,
    on: dt.date,
    by,
    at: dt.datetime,
    room: Room | None = None,
    minutes: int | None = None,
) -> Case:
    """Move a case in time, and to another room or length where given; a tray that is set out moves with it.

    Moving it to where it already is changes nothing. Raises WrongState once surgery has begun, OtherClinic,
    TrayStands (another room while units lie on the tray).
    """
    case = locked(case)
    if case.state not in (Case.State.BOOKED, Case.State.SET_OUT):
        raise WrongState(case, "move it")
    room = room or case.room
    if room is not None and room.clinic_id != case.clinic_id:
        raise OtherClinic(room, case.clinic)
    minutes = minutes or case.minutes
    if (case.starts_at, case.on, case.room, case.minutes) == (starts_at, on, room, minutes):
        return case
    pending = TrayUnit.objects.filter(line__case=case, outcome=TrayUnit.Outcome.PENDING)
    if room != case.room and pending.exists():
        raise TrayStands(case)
    zone = ZoneInfo(case.clinic.time_zone)
    before, after = (f"{moment.astimezone(zone):%Y-%m-%d %H:%M}" for moment in (case.starts_at, starts_at))
    case.starts_at, case.on, case.room, case.minutes, case.changed_at = starts_at, on, room, minutes, at
    case.save(update_fields=["starts_at", "on", "room", "minutes", "changed_at"])
    audit.record(MOVE, by=by, at=at, subject=case.code, clinic=case.clinic, before=before, after=after)
    return case


class TrayStands(Refusal):
    """The tray is set out in the room the case would leave."""

    def __init__(self, case: Case) -> None:
        super().__init__(
            f"The tray of {case} is set out in {case.room}. Take its units off, then change the room."
        )


@transaction.atomic
def cancel_case(*, case: Case, reason: str, by, at: dt.datetime) -> Case:
    """Cancel a case: what is sealed goes back where it came from, what was opened is wasted for that reason.

    Raises WrongState for a closed or cancelled case, AlreadyUsed once something was used.
    """
    case = locked(case)
    if case.state not in Case.OPEN:
        raise WrongState(case, "cancel it")
    units = TrayUnit.objects.select_for_update(of=("self",)).filter(line__case=case)
    if units.filter(outcome=TrayUnit.Outcome.USED).exists():
        raise AlreadyUsed(case)
    pending = units.filter(outcome=TrayUnit.Outcome.PENDING).select_related("lot__item", "place", "tray")
    for unit in pending:
        _release(case, unit, by=by, at=at)
    Case.objects.filter(pk=case.pk).update(state=Case.State.CANCELLED, cancelled_at=at, changed_at=at)
    case.refresh_from_db()
    words = reason.strip() or "no reason given"
    audit.record(CANCEL, by=by, at=at, subject=case.code, clinic=case.clinic, reason=words)
    return case


def _release(case: Case, unit: TrayUnit, *, by, at: dt.datetime) -> None:
    said = {"lot": unit.lot, "quantity": unit.quantity, "by": by, "at": at, "source": source_of(case)}
    if unit.opened_at is None:
        put_back(tray=unit.tray, place=unit.place, **said)
        unit.outcome = TrayUnit.Outcome.PUT_BACK
    else:
        waste(place=unit.tray, reason=Entry.Reason.CANCELLED, **said)
        unit.outcome, unit.reason = TrayUnit.Outcome.WASTED, Entry.Reason.CANCELLED
    unit.decided_at, unit.decided_by = at, by
    unit.save(update_fields=["outcome", "reason", "decided_at", "decided_by"])


@transaction.atomic
def plan_site(
    *,
    case: Case,
    tooth: str,
    by,
    at: dt.datetime,
    implant: Item | None | Kept = KEEP,
    **measures,
) -> CaseSite:
    """Plan a tooth site (FDI): its implant, safe limits and measures.

    What is not given, or given as KEEP, stays as it is; None clears it, so that no implant is planned any
    more, a measure is unknown, or the healing height is the usual one. ``measures`` by name:
    longest_safe_mm, widest_safe_mm, healing_height_mm, connection_in_place, defect_width_mm,
    defect_height_mm, graft_cc. Adds the site where the case has none there yet. A tray that is being set out
    follows. Raises WrongState once surgery has begun, UnknownTooth, NotAnImplant, TakeOffFirst, and TypeError
    for another name.
    """
    unknown = set(measures) - set(_MEASURES)
    if unknown:
        raise TypeError(f"A site has no {', '.join(sorted(unknown))} to plan.")
    case = plannable(case)
    if not is_tooth(tooth):
        raise UnknownTooth(tooth, "fdi")
    if isinstance(implant, Item) and not (implant.diameter_mm and implant.length_mm):
        raise NotAnImplant(implant)
    if not CaseSite.objects.filter(case=case, tooth=tooth).exists():
        add_sites(case, [tooth])
    given = {name: value for name, value in {"implant": implant, **measures}.items() if value is not KEEP}
    columns = {name: _empty(name) if value is None else value for name, value in given.items()}
    CaseSite.objects.filter(case=case, tooth=tooth).update(**columns)
    what = _in_words(given, empty="cleared") or "added"
    plan_changed(case, PLAN_SITE, by=by, at=at, tooth=tooth, what=what[:200])
    return CaseSite.objects.select_related("implant", "case").get(case=case, tooth=tooth)


def _in_words(given: Mapping, *, empty: str) -> str:
    """What was set, for people to read: "longest safe: 11.2 mm; guided: yes"."""
    said = []
    for name, value in given.items():
        words, unit = name, ""
        if name.endswith(("_mm", "_cc")):
            words, unit = name[:-3], f" {name[-2:]}"
        if value in (None, ""):
            told = empty
        elif isinstance(value, bool):
            told = "yes" if value else "no"
        else:
            told = f"{value.name if isinstance(value, Item) else value}{unit}"
        said.append(f"{words.replace('_', ' ')}: {told}")
    return "; ".join(said)


def _empty(name: str):
    """What a column of a site holds where nothing is planned."""
    return CaseSite._meta.get_field(name).get_default()


@transaction.atomic
def plan_case(*, case: Case, by, at: dt.datetime, **values) -> Case:
    """Set what holds for the whole case: graft_material, membrane_class, guided, clinician, assistant, note.

    A tray that is being set out follows. Raises WrongState, TakeOffFirst, TypeError for another name.
    """
    unknown = set(values) - set(_CASE_FIELDS)
    if unknown:
        raise TypeError(f"A case has no {', '.join(sorted(unknown))} to plan.")
    case = plannable(case)
    for name, value in values.items():
        setattr(case, name, value)
    case.save(update_fields=list(values))
    what = _in_words(values, empty="left open")
    plan_changed(case, PLAN, by=by, at=at, what=what[:200])
    return case


@transaction.atomic
def choose(
    *,
    case: Case,
    subject: str,
    item: Item | None,
    by,
    at: dt.datetime,
    site: CaseSite | None = None,
    quantity: int = 1,
    note: str = "",
) -> PlanChoice:
    """Decide a slot ("GRAFT_SIZED"), a group ("group:SKG-COVER"), an option of the plan ("plan:PRF-TUB", with
    quantity 0 for no) or another item for a fixed line ("item:MEM-RC-2030").

    A new choice for the same subject and site replaces the old one. A tray being set out follows. Raises
    WrongState once surgery has begun, OtherCase, TakeOffFirst.
    """
    case = plannable(case)
    if site is not None and site.case_id != case.pk:
        raise OtherCase(case, site)
    PlanChoice.objects.filter(case=case, site=site, subject=subject).delete()
    choice = PlanChoice.objects.create(
        case=case, site=site, subject=subject, item=item, quantity=quantity, note=note[:200], by=by
    )
    words = item.name if item is not None else "yes" if quantity else "no"
    place = f"at {site.tooth}" if site else "as a whole"
    plan_changed(case, CHOOSE, by=by, at=at, place=place, choice=words, what=subject)
    return choice


def plannable(case: Case) -> Case:
    """The case locked, while its plan may still be changed. Raises WrongState."""
    case = locked(case)
    if case.state not in (Case.State.BOOKED, Case.State.SET_OUT):
        raise WrongState(case, "change its plan")
    return case


def plan_changed(case: Case, action: str, *, by, at: dt.datetime, **facts) -> None:
    """Bring the tray into step with the changed plan, and write the audit. Part of every verb of the plan."""
    Case.objects.filter(pk=case.pk).update(changed_at=at)
    keep_in_step(case=case)
    audit.record(action, by=by, at=at, subject=case.code, clinic=case.clinic, **facts)
