"""What the planner must know of a clinic's stock and suppliers, as values, in a handful of queries."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable

from django.db.models import F

from practice.models import Clinic
from stock.models import Balance, ClinicItem, Item, Lot, Order, Place, SupplierItem
from stock.plan_values import ItemStock, LotInDate, Seller

# Units at these places belong to the clinic but lie out of its hands.
AWAY = (Place.Kind.LOAN, Place.Kind.TRANSIT)
# How far back receipts tell how long a supplier takes (unit: days). Our choice: a year sees every season.
LEAD_WINDOW_DAYS = 365


def planned_items() -> list[Item]:
    """Items whose stock is planned: in use, kept in the ledger, and not made for one case."""
    return list(Item.objects.active().stocked().exclude(tracking=Item.Tracking.CASE).order_by("code"))


def stock_of(*, clinic: Clinic) -> dict[int, ItemStock]:
    """Stock at a clinic by item id. One query."""
    rows = (
        Balance.objects.filter(place__clinic=clinic, quantity__gt=0)
        .exclude(place__kind__in=AWAY)
        .order_by(F("lot__expires_on").asc(nulls_last=True), "lot_id")
        .select_related("lot__item", "place")
    )
    on_hand: dict[int, int] = defaultdict(int)
    reach: dict[int, dict[int, tuple[Lot, int]]] = defaultdict(dict)
    for row in rows:
        item_id = row.lot.item_id
        on_hand[item_id] += row.quantity
        if row.place.kind in Place.PRESENT and not row.lot.decision:
            _, before = reach[item_id].get(row.lot_id, (row.lot, 0))
            reach[item_id][row.lot_id] = (row.lot, before + row.quantity)
    return {
        item_id: ItemStock(
            on_hand=units, lots=tuple(_lot(lot, there) for lot, there in reach[item_id].values())
        )
        for item_id, units in on_hand.items()
    }


def _lot(lot: Lot, quantity: int) -> LotInDate:
    return LotInDate(
        lot_id=lot.pk,
        shown=lot.shown,
        quantity=quantity,
        expires_on=lot.expires_on,
        last_usable_on=lot.last_usable_on,
    )


def kept_at_least(*, clinic: Clinic) -> dict[int, int]:
    """Units the clinic has decided never to go below, by item id. One query."""
    return dict(
        ClinicItem.objects.filter(clinic=clinic, keep_at_least__gt=0).values_list("item_id", "keep_at_least")
    )


def sellers(*, items: Iterable[int] | None = None) -> dict[int, Seller]:
    """Who each item is bought from, by item id: the preferred supplier, else the first listed. One query.

    Of these items only, where they are given.
    """
    rows = SupplierItem.objects.select_related("supplier").order_by("item_id", "-preferred", "id")
    if items is not None:
        rows = rows.filter(item__in=items)
    found: dict[int, Seller] = {}
    for row in rows:
        found.setdefault(
            row.item_id,
            Seller(
                supplier_item_id=row.pk,
                supplier_id=row.supplier_id,
                supplier=row.supplier.name,
                pack_size=row.pack_size,
                pack_price=row.pack_price,
                minimum_packs=row.minimum_packs,
                lead_days=row.lead_days,
            ),
        )
    return found


def lead_days_seen(*, today: dt.date) -> dict[int, list[int]]:
    """Days from sent to received of last year's orders that are complete, by supplier id. One query.

    All clinics count together: how long a supplier takes hangs on the supplier.
    """
    rows = Order.objects.filter(
        state=Order.State.RECEIVED,
        sent_at__isnull=False,
        received_at__isnull=False,
        received_at__date__gte=today - dt.timedelta(days=LEAD_WINDOW_DAYS),
    ).order_by("id")
    found: dict[int, list[int]] = defaultdict(list)
    for supplier_id, sent_at, received_at in rows.values_list("supplier_id", "sent_at", "received_at"):
        found[supplier_id].append(max((received_at.date() - sent_at.date()).days, 0))
    return dict(found)
