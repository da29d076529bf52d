"""What the page of one order shows: lines in units and packs, prices, arrivals, and the next step."""

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal
from zoneinfo import ZoneInfo

from practice.models import Policy
from stock.models import Entry, Item, ItemForecast, Order, OrderLine
from stock.order_progress import RECEIVABLE, source_of
from stock.unit_words import long_cover_words, packs_words, units_and_packs, units_words

# Days over which the forecast's expected use is told (unit: days); see ItemForecast.expected_use_90d.
USE_DAYS = 90


@dataclass(frozen=True)
class LineShown:
    """One line: the row, and what is said about it."""

    line: OrderLine
    item: Item
    units: str
    packs: str
    price: Decimal
    left: int
    left_words: str
    long_cover: str


@dataclass(frozen=True)
class OrderPage:
    """One order in words; ``step`` is approve, second, waiting, send, receive or "" (nothing left to do)."""

    order: Order
    lines: list[LineShown]
    total: Decimal
    limit: Decimal
    step: str
    needs_second: bool
    can_cancel: bool
    arrivals: list[Entry]
    done: int
    units: int

    @property
    def of_words(self) -> str:
        """What qualifies the units received: of how many."""
        return f"of {self.units}"

    @property
    def expected_on(self) -> dt.date | None:
        """The day the last line that is still to come is expected."""
        days = [shown.line.expected_on for shown in self.lines if shown.left and shown.line.expected_on]
        return max(days, default=None) if self.order.state != Order.State.CANCELLED else None

    @property
    def history(self) -> list[tuple[str, str]]:
        """Who did what and when, in its order."""
        order = self.order
        steps = [
            ("Made", order.created_at, order.created_by),
            ("Approved", order.approved_at, order.approved_by),
            ("Approved as second", order.second_approved_at, order.second_approved_by),
            ("Sent", order.sent_at, None),
            ("Received", order.received_at, None),
            ("Cancelled", order.cancelled_at, None),
        ]
        return [
            (f"{word} {self._day(at)}", str(who) if who else ("the system" if word == "Made" else ""))
            for word, at, who in steps
            if at is not None
        ]

    def _day(self, at: dt.datetime) -> str:
        day = at.astimezone(ZoneInfo(self.order.clinic.time_zone))
        return f"{day.day} {day:%b %Y}"

    @property
    def cancel_words(self) -> str:
        """What cancelling does."""
        sent = " It was sent already: tell the supplier." if self.order.state == Order.State.SENT else ""
        return f"{self.order} to {self.order.supplier} is cancelled and no longer counts as on order.{sent}"

    @property
    def sheet_title(self) -> str:
        """Title of the printed sheet; a draft says that it is none yet."""
        if self.order.state == Order.State.PROPOSED:
            return "Draft, not an order yet"
        return "Cancelled order" if self.order.state == Order.State.CANCELLED else "Purchase order"

    @property
    def sheet_facts(self) -> list[tuple[str, str]]:
        """Head of the printed sheet."""
        order = self.order
        by = ", ".join(str(who) for who in (order.approved_by, order.second_approved_by) if who)
        facts = [
            ("To", order.supplier.name),
            ("Deliver to", order.clinic.name),
            ("Date", self._day(order.sent_at or order.approved_at or order.created_at)),
            ("Approved by", by),
        ]
        return [fact for fact in facts if fact[1]]


def lines_shown(order: Order) -> list[LineShown]:
    """The lines of an order in words; two queries."""
    lines = list(order.lines.select_related("supplier_item__item"))
    items = [line.supplier_item.item_id for line in lines]
    used = dict(
        ItemForecast.objects.filter(clinic=order.clinic_id, item__in=items).values_list(
            "item_id", "expected_use_90d"
        )
    )
    return [_line(line, used.get(line.supplier_item.item_id)) for line in lines]


def _line(line: OrderLine, used: float | None) -> LineShown:
    item = line.supplier_item.item
    left = max(line.units - line.units_received, 0)
    return LineShown(
        line=line,
        item=item,
        units=units_words(line.units, item.stock_unit),
        packs=packs_words(line.units, line.pack_size),
        price=line.price,
        left=left,
        left_words=units_and_packs(left, unit=item.stock_unit, pack_size=line.pack_size),
        long_cover="" if used is None else long_cover_words(line.units, used / USE_DAYS),
    )


def order_page(order: Order, *, user) -> OrderPage:
    """Everything the page of an order shows to a person; four queries."""
    lines = lines_shown(order)
    total = sum((shown.price for shown in lines), Decimal(0))
    policy = Policy.objects.filter(clinic=order.clinic_id).first() or Policy(clinic=order.clinic)
    arrivals = Entry.objects.filter(source=source_of(order)).select_related("lot__item", "place", "by")
    state = Order.State
    return OrderPage(
        order=order,
        lines=lines,
        total=total,
        limit=policy.approval_limit,
        step=_step(order, user),
        needs_second=order.state == state.PROPOSED and total > policy.approval_limit,
        can_cancel=order.state in (state.PROPOSED, state.APPROVED, state.SENT),
        arrivals=list(arrivals.order_by("id")),
        done=sum(shown.line.units_received for shown in lines),
        units=sum(shown.line.units for shown in lines),
    )


def _step(order: Order, user) -> str:
    if order.state == Order.State.PROPOSED:
        if order.approved_by_id is None:
            return "approve"
        return "waiting" if order.approved_by_id == user.pk else "second"
    if order.state == Order.State.APPROVED:
        return "send"
    return "receive" if order.state in RECEIVABLE else ""
