"""All lots of one item, for people: where they lie, the newest movements and uses, and every one by pages.

Hundreds of lots and thousands of movements are no answer to read: what lies there comes first, then the
newest few. Clinics out of the person's reach are counted, not shown.
"""

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.db.models import Count, Q, QuerySet

from kits.lot_pages import MoveShown, PatientShown, moves_shown, patient_shown
from kits.models import TrayUnit
from kits.trace import Given, uses_of_item
from practice.models import Clinic
from stock.item_status import Status
from stock.lot_standing import standing_of
from stock.models import Balance, Entry, Item
from stock.queries import balances_of

# Movements and uses of an item that are told at first.
NEWEST = 20
MOVES_HEADER = (
    *("when", "entered", "movement", "units", "place", "clinic", "lot", "serial or unit"),
    *("donor", "source", "reason", "note", "by"),
)
USES_HEADER = (
    *("patient", "case", "day", "tooth (FDI)", "clinic", "clinician", "units"),
    *("lot", "serial or unit", "donor", "expiry"),
)


@dataclass(frozen=True)
class Lying:
    """Units of a lot at a place, and how the lot stands."""

    balance: Balance
    standing: Status


@dataclass(frozen=True)
class ItemHistory:
    """What lies there and the newest of what happened; the numbers say how much more there is."""

    item: Item
    lying: list[Lying]
    units_elsewhere: int
    moves: list[MoveShown]
    move_number: int
    moves_elsewhere: int
    uses: list[PatientShown]
    use_number: int
    uses_elsewhere: int

    @property
    def units(self) -> int:
        """Units at the clinics in reach."""
        return sum(row.balance.quantity for row in self.lying)

    @property
    def lot_number(self) -> int:
        """Different lots among them."""
        return len({row.balance.lot_id for row in self.lying})


def item_history(*, item: Item, clinic: Clinic, clinics: Sequence[Clinic], today: dt.date) -> ItemHistory:
    """One item to somebody who works at these clinics; six queries, however many lots it has.

    What lies at ``clinic`` comes first, soonest to expire first within each clinic.
    """
    reach = {one.pk for one in clinics}
    everywhere = list(balances_of(item=item, clinics=Clinic.objects.all()))
    here = [row for row in everywhere if row.place.clinic_id in reach]
    here.sort(key=lambda row: (row.place.clinic_id != clinic.pk, row.place.clinic_id))
    at_reach = Q(clinic__in=reach)
    moved = Entry.objects.filter(lot__item=item).aggregate(
        every=Count("pk"), seen=Count("pk", filter=at_reach)
    )
    seen = Q(line__case__clinic__in=reach)
    used = uses_of_item(item=item).order_by().aggregate(every=Count("pk"), seen=Count("pk", filter=seen))
    newest = item_moves(item=item, clinics=clinics)
    # The newest are found by number first: sorting all of an item's entries whole is the slow part.
    numbers = list(newest.values_list("pk", flat=True)[:NEWEST])
    return ItemHistory(
        item=item,
        lying=[Lying(row, standing_of(row.lot, today=today)) for row in here],
        units_elsewhere=sum(row.quantity for row in everywhere) - sum(row.quantity for row in here),
        moves=moves_shown(list(_told(newest.filter(pk__in=numbers)))),
        move_number=moved["seen"],
        moves_elsewhere=moved["every"] - moved["seen"],
        uses=[patient_shown(Given(unit)) for unit in item_uses(item=item, clinics=clinics)[:NEWEST]],
        use_number=used["seen"],
        uses_elsewhere=used["every"] - used["seen"],
    )


def item_moves(*, item: Item, clinics: Iterable[Clinic]) -> QuerySet[Entry]:
    """Every entry of an item at these clinics, newest first."""
    return Entry.objects.filter(lot__item=item, clinic__in=list(clinics)).order_by("-at", "-pk")


def item_uses(*, item: Item, clinics: Iterable[Clinic]) -> QuerySet[TrayUnit]:
    """Every use of an item in a patient at these clinics, newest first."""
    return uses_of_item(item=item).filter(line__case__clinic__in=list(clinics))


def _told(entries: QuerySet[Entry]) -> QuerySet[Entry]:
    return entries.select_related("lot__item", "place", "clinic", "by", "corrects")


def moves_by_number(numbers: Sequence[int]) -> list[MoveShown]:
    """These entries in words, newest first; marked where another entry put them right. Two queries."""
    entries = _told(Entry.objects.filter(pk__in=numbers).order_by("-at", "-pk"))
    corrected = Entry.objects.filter(corrects__in=numbers).values_list("corrects_id", flat=True)
    return moves_shown(list(entries), corrected=corrected)


def move_rows(entries: QuerySet[Entry]) -> Iterator[tuple]:
    """Entries under MOVES_HEADER."""
    for entry in _told(entries).iterator(chunk_size=2000):
        lot = entry.lot
        yield (
            *(entry.at, entry.recorded_at, entry.get_kind_display(), entry.quantity),
            *(str(entry.place), str(entry.clinic), lot.lot_number, lot.serial, lot.donor_id),
            *(entry.source, entry.get_reason_display() if entry.reason else "", entry.note),
            str(entry.by or "The system"),
        )


def use_rows(units: QuerySet[TrayUnit]) -> Iterator[tuple]:
    """Uses under USES_HEADER."""
    for given in map(Given, units.iterator(chunk_size=2000)):
        lot, case = given.lot, given.case
        yield (
            *(given.patient.chart_number, case.code, given.on, given.tooth, str(case.clinic)),
            *(str(case.clinician or ""), given.unit.quantity),
            *(lot.lot_number, lot.serial, lot.donor_id, lot.expires_on),
        )
