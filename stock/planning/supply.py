"""When units arrive and when they go out of date, as the outflow sums need it.

Days are whole numbers counted from the first planned day, which is day 0. A
batch is a lot on hand or a receipt due. Within one expiry day the batch that
arrived first is issued first, then the one listed first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Lot = tuple[int, int | None]
"""(quantity in units, last usable day or None for never out of date)."""

Receipt = tuple[int, int, int | None]
"""(day of arrival, quantity in units, last usable day or None)."""


class WrongSupply(ValueError):
    """A lot or a receipt is described in a way that cannot be."""


# Both tuples hide tuple.index behind a field of that name, which nothing here calls as a method.
class Batch(NamedTuple):
    """Units that share one arrival and one expiry. `index` counts lots first, then receipts."""

    last_usable: float
    arrives: int
    index: int  # type: ignore[assignment]
    quantity: int


class Expiry(NamedTuple):
    """One batch going out of date at the start of `day`, in places of the issue order.

    Units from place `first` up to `end` are the batch; `end` of the last batch of a day
    is everything dated before that day.
    """

    day: int
    index: int  # type: ignore[assignment]
    first: int
    end: int


@dataclass(frozen=True)
class Supply:
    """All units that will be usable within the planned days.

    supplied: int array [days], usable units that have arrived by the start of each day.
    expiries: batches that go out of date within the planned days, in issue order.
    spoilt: float array [lots + receipts], units that were never usable: out of date before
        day 0, or arriving after their own last usable day.
    crossed: first days out of date for which some unit arrives after a longer-dated one.
    batches: the usable batches, in issue order.
    """

    supplied: NDArray[np.int64]
    expiries: tuple[Expiry, ...]
    spoilt: NDArray[np.float64]
    crossed: tuple[int, ...]
    batches: tuple[Batch, ...]

    @property
    def total(self) -> int:
        """Usable units that arrive within the planned days."""
        return int(self.supplied[-1])

    def dated_before(self, day: int, *, arrived_before: int) -> int:
        """Units out of date at the start of `day` that arrive before `arrived_before`."""
        return sum(
            batch.quantity
            for batch in self.batches
            if batch.last_usable < day and batch.arrives < arrived_before
        )


def gather(*, days: int, lots: Sequence[Lot], receipts: Sequence[Receipt]) -> Supply:
    """Return the supply of one item over `days` days.

    Raises WrongSupply for a negative or broken quantity or day.
    """
    given = [_batch(index, 0, *lot) for index, lot in enumerate(lots)]
    given += [_batch(len(lots) + index, *receipt) for index, receipt in enumerate(receipts)]
    spoilt = np.zeros(len(given))
    usable = []
    for batch in given:
        if batch.arrives >= days or batch.quantity == 0:
            continue
        if batch.last_usable < batch.arrives:
            spoilt[batch.index] = batch.quantity
        else:
            usable.append(batch)
    usable.sort()
    arriving = np.zeros(days, dtype=np.int64)
    for batch in usable:
        arriving[batch.arrives] += batch.quantity
    return Supply(
        supplied=np.cumsum(arriving),
        expiries=_expiries(days, usable),
        spoilt=spoilt,
        crossed=_crossed(days, usable),
        batches=tuple(usable),
    )


def _batch(index: int, arrives: int, quantity: int, last_usable: int | None) -> Batch:
    """Return one checked batch."""
    if quantity != int(quantity) or quantity < 0:
        raise WrongSupply(f"A batch holds a whole number of units, 0 or more; {quantity!r} is neither.")
    if arrives != int(arrives) or arrives < 0:
        raise WrongSupply(
            f"A receipt cannot arrive on day {arrives!r}; put a late order on the day it is expected now."
        )
    if last_usable is None:
        return Batch(np.inf, int(arrives), index, int(quantity))
    if last_usable != np.inf and last_usable != int(last_usable):
        raise WrongSupply(f"The last usable day is a whole day or None; {last_usable!r} is neither.")
    return Batch(float(last_usable), int(arrives), index, int(quantity))


def _expiries(days: int, usable: Sequence[Batch]) -> tuple[Expiry, ...]:
    """Return the batches that go out of date within the days, with their places in the issue order."""
    expiries = []
    place = 0
    for batch in usable:
        if batch.last_usable + 1 < days:
            day = int(batch.last_usable) + 1
            expiries.append(Expiry(day, batch.index, place, place + batch.quantity))
        place += batch.quantity
    return tuple(expiries)


def _crossed(days: int, usable: Sequence[Batch]) -> tuple[int, ...]:
    """Return the days on which a batch goes out of date that arrived after a longer-dated one."""
    crossed = []
    for day in sorted({int(batch.last_usable) + 1 for batch in usable if batch.last_usable + 1 < days}):
        newest_short = max(batch.arrives for batch in usable if batch.last_usable < day)
        oldest_long = min((batch.arrives for batch in usable if batch.last_usable >= day), default=days)
        if newest_short > oldest_long:
            crossed.append(day)
    return tuple(crossed)
