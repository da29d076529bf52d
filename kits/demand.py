"""What the coming days ask of each item: use by source, and what must lie in reach.

Pure: cases and rates go in as values, arrays come out. Days count from the first planned day (day 0),
quantities are whole stock units. Three sources are kept apart, because people ask where a figure comes
from: cases in the book, cases not booked yet, and everything else.
"""

import datetime as dt
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kits.expected_cases import Coming, ItemRate, daily_use
from kits.reasons import CaseNeed
from stock.planning import pmf
from stock.planning.history import Rate, predictive
from stock.planning.pmf import Distribution
from stock.planning.presence import (
    Bookings,
    Expected,
    Units,
    expected_quantile,
    largest_together,
    must_have,
)

Chances = NDArray[np.float64]

# Smallest expected use of other causes that is planned for, units a day: less is one unit in 14 years.
LEAST_RATE = 0.0002
# Chance of more than the cells of one day's other use can hold (no unit).
NEGLIGIBLE = 1e-10


@dataclass(frozen=True, kw_only=True)
class BookedCase:
    """A case in the book: its day, time and what each item means to it.

    day: days from the first planned day; an overdue case that is still open counts on day 0.
    starts, ends: minutes after midnight at the clinic. use: distribution of units still to be used.
    requirement: units still to lie in reach when it starts; empty once it is past.
    """

    code: str
    kind: Hashable
    on: dt.date
    day: int
    starts: float
    ends: float
    use: Mapping[int, Distribution]
    requirement: Mapping[int, int]


@dataclass(frozen=True, kw_only=True)
class Other:
    """Use that no case explains: belief about its rate per open day by item, and which days are open."""

    rates: Mapping[int, Rate]
    is_open: Sequence[bool]


@dataclass(frozen=True, kw_only=True, eq=False)
class ItemDemand:
    """Demand for one item over all planned days.

    use: [days, units], chance of each number of units used, all sources together.
    booked, not_booked, other: [days], expected units by source.
    together: [days], the most that overlapping booked cases need in reach together.
    cases: the booked cases that need it, in order of start.
    """

    use: Chances
    booked: Chances
    not_booked: Chances
    other: Chances
    together: Units
    cases: Sequence[CaseNeed] = field(default_factory=tuple)
    rate: ItemRate | None = None

    @property
    def expected(self) -> Chances:
        """Expected units per day, all sources together."""
        return self.booked + self.not_booked + self.other


def build(
    *,
    days: int,
    cases: Sequence[BookedCase],
    coming: Coming | None = None,
    other: Other | None = None,
    items: Iterable[int] = (),
) -> dict[int, ItemDemand]:
    """Demand for every item that a source needs, and for `items` besides, over `days` days."""
    ordered = sorted(cases, key=lambda case: (case.day, case.starts, case.code))
    inside = [case for case in ordered if 0 <= case.day < days]
    wanted = set(items).union(*(case.use.keys() | case.requirement.keys() for case in inside))
    wanted |= set(coming.rates) if coming else set()
    wanted |= set(other.rates) if other else set()
    order = sorted(wanted)
    together = _together(days, inside, order)
    use_of: dict[int, dict[int, Distribution]] = {item: {} for item in order}
    needs: dict[int, list[CaseNeed]] = {item: [] for item in order}
    for case in inside:
        for item, use in case.use.items():
            earlier = use_of[item].get(case.day)
            use_of[item][case.day] = np.asarray(use) if earlier is None else np.convolve(earlier, use)
        for item in case.use.keys() | case.requirement.keys():
            needs[item].append(_need(case, item))
    return {
        item: _item(days, use_of[item], coming, other, item, together[:, place], needs[item])
        for place, item in enumerate(order)
    }


def _need(case: BookedCase, item: int) -> CaseNeed:
    expected = pmf.mean(np.asarray(case.use[item])) if item in case.use else 0.0
    return CaseNeed(code=case.code, on=case.on, in_reach=case.requirement.get(item, 0), expected_use=expected)


def _together(days: int, cases: Sequence[BookedCase], items: Sequence[int]) -> Units:
    """What overlapping cases need in reach together, [days, items]."""
    waiting = [case for case in cases if case.requirement]
    place_of = {item: place for place, item in enumerate(items)}
    requirements = np.zeros((len(waiting), len(items)), dtype=np.int64)
    for row, case in enumerate(waiting):
        for item, units in case.requirement.items():
            requirements[row, place_of[item]] = units
    bookings = Bookings(
        days=np.array([case.day for case in waiting], dtype=np.int64),
        starts=np.array([case.starts for case in waiting]),
        ends=np.array([case.ends for case in waiting]),
    )
    return largest_together(bookings=bookings, requirements=requirements, days=days)


def _item(
    days: int,
    by_day: Mapping[int, Distribution],
    coming: Coming | None,
    other: Other | None,
    item: int,
    together: Units,
    needs: Sequence[CaseNeed],
) -> ItemDemand:
    """Put the sources of one item together."""
    booked, not_booked, rest = (np.zeros(days) for _ in range(3))
    use = np.ones((days, 1))
    rate = coming.rates.get(item) if coming else None
    if coming and rate is not None:
        use = daily_use(rate.by_use, coming.expected)
        not_booked = coming.expected @ rate.units
    belief = other.rates.get(item) if other else None
    if other and belief is not None and belief.mean >= LEAST_RATE:
        is_open = np.asarray(other.is_open)
        use = _on_days(use, np.flatnonzero(is_open), other_use(belief))
        rest = np.where(is_open, belief.mean, 0.0)
    for day, distribution in by_day.items():
        booked[day] = pmf.mean(distribution)
    return ItemDemand(
        use=_with_booked(use, by_day),
        booked=booked,
        not_booked=not_booked,
        other=rest,
        together=together,
        cases=tuple(needs),
        rate=rate,
    )


def other_use(belief: Rate) -> Distribution:
    """One open day's use of other causes: negative binomial, the rest of the tail in the last cell."""
    spread = np.sqrt(belief.mean * (1 + 1 / belief.exposure))
    size = int(np.ceil(belief.mean + 10 * spread)) + 4
    use = predictive(belief, size=size)
    beyond = np.cumsum(use[::-1])[::-1]
    return pmf.cap(use, max(int(np.count_nonzero(beyond > NEGLIGIBLE)), 1))


def _on_days(use: Chances, rows: NDArray[np.int64], more: Distribution) -> Chances:
    """Add the same further use on some of the days."""
    wide = np.zeros((use.shape[0], use.shape[1] + len(more) - 1))
    wide[:, : use.shape[1]] = use
    mixed = np.zeros((len(rows), wide.shape[1]))
    for units, chance in enumerate(more):
        mixed[:, units : units + use.shape[1]] += chance * use[rows]
    wide[rows] = mixed
    return wide


def _with_booked(use: Chances, by_day: Mapping[int, Distribution]) -> Chances:
    """Add what booked cases use, day by day."""
    most = max((len(distribution) for distribution in by_day.values()), default=1)
    wide = np.zeros((use.shape[0], use.shape[1] + most - 1))
    wide[:, : use.shape[1]] = use
    for day, distribution in by_day.items():
        row = np.convolve(use[day], distribution)
        wide[day] = 0.0
        wide[day, : len(row)] = row
    return wide


def in_reach(
    demand: ItemDemand, *, service: float, coming: Coming | None, notice: int | None = None, at_least: int = 0
) -> Units:
    """Units that must lie in reach at the start of each day [days], and never fewer than `at_least`.

    service: target chance by the item's criticality. Cases not booked yet need their reserve in reach
    too, so an item that any of them may need does not fall to nothing. notice: days within which goods
    ordered at the next review are there; a case booked earlier than that is ordered for once it is
    booked, so only those at shorter notice count (None: all). Together with booked ones they are never
    more at a time than there are rooms.
    """
    needed = must_have(booked=demand.together, use=demand.use, service=service)
    if coming and demand.rate is not None and demand.rate.by_requirement[:, 1:].any():
        days = len(demand.use)
        largest = max([demand.rate.by_requirement.shape[1] - 1, *(need.in_reach for need in demand.cases)])
        together = demand.together + _reach_of_coming(
            coming.at_short_notice(days if notice is None else notice) @ demand.rate.by_requirement,
            service,
            coming.rooms,
        )
        needed = np.maximum(needed, np.minimum(together, largest * coming.rooms))
    return np.maximum(needed, at_least)


def _reach_of_coming(intensity: Chances, service: float, rooms: int) -> Units:
    """Units that cover cases not booked yet [days]; intensity [days, units]: cases that must find so many."""
    levels, day_of = np.unique(intensity, axis=0, return_inverse=True)
    found = np.zeros(len(levels), dtype=np.int64)
    for row, level in enumerate(levels):
        total = float(level.sum())
        if total > 0:
            expected = Expected(rate=[total], units=level / total)
            [found[row]] = expected_quantile(
                expected=expected, booked=np.zeros(1, dtype=np.int64), service=service, rooms=rooms
            )
    return found[day_of.reshape(-1)]
