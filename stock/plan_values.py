"""What the planner knows of stock and suppliers, as values. Pure: it imports no Django."""

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, kw_only=True)
class LotInDate:
    """Units of one lot that lie within reach (shelf or tray), neither held nor recalled."""

    lot_id: int
    shown: str
    quantity: int
    expires_on: dt.date | None
    last_usable_on: dt.date | None


@dataclass(frozen=True, kw_only=True)
class ItemStock:
    """Stock of one item at a clinic: all units in its hands, and the lots a case may be given."""

    on_hand: int = 0
    lots: tuple[LotInDate, ...] = ()

    def usable(self, on: dt.date) -> int:
        """Units that may be used on a day, if none are used before."""
        return sum(
            lot.quantity for lot in self.lots if lot.last_usable_on is None or lot.last_usable_on >= on
        )


@dataclass(frozen=True, kw_only=True)
class Seller:
    """How an item is bought: the preferred supplier's pack, price, least order and stated lead time."""

    supplier_item_id: int
    supplier_id: int
    supplier: str
    pack_size: int
    pack_price: Decimal
    minimum_packs: int
    lead_days: int
