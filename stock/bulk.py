"""Many lots and orders at once, for a clinic that brings its past along: fewer queries, the same rules.

Quantities still go through ``posting.post_many``; here are only the rows that the entries point at.
"""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from practice.refusals import Refusal
from stock.models import ClinicItem, Item, ItemCode, Lot, Order, OrderLine, Supplier, SupplierItem
from stock.receiving import NotStocked, NumberMissing
from stock.scanning.check_digits import gs1_digit

CHUNK = 1000


class LotTwice(Refusal):
    """Two drafts, or a draft and a lot on record, name the same lot."""

    def __init__(self, *, draft: "LotDraft"):
        self.draft = draft
        super().__init__(f"{draft.item} {draft.serial or draft.lot_number} stands there twice. Look for it.")


@dataclass(frozen=True)
class LotDraft:
    """A lot (or single unit) to be made, with the facts of its arrival. ``unit_cost`` is per stock unit."""

    item: Item
    lot_number: str = ""
    serial: str = ""
    donor_id: str = ""
    expires_on: dt.date | None = None
    supplier: Supplier | None = None
    unit_cost: Decimal | None = None
    received_at: dt.datetime | None = None
    received_by: object = None
    package_intact: bool | None = None


@dataclass(frozen=True)
class LineDraft:
    """Packs of one supplier's item on a past order, what has arrived of them (units) and when it was due."""

    supplier_item: SupplierItem
    packs: int
    units_received: int
    expected_on: dt.date
    reason: str = ""


@dataclass
class OrderDraft:
    """An order of the past, with the moments of its states."""

    clinic: object
    supplier: Supplier
    number: str
    state: str
    created_at: dt.datetime
    created_by: object = None
    approved_at: dt.datetime | None = None
    approved_by: object = None
    second_approved_by: object = None
    sent_at: dt.datetime | None = None
    received_at: dt.datetime | None = None
    lines: list[LineDraft] = field(default_factory=list)


def _checked(draft: LotDraft) -> None:
    """Refuse a draft that ``receiving.ensure_lot`` would refuse. Raises NotStocked, NumberMissing."""
    item = draft.item
    if item.is_set:
        raise NotStocked(item=item)
    if item.tracking == Item.Tracking.LOT and not draft.lot_number:
        raise NumberMissing(item=item, what="lot number")
    if item.is_unit_tracked and not draft.serial:
        raise NumberMissing(item=item, what="serial number")
    if item.tracking == Item.Tracking.DONOR and not draft.donor_id:
        raise NumberMissing(item=item, what="donor")


def make_lots(*, drafts: Sequence[LotDraft]) -> list[Lot]:
    """Make lots, in the order of their drafts. Raises NotStocked, NumberMissing, LotTwice."""
    seen = set(Lot.objects.values_list("item_id", "lot_number", "serial"))
    for draft in drafts:
        _checked(draft)
        identity = (draft.item.pk, draft.lot_number, draft.serial)
        if identity in seen:
            raise LotTwice(draft=draft)
        seen.add(identity)
    return Lot.objects.bulk_create([Lot(**vars(draft)) for draft in drafts], batch_size=CHUNK)


def make_past_orders(*, drafts: Sequence[OrderDraft]) -> list[Order]:
    """Make orders with their lines at the present pack price; the database's own rules on states hold."""
    orders = Order.objects.bulk_create(
        [
            Order(
                second_approved_at=draft.approved_at if draft.second_approved_by else None,
                **{name: value for name, value in vars(draft).items() if name != "lines"},
            )
            for draft in drafts
        ],
        batch_size=CHUNK,
    )
    lines = [
        OrderLine(
            order=order,
            pack_size=line.supplier_item.pack_size,
            pack_price=line.supplier_item.pack_price,
            **vars(line),
        )
        for order, draft in zip(orders, drafts, strict=True)
        for line in draft.lines
    ]
    OrderLine.objects.bulk_create(lines, batch_size=CHUNK)
    return orders


def name_by_gtin(*, items: Iterable[Item], prefix: str) -> None:
    """Give each item that has no GS1 code a GTIN-14 of this prefix, numbered in the order of the items."""
    named = set(ItemCode.objects.filter(standard="GS1").values_list("item_id", flat=True))
    codes = []
    for number, item in enumerate(items, start=1):
        digits = f"{prefix}{number:0{13 - len(prefix)}d}"
        if item.pk not in named:
            codes.append(ItemCode(item=item, standard="GS1", value=digits + gs1_digit(digits)))
    ItemCode.objects.bulk_create(codes)


def keep_at_least(*, clinic, quantities: dict[Item, int]) -> None:
    """Set the least that a clinic keeps of items, in stock units."""
    rows = [ClinicItem(clinic=clinic, item=item, keep_at_least=units) for item, units in quantities.items()]
    ClinicItem.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["clinic", "item"], update_fields=["keep_at_least"]
    )
