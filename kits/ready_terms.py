"""What readiness of a later day hangs on besides stock: when an order would come, what is accepted. Pure."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from kits.proposing import cautious_lead
from practice.workdays import ONE_DAY, NeverOpen, Workdays
from stock.plan_values import Seller
from stock.values import ReceiptDue


@dataclass(frozen=True, kw_only=True)
class Terms:
    """Today, the clinic's calendar, who sells what, and the accepted chance of being covered.

    ``sellers``: by item id. ``leads_seen``: days that earlier orders took, by supplier id. ``targets``:
    chance with which an item must not be short, by its criticality.
    """

    today: dt.date
    calendar: Workdays
    targets: Mapping[str, float]
    sellers: Mapping[int, Seller] = field(default_factory=dict)
    leads_seen: Mapping[int, Sequence[int]] = field(default_factory=dict)

    def is_sold(self, item_id: int) -> bool:
        """Whether anybody is known to sell the item."""
        return item_id in self.sellers

    def order_by(self, item_id: int, *, on: dt.date) -> dt.date | None:
        """Last open day to order so that the goods are there, with caution, before the day of surgery.

        The same cautious lead time as the planner's. None where nobody sells it or the clinic never opens.
        """
        seller = self.sellers.get(item_id)
        if seller is None:
            return None
        lead = cautious_lead(seller=seller, seen=self.leads_seen.get(seller.supplier_id, ()))
        try:
            return self.calendar.order_by(on - ONE_DAY, lead)
        except NeverOpen:
            # A clinic without an open day can send and receive nothing.
            return None

    def may_still_come(self, item_id: int, *, on: dt.date) -> bool:
        """Whether an order sent on the next open day comes before surgery if it takes the stated days."""
        seller = self.sellers.get(item_id)
        if seller is None:
            return False
        try:
            sent = self.calendar.on_or_after(self.today)
            return self.calendar.arrival(sent, seller.lead_days) < on
        except NeverOpen:
            # A clinic without an open day can send and receive nothing.
            return False

    def counted_on(self, receipt: ReceiptDue) -> dt.date | None:
        """First day of surgery an order's units can be counted on: an open day, tomorrow at the earliest.

        What is due today or overdue may not come, so no case of today hangs on it. None where the clinic
        never opens to take it in.
        """
        try:
            return self.calendar.on_or_after(max(receipt.arrives_on, self.today + ONE_DAY))
        except NeverOpen:
            # Without an open day nobody takes it in, so nothing may be promised of it.
            return None

    def has_no_day_to_spare(self, *, due: dt.date, on: dt.date) -> bool:
        """Whether an order comes on the last open day before surgery or on the day itself."""
        return due >= self.calendar.on_or_before(on - ONE_DAY)
