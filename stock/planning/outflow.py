"""Stock through time, exactly: what is on the shelf each day when use is uncertain and lots expire.

The state is the distribution of U, the units that have left by the end of a day because they were
used, are owed to use that found the shelf empty, or went out of date. With S the units supplied so
far, on hand is max(S - U, 0) and owed is max(U - S, 0); owed units are taken from the next receipt
before anything else. The order within a day is: what was last usable yesterday goes out of date,
receipts arrive and serve what is owed, stock in reach is compared with what must lie there, the day's
use is taken from the soonest to expire.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.planning.pmf import MASS_TOLERANCE, TIE_TOLERANCE, NotADistribution
from stock.planning.shelf import NEGLIGIBLE, BranchedShelf, Chances, Shelf, Units
from stock.planning.supply import Lot, Receipt, Supply, gather

QUANTILES = (0.05, 0.5, 0.95)
"""Chances at which stock on hand is shown (no unit): the median and a band holding nine days in ten."""


class WrongDemand(ValueError):
    """The demand given to the planner has the wrong shape or a chance that cannot be."""


class ProbabilityLost(ArithmeticError):
    """A total probability drifted away from 1; the sums cannot be trusted."""


@dataclass(frozen=True, kw_only=True)
class Demand:
    """All the planner needs to know about one item; the fields are those of `project`."""

    use: ArrayLike
    lots: Sequence[Lot]
    receipts: Sequence[Receipt] = ()
    must_have: ArrayLike | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Projection:
    """Stock of one item through time.

    short: float [days], chance that use up to and including the day exceeds what was supplied and had
        not expired, so that some use is waiting at the end of the day.
    short_in_reach: float [days], chance that usable stock at the start of the day is below must_have.
    mean_on_hand: float [days], expected units at the end of the day.
    on_hand: int [days, quantiles], quantiles of the units at the end of the day.
    expired: float [lots + receipts], expected units of each that go out of date unused by the start of
        the last planned day; a batch last usable on that day is not counted.
    """

    short: Chances
    short_in_reach: Chances
    mean_on_hand: Chances
    on_hand: Units
    expired: Chances


@dataclass(frozen=True)
class _Item:
    """One item, checked: use [days, units], must_have [days], its supply."""

    use: Chances
    must_have: Units
    supply: Supply


def project(
    *,
    use: ArrayLike,
    lots: Sequence[Lot],
    receipts: Sequence[Receipt] = (),
    must_have: ArrayLike | None = None,
    quantiles: Sequence[float] = QUANTILES,
) -> Projection:
    """Return the exact projection of one item.

    use: float [days, k]; use[d, q] = chance that day d uses q units; rows add up to 1.
    lots: (quantity, last usable day); day 0 is the first planned day; usable through that day;
        None for a lot that never goes out of date.
    receipts: (day of arrival, quantity, last usable day); they arrive at the start of the day.
    must_have: int [days], units that must lie in reach at the start of the day, or None.
    Lots are issued first-expiring first; on equal expiry, first arrived, then first listed.
    Raises WrongDemand, NotADistribution or WrongSupply for input that cannot be.
    """
    demand = Demand(use=use, lots=lots, receipts=receipts, must_have=must_have)
    return project_many([demand], quantiles=quantiles)[0]


def project_many(demands: Sequence[Demand], *, quantiles: Sequence[float] = QUANTILES) -> list[Projection]:
    """Return the projection of every demand, in order; all must cover the same number of days.

    The same numbers as `project`, in NumPy over all items at once.
    """
    items = _checked(demands)
    found: list[Projection | None] = [None] * len(items)
    levels = np.asarray(quantiles, dtype=np.float64)
    for places, shelf, block in _blocks(items):
        for place, projection in zip(places, _run(shelf, block, levels), strict=True):
            found[place] = projection
    return [projection for projection in found if projection is not None]


def ever_short(demands: Sequence[Demand]) -> list[Chances]:
    """Return, for every demand, the chance [days] of having been short at least once by the end of each day.

    Short on a day means use waiting at its end, or less in reach at its start than must lie there.
    """
    items = _checked(demands)
    found: list[Chances] = [np.empty(0)] * len(items)
    for places, shelf, block in _blocks(items):
        chances = np.empty((block.days, len(places)))
        for day in range(block.days):
            shelf.open_day(day)
            must_have = block.must_have[day]
            in_reach = block.supplied[day] - must_have
            shelf.keep_only(np.where(must_have > 0, in_reach, shelf.cells))
            shelf.use(block.use[day])
            shelf.keep_only(block.supplied[day])
            chances[day] = 1.0 - shelf.upper()[-1]
        for column, place in enumerate(places):
            found[place] = np.clip(chances[:, column], 0.0, 1.0)
    return found


@dataclass(frozen=True)
class _Block:
    """Items computed together: use [days, units, items], supplied and must_have [days, items]."""

    use: Chances
    supplied: Units
    must_have: Units

    @property
    def days(self) -> int:
        """Planned days."""
        return len(self.use)


def _run(shelf: Shelf, block: _Block, levels: NDArray[np.float64]) -> Iterator[Projection]:
    """Move a shelf through all days and read off the projection of each of its items."""
    days, items = block.supplied.shape
    short, reach, mean = (np.zeros((days, items)) for _ in range(3))
    on_hand = np.zeros((len(levels), days, items), dtype=np.int64)
    short_at = _places(block.supplied + 1, shelf.cells)
    reach_at = _places(block.supplied - block.must_have + 1, shelf.cells)
    arriving = np.any(np.diff(block.supplied, axis=0, prepend=-1) != 0, axis=1).tolist()
    busy = np.any(block.use[:, 0] < 1, axis=1).tolist()
    upper = shelf.upper()
    for day in range(days):
        supplied = block.supplied[day]
        if arriving[day]:
            weights = np.maximum(supplied - np.arange(shelf.cells)[:, None], 0).astype(np.float64)
        moved = shelf.open_day(day)
        if moved:
            upper = shelf.upper()
        reach[day] = upper.take(reach_at[day])
        if busy[day]:
            shelf.use(block.use[day])
            upper = shelf.upper()
        elif day and not (moved or arriving[day]):
            short[day], mean[day], on_hand[:, day] = short[day - 1], mean[day - 1], on_hand[:, day - 1]
            continue
        short[day] = upper.take(short_at[day])
        mean[day] = shelf.mean_left(weights)
        for row, level in enumerate(levels):
            on_hand[row, day] = supplied + 1 - (upper >= level - TIE_TOLERANCE).sum(axis=0)
    if np.abs(upper[-1] - 1).max() > MASS_TOLERANCE:
        raise ProbabilityLost(f"After {days} days the chances of an item add up to {upper[-1]}, not to 1.")
    reach[block.must_have <= 0] = 0.0
    for item in range(items):
        yield Projection(
            short=np.minimum(short[:, item], 1.0),
            short_in_reach=np.minimum(reach[:, item], 1.0),
            mean_on_hand=mean[:, item].copy(),
            on_hand=np.maximum(on_hand[:, :, item].T, 0),
            expired=shelf.expired[item],
        )


def _places(units: Units, cells: int) -> NDArray[np.intp]:
    """Return where P(U >= units) of every day and item lies in a flat upper tail, [days, items]."""
    items = units.shape[1]
    places: NDArray[np.intp] = (cells - 1 - np.clip(units, 0, cells - 1)) * items + np.arange(items)
    return places


def _checked(demands: Sequence[Demand]) -> list[_Item]:
    """Return every demand checked; all over the same days."""
    items = [_item(demand) for demand in demands]
    lengths = sorted({len(item.use) for item in items})
    if len(lengths) > 1:
        raise WrongDemand(f"Items planned together must cover the same days; these cover {lengths}.")
    return items


def _item(demand: Demand) -> _Item:
    """Return one demand checked, its use scaled to add up to 1 each day exactly."""
    use = np.asarray(demand.use, dtype=np.float64)
    if use.ndim != 2 or 0 in use.shape:
        raise WrongDemand(f"Use is an array of days by units; this has the shape {use.shape}.")
    totals = use.sum(axis=1)
    if not np.isfinite(totals).all() or use.min() < 0:
        raise NotADistribution("The use of a day holds a chance that is negative or not a number.")
    if np.abs(totals - 1).max() > MASS_TOLERANCE:
        day = int(np.abs(totals - 1).argmax())
        raise NotADistribution(f"The use of day {day} has chances that add up to {totals[day]!r}, not to 1.")
    days = len(use)
    must_have = np.zeros(days, dtype=np.int64)
    if demand.must_have is not None:
        wanted = np.asarray(demand.must_have)
        if wanted.shape != (days,) or (wanted != np.floor(wanted)).any():
            raise WrongDemand(f"What must lie in reach is one whole number for each of the {days} days.")
        must_have = wanted.astype(np.int64)
    supply = gather(days=days, lots=demand.lots, receipts=demand.receipts)
    return _Item(_narrowed(use / totals[:, None]), must_have, supply)


def _narrowed(use: Chances) -> Chances:
    """Return use without its all but impossible upper end, whose chance stays in the last cell kept."""
    rest = np.cumsum(use[:, ::-1], axis=1)[:, ::-1]
    width = int(np.flatnonzero((rest > NEGLIGIBLE).any(axis=0))[-1]) + 1
    narrow = use[:, :width].copy()
    narrow[:, -1] = rest[:, width - 1]
    return narrow


def _blocks(items: Sequence[_Item]) -> Iterator[tuple[list[int], Shelf, _Block]]:
    """Sort items into blocks of like size, so that padding stays small, with a shelf for each."""
    groups: dict[tuple[int, int, int], list[int]] = {}
    for place, item in enumerate(items):
        alone = place + 1 if item.supply.crossed else 0
        size = (item.supply.total + 2).bit_length() // 2
        groups.setdefault((alone, size, item.use.shape[1].bit_length() // 2), []).append(place)
    for (alone, _, _), places in groups.items():
        chosen = [items[place] for place in places]
        cells = max(item.supply.total for item in chosen) + 2
        supplies = [item.supply for item in chosen]
        shelf = BranchedShelf(supplies[0], cells) if alone else Shelf(supplies, cells)
        yield places, shelf, _block(chosen)


def _block(chosen: Sequence[_Item]) -> _Block:
    """Return the arrays of items computed together, padded to the widest use."""
    days, most = len(chosen[0].use), max(item.use.shape[1] for item in chosen)
    use = np.zeros((days, most, len(chosen)))
    for column, item in enumerate(chosen):
        use[:, : item.use.shape[1], column] = item.use
    return _Block(
        use=use,
        supplied=np.stack([item.supply.supplied for item in chosen], axis=1),
        must_have=np.stack([item.must_have for item in chosen], axis=1),
    )


def covered_until(projection: Projection, allowed: float) -> int:
    """Return the last day up to which the item stays covered, -1 if not even day 0 is.

    A day is covered when neither the chance that use waits at its end nor the chance that too little
    lies in reach at its start is above `allowed` (1 minus the item's target).
    """
    over = (projection.short > allowed + TIE_TOLERANCE) | (
        projection.short_in_reach > allowed + TIE_TOLERANCE
    )
    return int(np.argmax(over)) - 1 if over.any() else len(over) - 1


def order_by(covered_until: int, lead_quantile_days: int) -> int:
    """Return the last day to send an order so that it is there for the first day not covered.

    Goods sent on day s with a lead time of L days arrive at the start of day s + L. A negative
    answer means the day has already passed.
    """
    return covered_until + 1 - lead_quantile_days
