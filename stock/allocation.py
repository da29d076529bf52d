"""Which units each need is given. Pure.

In order of start; at one start, certain units before reserve. Among the units usable on the day of the need,
those already on its own tray first, then what lies on a shelf, the soonest to expire first, then what an
order brings in time. A certain unit is taken for good. A reserve unit is taken for itself while stock lasts;
then it is shared with the reserve of an earlier case that does not overlap in time. What neither gives is
short.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field

from stock.values import Allotment, Coming, Need, Part, StockUnit

# A need that states no end counts as over after this time; shorter than any surgery that holds a reserve.
ASSUMED_LENGTH = dt.timedelta(hours=1)


@dataclass
class _Holding:
    """Units that lie at one place, how many are still free, and through which day they can be used."""

    unit: StockUnit
    free: int


@dataclass
class _Kept:
    """Units held as a reserve, and the needs that count on them, earliest first."""

    unit: StockUnit
    quantity: int
    needs: list[Need] = field(default_factory=list)


def _usable(unit: StockUnit, need: Need) -> bool:
    in_date = unit.last_usable_on is None or unit.last_usable_on >= need.on
    is_there = unit.available_on is None or unit.available_on <= need.on
    return in_date and is_there and (unit.kept_for is None or unit.kept_for == need.case)


def _sooner(unit: StockUnit) -> tuple:
    return (
        unit.kept_for is None,
        unit.available_on or dt.date.min,
        unit.last_usable_on or dt.date.max,
        unit.lot_id,
        unit.place_id,
    )


def _overlap(one: Need, other: Need) -> bool:
    if one.case is not None and one.case == other.case:
        return True
    one_ends = one.ends_at or one.starts_at + ASSUMED_LENGTH
    other_ends = other.ends_at or other.starts_at + ASSUMED_LENGTH
    return one.starts_at < other_ends and other.starts_at < one_ends


def _take_free(need: Need, holdings: list[_Holding]) -> list[tuple[StockUnit, int]]:
    """Take what is free, soonest to expire first, up to the need."""
    taken, wanted = [], need.quantity
    for holding in holdings:
        if wanted and holding.free and _usable(holding.unit, need):
            quantity = min(wanted, holding.free)
            holding.free -= quantity
            wanted -= quantity
            taken.append((holding.unit, quantity))
    return taken


def _likely_used(kept: _Kept) -> float:
    """The chance that at least one of the needs counting on these units uses them."""
    unused = 1.0
    for need in kept.needs:
        unused *= 1.0 - need.chance
    return 1.0 - unused


def _share(need: Need, wanted: int, reserve: list[_Kept]) -> list[tuple[_Kept, int]]:
    """Units of earlier reserves to count on too, least likely to be used first."""
    usable = [
        kept
        for kept in reserve
        if _usable(kept.unit, need) and not any(_overlap(need, earlier) for earlier in kept.needs)
    ]
    usable.sort(key=lambda kept: (_likely_used(kept), _sooner(kept.unit)))
    taken = []
    for kept in usable:
        quantity = min(wanted, kept.quantity)
        if quantity:
            taken.append((kept, quantity))
            wanted -= quantity
    return taken


def _split(kept: _Kept, quantity: int, reserve: list[_Kept]) -> _Kept:
    """The part of a kept holding that a further need counts on, on its own."""
    if quantity == kept.quantity:
        return kept
    kept.quantity -= quantity
    part = _Kept(kept.unit, quantity, list(kept.needs))
    reserve.append(part)
    return part


def _allot(need: Need, holdings: list[_Holding], reserve: list[_Kept]) -> Allotment:
    own = _take_free(need, holdings)
    missing = need.quantity - sum(quantity for _, quantity in own)
    shared = [] if need.certain else _share(need, missing, reserve)
    # One earlier need may hold several of the shared units; its finding counts once.
    earlier = {id(other): other for kept, _ in shared for other in kept.needs}
    chance_free = 1.0
    for other in earlier.values():
        chance_free *= 1.0 - other.chance
    for kept, quantity in shared:
        _split(kept, quantity, reserve).needs.append(need)
    if not need.certain:
        reserve.extend(_Kept(unit, quantity, [need]) for unit, quantity in own)
    total = sum(quantity for _, quantity in shared)
    parts, coming = _parts([*own, *((kept.unit, quantity) for kept, quantity in shared)])
    return Allotment(parts, missing - total, total, chance_free, coming)


def _parts(taken: list[tuple[StockUnit, int]]) -> tuple[tuple[Part, ...], tuple[Coming, ...]]:
    """What was taken as what lies there and what is on its way."""
    parts = [Part(unit.lot_id, unit.place_id, quantity) for unit, quantity in taken if unit.receipt is None]
    coming = [
        Coming(unit.receipt, unit.available_on or unit.receipt.arrives_on, quantity)
        for unit, quantity in taken
        if unit.receipt is not None
    ]
    return tuple(parts), tuple(coming)


def allocate(needs: Iterable[Need], stock: Iterable[StockUnit]) -> dict[Hashable, Allotment]:
    """Give units to needs; returns an Allotment for each need's key, quantities in stock units.

    Units given for certain or as an unshared reserve never exceed what lies there; no unit is given to a
    need after its last usable day, or of an order before the day it can be counted on. A need that stands in
    for others has to be listed after them.
    """
    by_item: dict[Hashable, list[_Holding]] = defaultdict(list)
    for unit in sorted(stock, key=_sooner):
        by_item[unit.item].append(_Holding(unit, unit.quantity))
    reserves: dict[Hashable, list[_Kept]] = defaultdict(list)
    found: dict[Hashable, Allotment] = {}
    for need in sorted(needs, key=lambda need: (need.starts_at, not need.certain)):
        if need.unless and not all(found[key].short for key in need.unless):
            found[need.key] = Allotment()
        else:
            found[need.key] = _allot(need, by_item[need.item], reserves[need.item])
    return found
