"""What a scanned or typed text names in stock: items, and lots of them."""

import datetime as dt
from dataclasses import dataclass, field

from django.db.models import Q, QuerySet

from practice.refusals import Refusal
from stock.models import Item, Lot
from stock.scanning import UNKNOWN, Label, read

# A text typed by hand may name several items; more than this many are not an answer.
MOST_ITEMS = 25


class Unreadable(Refusal):
    """The label contradicts itself and must not be relied upon."""

    def __init__(self, *, label: Label):
        self.label = label
        super().__init__(f"This label cannot be relied upon. {' '.join(label.problems)}")


@dataclass(frozen=True)
class Found:
    """What a text names: ``label`` as it was read, the ``items`` it names, the ``lots`` recorded of it."""

    text: str
    label: Label
    items: list[Item] = field(default_factory=list)
    lots: list[Lot] = field(default_factory=list)

    @property
    def item(self) -> Item | None:
        """The one item it names, or None where it names none or several."""
        named = {item.pk: item for item in [*self.items, *(lot.item for lot in self.lots)]}
        return next(iter(named.values())) if len(named) == 1 else None

    @property
    def number(self) -> str:
        """The lot or unit number the label gives, or the text itself where it is no label."""
        label = self.label
        return label.serial or label.donation or label.lot or ("" if label.is_sound else self.text)


def look_up(*, text: str, today: dt.date) -> Found:
    """Items and lots that a label, lot number, serial, tissue unit, donor, item code or name stands for.

    Nothing found is an answer too: both lists are empty. Raises Unreadable.
    """
    text = text.strip()
    label = read(text, today=today)
    if label.problems:
        raise Unreadable(label=label)
    if label.standard == UNKNOWN:
        return _typed(text, label)
    codes = [code for code in (label.gtin, label.product) if code]
    items = list(Item.objects.filter(codes__value__in=codes).distinct()) if codes else []
    return Found(text, label, items, list(_lots_of(label, items)))


def _rows() -> QuerySet[Lot]:
    return Lot.objects.select_related("item", "supplier", "received_by").order_by("expires_on", "pk")


def _lots_of(label: Label, items: list[Item]) -> QuerySet[Lot]:
    """Lots with the label's numbers: its unit number where that is recorded, else its lot number."""
    lots = _rows().filter(item__in=items) if items else _rows()
    for named in (
        Q(serial=label.serial) if label.serial else None,
        Q(serial=label.donation) | Q(donor_id=label.donation) if label.donation else None,
        Q(lot_number=label.lot) if label.lot else None,
    ):
        if named is not None and lots.filter(named).exists():
            return lots.filter(named)
    return Lot.objects.none()


def _typed(text: str, label: Label) -> Found:
    if not text:
        return Found(text, label)
    lots = list(
        _rows().filter(Q(serial__iexact=text) | Q(lot_number__iexact=text) | Q(donor_id__iexact=text))
    )
    items = list(Item.objects.filter(Q(code__iexact=text) | Q(codes__value__iexact=text)).distinct())
    if not items and not lots:
        words = Q()
        for word in text.split():
            words &= Q(name__icontains=word) | Q(code__icontains=word)
        items = list(Item.objects.active().filter(words)[:MOST_ITEMS])
    return Found(text, label, items, lots)
