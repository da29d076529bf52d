"""Ordering in the past: a weekly review tops every item up to its par, and the goods arrive as lots."""

import datetime as dt
import random
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from math import ceil

from kits.demo import cast
from kits.demo.days import ONE_DAY, DemoDays, moment
from kits.demo.people import Cast
from kits.demo.shelves import Shelves
from kits.demo.supplies import Supplies
from stock.bulk import LineDraft, LotDraft, OrderDraft
from stock.models import Item, Order

DAYS_A_MONTH = 30.4
LATE_SHARE, SAME_DAY_SHARE = 0.03, 0.85
# Two episodes in which a maker could not deliver: item, month, days of delay.
BACKORDERS = {("MEM-RC-2030", 10): 21, ("DRG-ART", 2): 14}
# Position is judged on what will still be usable so many days ahead.
LOOK_AHEAD = dt.timedelta(days=21)


@dataclass(frozen=True)
class Delivery:
    """Goods on their way: units of a line (by its place) of an order (by its place in the list)."""

    order: int
    line: int
    code: str
    units: int


class Buyer:
    """Reviews, orders and receives for both clinics."""

    def __init__(self, days: DemoDays, seed: int, found: Cast, supplies: Supplies, shelves: Shelves):
        self.days, self.found, self.supplies, self.shelves = days, found, supplies, shelves
        self.rng = random.Random(f"{seed}:buying:{days.today}")
        self.orders: list[OrderDraft] = []
        self.due: dict[tuple[str, dt.date], list[Delivery]] = defaultdict(list)
        self._numbers = defaultdict(int)
        self._untracked: dict[str, int] = {}

    def review(self, clinic: str, day: dt.date) -> None:
        """Order what stands below its par, one order per supplier."""
        wanted: dict[str, list[tuple[str, int]]] = defaultdict(list)
        for code, par in self.supplies.kept[clinic].items():
            line = self.supplies.sold.get(code)
            if par == 0 or line is None or not self.supplies.is_counted(code):
                continue
            position = self.shelves.usable(clinic, code, day + LOOK_AHEAD)
            position += self.shelves.on_order[clinic, code]
            if position <= par * 0.85:
                packs = max(line.minimum_packs, ceil((par - position) / line.pack_size))
                wanted[line.supplier.name].append((code, packs))
        for lines in wanted.values():
            self._order(clinic, day, lines)

    def _order(self, clinic: str, day: dt.date, lines: list[tuple[str, int]]) -> None:
        supplier = self.supplies.sold[lines[0][0]].supplier
        approved_on = day
        if self.rng.random() >= SAME_DAY_SHARE:
            approved_on = self.days.open_from(clinic, day + ONE_DAY)
        made, approved = moment(day, 12, len(self.orders) % 50), moment(approved_on, 16, 5)
        order = OrderDraft(
            clinic=self.found.clinics[clinic],
            supplier=supplier,
            number=f"PO-{len(self.orders) + 1:05d}",
            state=Order.State.SENT,
            created_at=made,
            created_by=self.found.people["saldovane"],
            approved_at=approved,
            approved_by=self.found.manager,
            sent_at=approved + dt.timedelta(minutes=10),
        )
        late = self.rng.randint(5, 10) if self.rng.random() < LATE_SHARE else 0
        if day > self.days.today - LOOK_AHEAD:
            # The present has its own shortages to tell of; a late box of gloves would drown them.
            late = 0
        cost = Decimal(0)
        for code, packs in lines:
            cost += self._line(order, clinic, approved_on, code, packs, late)
        if cost > 400:
            order.second_approved_by = self.found.people["vantresk"]
        self.orders.append(order)

    def _line(
        self, order: OrderDraft, clinic: str, day: dt.date, code: str, packs: int, late: int
    ) -> Decimal:
        sold = self.supplies.sold[code]
        expected = day + ONE_DAY * sold.lead_days
        wait = sold.lead_days + late
        while self.rng.random() > 0.7:
            wait += 1
        delay = BACKORDERS.get((code, day.month), 0)
        arrives = self.days.open_from(clinic, day + ONE_DAY * (wait + delay))
        units = packs * sold.pack_size
        order.lines.append(LineDraft(sold, packs, 0, expected, reason="Weekly review: below what is kept."))
        self.shelves.on_order[clinic, code] += units
        delivery = Delivery(len(self.orders), len(order.lines) - 1, code, units)
        self.due[clinic, arrives].append(delivery)
        return packs * sold.pack_price

    def arrivals(self, clinic: str, day: dt.date) -> Iterator[tuple[OrderDraft, list[tuple[int, int]]]]:
        """What arrives on a day: for each line its order and the new lots with their units."""
        at = moment(day, 7, 10)
        for delivery in self.due.pop((clinic, day), []):
            order = self.orders[delivery.order]
            order.lines[delivery.line] = replace(order.lines[delivery.line], units_received=delivery.units)
            complete = all(line.units_received for line in order.lines)
            order.state = Order.State.RECEIVED if complete else Order.State.PART_RECEIVED
            order.received_at = at if complete else None
            self.shelves.on_order[clinic, delivery.code] -= delivery.units
            lots = self.new_lots(delivery.code, delivery.units, day, at=at)
            for lot, units in lots:
                self.shelves.put(lot, (clinic, self.home(delivery.code)), units)
            yield order, lots

    def home(self, code: str) -> str:
        """The place an item is kept at: the fridge for what has to stay cold."""
        warmest = self.supplies.items[code].temperature_max_c
        return cast.FRIDGE if warmest is not None and warmest <= 8 else cast.STOCKROOM

    def expiry(self, item: Item, day: dt.date, *, least: float = 0.75) -> dt.date | None:
        """Expiry of goods received on a day: the shelf life the catalogue names, or less."""
        if item.shelf_life_months is None or item.tracking == Item.Tracking.NONE:
            return None
        months = item.shelf_life_months * self.rng.uniform(least, 1.0)
        return day + ONE_DAY * round(months * DAYS_A_MONTH)

    def new_lots(
        self,
        code: str,
        units: int,
        day: dt.date,
        *,
        at: dt.datetime | None,
        least: float = 0.75,
        expires_on=None,
    ) -> list[tuple[int, int]]:
        """Lots of a delivery as (number of the draft, units): one each for serial and tissue units."""
        item, sold = self.supplies.items[code], self.supplies.sold.get(code)
        expires = expires_on or self.expiry(item, day, least=least)
        base = LotDraft(
            item=item,
            expires_on=expires,
            supplier=sold.supplier if sold else None,
            unit_cost=(sold.pack_price / sold.pack_size).quantize(Decimal("0.01")) if sold else None,
            received_at=at,
            received_by=self.found.people["saldovane"] if at else None,
            package_intact=True if item.human_tissue else None,
        )
        if item.tracking == Item.Tracking.NONE:
            if code not in self._untracked:
                self._untracked[code] = self.shelves.new_lot(
                    replace(base, received_at=None, received_by=None)
                )
            return [(self._untracked[code], units)]
        if item.tracking == Item.Tracking.SERIAL:
            return self._serials(base, units)
        if item.tracking == Item.Tracking.DONOR:
            return self._tissue(base, units)
        return [(self.shelves.new_lot(replace(base, lot_number=self._next(code[:3], 5))), units)]

    def tissue_unit(
        self, code: str, *, lot: str, donor: str, unit: int, expires_on: dt.date, at: dt.datetime
    ) -> int:
        """One tissue unit with the numbers given; returns the number of its draft."""
        item = self.supplies.items[code]
        sold = self.supplies.sold[code]
        return self.shelves.new_lot(
            LotDraft(
                item=item,
                lot_number=lot,
                serial=f"{donor}-{unit:02d}",
                donor_id=donor,
                expires_on=expires_on,
                supplier=sold.supplier,
                unit_cost=(sold.pack_price / sold.pack_size).quantize(Decimal("0.01")),
                received_at=at,
                received_by=self.found.people["saldovane"],
                package_intact=True,
            )
        )

    def _next(self, word: str, digits: int) -> str:
        self._numbers[word] += 1
        return f"{word}{self._numbers[word]:0{digits}d}"

    def _serials(self, base: LotDraft, units: int) -> list[tuple[int, int]]:
        """Pieces with serial numbers; three to ten share a lot."""
        lots, left = [], 0
        for _ in range(units):
            if left == 0:
                number, left = self._next("T", 5), self.rng.randint(3, 10)
            left -= 1
            lots.append(
                (self.shelves.new_lot(replace(base, lot_number=number, serial=self._next("SN", 6))), 1)
            )
        return lots

    def _tissue(self, base: LotDraft, units: int) -> list[tuple[int, int]]:
        """Tissue units; one to four come from one donor."""
        lots, left = [], 0
        for _ in range(units):
            if left == 0:
                donor, number, left, unit = (
                    self._next("HM-DON-", 4),
                    self._next("HM", 5),
                    self.rng.randint(1, 4),
                    0,
                )
            left, unit = left - 1, unit + 1
            draft = replace(base, lot_number=number, donor_id=donor, serial=f"{donor}-{unit:02d}")
            lots.append((self.shelves.new_lot(draft), 1))
        return lots
