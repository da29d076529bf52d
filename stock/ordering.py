"""Orders from proposed to received: making, approving, sending, cancelling, receiving against a line."""

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db import transaction

from practice import audit
from practice.models import Clinic, Policy
from practice.refusals import Refusal
from stock.models import Entry, Lot, Order, OrderLine, Place, Proposal, Supplier, SupplierItem
from stock.order_progress import NotOnTheLine, TooMany, WrongState
from stock.posting import WrongQuantity, lock_heads
from stock.purchase_orders import purchase_order_workbook
from stock.receiving import receive

__all__ = [
    "BelowMinimum",
    "NotOnTheLine",
    "NothingChosen",
    "SecondManagerNeeded",
    "TooMany",
    "WrongState",
    "approve",
    "cancel",
    "make_orders",
    "pack_price",
    "purchase_order_workbook",
    "receive_line",
    "send",
    "total",
]

MAKE = audit.action("order.make", "made {subject} to {supplier} for {price}")
APPROVE = audit.action("order.approve", "approved {subject} for {price}")
SEND = audit.action("order.send", "sent {subject} to {supplier}")
CANCEL = audit.action("order.cancel", "cancelled {subject}")


class NothingChosen(Refusal):
    """An order without lines."""

    def __init__(self):
        super().__init__("Nothing was chosen. Choose at least one line to order.")


class BelowMinimum(Refusal):
    """Fewer packs than the supplier sells."""

    def __init__(self, *, supplier_item: SupplierItem, packs: int):
        self.supplier_item, self.packs = supplier_item, packs
        least = supplier_item.minimum_packs
        super().__init__(
            f"{supplier_item.supplier} sells {supplier_item.item} from {least} packs on; {packs} "
            f"{'was' if packs == 1 else 'were'} chosen. Choose {least} or more, or leave it out."
        )


class SecondManagerNeeded(Refusal):
    """The order is above the limit and the same person would approve it twice."""

    def __init__(self, *, order: Order, limit: Decimal):
        self.order, self.limit = order, limit
        super().__init__(
            f"{order} is above {limit} {order.clinic.currency}, so a second manager has to approve it too. "
            "Ask a colleague."
        )


def pack_price(supplier_item: SupplierItem, packs: int) -> Decimal:
    """The price of a pack when this many are ordered, by the supplier's price breaks."""
    breaks = [b for b in supplier_item.price_breaks.all() if b.from_packs <= packs]
    best = max(breaks, key=lambda b: b.from_packs, default=None)
    return best.pack_price if best else supplier_item.pack_price


def total(order: Order) -> Decimal:
    """What the order costs in the clinic's currency, freight and tax left out."""
    return sum((line.price for line in order.lines.all()), Decimal(0))


def _next_number() -> int:
    newest = Order.objects.order_by("-number").filter(number__startswith="PO-").first()
    return int(newest.number.removeprefix("PO-")) + 1 if newest else 1


def _merged(choices: Iterable[tuple[SupplierItem, int, str]]) -> dict[Supplier, dict[SupplierItem, list]]:
    """Packs and reasons by supplier and item; one item chosen twice becomes one line."""
    by_supplier: dict[Supplier, dict[SupplierItem, list]] = {}
    for supplier_item, packs, reason in choices:
        if isinstance(packs, bool) or not isinstance(packs, int) or packs < 1:
            raise WrongQuantity(quantity=packs)
        lines = by_supplier.setdefault(supplier_item.supplier, {})
        line = lines.setdefault(supplier_item, [0, []])
        line[0] += packs
        line[1] += [reason] if reason else []
    for lines in by_supplier.values():
        for supplier_item, (packs, _) in lines.items():
            if packs < supplier_item.minimum_packs:
                raise BelowMinimum(supplier_item=supplier_item, packs=packs)
    return by_supplier


def _line(order: Order, supplier_item: SupplierItem, packs: int, reasons: list[str]) -> OrderLine:
    return OrderLine(
        order=order,
        supplier_item=supplier_item,
        packs=packs,
        pack_size=supplier_item.pack_size,
        pack_price=pack_price(supplier_item, packs),
        reason="\n".join(reasons),
    )


@transaction.atomic
def make_orders(
    *, clinic: Clinic, choices: Iterable[tuple[SupplierItem, int, str]], by, at: dt.datetime
) -> list[Order]:
    """Make one proposed order per supplier from (supplier item, packs, reason); numbers are PO-00001 on.

    Prices are those of the day, price breaks included; the proposals that were chosen are taken off the list.
    Raises NothingChosen, WrongQuantity, BelowMinimum.
    """
    by_supplier = _merged(choices)
    if not by_supplier:
        raise NothingChosen()
    # Orders are made seldom; queueing all makers keeps the numbers without gaps.
    lock_heads()
    number, orders = _next_number(), []
    for supplier, lines in sorted(by_supplier.items(), key=lambda pair: pair[0].name):
        order = Order.objects.create(
            clinic=clinic, supplier=supplier, number=f"PO-{number:05d}", created_at=at, created_by=by
        )
        OrderLine.objects.bulk_create(_line(order, item, *chosen) for item, chosen in lines.items())
        Proposal.objects.filter(clinic=clinic, supplier_item__in=lines).delete()
        facts = {"supplier": str(supplier), "price": f"{total(order)} {clinic.currency}"}
        audit.record(MAKE, by=by, at=at, subject=order.number, clinic=clinic, **facts)
        number += 1
        orders.append(order)
    return orders


def _advance(order: Order, *, leaves: Iterable[str], wanted: str, **changes) -> None:
    """Change the order if it still is in a state it may leave; the row itself guards it."""
    changed = Order.objects.filter(pk=order.pk, state__in=list(leaves)).update(**changes)
    order.refresh_from_db()
    if not changed:
        raise WrongState(order=order, wanted=wanted)


def _expected_on(order: Order, line: OrderLine, at: dt.datetime) -> dt.date:
    day = at.astimezone(ZoneInfo(order.clinic.time_zone)).date()
    return day + dt.timedelta(days=line.supplier_item.lead_days)


def _expect(order: Order, at: dt.datetime) -> None:
    """Write on each line when it is expected: the supplier's stated days after this moment."""
    lines = list(order.lines.select_related("supplier_item"))
    for line in lines:
        line.expected_on = _expected_on(order, line, at)
    OrderLine.objects.bulk_update(lines, ["expected_on"])


@transaction.atomic
def approve(*, order: Order, by, at: dt.datetime) -> Order:
    """Approve a proposed order. Above the clinic's approval limit it stays proposed until a second, different
    manager has approved it too. Raises WrongState, SecondManagerNeeded.
    """
    order = Order.objects.select_for_update(of=("self",)).select_related("clinic").get(pk=order.pk)
    if order.state != Order.State.PROPOSED:
        raise WrongState(order=order, wanted="approved")
    price = total(order)
    limit = Policy.objects.get_or_create(clinic=order.clinic)[0].approval_limit
    facts = {"price": f"{price} {order.clinic.currency}"}
    if order.approved_by_id is None:
        order.approved_by, order.approved_at = by, at
        done = price <= limit
    elif by is None or order.approved_by_id == by.pk:
        raise SecondManagerNeeded(order=order, limit=limit)
    else:
        order.second_approved_by, order.second_approved_at = by, at
        done = True
    if done:
        order.state = Order.State.APPROVED
        _expect(order, at)
    order.save()
    audit.record(APPROVE, by=by, at=at, subject=order.number, clinic=order.clinic, **facts)
    return order


@transaction.atomic
def send(*, order: Order, by, at: dt.datetime) -> Order:
    """Mark an approved order as sent; its lines are expected the supplier's stated days later.

    Raises WrongState.
    """
    _advance(order, leaves=[Order.State.APPROVED], wanted="sent", state=Order.State.SENT, sent_at=at)
    _expect(order, at)
    audit.record(SEND, by=by, at=at, subject=order.number, clinic=order.clinic, supplier=str(order.supplier))
    return order


@transaction.atomic
def cancel(*, order: Order, by, at: dt.datetime) -> Order:
    """Cancel an order of which nothing has arrived. Raises WrongState."""
    state = Order.State
    _advance(
        order,
        leaves=[state.PROPOSED, state.APPROVED, state.SENT],
        wanted="cancelled",
        state=state.CANCELLED,
        cancelled_at=at,
    )
    audit.record(CANCEL, by=by, at=at, subject=order.number, clinic=order.clinic)
    return order


def receive_line(
    *, line: OrderLine, lot: Lot, place: Place, units: int, by, at: dt.datetime, **arrival
) -> list[Entry]:
    """Receive units of a lot against a sent order's line; the order moves on to partly or fully received.

    ``arrival`` is passed to receiving.receive (temperature_c, package_intact, key, note, recorded_at).
    Raises NotOnTheLine, WrongState, TooMany and what receive raises.
    """
    return receive(lot=lot, place=place, quantity=units, by=by, at=at, order_line=line, **arrival)
