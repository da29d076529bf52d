"""Anything scanned or typed at a tray: taken onto the right line, or refused in words."""

import datetime as dt

from django.db import transaction
from django.db.models import Q, QuerySet

from kits.case_lines import kind_of, must_scan
from kits.models import Case, TrayLine, TrayUnit
from kits.pick_lists import pick_list_in
from kits.pick_values import TODO, PickList, ScanAnswer, day_words
from kits.promises import Book, book_of
from kits.requirements import ROOM, STOCK
from kits.scan_words import Meant, meaning
from kits.substitutes import verdict
from kits.tray import begin
from kits.tray_checks import Complete, OnATray, ScanIt, check_consent, check_standing, left_on
from kits.tray_moves import put_on_tray, tick
from practice import audit
from practice.refusals import Refusal
from stock.models import Balance, Lot, Place

SUBSTITUTE = audit.action("tray.substitute", "took {what} in place of {wanted} for {subject}: {rule}")


class NotOnTheList(Refusal):
    """The case does not need it."""

    def __init__(self, item, case: Case, why: str = "") -> None:
        reason = f" {why}" if why else ""
        super().__init__(
            f"{item.name} is not on the list of {case}.{reason} Put it back; if it is needed after all, "
            "record it as used in surgery."
        )


class NoneLeft(Refusal):
    """Its units are gone."""

    def __init__(self, lot: Lot) -> None:
        super().__init__(
            f"No unit of {lot} is left in the record. Read the number again; if it is in your hand, have the "
            "stock counted."
        )


def scan(*, case: Case, text: str, by, at: dt.datetime, today: dt.date) -> ScanAnswer:
    """Take whatever was scanned onto the tray of a case; a refusal comes back as the answer, in words.

    Understood are label codes (GS1, HIBC, ISBT 128) and typed lot numbers, serial numbers, tissue unit codes,
    item codes and set codes. Scanning a booked case begins its tray. Units that are one record each come
    singly; of other lots as many as the line still asks for and the place holds.
    """
    case.refresh_from_db(fields=["state"])
    try:
        case = begin(case=case, by=by, at=at) if case.state == Case.State.BOOKED else case
        meant = meaning(text=text, case=case, today=today)
        # A refusal after a substitute was agreed takes the substitute's line back as well.
        with transaction.atomic():
            book = book_of(clinic=case.clinic, through=case.on, until=case.starts_at, unread=case)
            line, unit, detail = _take(case, meant, book, by=by, at=at)
    except Refusal as refusal:
        return ScanAnswer(ok=False, title="Not taken", detail=str(refusal))
    book.read_again(case)
    pick = pick_list_in(book, case=case, today=today)
    return ScanAnswer(
        ok=True,
        title=f"{unit.quantity} × {meant.item.name}" if unit else f"{meant.item.name} lies ready",
        detail=detail,
        line=line,
        unit=unit,
        next=_next(pick),
        pick=pick,
        notices=meant.warnings,
    )


def _take(
    case: Case, meant: Meant, book: Book, *, by, at: dt.datetime
) -> tuple[TrayLine, TrayUnit | None, str]:
    if not meant.lots:
        return _take_item(case, meant, by=by, at=at)
    lot, place, there = _where(case, meant)
    # What the patient declines, a recall and the date are heard first, on the list or not: nothing that
    # should lie in quarantine may be sent back to its shelf.
    check_consent(case=case, lot=lot)
    check_standing(case=case, lot=lot)
    line, detail = _line_for(case, lot, by=by, at=at)
    wanted = left_on(line)
    quantity = 1 if meant.item.is_unit_tracked else max(1, min(wanted, there))
    said = {"scanned": True, "by": by, "at": at, "book": book}
    unit = put_on_tray(line=line, lot=lot, place=place, quantity=quantity, **said)
    until = f", in date to {day_words(lot.expires_on)}" if lot.expires_on else ""
    sooner = _sooner(case, lot)
    return line, unit, " ".join(filter(None, (f"{lot.shown} from {place}{until}.", detail, sooner)))


def _take_item(case: Case, meant: Meant, *, by, at) -> tuple[TrayLine, TrayUnit | None, str]:
    """A code that names an item alone: a set or lab work lies ready, stock comes from the suggested lots."""
    lines = _lines(case, meant.item)
    if not lines:
        raise NotOnTheList(meant.item, case)
    line = next((line for line in lines if _open_need(line)), None)
    if line is None:
        raise Complete(lines[0], 0)
    if must_scan(line):
        raise ScanIt(line)
    units = tick(line=line, by=by, at=at)
    if not units:
        return line, None, "Check that its pack is dry, whole and labelled with a passed load."
    return line, units[0], f"{units[0].lot.shown} from {units[0].place}."


def _where(case: Case, meant: Meant) -> tuple[Lot, Place, int]:
    """The units meant: those within reach of this clinic first. Raises OnATray, NoneLeft."""
    rows = list(
        Balance.objects.filter(lot__in=meant.lots, quantity__gt=0).select_related(
            "lot__item", "place__clinic"
        )
    )
    if rows:
        reach = [row for row in rows if row.place.clinic_id == case.clinic_id]
        shelf = [row for row in reach if row.place.kind in Place.PICKABLE]
        if not shelf:
            _refuse_on_tray(meant.lots)
        row = (shelf or reach or rows)[0]
        row.lot.item = meant.item
        return row.lot, row.place, row.quantity
    _refuse_on_tray(meant.lots)
    raise NoneLeft(meant.lots[0])


def _refuse_on_tray(lots) -> None:
    pending = TrayUnit.objects.filter(lot__in=lots, outcome=TrayUnit.Outcome.PENDING)
    unit = pending.select_related("line__case", "lot__item").first()
    if unit is not None:
        raise OnATray(unit.lot, unit)


def _lines(case: Case, item) -> list[TrayLine]:
    lines = TrayLine.objects.filter(case=case, item=item).exclude(set_out=ROOM)
    return list(lines.select_related("item").order_by("position"))


def _open_need(line: TrayLine) -> bool:
    return left_on(line) > 0 if kind_of(line) == STOCK else line.ready_at is None


def _line_for(case: Case, lot: Lot, *, by, at) -> tuple[TrayLine, str]:
    """The line a lot is for: its item's own, else one it may stand in for by an assistant's rule.

    Where the item's own lines are complete, only a line that nothing of its own can fill takes a substitute.
    """
    own = _lines(case, lot.item)
    for line in own:
        if _open_need(line):
            return line, ""
    others = TrayLine.objects.filter(case=case).exclude(item=None).exclude(set_out=ROOM)
    why = ""
    for line in others.select_related("item").order_by("position"):
        if kind_of(line) != STOCK or not left_on(line) or line.substituted_by.exists():
            continue
        if own and _usable(case, line.item).exists():
            continue
        found = verdict(line.item, lot.item)
        if found.allowed:
            return _substitute(case, line, lot, found, by=by, at=at), found.sentence
        if line.item.substitution_group and line.item.substitution_group == lot.item.substitution_group:
            why = why or found.sentence
    if own:
        raise Complete(own[0], 0)
    raise NotOnTheList(lot.item, case, why)


def _substitute(case: Case, line: TrayLine, lot: Lot, found, *, by, at) -> TrayLine:
    """A line for the substitute, beside the one it stands in for; said in the audit."""
    last = TrayLine.objects.filter(case=case).order_by("-position").first()
    added = TrayLine.objects.create(
        case=case,
        position=last.position + 1,
        key=f"{line.key}~{lot.item.code}"[:60],
        item=lot.item,
        description=lot.item.name[:200],
        site=line.site,
        quantity=found.quantity * left_on(line),
        certain=line.certain,
        chance=line.chance,
        set_out=line.set_out,
        checkpoint=line.checkpoint,
        finding=line.finding,
        choose_one_group=line.choose_one_group,
        added=True,
        substitutes=line,
        note=f"in place of {line.description}"[:255],
    )
    audit.record(
        SUBSTITUTE,
        by=by,
        at=at,
        subject=case.code,
        clinic=case.clinic,
        what=lot.item.name,
        wanted=line.description,
        rule=found.sentence,
    )
    return added


def _sooner(case: Case, lot: Lot) -> str:
    """A word about a usable lot of the item that expires sooner, where one lies within reach."""
    if lot.expires_on is None:
        return ""
    sooner = _usable(case, lot.item).filter(lot__expires_on__lt=lot.expires_on)
    row = sooner.select_related("lot__item", "place").order_by("lot__expires_on").first()
    if row is None:
        return ""
    return f"{row.lot.shown} expires sooner, on {day_words(row.lot.expires_on)}, and lies at {row.place}."


def _usable(case: Case, item) -> QuerySet[Balance]:
    """Where units of an item lie within reach that are usable on the day of the case."""
    last_day = case.on + dt.timedelta(days=item.safety_days)
    return Balance.objects.filter(
        Q(lot__expires_on=None) | Q(lot__expires_on__gte=last_day),
        lot__item=item,
        lot__decision=Lot.Decision.NONE,
        place__clinic=case.clinic,
        place__kind__in=Place.PICKABLE,
        quantity__gt=0,
    )


def _next(found: PickList) -> str:
    """What to fetch next, as a sentence."""
    todo = [line for line in found.wanted if line.state == TODO]
    if not todo:
        return (
            "Nothing more to fetch." if found.done == found.total else "The rest is short or to be decided."
        )
    line = todo[0]
    if line.parts:
        part = line.parts[0]
        return f"Next: {line.left} × {line.description}, {part.lot.shown}, {part.place}."
    return f"Next: {line.description}."
