"""During surgery: what is found, what is opened, and what is used straight from the room."""

import datetime as dt
from collections.abc import Iterable

from django.db import transaction
from django.db.models import Q

from kits.case_lines import must_scan
from kits.models import BomLine, Case, CaseFinding, CaseSite, Finding, TrayLine, TrayUnit
from kits.requirements import OPEN, ROOM
from kits.tray import WrongState, locked, source_of
from kits.tray_checks import Declined, Expired, Held, OutOfReach, ScanIt, check_lot, unfit_on
from kits.tray_fitness import unfit_sentence
from kits.tray_units import decision_key
from practice import audit
from practice.refusals import Refusal
from stock.consuming import use
from stock.models import Lot, Place

START = audit.action("case.start", "began surgery on {subject}")
FOUND = audit.action("case.find", "recorded for {subject} {place}: {finding}, {answer}")
OPENED = audit.action("tray.open", "opened {what} for {subject}")
ALTHOUGH = audit.action(
    "tray.add-although",
    "used {quantity} of {what} straight from {place} for {subject} although: {refused} Reason: {why}",
)
ADDED = audit.action("tray.add", "used {quantity} of {what} straight from {place} for {subject}")


# Refusals that what was done already goes over, with a word why; a unit on another tray is no such thing.
OVERRULED = (Declined, Expired, Held, OutOfReach)


class NotSetOut(Refusal):
    """Nothing can be recorded for a tray that was never set out."""

    def __init__(self, case: Case) -> None:
        super().__init__(
            f"{case} is {case.get_state_display()}. Begin setting out its tray, then record surgery."
        )


class NothingHangsOnIt(Refusal):
    """The finding has no part in the case."""

    def __init__(self, case: Case, finding: Finding) -> None:
        super().__init__(
            f"Nothing in {case} hangs on “{finding.name}”. Choose a finding of its own bill, or book the "
            "procedure that asks for it."
        )


class OtherCase(Refusal):
    """The site belongs to another case."""

    def __init__(self, case: Case, site: CaseSite) -> None:
        super().__init__(f"{site} is not a site of {case}. Choose a tooth of this case.")


@transaction.atomic
def start_surgery(*, case: Case, by, at: dt.datetime) -> Case:
    """Begin surgery: what is opened at set-up counts as opened from now on. Does nothing in surgery.

    Raises NotSetOut for a booked case, WrongState for a closed or cancelled one.
    """
    case = locked(case)
    if case.state == Case.State.IN_SURGERY:
        return case
    if case.state == Case.State.BOOKED:
        raise NotSetOut(case)
    if case.state != Case.State.SET_OUT:
        raise WrongState(case, "record surgery")
    Case.objects.filter(pk=case.pk).update(state=Case.State.IN_SURGERY, changed_at=at)
    case.state, case.changed_at = Case.State.IN_SURGERY, at
    _open(TrayUnit.objects.filter(line__case=case, line__set_out=OPEN), at=at)
    audit.record(START, by=by, at=at, subject=case.code, clinic=case.clinic)
    return case


@transaction.atomic
def record_finding(
    *,
    case: Case,
    finding: Finding,
    site: CaseSite | None,
    present: bool,
    by,
    at: dt.datetime,
    source: str = CaseFinding.Source.SURGERY,
) -> CaseFinding:
    """Record that something was found, or is not there; what hangs on it is opened together.

    Opened are the lines that most such findings need; rarer ones (tacks) and those of which one is chosen
    stay sealed until a person opens them. Recording the opposite closes again what only the mistaken touch
    had marked as opened. A finding known before surgery (``source`` imaging or plan) opens nothing.
    Raises NotSetOut, WrongState, OtherCase, NothingHangsOnIt.
    """
    seen_in_surgery = source == CaseFinding.Source.SURGERY
    case = start_surgery(case=case, by=by, at=at) if seen_in_surgery else locked(case)
    if case.state not in Case.OPEN:
        raise WrongState(case, "record a finding")
    if site is not None and site.case_id != case.pk:
        raise OtherCase(case, site)
    _check_part(case, finding)
    lines = _lines_on(case, finding, site)
    earlier = CaseFinding.objects.filter(case=case, site=site, finding=finding).first()
    if earlier is not None and earlier.present and not present:
        _close_again(lines, opened_at=earlier.at)
    again = earlier is not None and earlier.present and present and earlier.source == source
    # A second touch says nothing new; taking it back looks for the moment of the first.
    found_at = earlier.at if again else at
    said = {"present": present, "source": source, "by": by, "at": found_at}
    row, _ = CaseFinding.objects.update_or_create(case=case, site=site, finding=finding, defaults=said)
    if present and seen_in_surgery:
        _open(TrayUnit.objects.filter(line__in=_opened_by(lines)), at=found_at)
    facts = {
        "place": f"at {site.tooth}" if site else "as a whole",
        "finding": finding.name,
        "answer": "yes" if present else "no",
    }
    audit.record(FOUND, by=by, at=at, subject=case.code, clinic=case.clinic, **facts)
    return row


def _check_part(case: Case, finding: Finding) -> None:
    """Check that a line of the case's bills or tray hangs on the finding or on its complement."""
    same = Q(finding=finding) | Q(finding__complement_of=finding)
    if finding.complement_of_id:
        same |= Q(finding=finding.complement_of_id)
    bills = BomLine.objects.filter(same, version__case_procedures__case=case)
    if not bills.exists() and not TrayLine.objects.filter(same, case=case).exists():
        raise NothingHangsOnIt(case, finding)


def _lines_on(case: Case, finding: Finding, site: CaseSite | None) -> list[TrayLine]:
    """Lines that hang on a finding at a site, and those of the whole case that hang on it."""
    lines = TrayLine.objects.filter(case=case, finding=finding)
    return [line for line in lines if site is None or line.site_id in (None, site.pk)]


def _opened_by(lines: list[TrayLine]) -> list[TrayLine]:
    """Lines that are opened in more than half of the cases in which their finding is seen.

    The lines of one finding hang on one draw, so a line is opened in chance / largest chance of them.
    """
    likeliest = max((line.chance for line in lines), default=0.0)
    return [line for line in lines if not line.choose_one_group and line.chance > likeliest / 2]


def _open(units, *, at: dt.datetime) -> int:
    """Open sealed units; what was held, outdated or declined since it came onto the tray stays sealed."""
    sealed = units.filter(outcome=TrayUnit.Outcome.PENDING, opened_at=None)
    bad = [unit.pk for unit, _ in _unfit(sealed)]
    return sealed.exclude(pk__in=bad).update(opened_at=at)


def _unfit(units) -> list[tuple[TrayUnit, str]]:
    rows = units.select_related("lot__item", "line__case__patient")
    found = ((unit, unfit_on(unit.line, [unit])) for unit in rows)
    return [(unit, why[0][1]) for unit, why in found if why]


def _close_again(lines: Iterable[TrayLine], *, opened_at: dt.datetime) -> None:
    TrayUnit.objects.filter(
        line__in=list(lines), outcome=TrayUnit.Outcome.PENDING, opened_at=opened_at
    ).update(opened_at=None)


class UnfitOnTray(Refusal):
    """A unit on the tray was held, recalled, outdated or declined since it was put there."""

    def __init__(self, unit: TrayUnit, why: str) -> None:
        self.unit = unit
        super().__init__(unfit_sentence(unit, why))


@transaction.atomic
def open_line(*, line: TrayLine, by, at: dt.datetime) -> int:
    """Open the sealed units of one line on the clinician's word; returns how many rows were opened.

    Raises NotSetOut, WrongState, and UnfitOnTray where a unit may not be used any more.
    """
    case = start_surgery(case=line.case, by=by, at=at)
    sealed = TrayUnit.objects.filter(line=line, outcome=TrayUnit.Outcome.PENDING, opened_at=None)
    for unit, why in _unfit(sealed):
        raise UnfitOnTray(unit, why)
    opened = _open(sealed, at=at)
    if opened:
        audit.record(OPENED, by=by, at=at, subject=case.code, clinic=case.clinic, what=line.description)
    return opened


@transaction.atomic
def open_lines(*, lines: Iterable[TrayLine], by, at: dt.datetime) -> int:
    """Open the sealed units of several lines, all or none; returns how many rows were opened.

    Raises what ``open_line`` raises, and then nothing is opened.
    """
    return sum(open_line(line=line, by=by, at=at) for line in lines)


@transaction.atomic
def add_used(
    *,
    case: Case,
    lot: Lot,
    place: Place,
    quantity: int,
    by,
    at: dt.datetime,
    site: CaseSite | None = None,
    scanned: bool = False,
    note: str = "",
    although: str = "",
    key: str = "",
) -> TrayUnit:
    """Record use straight from a place: room stock, or something fetched during surgery.

    ``although``: why it was used in spite of a refusal (expired, held, declined); what went into a patient
    is always recorded, and the audit tells both. The same ``key`` with the same lot again returns the unit
    it made. Raises the refusals of ``tray_checks.check_lot`` unless it is given, ScanIt for an
    implant or tissue neither scanned nor explained, NotSetOut, WrongState, OtherCase, and the ledger's.
    """
    case = start_surgery(case=case, by=by, at=at)
    if site is not None and site.case_id != case.pk:
        raise OtherCase(case, site)
    earlier = TrayUnit.objects.filter(line__case=case, lot=lot, form_key=key).first() if key else None
    if earlier is not None:
        return earlier
    refused = _overruled(case, lot, place, although.strip())
    line = _line_for(case, lot, quantity)
    if must_scan(line) and not scanned and not note.strip():
        raise ScanIt(line)
    unit = TrayUnit(line=line, lot=lot, place=place, tray=place, quantity=quantity, scanned=scanned)
    unit.form_key = key
    unit.site = site or line.site or only_site(case)
    unit.note = "; ".join(filter(None, (note.strip(), although.strip())))[:200]
    _used_at_once(case, unit, by=by, at=at)
    facts = {"quantity": quantity, "what": str(lot), "place": str(place)}
    facts |= {"refused": refused, "why": although.strip()} if refused else {}
    action = ALTHOUGH if refused else ADDED
    audit.record(action, by=by, at=at, subject=case.code, clinic=case.clinic, **facts)
    return unit


def _overruled(case: Case, lot: Lot, place: Place, although: str) -> str:
    """The refusal that the reason given goes over, or ""; raised where no reason is given."""
    try:
        check_lot(case=case, lot=lot, place=place)
    except OVERRULED as refusal:
        if not although:
            raise
        return str(refusal)
    return ""


def _used_at_once(case: Case, unit: TrayUnit, *, by, at: dt.datetime) -> None:
    """Write a unit that never lay on the tray as used, and tell the ledger."""
    unit.outcome = TrayUnit.Outcome.USED
    unit.opened_at = unit.put_on_at = unit.decided_at = at
    unit.put_on_by = unit.decided_by = by
    unit.save()
    said = {"by": by, "at": at, "source": source_of(case), "key": decision_key(unit), "note": unit.note}
    use(lot=unit.lot, place=unit.place, quantity=unit.quantity, **said)


def only_site(case: Case) -> CaseSite | None:
    """The site of a case that has one; with several a person has to say which."""
    sites = list(case.sites.all()[:2])
    return sites[0] if len(sites) == 1 else None


def _line_for(case: Case, lot: Lot, quantity: int) -> TrayLine:
    """The room-stock line of the item, else a line added in surgery."""
    line = TrayLine.objects.filter(case=case, item=lot.item, set_out=ROOM).select_related("item").first()
    if line is not None:
        return line
    last = TrayLine.objects.filter(case=case).order_by("-position").first()
    position = last.position + 1 if last else 1
    return TrayLine.objects.create(
        case=case,
        position=position,
        key=f"added.{position}/{lot.item.code}"[:60],
        item=lot.item,
        description=lot.item.name[:200],
        quantity=quantity,
        certain=True,
        set_out=ROOM,
        added=True,
    )
