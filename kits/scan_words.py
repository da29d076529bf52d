"""What a scan or a typed number stands for: units of a lot, an item without a lot, or a set."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q

from kits.models import Case
from kits.pick_values import day_words
from practice.refusals import Refusal
from stock.models import Item, Lot
from stock.scanning import UNKNOWN, Label, read


class Unreadable(Refusal):
    """The label contradicts itself and must not be relied upon."""

    def __init__(self, label: Label) -> None:
        super().__init__(f"This label cannot be relied upon. {' '.join(label.problems)}")


class UnknownCode(Refusal):
    """No item carries the code."""

    def __init__(self, code: str) -> None:
        super().__init__(
            f"No item of ours has the code {code}. Check the pack; if it is one of ours, have the code "
            "added to the item in the catalogue."
        )


class UnknownText(Refusal):
    """Nothing is called that."""

    def __init__(self, text: str) -> None:
        super().__init__(
            f"Nothing here is called “{text}”: no lot, serial number, tissue unit, item or set. "
            "Read it again, or scan the code on the pack."
        )


class NotReceived(Refusal):
    """The item is ours, the lot is not."""

    def __init__(self, item: Item, number: str) -> None:
        super().__init__(
            f"{number} of {item.name} was never received here. Receive it first, then scan it to the tray."
        )


class LabelDiffers(Refusal):
    """The pack says another expiry than the record; the pack goes first."""

    def __init__(self, lot: Lot, label: Label) -> None:
        super().__init__(
            f"The label says that {lot} expires on {day_words(label.expiry)}, our record says "
            f"{day_words(lot.expires_on) or 'nothing'}. The label counts: put it aside and have the record "
            "put right."
        )


@dataclass(frozen=True)
class Meant:
    """What was scanned: an item, and its lots or units (none where the code names the item alone)."""

    item: Item
    lots: tuple[Lot, ...] = ()
    warnings: tuple[str, ...] = ()


def meaning(*, text: str, case: Case, today: dt.date) -> Meant:
    """What a scanned or typed text stands for. Raises one of the refusals above.

    A number that several items share is taken for the one that is on the case's tray list.
    """
    label = read(text, today=today)
    if label.problems:
        raise Unreadable(label)
    if label.standard == UNKNOWN:
        return _typed(text.strip(), case)
    return _scanned(label, case)


def _typed(text: str, case: Case) -> Meant:
    if not text:
        raise UnknownText(text)
    named = Q(serial__iexact=text) | Q(lot_number__iexact=text)
    lots = list(Lot.objects.filter(named).select_related("item").order_by("expires_on", "pk"))
    if lots:
        return _on_list(lots, case)
    item = Item.objects.filter(Q(code__iexact=text) | Q(codes__value__iexact=text)).first()
    if item is None:
        raise UnknownText(text)
    return Meant(item)


def _scanned(label: Label, case: Case) -> Meant:
    codes = [code for code in (label.gtin, label.product) if code]
    items = list(Item.objects.filter(codes__value__in=codes).distinct())
    if not items and codes:
        raise UnknownCode(codes[0])
    number = label.serial or label.donation or label.lot
    if number is None:
        return Meant(items[0], warnings=label.warnings)
    lots = list(_lots_of(label, items).select_related("item").order_by("expires_on", "pk"))
    if not lots:
        if not items:
            raise UnknownText(number)
        raise NotReceived(items[0], number)
    meant = _on_list(lots, case)
    for lot in meant.lots:
        if label.expiry is not None and lot.expires_on != label.expiry:
            raise LabelDiffers(lot, label)
    return Meant(meant.item, meant.lots, label.warnings)


def _lots_of(label: Label, items: list[Item]):
    """Lots with the label's numbers: its unit number where that is known here, else its lot number."""
    lots = Lot.objects.filter(item__in=items) if items else Lot.objects.all()
    for named in (
        Q(serial=label.serial) if label.serial else None,
        Q(serial=label.donation) | Q(donor_id=label.donation) if label.donation else None,
        Q(lot_number=label.lot) if label.lot else None,
    ):
        if named is not None and lots.filter(named).exists():
            return lots.filter(named)
    return Lot.objects.none()


def _on_list(lots: Iterable[Lot], case: Case) -> Meant:
    lots = list(lots)
    wanted = set(case.tray_lines.exclude(item=None).values_list("item_id", flat=True))
    item = next((lot.item for lot in lots if lot.item_id in wanted), lots[0].item)
    return Meant(item, tuple(lot for lot in lots if lot.item_id == item.pk))
