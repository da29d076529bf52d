"""Stock while the past is played: piles of lots by clinic, place and item, taken soonest to expire first.

The piles only decide what happens; the ledger checks every movement again when it is written.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from stock.bulk import LotDraft

NEVER = dt.date.max


@dataclass
class Pile:
    """Units of one lot at one place. ``lot`` is the number of its draft."""

    lot: int
    place: tuple[str, str]
    quantity: int
    last_usable_on: dt.date


class Shelves:
    """What lies where, and the drafts of every lot there ever was."""

    def __init__(self) -> None:
        self.drafts: list[LotDraft] = []
        self._piles: dict[tuple[str, str], list[Pile]] = defaultdict(list)
        self.on_order: dict[tuple[str, str], int] = defaultdict(int)

    def new_lot(self, draft: LotDraft) -> int:
        """Remember the draft of a lot; returns its number."""
        self.drafts.append(draft)
        return len(self.drafts) - 1

    def put(self, lot: int, place: tuple[str, str], quantity: int) -> None:
        """Put units of a lot at a place (clinic, name)."""
        code = self.drafts[lot].item.code
        piles = self._piles[place[0], code]
        for pile in piles:
            if pile.lot == lot and pile.place == place:
                pile.quantity += quantity
                return
        expires = self.drafts[lot].expires_on or NEVER
        piles.append(Pile(lot, place, quantity, expires))
        piles.sort(key=lambda pile: pile.last_usable_on)

    def piles(self, clinic: str, code: str) -> list[Pile]:
        """Piles of an item at a clinic, soonest to expire first."""
        return self._piles[clinic, code]

    def usable(self, clinic: str, code: str, on: dt.date) -> int:
        """Units that may be used on a day."""
        return sum(pile.quantity for pile in self._piles[clinic, code] if pile.last_usable_on >= on)

    def take(
        self, clinic: str, code: str, quantity: int, on: dt.date
    ) -> list[tuple[int, tuple[str, str], int]]:
        """Take up to so many units usable on a day, as (lot, place, units); fewer where there are fewer."""
        taken = []
        for pile in self._piles[clinic, code]:
            if quantity == 0:
                break
            if pile.last_usable_on >= on and pile.quantity:
                units = min(quantity, pile.quantity)
                pile.quantity -= units
                quantity -= units
                taken.append((pile.lot, pile.place, units))
        self._tidy(clinic, code)
        return taken

    def _tidy(self, clinic: str, code: str) -> None:
        piles = self._piles[clinic, code]
        if len(piles) > 12:
            self._piles[clinic, code] = [pile for pile in piles if pile.quantity]

    def expired(self, clinic: str, day: dt.date) -> Iterator[Pile]:
        """Piles that went out of date before a day, with their units."""
        for (at_clinic, _), piles in self._piles.items():
            if at_clinic == clinic:
                yield from (pile for pile in piles if pile.quantity and pile.last_usable_on < day)
