"""Questions to stock, answered as values with few queries. Days and moments are always passed in."""

import calendar
import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from zoneinfo import ZoneInfo

from django.db.models import F, QuerySet, Sum
from django.db.models.functions import Coalesce, TruncDate

from practice.models import Clinic
from stock.models import Balance, Entry, Item, Lot, Order, OrderLine, Place
from stock.values import ReceiptDue, StockUnit, last_usable

_USABLE = ("lot__expires_on", "lot__item__safety_days")


def _later(day: dt.date, *, months: int) -> dt.date:
    """The same day some months on, or the month's last."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return dt.date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def stock_units(*, clinic: Clinic, items: Iterable | None = None) -> list[StockUnit]:
    """Everything a case at the clinic may be given: undecided lots at pickable places, by item id.

    Units that are past their last usable day are included; whether they serve hangs on the day of need.
    One query.
    """
    rows = Balance.objects.filter(
        place__clinic=clinic,
        place__kind__in=Place.PICKABLE,
        quantity__gt=0,
        lot__decision=Lot.Decision.NONE,
    )
    if items is not None:
        rows = rows.filter(lot__item__in=items)
    # Columns, not rows: a case list asks for hundreds of lots and needs six facts of each.
    facts = rows.order_by("id").values_list("lot_id", "lot__item_id", "place_id", "quantity", *_USABLE)
    return [
        StockUnit(lot_id, item_id, place_id, quantity, last_usable(expires_on=expiry, safety_days=margin))
        for lot_id, item_id, place_id, quantity, expiry, margin in facts
    ]


def balances_of(*, item: Item, clinics: Iterable[Clinic]) -> QuerySet[Balance]:
    """Where an item lies at these clinics: place and lot, soonest to expire first."""
    rows = Balance.objects.filter(lot__item=item, place__clinic__in=clinics, quantity__gt=0)
    order = [F("lot__expires_on").asc(nulls_last=True), "lot_id", "place_id"]
    return rows.select_related("lot__item", "place__clinic").order_by(*order)


def quantities(*, clinic: Clinic, on: dt.date) -> dict[int, tuple[int, int]]:
    """(units present, units of them usable on a day) for each item id; trays count as present. One query."""
    rows = Balance.objects.filter(place__clinic=clinic, place__kind__in=Place.PRESENT, quantity__gt=0)
    found: dict[int, tuple[int, int]] = defaultdict(lambda: (0, 0))
    facts = rows.values_list("lot__item_id", "quantity", "lot__decision", *_USABLE)
    for item_id, quantity, decision, expiry, margin in facts:
        last = last_usable(expires_on=expiry, safety_days=margin)
        usable = not decision and (last is None or last >= on)
        present, good = found[item_id]
        found[item_id] = (present + quantity, good + quantity * usable)
    return dict(found)


def movements_of(*, lots: Iterable[Lot]) -> QuerySet[Entry]:
    """Every entry of these lots, oldest first, ready to show."""
    entries = Entry.objects.filter(lot__in=lots).order_by("at", "id")
    return entries.select_related("lot__item", "place", "clinic", "by", "corrects")


def receipts_due(*, clinic: Clinic, today: dt.date, states: Iterable[str] = Order.OPEN) -> list[ReceiptDue]:
    """Units still to come on open orders, by day of arrival.

    What is overdue is expected today and says so. An order that is not sent yet is expected after the
    supplier's stated days from today. The last usable day is what the catalogue promises at receipt, less the
    safety days.
    """
    lines = OrderLine.objects.filter(order__clinic=clinic, order__state__in=list(states))
    due = []
    for line in lines.select_related("order", "supplier_item__item").order_by("id"):
        left = line.units - line.units_received
        if left <= 0:
            continue
        item = line.supplier_item.item
        stated = line.expected_on or today + dt.timedelta(days=line.supplier_item.lead_days)
        arrives_on, last = max(stated, today), None
        if item.shelf_life_months is not None:
            last = _later(arrives_on, months=item.shelf_life_months) - dt.timedelta(days=item.safety_days)
        due.append(
            ReceiptDue(
                item.pk, line.supplier_item_id, line.order.number, arrives_on, left, last, stated < today
            )
        )
    return sorted(due, key=lambda receipt: (receipt.arrives_on, receipt.order_number))


def use_history(
    *,
    clinic: Clinic,
    since: dt.date,
    until: dt.date,
    kinds: Iterable[str] = (Entry.Kind.USE, Entry.Kind.WASTE),
) -> dict[int, dict[dt.date, int]]:
    """Units that left by use or waste, by item id and day of the clinic's calendar, both ends included.

    A correction counts on the day of the entry it corrects, so a mistake leaves no trace.
    """
    moment = Coalesce("corrects__at", "at")
    day = TruncDate(moment, tzinfo=ZoneInfo(clinic.time_zone))
    rows = (
        Entry.objects.filter(clinic=clinic, kind__in=list(kinds))
        .annotate(day=day)
        .filter(day__gte=since, day__lte=until)
        .order_by()
        .values_list("lot__item_id", "day")
        .annotate(units=Sum("quantity"))
    )
    found: dict[int, dict[dt.date, int]] = defaultdict(dict)
    for item_id, on, units in rows:
        if units:
            found[item_id][on] = -units
    return dict(found)
