"""What must lie sealed in reach on a day, whether or not it will be used.

Presence is not use: a reserve lies in the room for certain and is opened sometimes. Cases that follow
each other share a reserve; cases that overlap in time do not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.planning import pmf
from stock.planning.pmf import TIE_TOLERANCE, Distribution

Units = NDArray[np.int64]
Chances = NDArray[np.float64]


class WrongPresence(ValueError):
    """The cases given to the presence sums do not fit together."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Bookings:
    """Booked cases of one clinic, one entry per case.

    days: int [cases], day of each case counted from the first planned day.
    starts, ends: float [cases], minutes after midnight; an end is when the room is free again.
    """

    days: ArrayLike
    starts: ArrayLike
    ends: ArrayLike


@dataclass(frozen=True, kw_only=True, eq=False)
class Expected:
    """Cases that are not booked yet.

    rate: float [days], how many of them are expected on each day (Poisson).
    units: distribution of what one of them must have in reach of the item.
    """

    rate: ArrayLike
    units: Distribution


def running(bookings: Bookings) -> NDArray[np.bool_]:
    """Return bool [cases, cases]: row i marks the cases that are under way when case i starts.

    The most that overlaps at any moment overlaps at some start, so these rows are all that counts.
    A case that ends when another starts does not overlap it. Raises WrongPresence.
    """
    days, starts, ends = (np.asarray(part) for part in (bookings.days, bookings.starts, bookings.ends))
    if not days.shape == starts.shape == ends.shape or days.ndim != 1:
        raise WrongPresence("Each booked case has one day, one start and one end.")
    if (ends <= starts).any():
        case = int(np.argmax(ends <= starts))
        raise WrongPresence(f"Case {case} ends at {ends[case]}, not after its start at {starts[case]}.")
    found: NDArray[np.bool_] = (
        (days[:, None] == days) & (starts <= starts[:, None]) & (starts[:, None] < ends)
    )
    return found


def largest_together(*, bookings: Bookings, requirements: ArrayLike, days: int) -> Units:
    """Return int [days, items]: the most that cases overlapping in time must have in reach together.

    requirements: int [cases, items], units each case must have in reach (all certain and all reserve),
        as `kits.explosion.case_requirement` gives them. Cases outside the planned days are left out.
    """
    needed = np.asarray(requirements, dtype=np.int64)
    together = running(bookings).astype(np.int64) @ needed
    largest: Units = np.zeros((days, needed.shape[1]), dtype=np.int64)
    case_days = np.asarray(bookings.days)
    inside = (case_days >= 0) & (case_days < days)
    np.maximum.at(largest, case_days[inside], together[inside])
    return largest


def use_quantile(use: ArrayLike, service: float) -> Units:
    """Return int [days]: the least units that cover each day's total use with chance `service`.

    use: float [days, k], use[d, q] = chance that day d uses q units.
    """
    reached = np.cumsum(np.asarray(use, dtype=np.float64), axis=1) >= service - TIE_TOLERANCE
    found: Units = np.where(reached.any(axis=1), np.argmax(reached, axis=1), reached.shape[1] - 1)
    return found


def expected_quantile(*, expected: Expected, booked: Units, service: float, rooms: int) -> Units:
    """Return int [days]: what covers booked and expected cases in reach together with chance `service`.

    booked: int [days], the most that booked cases need together. Expected cases come on top, as many at
    a time as there are rooms: a Poisson number of cases counts as `rooms` when it is larger.
    """
    if rooms < 1:
        raise WrongPresence(f"A clinic that operates has at least one room, not {rooms}.")
    rates = np.asarray(expected.rate, dtype=np.float64)
    sums = [pmf.point(0)]
    for _ in range(rooms):
        sums.append(pmf.convolve(sums[-1], expected.units))
    levels, place = np.unique(rates, return_inverse=True)
    at_once = np.stack([pmf.poisson(float(rate), rooms + 1) for rate in levels])
    together = at_once @ np.stack([pmf.cap(units, len(sums[-1])) for units in sums])
    return booked + use_quantile(together, service)[place.reshape(-1)]


def must_have(
    *,
    booked: ArrayLike,
    use: ArrayLike,
    service: float,
    expected: Sequence[Expected] | Expected | None = None,
    rooms: int = 1,
) -> Units:
    """Return int [days]: units of one item that must lie in reach at the start of each day.

    booked: int [days], from `largest_together` (one column of it).
    use: float [days, k], distribution of the day's total use, booked and expected.
    service: target chance, from the item's criticality.
    expected: cases not booked yet (or several kinds of them), so that a slow item any of them may
        need never falls to zero; None where only booked cases count.
    rooms: cases that can be under way at one time.
    The largest of: what overlapping booked cases need together; the `service` quantile of the day's
    use; the `service` quantile of what booked and expected cases need together. Several kinds of
    expected cases are pooled: rates add up, and each case is of a kind by its share of the rate.
    On a day whose booked cases fill the rooms, expected ones still come on top: on the safe side.
    Raises WrongPresence when the parts cover different days.
    """
    together, largest_use = np.asarray(booked, dtype=np.int64), use_quantile(use, service)
    kinds = [expected] if isinstance(expected, Expected) else list(expected or ())
    lengths = {len(together), len(largest_use), *(len(np.asarray(kind.rate)) for kind in kinds)}
    if len(lengths) > 1:
        raise WrongPresence(
            f"Booked needs, use and expected cases cover {sorted(lengths)} days, not the same."
        )
    most: Units = np.maximum(together, largest_use)
    for on, pooled in _pooled(kinds):
        reach = expected_quantile(expected=pooled, booked=together[on], service=service, rooms=rooms)
        most[on] = np.maximum(most[on], reach)
    return most


def _pooled(kinds: Sequence[Expected]) -> Iterator[tuple[NDArray[np.bool_], Expected]]:
    """Yield (days, all kinds as one) for every mix of kinds that occurs; days is bool [days]."""
    if not kinds:
        return
    rates = np.stack([np.asarray(kind.rate, dtype=np.float64) for kind in kinds])
    total = rates.sum(axis=0)
    shares = np.divide(rates, total, out=np.zeros_like(rates), where=total > 0).round(9)
    for share in np.unique(shares, axis=1).T:
        if share.sum() > 0:
            on = (shares == share[:, None]).all(axis=0)
            units = pmf.mixture(list(share / share.sum()), [kind.units for kind in kinds])
            yield on, Expected(rate=total[on], units=units)
