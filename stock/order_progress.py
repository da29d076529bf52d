"""What arriving goods do to the order they were ordered on.

What has arrived is read from the ledger (receipts whose source is "order:<number>", less their
corrections), so booking it twice changes nothing and a corrected receipt is to come again.
"""

import datetime as dt

from django.db.models import Sum

from practice.refusals import Refusal
from stock.models import Entry, Lot, Order, OrderLine, Place


class WrongState(Refusal):
    """The order is in another state than this needs."""

    def __init__(self, *, order: Order, wanted: str):
        self.order, self.wanted = order, wanted
        super().__init__(
            f"{order} is {order.get_state_display()}, so it cannot be {wanted}. Look at the order again."
        )


class NotOnTheLine(Refusal):
    """Another item, or another clinic, than the order line's."""

    def __init__(self, *, line: OrderLine, lot: Lot, place: Place):
        self.line, self.lot, self.place = line, lot, place
        item, order = line.supplier_item.item, line.order
        super().__init__(
            f"This line of {order} is for {item} at {order.clinic}, not for {lot} at {place.clinic}. "
            "Choose the line that fits, or receive it without an order."
        )


class TooMany(Refusal):
    """More arrived than is still to come on the line."""

    def __init__(self, *, line: OrderLine, units: int):
        self.line, self.units = line, units
        to_come = max(line.units - line.units_received, 0)
        super().__init__(
            f"{to_come} of {line.supplier_item.item} {'is' if to_come == 1 else 'are'} still to come on "
            f"{line.order}, but {units} arrived. Check packs and units; receive the surplus without an order."
        )


RECEIVABLE = (Order.State.SENT, Order.State.PART_RECEIVED)


def source_of(order: Order) -> str:
    """The label by which the order's receipts are found in the ledger."""
    return f"order:{order.number}"


def check_arrival(*, line: OrderLine, lot: Lot, place: Place, units: int) -> None:
    """Raise NotOnTheLine, WrongState or TooMany unless these units may arrive on the line."""
    order = line.order
    if lot.item_id != line.supplier_item.item_id or place.clinic_id != order.clinic_id:
        raise NotOnTheLine(line=line, lot=lot, place=place)
    state = Order.objects.values_list("state", flat=True).get(pk=order.pk)
    order.state = state
    if state not in RECEIVABLE:
        raise WrongState(order=order, wanted="received before it is sent, or after it is finished")
    line.refresh_from_db(fields=["units_received"])
    if line.units_received + units > line.units:
        raise TooMany(line=line, units=units)


def settle(*, order: Order, at: dt.datetime) -> None:
    """Bring lines and state of a sent order into step with the ledger.

    Two lines of the same item (two pack sizes) are filled in their order.
    """
    state, moves = Order.State, [Order.State.SENT, Order.State.PART_RECEIVED, Order.State.RECEIVED]
    order = Order.objects.select_for_update().get(pk=order.pk)
    if order.state not in moves:
        return
    receipts = Entry.objects.filter(source=source_of(order), kind=Entry.Kind.RECEIVE)
    arrived = dict(receipts.values_list("lot__item").annotate(units=Sum("quantity")))
    lines = list(order.lines.select_related("supplier_item"))
    for line in lines:
        left = arrived.get(line.supplier_item.item_id, 0)
        line.units_received = max(0, min(line.units, left))
        arrived[line.supplier_item.item_id] = left - line.units_received
    OrderLine.objects.bulk_update(lines, ["units_received"])
    if all(line.units_received == line.units for line in lines):
        order.state, order.received_at = state.RECEIVED, order.received_at or at
    else:
        some = any(line.units_received for line in lines)
        order.state, order.received_at = state.PART_RECEIVED if some else state.SENT, None
    order.save(update_fields=["state", "received_at"])


def settle_source(*, source: str, at: dt.datetime) -> None:
    """Settle the order a source label names; other labels are left alone."""
    order = Order.objects.filter(number=source.removeprefix("order:")).first()
    if source.startswith("order:") and order is not None:
        settle(order=order, at=at)
