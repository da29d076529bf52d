"""Units onto a tray and off it again, and ticks for what has no lot."""

import datetime as dt
from zoneinfo import ZoneInfo

from django.db import transaction

from kits.case_lines import kind_of, must_scan
from kits.models import Case, TrayLine, TrayUnit
from kits.pick_lists import pick_list_in
from kits.promises import Book, book_of
from kits.requirements import OPEN, STOCK
from kits.tray import WrongState, locked, source_of, tray_place
from kits.tray_checks import NothingToTake, ScanIt, check_unit, unfit_on
from kits.tray_units import fresh_unit, home_of, sealed_only
from practice import audit
from stock.models import Lot, Place
from stock.moving import move, put_back

READY = audit.action("tray.ready", "said that {what} lies ready for {subject}")
NOT_READY = audit.action("tray.not-ready", "said that {what} does not lie ready for {subject}")
PUT_ON = audit.action("tray.put-on", "put {quantity} of {what} on the tray of {subject}")
TAKE_OFF = audit.action("tray.take-off", "took {quantity} of {what} off the tray of {subject}")


@transaction.atomic
def put_on_tray(
    *,
    line: TrayLine,
    lot: Lot,
    place: Place,
    quantity: int,
    scanned: bool,
    by,
    at: dt.datetime,
    key: str | None = None,
    note: str = "",
    book: Book | None = None,
) -> TrayUnit:
    """Move units of a lot from their place onto a line of the tray.

    ``note`` says why an implant or tissue unit could not be scanned. The same ``key`` again returns the unit
    it made. ``book`` spares reading the earlier cases again. Raises the refusals of ``tray_checks``,
    WrongState, and those of the ledger (not enough there, a unit that exists elsewhere).
    """
    case = locked(line.case)
    if case.state not in (Case.State.SET_OUT, Case.State.IN_SURGERY):
        raise WrongState(case, "put anything on its tray")
    line = TrayLine.objects.select_related("item").get(pk=line.pk)
    line.case = case
    earlier = _made_by(key, line, lot)
    if earlier is not None:
        return earlier
    facts = {"lot": lot, "place": place, "quantity": quantity, "scanned": scanned, "note": note}
    check_unit(case=case, line=line, book=book, **facts)
    _take_off_unfit(line, by=by, at=at)
    tray = tray_place(case, by=by, at=at)
    said = {"by": by, "at": at, "source": source_of(case), "key": key}
    move(lot=lot, from_place=place, to_place=tray, quantity=quantity, **said)
    unit = TrayUnit(line=line, tray=tray, put_on_at=at, put_on_by=by, **facts | {"note": note[:200]})
    if case.state == Case.State.IN_SURGERY and line.set_out == OPEN:
        unit.opened_at = at
    unit.save()
    _say(PUT_ON, case, by=by, at=at, quantity=quantity, what=str(lot))
    return unit


def _take_off_unfit(line: TrayLine, *, by, at: dt.datetime) -> None:
    """Clear a line of units that were held, outdated or declined since they were put there."""
    pending = line.units.filter(outcome=TrayUnit.Outcome.PENDING).select_related("lot__item", "line__case")
    for unit, _ in unfit_on(line, pending):
        take_off(unit=unit, by=by, at=at)


def _say(action: str, case: Case, *, by, at: dt.datetime, **facts) -> None:
    audit.record(action, by=by, at=at, subject=case.code, clinic=case.clinic, **facts)


def _made_by(key: str | None, line: TrayLine, lot: Lot) -> TrayUnit | None:
    """The unit that an earlier call with the same key made, if there was one."""
    if key is None or not lot.entries.filter(key=key).exists():
        return None
    return line.units.filter(lot=lot).order_by("-pk").first()


@transaction.atomic
def tick(*, line: TrayLine, by, at: dt.datetime) -> list[TrayUnit]:
    """Say that a line lies ready: a set or lab work as it is, stock by taking the suggested lots.

    Refused for implants and tissue, whose own label has to be scanned (ScanIt), and where nothing usable is
    free (NothingToTake). Returns the units put on the tray.
    """
    case = locked(line.case)
    line = TrayLine.objects.select_related("item").get(pk=line.pk)
    if kind_of(line) != STOCK:
        _say_ready(case, line, by=by, at=at)
        return []
    if must_scan(line):
        raise ScanIt(line)
    book = book_of(clinic=case.clinic, through=case.on, until=case.starts_at)
    today = at.astimezone(ZoneInfo(case.clinic.time_zone)).date()
    found = pick_list_in(book, case=case, today=today).find(line.key)
    if found.left and not found.parts:
        raise NothingToTake(line)
    line.case = case
    said = {"scanned": False, "by": by, "at": at, "book": book}
    return [
        put_on_tray(line=line, lot=part.lot, place=part.place, quantity=part.quantity, **said)
        for part in found.parts
    ]


def _say_ready(case: Case, line: TrayLine, *, by, at: dt.datetime) -> None:
    if case.state not in (Case.State.SET_OUT, Case.State.IN_SURGERY):
        raise WrongState(case, "say that anything lies ready")
    changed = TrayLine.objects.filter(pk=line.pk, ready_at=None).update(ready_at=at, ready_by=by)
    if changed:
        _say(READY, case, by=by, at=at, what=line.description)


@transaction.atomic
def untick(*, line: TrayLine, by, at: dt.datetime) -> None:
    """Take back a tick: a set is no longer ready, sealed stock goes back where it came from."""
    case = locked(line.case)
    if kind_of(line) == STOCK:
        for unit in line.units.filter(outcome=TrayUnit.Outcome.PENDING).select_related("line__case"):
            take_off(unit=unit, by=by, at=at)
        return
    if TrayLine.objects.filter(pk=line.pk).exclude(ready_at=None).update(ready_at=None, ready_by=None):
        _say(NOT_READY, case, by=by, at=at, what=line.description)


@transaction.atomic
def take_off(*, unit: TrayUnit, by, at: dt.datetime) -> None:
    """Take sealed units off a tray and put them back where they came from.

    Raises AlreadyDecided, Opened.
    """
    case = locked(unit.line.case)
    unit = fresh_unit(unit)
    sealed_only(unit)
    said = {"by": by, "at": at, "source": source_of(case)}
    put_back(lot=unit.lot, tray=unit.tray, place=home_of(unit), quantity=unit.quantity, **said)
    TrayUnit.objects.filter(pk=unit.pk).update(
        outcome=TrayUnit.Outcome.PUT_BACK, decided_at=at, decided_by=by
    )
    _say(TAKE_OFF, case, by=by, at=at, quantity=unit.quantity, what=str(unit.lot))
