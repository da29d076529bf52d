"""Accounting for a tray and closing the case: used, wasted or put back, nothing left over."""

import datetime as dt
from collections.abc import Iterable

from django.db import transaction

from kits.chairside import OtherCase, only_site, start_surgery
from kits.models import BomVersion, Case, CaseProcedure, CaseSite, Procedure, TrayUnit
from kits.nothing_placed import nothing_placed
from kits.tray import WrongState, locked, source_of
from kits.tray_units import decision_entry, decision_key, fresh_unit, home_of, sealed_only
from practice import audit
from practice.refusals import Refusal
from stock.consuming import ReasonMissing, use, waste
from stock.correcting import correct
from stock.moving import put_back
from stock.posting import whole

RECORD = audit.action("tray.record", "recorded {quantity} of {what} of {subject} as {outcome}")
UNDO = audit.action("tray.undo", "undid for {subject}: {quantity} of {what} {outcome}")
SITE = audit.action("tray.site", "said for {subject} that {quantity} of {what} went to {tooth}")
CLOSE = audit.action("case.close", "closed {subject}: {procedures}")

Outcome = TrayUnit.Outcome
_IN_PATIENT = ("Implant", "Bone graft", "Membrane", "Soft tissue matrix", "Fixation")


class Unaccounted(Refusal):
    """The case cannot be closed; ``sentences`` say what is missing."""

    def __init__(self, case: Case, sentences: list[str]) -> None:
        self.sentences = sentences
        count = f"{len(sentences)} things are" if len(sentences) != 1 else "One thing is"
        super().__init__(f"{case} cannot be closed yet. {count} unaccounted for: {' '.join(sentences)}")


class NothingToUndo(Refusal):
    """The unit has no recorded outcome."""

    def __init__(self, unit: TrayUnit) -> None:
        super().__init__(f"Nothing is recorded yet for {unit.lot}, so there is nothing to undo.")


class TooManyUnits(Refusal):
    """More is recorded than lies there."""

    def __init__(self, unit: TrayUnit, quantity: int) -> None:
        super().__init__(f"Only {unit.quantity} of {unit.lot} lie on the tray, not {quantity}.")


class NoBill(Refusal):
    """A procedure that was done has no published bill."""

    def __init__(self, procedure: Procedure) -> None:
        super().__init__(f"{procedure} has no published bill of materials. Publish one, then close the case.")


@transaction.atomic
def record(
    *,
    unit: TrayUnit,
    outcome: str,
    quantity: int,
    by,
    at: dt.datetime,
    site: CaseSite | None = None,
    reason: str = "",
    note: str = "",
) -> TrayUnit:
    """Record what became of units on a tray; fewer than the row holds leave the rest on a row of its own.

    ``site``: the tooth it went to; the line's own or the case's only site where none is given. Raises
    AlreadyDecided, Opened (put back), ReasonMissing (waste), TooManyUnits, OtherCase, WrongState, NotSetOut.
    """
    whole(quantity)
    outcome = Outcome(outcome)
    case = locked(unit.line.case)
    if outcome in (Outcome.USED, Outcome.WASTED):
        case = start_surgery(case=case, by=by, at=at)
    elif case.state not in (Case.State.SET_OUT, Case.State.IN_SURGERY):
        raise WrongState(case, "record what became of its tray")
    unit = fresh_unit(unit)
    _check(case, unit, outcome, quantity, site, reason)
    if quantity < unit.quantity:
        _leave_rest(unit, unit.quantity - quantity)
    unit.quantity = quantity
    _post(case, unit, outcome, reason=reason, note=note, by=by, at=at)
    _settle(case, unit, outcome, site=site, reason=reason, note=note, by=by, at=at)
    _say(RECORD, case, unit, outcome=str(outcome.label), by=by, at=at)
    return unit


def _settle(case: Case, unit: TrayUnit, outcome: str, *, site, reason: str, note: str, by, at) -> None:
    """Write the outcome on the unit's row."""
    unit.outcome, unit.reason = outcome, reason if outcome == Outcome.WASTED else ""
    unit.site = None if outcome == Outcome.PUT_BACK else site or unit.line.site or only_site(case)
    unit.note = note[:200] or unit.note
    if outcome == Outcome.USED and unit.opened_at is None:
        unit.opened_at = at
    unit.decided_at, unit.decided_by = at, by
    unit.save()


def _say(action: str, case: Case, unit: TrayUnit, *, outcome: str, by, at: dt.datetime) -> None:
    facts = {"quantity": unit.quantity, "what": str(unit.lot), "outcome": outcome}
    audit.record(action, by=by, at=at, subject=case.code, clinic=case.clinic, **facts)


def _check(
    case: Case, unit: TrayUnit, outcome: str, quantity: int, site: CaseSite | None, reason: str
) -> None:
    if quantity > unit.quantity:
        raise TooManyUnits(unit, quantity)
    if site is not None and site.case_id != case.pk:
        raise OtherCase(case, site)
    if outcome == Outcome.PENDING:
        raise NothingToUndo(unit)
    if outcome == Outcome.PUT_BACK:
        sealed_only(unit)
    if outcome == Outcome.WASTED and not reason:
        raise ReasonMissing(reason=reason)


def _leave_rest(unit: TrayUnit, rest: int) -> None:
    """Keep the units that nothing is recorded for yet on a row of their own."""
    TrayUnit.objects.create(
        line=unit.line,
        lot=unit.lot,
        place=unit.place,
        tray=unit.tray,
        quantity=rest,
        scanned=unit.scanned,
        opened_at=unit.opened_at,
        note=unit.note,
        put_on_at=unit.put_on_at,
        put_on_by=unit.put_on_by,
    )


def _post(case: Case, unit: TrayUnit, outcome: str, *, reason: str, note: str, by, at) -> None:
    """Tell the ledger, through stock's own verbs."""
    said = {
        "by": by,
        "at": at,
        "source": source_of(case),
        "key": decision_key(unit),
        "note": note[:200],
    }
    if outcome == Outcome.USED:
        use(lot=unit.lot, place=unit.tray, quantity=unit.quantity, **said)
    elif outcome == Outcome.WASTED:
        waste(lot=unit.lot, place=unit.tray, quantity=unit.quantity, reason=reason, **said)
    else:
        put_back(lot=unit.lot, tray=unit.tray, place=home_of(unit), quantity=unit.quantity, **said)


@transaction.atomic
def undo(*, unit: TrayUnit, by, at: dt.datetime) -> TrayUnit:
    """Take back what was recorded for a unit, by a correcting entry; it is unaccounted for again.

    What was used straight from a place simply lies there again. Raises NothingToUndo, WrongState once the
    case is closed, and the ledger's refusals.
    """
    case = locked(unit.line.case)
    if case.state not in (Case.State.SET_OUT, Case.State.IN_SURGERY):
        raise WrongState(case, "undo what was recorded")
    unit = TrayUnit.objects.select_for_update(of=("self",)).select_related("lot", "line").get(pk=unit.pk)
    entry = decision_entry(unit)
    if unit.outcome == Outcome.PENDING or entry is None:
        raise NothingToUndo(unit)
    correct(entry=entry, by=by, at=at, note="undone at the chair")
    before = unit.get_outcome_display()
    unit.outcome, unit.reason, unit.site = Outcome.PENDING, "", None
    if unit.tray_id == unit.place_id:
        unit.outcome, unit.opened_at = Outcome.PUT_BACK, None
    unit.decided_at, unit.decided_by = at, by
    unit.save()
    _say(UNDO, case, unit, outcome=before, by=by, at=at)
    return unit


class NotUsed(Refusal):
    """Only what was used went to a tooth."""

    def __init__(self, unit: TrayUnit) -> None:
        super().__init__(f"{unit.lot} is not recorded as used. Record it as used, then say at which tooth.")


@transaction.atomic
def say_site(*, unit: TrayUnit, site: CaseSite, by, at: dt.datetime) -> TrayUnit:
    """Say at which tooth a unit was used, where that was left open or is wrong; the ledger is not touched.

    Raises WrongState once the case is closed, OtherCase, NotUsed.
    """
    case = locked(unit.line.case)
    if case.state != Case.State.IN_SURGERY:
        raise WrongState(case, "say at which tooth anything was used")
    if site.case_id != case.pk:
        raise OtherCase(case, site)
    unit = (
        TrayUnit.objects.select_for_update(of=("self",)).select_related("lot__item", "line").get(pk=unit.pk)
    )
    if unit.outcome != Outcome.USED:
        raise NotUsed(unit)
    unit.site = site
    unit.save(update_fields=["site"])
    facts = {"quantity": unit.quantity, "what": str(unit.lot), "tooth": site.tooth}
    audit.record(SITE, by=by, at=at, subject=case.code, clinic=case.clinic, **facts)
    return unit


def unaccounted(case: Case, *, done: Iterable[Procedure] | None = None) -> list[str]:
    """What still has to be said before the case can be closed, a sentence each; empty when all is said.

    ``done``: the procedures really done, by default those of the case marked as done.
    """
    sites = list(case.sites.all())
    units = TrayUnit.objects.filter(line__case=case).select_related("lot__item", "line__item", "site")
    found = []
    for unit in units:
        item = unit.lot.item
        if unit.outcome == Outcome.PENDING:
            question = "used or wasted?" if unit.opened_at else "used, wasted or put back?"
            found.append(f"{unit.quantity} × {item.name}, {unit.lot.shown}: {question}")
        elif unit.outcome == Outcome.USED:
            if (item.is_unit_tracked or item.human_tissue) and not unit.scanned and not unit.note:
                found.append(f"{item.name}, {unit.lot.shown}: scan its label, or write down why not.")
            if len(sites) > 1 and unit.site_id is None and item.category in _IN_PATIENT:
                found.append(f"{item.name}, {unit.lot.shown}: which tooth did it go to?")
    none = nothing_placed(case, done=done)
    return found + [f"{line.description}: none was placed, so say why." for line in none]


@transaction.atomic
def settle_rest(*, case: Case, by, at: dt.datetime) -> int:
    """Record all that is left: what was opened as used, what is sealed as put back. Returns how many rows.

    Raises NotSetOut, WrongState.
    """
    case = start_surgery(case=case, by=by, at=at)
    pending = TrayUnit.objects.filter(line__case=case, outcome=Outcome.PENDING).select_related("line__case")
    rows = list(pending)
    for unit in rows:
        outcome = Outcome.USED if unit.opened_at else Outcome.PUT_BACK
        record(unit=unit, outcome=outcome, quantity=unit.quantity, by=by, at=at)
    return len(rows)


@transaction.atomic
def close(*, case: Case, by, at: dt.datetime, procedures_done: Iterable[Procedure] | None = None) -> Case:
    """Close a case of which everything is accounted for.

    ``procedures_done``: what was really done, where it differs from the plan; both are kept. Raises
    Unaccounted, NotSetOut, WrongState, NoBill.
    """
    case = start_surgery(case=case, by=by, at=at)
    done = None if procedures_done is None else list(procedures_done)
    missing = unaccounted(case, done=done)
    if missing:
        raise Unaccounted(case, missing)
    if done is not None:
        _note_procedures(case, done)
    Case.objects.filter(pk=case.pk).update(state=Case.State.CLOSED, closed_at=at, closed_by=by, changed_at=at)
    case.refresh_from_db()
    done = case.procedures.filter(done=True).select_related("procedure")
    words = ", ".join(row.procedure.short_name for row in done) or "nothing was done"
    audit.record(CLOSE, by=by, at=at, subject=case.code, clinic=case.clinic, procedures=words)
    return case


def _note_procedures(case: Case, done: list[Procedure]) -> None:
    planned = {row.procedure_id: row for row in case.procedures.all()}
    for procedure_id, row in planned.items():
        row.done = procedure_id in {procedure.pk for procedure in done}
        if row.planned or row.done:
            row.save(update_fields=["done"])
        else:
            row.delete()
    for procedure in done:
        if procedure.pk not in planned:
            version = procedure.versions.filter(state=BomVersion.State.PUBLISHED).first()
            if version is None:
                raise NoBill(procedure)
            CaseProcedure.objects.create(
                case=case, procedure=procedure, version=version, planned=False, done=True
            )
