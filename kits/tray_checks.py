"""What may not come onto a tray, each refusal a sentence with what to do next."""

import datetime as dt
from collections.abc import Iterable

from kits.case_lines import must_scan
from kits.models import Case, TrayLine, TrayUnit
from kits.pick_values import day_words
from kits.promises import Book, made_short_by
from kits.substitutes import verdict
from kits.tray_fitness import unfit_of
from practice.refusals import Refusal
from stock.models import Balance, Lot, Place


class ScanIt(Refusal):
    """Implants and tissue are never ticked from a list."""

    def __init__(self, line: TrayLine) -> None:
        super().__init__(
            f"{line.description} has to be scanned: its own label goes into the patient's record. If the "
            "label cannot be read, type its number and write down why."
        )


class NothingToTake(Refusal):
    """Nothing usable is free for the line."""

    def __init__(self, line: TrayLine) -> None:
        super().__init__(
            f"Nothing of {line.description} is free and in date on the day. Look for a substitute, ask the "
            "other clinic, or order it."
        )


class ChooseFirst(Refusal):
    """The plan does not say which item the line is."""

    def __init__(self, line: TrayLine) -> None:
        super().__init__(f"Nobody has chosen the item for “{line.description}” yet. Choose it in the plan.")


class WrongItem(Refusal):
    """Another item than the line asks for."""

    def __init__(self, line: TrayLine, lot: Lot, why: str) -> None:
        super().__init__(f"{lot.item.name} is not what this line asks for. {why} Take {line.item.name}.")


class OutOfReach(Refusal):
    """It lies where nothing may be picked from."""

    def __init__(self, lot: Lot, place: Place, case: Case) -> None:
        if place.clinic_id != case.clinic_id:
            where = f"lies at {place.clinic}, not at {case.clinic}"
            do = "Ask for a transfer, and scan it when it has arrived."
        elif place.kind == Place.Kind.QUARANTINE:
            where, do = "lies in quarantine", "Leave it there and take another."
        elif place.kind == Place.Kind.TRAY:
            where, do = f"already lies on {place}", "Take it off that tray first, or take another."
        else:
            where, do = f"is {place.get_kind_display().lower()}", "Take another."
        super().__init__(f"{lot} {where}. {do}")


class Held(Refusal):
    """A held or recalled lot."""

    def __init__(self, lot: Lot) -> None:
        reason = f" ({lot.decision_reason})" if lot.decision_reason else ""
        super().__init__(
            f"{lot} is {lot.get_decision_display()}{reason}. Put it into quarantine and take another lot."
        )


class Expired(Refusal):
    """Out of date on the day of surgery; that day counts, not today."""

    def __init__(self, lot: Lot, on: dt.date) -> None:
        margin = lot.item.safety_days
        kept = f" and {margin} days are kept as a margin" if margin else ""
        super().__init__(
            f"{lot} is not usable on {day_words(on)}: it expires on {day_words(lot.expires_on)}{kept}. "
            "Put it into quarantine if it is past its date, and take another lot."
        )


class Declined(Refusal):
    """The patient does not accept material of this origin."""

    def __init__(self, lot: Lot, case: Case, origins: frozenset[str]) -> None:
        words = " and ".join(sorted(origins))
        super().__init__(
            f"{case.patient} declines {words} material, so {lot.item.name} may not be used. "
            "Ask the clinician to choose another."
        )


class Complete(Refusal):
    """The line already holds all it asks for."""

    def __init__(self, line: TrayLine, left: int) -> None:
        more = f"Only {left} more of" if left else "All of"
        super().__init__(
            f"{more} {line.description} {'is' if left == 1 else 'are'} "
            f"{'wanted' if left else 'on the tray already'}. Put the rest back where it came from."
        )


class PromisedElsewhere(Refusal):
    """An earlier case would go short."""

    def __init__(self, lot: Lot, other: Case) -> None:
        super().__init__(
            f"{lot} is promised to {other} on {day_words(other.on)}, which starts earlier. Take another lot, "
            "ask for a transfer, or agree with that case's team to change its plan."
        )


class OnATray(Refusal):
    """The very unit already lies on a tray."""

    def __init__(self, lot: Lot, unit: TrayUnit) -> None:
        super().__init__(
            f"{lot} already lies on the tray of {unit.line.case}. Read the label in your hand again; "
            "one unit cannot be in two places."
        )


def check_unit(
    *,
    case: Case,
    line: TrayLine,
    lot: Lot,
    place: Place,
    quantity: int,
    scanned: bool,
    note: str = "",
    book: Book | None = None,
) -> None:
    """Check that these units may come onto this line; raises one of the refusals above.

    The lot is read again here, so that a hold set a moment ago counts. ``book``: as for ``made_short_by``.
    """
    lot.refresh_from_db(fields=["decision", "decision_reason", "expires_on"])
    if line.item is None:
        raise ChooseFirst(line)
    if lot.item_id != line.item_id:
        raise WrongItem(line, lot, verdict(line.item, lot.item).sentence)
    check_lot(case=case, lot=lot, place=place)
    if must_scan(line) and not scanned and not note.strip():
        raise ScanIt(line)
    left = left_on(line)
    if quantity > left:
        raise Complete(line, left)
    other = made_short_by(case=case, lot=lot, place=place, quantity=quantity, book=book)
    if other is not None:
        raise PromisedElsewhere(lot, other)


def check_lot(*, case: Case, lot: Lot, place: Place) -> None:
    """Check that a lot at a place may be used in a case at all, whatever line it is for."""
    _check_tray(lot, place)
    if place.clinic_id != case.clinic_id or place.kind not in Place.PICKABLE:
        raise OutOfReach(lot, place, case)
    check_standing(case=case, lot=lot)
    check_consent(case=case, lot=lot)


def check_standing(*, case: Case, lot: Lot) -> None:
    """Check that a lot is neither held nor recalled, and in date on the day; raises Held, Expired."""
    if lot.decision:
        raise Held(lot)
    if lot.last_usable_on is not None and lot.last_usable_on < case.on:
        raise Expired(lot, case.on)


def check_consent(*, case: Case, lot: Lot) -> None:
    """Check that the patient accepts material of the lot's origin; raises Declined."""
    declined = lot.item.origins & case.patient.declined_origins
    if declined:
        raise Declined(lot, case, declined)


def _check_tray(lot: Lot, place: Place) -> None:
    there = Balance.objects.filter(lot=lot, place=place, quantity__gt=0).exists()
    if there and place.kind != Place.Kind.TRAY:
        return
    pending = TrayUnit.objects.filter(lot=lot, outcome=TrayUnit.Outcome.PENDING)
    unit = pending.select_related("line__case").first()
    if unit is not None:
        raise OnATray(lot, unit)


def left_on(line: TrayLine) -> int:
    """Units a tray line still asks for."""
    units = list(line.units.exclude(outcome=TrayUnit.Outcome.PUT_BACK).select_related("lot__item"))
    unfit = {unit for unit, _ in unfit_on(line, units)}
    return max(0, line.quantity - sum(unit.quantity for unit in units if unit not in unfit))


def unfit_on(line: TrayLine, units: Iterable[TrayUnit]) -> list[tuple[TrayUnit, str]]:
    """Units of a line that may not be used in its case any more, with the reason."""
    return unfit_of(units, on=line.case.on, declined=line.case.patient.declined_origins)
