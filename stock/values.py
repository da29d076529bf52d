"""The values stock works with when it hands units to needs. Pure: whoever needs stock builds these.

An item may be named by anything hashable (a row id or a code), as long as stock and needs use the same.
"""

import datetime as dt
from collections.abc import Hashable
from dataclasses import dataclass
from typing import NamedTuple


def last_usable(*, expires_on: dt.date | None, safety_days: int) -> dt.date | None:
    """Last day of surgery a lot with that expiry may be used on; None where it does not expire."""
    return None if expires_on is None else expires_on - dt.timedelta(days=safety_days)


@dataclass(frozen=True)
class ReceiptDue:
    """Units of an open order that are still to come; ``overdue``: they should have come before today."""

    item_id: int
    supplier_item_id: int
    order_number: str
    arrives_on: dt.date
    quantity: int
    last_usable_on: dt.date | None = None
    overdue: bool = False


@dataclass(frozen=True)
class StockUnit:
    """Units of one lot at one place, usable through a day (None: without end).

    ``kept_for`` names the case on whose tray they already lie; nobody else may have them. Units of an order
    that is on its way have no lot and no place yet (both 0): ``receipt`` names the order, ``available_on`` is
    the first day of surgery they can be counted on.
    """

    lot_id: int
    item: Hashable
    place_id: int
    quantity: int
    last_usable_on: dt.date | None = None
    kept_for: Hashable | None = None
    available_on: dt.date | None = None
    receipt: ReceiptDue | None = None


@dataclass(frozen=True)
class Need:
    """Units of an item that must lie in reach on a day.

    ``certain`` units will be used; reserve units (``certain`` False) are used with ``chance`` (0 to 1).
    ``case`` names whoever needs them: needs of one case never share a unit. Without ``ends_at`` the need
    counts as over one hour after it starts. ``unless`` names needs that this one would stand in for: it asks
    for nothing unless each of them is short.
    """

    key: Hashable
    item: Hashable
    quantity: int
    on: dt.date
    starts_at: dt.datetime
    certain: bool = True
    chance: float = 1.0
    case: Hashable | None = None
    ends_at: dt.datetime | None = None
    unless: tuple[Hashable, ...] = ()


class Part(NamedTuple):
    """Units of one lot at one place that a need is given: (lot, place, quantity)."""

    lot_id: int
    place_id: int
    quantity: int


class Coming(NamedTuple):
    """Units of an order on its way that a need is given: (receipt, first day counted on, quantity)."""

    receipt: ReceiptDue
    available_on: dt.date
    quantity: int


@dataclass(frozen=True)
class Allotment:
    """What a need is given: its parts (its own first, then shared ones) and how many units are short.

    ``coming``: what it is given of orders on their way, earliest first; nothing of it can be fetched yet.

    ``shared`` units are also the reserve of an earlier case; ``chance_free`` is the chance that none of
    those earlier reserves is used, taking the findings as independent (1 when nothing is shared).
    """

    parts: tuple[Part, ...] = ()
    short: int = 0
    shared: int = 0
    chance_free: float = 1.0
    coming: tuple[Coming, ...] = ()
