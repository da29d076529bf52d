"""Goods arrive: the lot and its receipt, written together or not at all."""

import datetime as dt
from decimal import Decimal

from django.db import transaction

from stock.models import Entry, Item, Lot, OrderLine, Place
from stock.receiving import ensure_lot, receive


@transaction.atomic
def take_in(
    *,
    item: Item,
    place: Place,
    quantity: int,
    by,
    at: dt.datetime,
    order_line: OrderLine | None = None,
    temperature_c: Decimal | None = None,
    package_intact: bool | None = None,
    note: str = "",
    key: str | None = None,
    **label,
) -> tuple[Lot, list[Entry]]:
    """Receive units of a lot that may be new; returns the lot and the entries.

    ``label``: what the label says, as ``ensure_lot`` takes it (lot_number, serial and the rest).
    A refused receipt leaves no lot behind. Raises what ``ensure_lot`` and ``receive`` raise.
    """
    supplier = order_line.order.supplier if order_line else None
    lot = ensure_lot(item=item, supplier=supplier, **label)
    entries = receive(
        lot=lot,
        place=place,
        quantity=quantity,
        by=by,
        at=at,
        order_line=order_line,
        temperature_c=temperature_c,
        package_intact=package_intact,
        note=note,
        key=key,
    )
    return lot, entries
