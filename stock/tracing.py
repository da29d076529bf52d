"""Where a lot is, everything that happened to it, and what came from the same donor.

Patients are another layer's to add: stock knows cases only as labels on entries.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F, Q, QuerySet

from practice.refusals import Refusal
from stock.models import Balance, Entry, Item, Lot
from stock.queries import movements_of


class NothingToFind(Refusal):
    """No lot number, serial, donor or text was given."""

    def __init__(self):
        super().__init__("Give a lot number, a serial number, a tissue unit code, a donor or an item.")


@dataclass(frozen=True)
class Trace:
    """Lots found, where their units lie now, every movement, and other lots of the same donors."""

    lots: list[Lot]
    where: list[Balance]
    movements: list[Entry]
    siblings: list[Lot]


def _rows() -> QuerySet[Lot]:
    return Lot.objects.select_related("item", "supplier", "received_by")


def find_lots(*, lot: str = "", serial: str = "", donor: str = "", item: Item | None = None) -> QuerySet[Lot]:
    """Lots with exactly these numbers (as written, letters of either case); raises NothingToFind.

    A serial or tissue unit code is also looked for among lot numbers' units: give what the label says.
    """
    asked = {"lot_number": lot.strip(), "serial": serial.strip(), "donor_id": donor.strip()}
    wanted = Q()
    for column, value in asked.items():
        if value:
            wanted &= Q(**{f"{column}__iexact": value})
    if item is not None:
        wanted &= Q(item=item)
    if not wanted:
        raise NothingToFind()
    return _rows().filter(wanted)


def find_text(*, text: str) -> QuerySet[Lot]:
    """Lots whose lot number, serial, donor, item or label code is what was typed; raises NothingToFind."""
    text = text.strip()
    if not text:
        raise NothingToFind()
    exact = ("lot_number", "serial", "donor_id", "item__code", "item__codes__value")
    wanted = Q()
    for column in exact:
        wanted |= Q(**{f"{column}__iexact": text})
    return _rows().filter(wanted).distinct()


def find_label(*, label) -> QuerySet[Lot]:
    """Lots a read label names (fields gtin, product, lot, serial, donation of stock.scanning's Label).

    Raises NothingToFind when the label holds none of them.
    """
    codes = [code for code in (label.gtin, label.product) if code]
    wanted = Q(item__codes__value__in=codes) if codes else Q()
    if label.serial:
        wanted &= Q(serial=label.serial)
    if label.lot:
        wanted &= Q(lot_number=label.lot)
    if label.donation:
        wanted &= Q(donor_id=label.donation) | Q(serial=label.donation)
    if not wanted:
        raise NothingToFind()
    return _rows().filter(wanted).distinct()


def trace(*, lots: Iterable[Lot]) -> Trace:
    """Everything stock knows of these lots; five queries, however many lots."""
    lots = list(lots)
    where = Balance.objects.filter(lot__in=lots, quantity__gt=0).order_by(
        "place__clinic_id", "place_id", "id"
    )
    donors = {lot.donor_id for lot in lots if lot.donor_id}
    siblings = _rows().filter(donor_id__in=donors).exclude(pk__in=[lot.pk for lot in lots])
    return Trace(
        lots=lots,
        where=list(where.select_related("lot__item", "place__clinic")),
        movements=list(movements_of(lots=lots)),
        siblings=list(siblings.order_by(F("expires_on").asc(nulls_last=True), "id")) if donors else [],
    )
