"""The list of items of a clinic with how each stands: stock, forecast and orders put together."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from kits.replanning import COUNTED
from practice.models import Clinic
from stock.item_status import CHOICES, Standing, Status, status
from stock.models import Item, ItemForecast, SupplierItem
from stock.queries import quantities, receipts_due
from stock.unit_words import packs_words

_RANK = {key: rank for rank, (key, _) in enumerate(CHOICES)}


@dataclass(frozen=True, kw_only=True)
class ItemRow:
    """One item of the list; units are stock units, ``packs`` the usable ones in packs of its supplier."""

    code: str
    name: str
    category: str
    unit: str
    criticality: str
    on_hand: int
    usable: int
    packs: str
    due: int
    expected_use_30d: float | None
    covered_until: dt.date | None
    order_by_on: dt.date | None
    status: Status

    @property
    def rank(self) -> int:
        """How pressing it is; 0 is the most."""
        return _RANK[self.status.key]

    @property
    def order_by_key(self) -> dt.date:
        """The order-by day to sort by; without one, last."""
        return self.order_by_on or dt.date.max


def item_rows(*, clinic: Clinic, today: dt.date) -> list[ItemRow]:
    """Every item in use at a clinic, the most pressing first; five queries."""
    forecasts = {
        forecast.item_id: forecast
        for forecast in ItemForecast.objects.filter(clinic=clinic).defer("series").iterator()
    }
    there = quantities(clinic=clinic, on=today)
    due: dict[int, int] = defaultdict(int)
    for receipt in receipts_due(clinic=clinic, today=today, states=COUNTED):
        due[receipt.item_id] += receipt.quantity
    packs = _pack_sizes()
    rows = [
        _row(item, forecasts.get(item.pk), there.get(item.pk, (0, 0)), due[item.pk], packs, today)
        for item in Item.objects.active().stocked()
    ]
    return sorted(rows, key=lambda row: (row.rank, row.order_by_key, row.name))


def _pack_sizes() -> dict[int, int]:
    """Units a pack by item id, of the preferred supplier else the first listed. One query."""
    rows = SupplierItem.objects.order_by("preferred", "-id").values_list("item_id", "pack_size")
    return dict(rows)


def _row(
    item: Item, forecast: ItemForecast | None, there: tuple[int, int], due: int, packs, today
) -> ItemRow:
    on_hand, usable = there
    planned = item.tracking != Item.Tracking.CASE and item.supply_mode != Item.Supply.PER_CASE
    needed = forecast is not None and (forecast.must_have_peak > 0 or forecast.expected_use_90d >= 0.05)
    covered = forecast.covered_until if forecast else None
    order_by = forecast.order_by_on if forecast else None
    standing = Standing(
        on_hand=on_hand,
        usable=usable,
        is_needed=needed,
        covered_until=covered,
        order_by=order_by,
        due=due,
        is_planned=planned or needed,
    )
    return ItemRow(
        code=item.code,
        name=item.name,
        category=item.category,
        unit=item.stock_unit,
        criticality=item.criticality,
        on_hand=on_hand,
        usable=usable,
        packs=packs_words(usable, packs.get(item.pk, 1)),
        due=due,
        expected_use_30d=forecast.expected_use_30d if forecast else None,
        covered_until=covered if order_by else None,
        order_by_on=order_by,
        status=status(standing, today=today),
    )


def matching(
    rows: Iterable[ItemRow], *, text: str = "", category: str = "", criticality: str = "", standing: str = ""
) -> list[ItemRow]:
    """Rows that hold every word of a text in name, code or category, and fit the filters."""
    words = text.casefold().split()
    return [
        row
        for row in rows
        if all(word in f"{row.name} {row.code} {row.category}".casefold() for word in words)
        and (not category or row.category == category)
        and (not criticality or row.criticality == criticality)
        and (not standing or row.status.key == standing)
    ]
