"""Cases not booked yet: how many to expect, and what they will use. Pure: arrays in, arrays out.

A kind of case is whatever the caller calls alike (here: the procedures done together). Its rate is
learnt from the cases done so far and from those already booked; how many of the cases of a coming day
are not booked yet is read from how long ahead past cases were booked. Units are whole stock units,
days count from today (day 0).
"""

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stock.planning.pmf import Distribution

Chances = NDArray[np.float64]

# Booked ahead, in days, of four imagined cases that stand in until a clinic has its own history.
# Common practice: surgery is booked between a few days and a month ahead.
PRIOR_LEADS = (3, 7, 14, 28)
# Open days of the average kind's work that each kind's own record is mixed with (unit: open days).
# Two weeks: enough to steady a kind seen once, little against half a year of record.
PRIOR_OPEN_DAYS = 10.0
# Chance beyond which the units of one day are put together in the last cell (no unit).
NEGLIGIBLE = 1e-12


@dataclass(frozen=True)
class KnownCase:
    """One case, done or booked: its kind, what it used (or may use) and what had to lie ready.

    use: chance of each number of units, by item; requirement: units, by item, None where no one kept it.
    """

    kind: Hashable
    use: Mapping[int, Distribution]
    requirement: Mapping[int, int] | None


@dataclass(frozen=True)
class ItemRate:
    """What cases not booked yet mean for one item, for each open day on which none is booked.

    by_use[q]: cases a day that use q units. by_requirement[r]: cases a day that must find r units.
    """

    by_use: Chances
    by_requirement: Chances

    @property
    def units(self) -> float:
        """Expected units used a day."""
        return float(self.by_use @ np.arange(len(self.by_use)))


def share_not_booked(leads: Sequence[int], days: int) -> Chances:
    """For each of `days` coming days, the share of its cases that are not booked yet: P(lead < day).

    leads: days between booking and surgery of past cases, 0 or more; PRIOR_LEADS are added to them.
    A case of day h that is booked fewer than h days ahead cannot be in the book today.
    """
    known = np.sort(np.asarray([*leads, *PRIOR_LEADS], dtype=np.int64))
    return np.searchsorted(known, np.arange(days), side="left") / len(known)


def open_days_seen(*, past_open_days: int, coming_open: Sequence[bool], not_booked: Chances) -> float:
    """Open days' worth of cases that the record holds: the past whole, the coming as far as it is booked."""
    return past_open_days + float((1.0 - not_booked) @ np.asarray(coming_open, dtype=np.float64))


def rates(counts: Mapping[Hashable, int], open_days: float) -> dict[Hashable, float]:
    """Cases of each kind per open day: mean of a Gamma posterior whose prior is the average kind.

    The prior weighs PRIOR_OPEN_DAYS, so the rates still add up to all cases over `open_days`.
    """
    if not counts or open_days <= 0:
        return {}
    average = sum(counts.values()) / len(counts) / open_days
    return {
        kind: (count + PRIOR_OPEN_DAYS * average) / (open_days + PRIOR_OPEN_DAYS)
        for kind, count in counts.items()
    }


def item_rates(cases: Sequence[KnownCase], open_days: float) -> dict[int, ItemRate]:
    """What one open day of cases not booked yet means for every item that a known case needs.

    Each kind goes at its rate; a case of it is like any of the known ones with equal chance (for what
    must lie ready: like any of those for which that was kept).
    """
    counts = Counter(case.kind for case in cases)
    kept = Counter(case.kind for case in cases if case.requirement is not None)
    by_kind = rates(counts, open_days)
    by_use: dict[int, Chances] = {}
    by_requirement: dict[int, Chances] = {}
    for case in cases:
        rate = by_kind.get(case.kind, 0.0)
        for item, use in case.use.items():
            by_use[item] = _added(by_use.get(item), np.asarray(use) * (rate / counts[case.kind]))
        for item, units in (case.requirement or {}).items():
            single = np.zeros(units + 1)
            single[units] = rate / kept[case.kind]
            by_requirement[item] = _added(by_requirement.get(item), single)
    nothing = np.zeros(1)
    return {
        item: ItemRate(by_use.get(item, nothing), by_requirement.get(item, nothing))
        for item in by_use.keys() | by_requirement.keys()
    }


def _added(total: Chances | None, part: Chances) -> Chances:
    if total is None:
        return part.copy()
    if len(total) < len(part):
        total = np.concatenate([total, np.zeros(len(part) - len(total))])
    total[: len(part)] += part
    return total


def daily_use(by_use: Chances, expected: Chances) -> Chances:
    """Chance [days, units] of each number of units used by a Poisson number of cases a day.

    by_use[q]: cases that use q units per full open day; expected [days]: share of a full open day's
    cases to expect. A compound Poisson distribution, exact in the transform domain:
    exp(rate * (transform of one case - 1)). Cells reach until less than NEGLIGIBLE lies beyond.
    """
    rate = by_use.copy()
    rate[0] = 0.0
    levels, day_of = np.unique(expected, return_inverse=True)
    units = np.arange(len(rate))
    top = float(levels[-1]) if len(levels) else 0.0
    mean, variance = top * (rate @ units), top * (rate @ units**2)
    size = 1 << int(np.ceil(np.log2(4 * len(rate) + 2 * mean + 24 * np.sqrt(variance) + 2)))
    while True:
        transform = np.fft.rfft(rate, size)
        chances = np.fft.irfft(np.exp(levels[:, None] * (transform - rate.sum())), size)
        if chances[:, 3 * size // 4 :].sum(axis=1).max() < NEGLIGIBLE:
            break
        # Mass near the end would wrap round to the start: widen until there is none.
        size *= 2
    return _trimmed(np.clip(chances, 0.0, None))[day_of.reshape(-1)]


def _trimmed(chances: Chances) -> Chances:
    beyond = np.cumsum(chances[:, ::-1], axis=1)[:, ::-1].max(axis=0)
    cells = max(int(np.count_nonzero(beyond >= NEGLIGIBLE)), 1)
    kept = chances[:, :cells].copy()
    kept[:, -1] += chances[:, cells:].sum(axis=1)
    return kept / kept.sum(axis=1, keepdims=True)
