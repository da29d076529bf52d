"""The outflow distribution of a batch of items, moved through time a day at a time.

Arrays lie cells by columns: cell u of a column holds the chance that u units have
left that shelf. Cells reach one past everything ever supplied; the last cell means
"short, whatever still arrives", so no chance is dropped by ending there.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from stock.planning.supply import Supply

Chances = NDArray[np.float64]
Units = NDArray[np.int64]

NEGLIGIBLE = 1e-15
"""Chance too small to follow on its own (no unit): it is added to its neighbour's, never dropped."""

WIDE = 24
"""Units a day from which convolving column by column is faster than all columns unit by unit (measured)."""


class Shelf:
    """Independent items, one column each. No short-dated unit arrives after a longer-dated one."""

    def __init__(self, supplies: Sequence[Supply], cells: int) -> None:
        self.cells = cells
        self.supplied = np.stack([supply.supplied for supply in supplies], axis=1)
        self.expired = [supply.spoilt.copy() for supply in supplies]
        self.chances: Chances = np.zeros((cells, len(supplies)))
        self.chances[0] = 1.0
        self._expiries: dict[int, list[tuple[int, int, int, int]]] = {}
        for column, supply in enumerate(supplies):
            for expiry in supply.expiries:
                entry = (column, expiry.index, expiry.first, expiry.end)
                self._expiries.setdefault(expiry.day, []).append(entry)

    def open_day(self, day: int) -> bool:
        """Take out what goes out of date at the start of `day`; say whether anything moved."""
        entries = self._expiries.get(day, ())
        for column, index, first, end in entries:
            lying = self.chances[:, column]
            self.expired[column][index] += _left_below(lying, end) - _left_below(lying, first)
        for column, _, _, end in entries:
            raise_to(self.chances[:, column], end)
        return bool(entries)

    def use(self, day_use: Chances) -> None:
        """Add one day's use. day_use: float array [units, columns], each column adding up to 1."""
        busy = np.flatnonzero(day_use[0] < 1.0)
        if 2 * busy.size > day_use.shape[1]:
            self.chances = _spread(self.chances, day_use)
        elif busy.size:
            self.chances[:, busy] = _spread(self.chances[:, busy], day_use[:, busy])

    def upper(self) -> Chances:
        """Return the upper tail of every item, [cells, items]: row j is P(U >= cells - 1 - j)."""
        return np.add.accumulate(self.chances[::-1], axis=0)

    def mean_left(self, weights: Chances) -> Chances:
        """Return the expected units on hand per item; weights [cells, items] = units left at each cell."""
        mean: Chances = np.einsum("ui,ui->i", self.chances, weights)
        return mean

    def keep_only(self, largest: Units) -> None:
        """Drop every course of events in which more than `largest` units have left, per item."""
        self.chances *= np.arange(self.cells)[:, None] <= largest


class BranchedShelf(Shelf):
    """One item whose short-dated units may arrive after longer-dated ones.

    What expires then depends on how many longer-dated units were taken before the
    short-dated ones came, so the item is split into branches, one column for each
    such number. For an expiry day f the number is L = units dated later than f that
    were taken before the last unit dated before f arrived, and everything dated before
    f is gone once U >= Q(f) + L.
    """

    def __init__(self, supply: Supply, cells: int) -> None:
        super().__init__([supply], cells)
        self._supply = supply
        self._taken = np.zeros((len(supply.crossed), 1), dtype=np.int64)

    def open_day(self, day: int) -> bool:
        """Take out what goes out of date, then split on what was taken before today's receipts."""
        moved = self._expire(day)
        arriving = [batch for batch in self._supply.batches if batch.arrives == day > 0]
        for row, crossed in enumerate(self._supply.crossed):
            if any(batch.last_usable < crossed for batch in arriving):
                self._split(row, crossed, day)
        return moved

    def _expire(self, day: int) -> bool:
        """Take out what goes out of date at the start of `day` in every branch."""
        expiries = [expiry for expiry in self._supply.expiries if expiry.day == day]
        if not expiries:
            return False
        row = self._supply.crossed.index(day) if day in self._supply.crossed else None
        for column in range(self.chances.shape[1]):
            taken = int(self._taken[row, column]) if row is not None else 0
            lying = self.chances[:, column]
            for expiry in expiries:
                lost = _left_below(lying, expiry.end + taken) - _left_below(lying, expiry.first + taken)
                self.expired[0][expiry.index] += lost
            raise_to(lying, expiries[-1].end + taken)
        if row is not None:
            self._taken[row] = 0
            self._merge(self._taken, self.chances)
        return True

    def _split(self, row: int, crossed: int, day: int) -> None:
        """Give every number of longer-dated units taken so far its own branch."""
        short_dated = self._supply.dated_before(crossed, arrived_before=day)
        most = int(self.supplied[day - 1, 0]) - short_dated
        outflow = np.arange(self.cells)
        labels, columns = [], []
        for column in range(self.chances.shape[1]):
            so_far = self._taken[row, column]
            taken = np.clip(outflow - short_dated, so_far, max(most, so_far))
            for value in np.unique(taken):
                part = np.where(taken == value, self.chances[:, column], 0.0)
                if part.any():
                    label = self._taken[:, column].copy()
                    label[row] = value
                    labels.append(label)
                    columns.append(part)
        if labels:
            self._merge(np.stack(labels, axis=1), np.stack(columns, axis=1))

    def _merge(self, labels: Units, columns: Chances) -> None:
        """Put together the branches that the future treats alike, or that are all but impossible."""
        alike, place = np.unique(labels, axis=1, return_inverse=True)
        weight = np.bincount(place.reshape(-1), weights=columns.sum(axis=0))
        kept = np.flatnonzero(weight >= min(NEGLIGIBLE, weight.max()))
        nearest = np.minimum(np.searchsorted(kept, np.arange(len(weight))), len(kept) - 1)
        self._taken = alike[:, kept]
        self.chances = np.zeros((self.cells, len(kept)))
        np.add.at(self.chances.T, nearest[place.reshape(-1)], columns.T)

    def use(self, day_use: Chances) -> None:
        """Add one day's use, the same in every branch. day_use: float array [units, 1]."""
        if day_use[0, 0] < 1.0:
            self.chances = _spread(self.chances, day_use)

    def upper(self) -> Chances:
        """Return the upper tail of the item over all its branches, [cells, 1]."""
        return np.add.accumulate(self.chances.sum(axis=1, keepdims=True)[::-1], axis=0)

    def mean_left(self, weights: Chances) -> Chances:
        """Return the expected units on hand of the item."""
        mean: Chances = weights.T @ self.chances.sum(axis=1)
        return mean


def raise_to(chances: Chances, gone: int) -> None:
    """Replace U by max(U, gone) in one column, in place."""
    chances[gone] += chances[:gone].sum()
    chances[:gone] = 0.0


def _left_below(chances: Chances, end: int) -> float:
    """Return the expected value of max(end - U, 0)."""
    return float(chances[:end] @ np.arange(end, 0, -1))


def _spread(chances: Chances, day_use: Chances) -> Chances:
    """Convolve every column with its use; what passes the last cell stays in the last cell."""
    present = np.flatnonzero(day_use.any(axis=1))
    cells, most = chances.shape[0], int(present[-1])
    wide = np.zeros((cells + most, chances.shape[1]))
    if most >= WIDE:
        columns = np.broadcast_to(day_use[: most + 1], (most + 1, chances.shape[1]))
        for column in range(chances.shape[1]):
            wide[:, column] = np.convolve(chances[:, column], columns[:, column])
    else:
        product = np.empty_like(chances)
        for units in present:
            np.multiply(chances, day_use[units], out=product)
            wide[units : units + cells] += product
    if most:
        wide[cells - 1] = wide[cells - 1 :].sum(axis=0)
    return wide[:cells]
