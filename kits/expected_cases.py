"""Cases not booked yet: how many to expect, and what they will use. Pure: arrays in, arrays out.

A kind of case is whatever the caller calls alike (here: the procedures done together). Its rate is
learnt from the cases done so far and from those already booked; how many of the cases of a coming day
are not booked yet is read from how long ahead past cases of the kind were booked. Units are whole stock
units, days count from today (day 0).
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stock.planning.pmf import Distribution

Chances = NDArray[np.float64]

# Booked ahead, in days, of four imagined cases that stand in until a clinic has its own history.
# Common practice: surgery is booked between a few days and a month ahead.
PRIOR_LEADS = (3, 7, 14, 28)
# Cases of any kind that each kind's own record of booking ahead is mixed with (unit: cases). Our choice.
PRIOR_CASES = 4.0
# Open days of the average kind's work that each kind's own record is mixed with (unit: open days).
# Two weeks: enough to steady a kind seen once, little against half a year of record.
PRIOR_OPEN_DAYS = 10.0
# Chance beyond which the units of one day are put together in the last cell (no unit).
NEGLIGIBLE = 1e-12


@dataclass(frozen=True)
class KnownCase:
    """One case, done or booked: its kind, what it used (or may use) and what had to lie ready.

    use: chance of each number of units, by item; requirement: units, by item, None where no one kept it.
    lead: days it was booked ahead, None where that is not known or, as of a case still in the book, would
    lean to the early ones.
    """

    kind: Hashable
    use: Mapping[int, Distribution]
    requirement: Mapping[int, int] | None
    lead: int | None = None


@dataclass(frozen=True)
class ItemRate:
    """What cases of each kind mean for one item, for each open day on which none is booked.

    by_use[k, q]: cases a day of kind k that use q units. by_requirement[k, r]: cases a day of kind k that
    must find r units lying ready.
    """

    by_use: Chances
    by_requirement: Chances

    @property
    def units(self) -> Chances:
        """Expected units used a day, by kind."""
        return self.by_use @ np.arange(self.by_use.shape[1], dtype=np.float64)


@dataclass(frozen=True, kw_only=True)
class Coming:
    """Cases not booked yet over the coming days.

    rates: by item. not_booked [days, kinds]: share of a day's cases of each kind that is not booked yet.
    is_open [days]. rooms: cases that can be under way at one time.
    """

    rates: Mapping[int, ItemRate]
    not_booked: Chances
    is_open: NDArray[np.bool_]
    rooms: int = 1

    @property
    def expected(self) -> Chances:
        """Share of a full open day's cases to expect, [days, kinds]."""
        return self.not_booked * self.is_open[:, None]

    def at_short_notice(self, notice: int) -> Chances:
        """The same for cases that will be booked fewer than `notice` days ahead, [days, kinds].

        Goods for a case booked earlier than that can still be ordered once it is in the book.
        """
        days = np.minimum(np.arange(len(self.not_booked)), notice)
        return self.not_booked[days] * self.is_open[:, None]


def expect(cases: Sequence[KnownCase], *, past_open_days: int, is_open: Sequence[bool], rooms: int) -> Coming:
    """What the known cases, done and booked, say of those to come.

    past_open_days: open days that the done cases took. is_open: for each coming day.
    """
    kinds = list(dict.fromkeys(case.kind for case in cases))
    flags = np.asarray(is_open, dtype=np.bool_)
    leads: dict[Hashable, list[int]] = {kind: [] for kind in kinds}
    for case in cases:
        if case.lead is not None:
            leads[case.kind].append(case.lead)
    not_booked = shares_not_booked([leads[kind] for kind in kinds], len(flags))
    # The book holds the coming days as far as they are booked, besides the past ones whole.
    seen = past_open_days + (1.0 - not_booked).T @ flags.astype(np.float64)
    rates = item_rates(cases, dict(zip(kinds, seen.tolist(), strict=True)))
    return Coming(rates=rates, not_booked=not_booked, is_open=flags, rooms=max(rooms, 1))


def shares_not_booked(leads: Sequence[Sequence[int]], days: int) -> Chances:
    """For each of `days` coming days, the share of each kind's cases that is not booked yet: P(lead < day).

    leads: for each kind, days between booking and surgery of past cases, 0 or more. Each kind leans on
    all kinds together with the weight of PRIOR_CASES cases, all kinds on PRIOR_LEADS.
    A case of day h that is booked fewer than h days ahead cannot be in the book today.
    """
    together = [lead for kind in leads for lead in kind]
    whole = _below([*together, *PRIOR_LEADS], days) / (len(together) + len(PRIOR_LEADS))
    shares = [(_below(kind, days) + PRIOR_CASES * whole) / (len(kind) + PRIOR_CASES) for kind in leads]
    return np.stack(shares, axis=1) if shares else np.zeros((days, 0))


def _below(leads: Sequence[int], days: int) -> Chances:
    """How many of the leads are shorter than each day."""
    return np.searchsorted(np.sort(np.asarray(leads, dtype=np.int64)), np.arange(days)).astype(np.float64)


def rates(counts: Mapping[Hashable, int], open_days: Mapping[Hashable, float]) -> dict[Hashable, float]:
    """Cases of each kind per open day: mean of a Gamma posterior whose prior is the average kind.

    open_days: days the count of each kind took. The prior weighs PRIOR_OPEN_DAYS.
    """
    total = sum(open_days[kind] for kind in counts)
    if total <= 0:
        return {}
    average = sum(counts.values()) / total
    return {
        kind: (count + PRIOR_OPEN_DAYS * average) / (open_days[kind] + PRIOR_OPEN_DAYS)
        for kind, count in counts.items()
    }


def item_rates(cases: Sequence[KnownCase], open_days: Mapping[Hashable, float]) -> dict[int, ItemRate]:
    """What one open day of cases not booked yet means for every item that a known case needs.

    Each kind goes at its rate; a case of it is like any of the known ones with equal chance (for what
    must lie ready: like any of those for which that was kept). open_days: by kind, in the kinds' order.
    """
    order = {kind: row for row, kind in enumerate(open_days)}
    counts, kept = [0] * len(order), [0] * len(order)
    for case in cases:
        counts[order[case.kind]] += 1
        kept[order[case.kind]] += case.requirement is not None
    by_kind = rates({kind: counts[row] for kind, row in order.items()}, open_days)
    by_use: dict[int, Chances] = {}
    by_requirement: dict[int, Chances] = {}
    for case in cases:
        row, rate = order[case.kind], by_kind.get(case.kind, 0.0)
        for item, use in case.use.items():
            table = by_use[item] = _wide(by_use.get(item), len(order), len(use))
            table[row, : len(use)] += np.asarray(use) * (rate / counts[row])
        for item, units in (case.requirement or {}).items():
            table = by_requirement[item] = _wide(by_requirement.get(item), len(order), units + 1)
            table[row, units] += rate / kept[row]
    nothing = np.zeros((len(order), 1))
    return {
        item: ItemRate(by_use.get(item, nothing), by_requirement.get(item, nothing))
        for item in by_use.keys() | by_requirement.keys()
    }


def _wide(table: Chances | None, kinds: int, units: int) -> Chances:
    """The table with room for so many units."""
    if table is None:
        return np.zeros((kinds, units))
    return table if table.shape[1] >= units else np.pad(table, ((0, 0), (0, units - table.shape[1])))


def daily_use(by_use: Chances, expected: Chances) -> Chances:
    """Chance [days, units] of each number of units used by a Poisson number of cases a day.

    by_use [kinds, units]: cases of each kind a full open day that use q units; expected [days, kinds]:
    share of a full open day's cases to expect. A compound Poisson distribution, exact in the transform
    domain: exp(rate * (transform of one case - 1)). Cells reach until less than NEGLIGIBLE lies beyond.
    """
    intensity = expected @ by_use
    intensity[:, 0] = 0.0
    levels, day_of = np.unique(intensity, axis=0, return_inverse=True)
    units = np.arange(levels.shape[1])
    mean, variance = (levels @ units).max(initial=0.0), (levels @ units**2).max(initial=0.0)
    size = 1 << int(np.ceil(np.log2(4 * len(units) + 2 * mean + 24 * np.sqrt(variance) + 2)))
    while True:
        transform = np.fft.rfft(levels, size) - levels.sum(axis=1, keepdims=True)
        chances = np.fft.irfft(np.exp(transform), size)
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
