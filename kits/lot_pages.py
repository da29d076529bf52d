"""What is known of lots, for people: where they lie, on which trays, in whom, what moved, donor siblings.

Clinics out of the person's reach are counted, not shown, so that nothing seems to be nowhere.
"""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kits.trace import Given, on_trays, patients_of
from kits.views.words import tooth_shown
from practice.models import Clinic
from stock.item_status import Status
from stock.lot_standing import standing_of
from stock.models import Balance, Entry, Lot, Place
from stock.tracing import trace

# Lots of one answer that are told with every movement; of more, a list is shown to choose from.
MOST_TOLD = 12
_WORDS = {
    Entry.Kind.OPENING: "Opening stock at {place}",
    Entry.Kind.RECEIVE: "Received into {place}",
    Entry.Kind.MOVE_OUT: "Moved away from {place}",
    Entry.Kind.MOVE_IN: "Moved to {place}",
    Entry.Kind.USE: "Used from {place}",
    Entry.Kind.WASTE: "Wasted from {place}",
    Entry.Kind.COUNT: "Count corrected at {place}",
    Entry.Kind.RETURN: "Returned to the supplier from {place}",
    Entry.Kind.LEND: "Lent from {place}",
    Entry.Kind.BORROW: "Borrowed into {place}",
}


@dataclass(frozen=True)
class LotShown:
    """A lot and how it stands today."""

    lot: Lot
    standing: Status
    units: int


@dataclass(frozen=True)
class PatientShown:
    """Units of a lot used in a patient; the tooth as the case's clinic numbers it."""

    given: Given
    tooth: dict | None


@dataclass(frozen=True)
class MoveShown:
    """One entry in words; ``case`` or ``order`` is the code its source names."""

    entry: Entry
    words: str
    detail: str
    case: str
    order: str
    was_corrected: bool

    @property
    def size(self) -> int:
        """Units moved, without the sign."""
        return abs(self.entry.quantity)

    @property
    def may_correct(self) -> bool:
        """Whether it can be put right here: not a case's, no correction, and not put right already."""
        return not (self.case or self.entry.corrects_id or self.was_corrected)


@dataclass(frozen=True)
class LotsPage:
    """Everything told of some lots."""

    lots: list[LotShown]
    where: list[Balance]
    trays: list
    patients: list[PatientShown]
    moves: list[MoveShown]
    siblings: list[LotShown]
    units: int
    units_elsewhere: int
    patients_elsewhere: int
    moves_elsewhere: int
    is_told: bool

    @property
    def is_several(self) -> bool:
        """Whether more than one lot is told of, so that each row has to name its own."""
        return len(self.lots) > 1

    @property
    def patient_number(self) -> int:
        """Different patients among those shown."""
        return len({shown.given.patient.pk for shown in self.patients})


def movement_words(entry: Entry) -> str:
    """What an entry did, as a person would say it."""
    if entry.kind == Entry.Kind.PUT_BACK:
        words = "Put back sealed into {place}" if entry.quantity > 0 else "Put back, off {place}"
    else:
        words = _WORDS[entry.kind]
    said = words.format(place=entry.place)
    return f"Correction: {said[0].lower()}{said[1:]}" if entry.corrects_id else said


def moves_shown(entries: Sequence[Entry], *, corrected: Iterable[int] = ()) -> list[MoveShown]:
    """Entries in words, in their order; those a later entry of the list corrects are marked.

    ``corrected``: ids of entries that were put right by one outside the list.
    """
    corrected = {entry.corrects_id for entry in entries if entry.corrects_id} | set(corrected)
    return [_move(entry, entry.pk in corrected) for entry in entries]


def _move(entry: Entry, was_corrected: bool) -> MoveShown:
    kind, _, code = entry.source.partition(":")
    reason = entry.get_reason_display() if entry.reason else ""
    return MoveShown(
        entry=entry,
        words=movement_words(entry),
        detail=": ".join(filter(None, [reason, entry.note])),
        case=code if kind == "case" else "",
        order=code if kind == "order" else "",
        was_corrected=was_corrected,
    )


def patient_shown(given: Given) -> PatientShown:
    """One use with its tooth in words."""
    return PatientShown(given, tooth_shown(given.tooth, given.case.clinic) if given.tooth else None)


def lots_page(*, lots: Sequence[Lot], clinics: Sequence[Clinic], today: dt.date) -> LotsPage:
    """Everything told of these lots to somebody who works at these clinics; seven queries, however many."""
    told = len(lots) <= MOST_TOLD
    found = trace(lots=lots)
    reach = {clinic.pk for clinic in clinics}
    given = patients_of(lots=lots)
    seen = [one for one in given if one.case.clinic_id in reach]
    where = [row for row in found.where if row.place.clinic_id in reach]
    moves = [entry for entry in found.movements if entry.clinic_id in reach]
    units: dict[int, int] = {}
    for row in found.where:
        units[row.lot_id] = units.get(row.lot_id, 0) + row.quantity
    return LotsPage(
        lots=[LotShown(lot, standing_of(lot, today=today), units.get(lot.pk, 0)) for lot in lots],
        where=where,
        trays=[unit for unit in on_trays(lots=lots) if unit.line.case.clinic_id in reach],
        patients=[patient_shown(one) for one in seen],
        moves=moves_shown(moves[::-1]) if told else [],
        siblings=[LotShown(lot, standing_of(lot, today=today), 0) for lot in found.siblings],
        units=sum(row.quantity for row in where),
        units_elsewhere=sum(row.quantity for row in found.where) - sum(row.quantity for row in where),
        patients_elsewhere=len(given) - len(seen),
        moves_elsewhere=len(found.movements) - len(moves) if told else 0,
        is_told=told,
    )


def handled_at(page: LotsPage, clinics: Sequence[Clinic]) -> bool:
    """Whether some of the units lie on a shelf of these clinics, so that they may be moved or used."""
    reach = {clinic.pk for clinic in clinics}
    return any(row.place.clinic_id in reach and row.place.kind != Place.Kind.TRAY for row in page.where)
