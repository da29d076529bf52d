"""When to order and how much: the least order that keeps the chance of being short within its target.

A review is a day on which orders are sent. An order sent now arrives after the lead time; one left
for the next review arrives `review_days` later. So the chance that matters now is that of running short
before goods ordered at the next review could arrive, and what is ordered now must last one review longer.
With Poisson use, no expiry, no reserve and a fixed lead time this is the order-up-to level of the
textbooks: the least S with P(use over the protected days <= S) >= target.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, sqrt

import numpy as np
from numpy.typing import NDArray

from stock.planning import history, pmf
from stock.planning.outflow import Demand, Projection, ever_short, project, project_many
from stock.planning.pmf import TIE_TOLERANCE, Distribution

TARGET_CASE_CANNOT_START = 0.995
TARGET_SUBSTITUTE_EXISTS = 0.975
TARGET_CONVENIENCE = 0.90
"""Chance of not being short (no unit), by what a shortage means; the practice's own policy may replace it."""

PRIOR_RECEIPTS = 4.0
"""Receipts the supplier's stated lead time counts for (receipts). Our choice."""

LEAD_KEPT = 0.999
"""Chance of lead times that are looked at one by one (no unit); longer ones count as the longest of these."""

Chances = NDArray[np.float64]


class WrongTerms(ValueError):
    """The terms of an order, or the practice's targets, cannot be."""


@dataclass(frozen=True, kw_only=True)
class Offer:
    """How a supplier sells the item.

    pack: units in a pack. minimum_packs: least packs in an order. shelf_days: days after arrival through
    which new units stay usable, None for ever.
    """

    pack: int
    minimum_packs: int = 1
    shelf_days: int | None = None


@dataclass(frozen=True, kw_only=True)
class Reason:
    """What a manager can check by hand.

    day: first day by which the chance of having been short exceeds what is allowed.
    chance: that chance. allowed: 1 minus the item's target.
    short_of: "reach" if on that day what must lie there is likelier to be missing than use to go unmet,
        else "use".
    in_date: units in date on that day if none were used, receipts due by then included.
    must_have: units that must lie in reach that day.
    expected_use: units used through that day, expected.
    """

    day: int
    chance: float
    allowed: float
    short_of: str
    in_date: int
    must_have: int
    expected_use: float


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One order the manager may send: how often it leaves the item short, and what it wastes.

    chance: on the worst day it has to cover. waste: new units expected to go out of date unused.
    """

    packs: int
    units: int
    chance: float
    waste: float


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """An order to send now.

    order: what is proposed: the order that meets the target, cut back where it would waste too much.
    for_target: the least order that meets the target, or comes as close to it as any can.
    reaches_target: whether for_target meets the target.
    conflict: the target and the waste limit cannot both be met; the manager chooses between
        `order` and `for_target`.
    chance_if_waiting, chance_if_sent: of being short at least once before goods ordered at the next
        review could arrive, without and with this order.
    """

    order: Choice
    for_target: Choice
    reaches_target: bool
    conflict: bool
    chance_if_waiting: float
    chance_if_sent: float
    reason: Reason


def lead_time(
    *, stated_days: float, observed: Sequence[float] = (), weight: float = PRIOR_RECEIPTS
) -> Distribution:
    """Return the distribution of days from sent to received.

    stated_days: the supplier's own figure. observed: days that earlier orders took.
    Days are Poisson about an unknown mean whose Gamma prior is worth `weight` receipts of the stated
    figure; the predictive is negative binomial. Cut where less than one in a million is left.
    """
    if stated_days < 0 or weight <= 0 or any(days < 0 for days in observed):
        raise WrongTerms(f"A lead time of {stated_days} days, seen as {list(observed)}, is not possible.")
    shape = stated_days * weight + float(sum(observed))
    if shape == 0:
        return pmf.point(0)
    rate = history.Rate(shape=shape, exposure=weight + len(observed))
    size = ceil(rate.mean + 20 * sqrt(rate.mean * (1 + 1 / rate.exposure))) + 20
    found = history.predictive(rate, size=size)
    return pmf.cap(found, pmf.quantile(found, 1 - 1e-6) + 1)


def lead_time_quantile(
    *,
    stated_days: float,
    observed: Sequence[float] = (),
    chance: float = 0.95,
    weight: float = PRIOR_RECEIPTS,
) -> int:
    """Return the days within which an order arrives with the given chance."""
    return pmf.quantile(lead_time(stated_days=stated_days, observed=observed, weight=weight), chance)


def propose(
    *,
    demand: Demand,
    offer: Offer,
    review_days: int,
    lead: Distribution,
    target: float,
    waste_limit: float | None = None,
    later_use: Distribution | None = None,
) -> Proposal | None:
    """Return the order to send now, or None if the next review is early enough.

    demand: the item as `project` takes it; it must cover two reviews and the longest lead time.
    review_days: days to the next review, at least 1.
    lead: distribution of days from sent to received (`lead_time`, or `pmf.point` if fixed).
    target: chance of not being short. waste_limit: largest share of the new units that may be expected to
        go out of date unused, None for no limit.
    later_use: distribution of one day's use after the planned days, to carry the waste sums to the
        end of the new units' shelf life; None leaves waste after the planned days out.
    Raises WrongTerms for terms that cannot be or a demand that covers too few days.
    """
    _check(offer, review_days, target, waste_limit)
    planner = _Planner(
        demand, offer, review_days, pmf.cap(lead, pmf.quantile(lead, LEAD_KEPT) + 1), later_use
    )
    allowed = 1 - target
    # Only the days an order sent now has to cover can be a reason to send it.
    ever = ever_short([planner.demand])[0]
    waiting = planner.before_next(ever)
    if waiting <= allowed + TIE_TOLERANCE or planner.is_past_help(ever, allowed):
        return None
    packs, reaches = planner.packs_for(allowed)
    wanted = planner.choice(packs)
    chosen = planner.within_waste(wanted, waste_limit)
    return Proposal(
        order=chosen,
        for_target=wanted,
        reaches_target=reaches,
        conflict=waste_limit is not None and _wasteful(wanted, waste_limit),
        chance_if_waiting=waiting,
        chance_if_sent=planner.before_next_if_sent(chosen.packs),
        reason=_reason(planner.demand, ever, allowed),
    )


def _check(offer: Offer, review_days: int, target: float, waste_limit: float | None) -> None:
    """Refuse terms that cannot be."""
    if offer.pack < 1 or offer.minimum_packs < 1 or (offer.shelf_days is not None and offer.shelf_days < 0):
        raise WrongTerms(
            f"{offer} is no offer: packs and the least order are at least 1, a shelf life 0 days."
        )
    if review_days < 1:
        raise WrongTerms(f"The next review is at least a day away, not {review_days}.")
    if not 0 < target < 1:
        raise WrongTerms(f"A target is a chance between 0 and 1, not {target}.")
    if waste_limit is not None and waste_limit < 0:
        raise WrongTerms(f"A waste limit is a share of at least 0, not {waste_limit}.")


def _wasteful(order: Choice, waste_limit: float) -> bool:
    """Say whether an order is expected to waste a larger share of its units than the limit."""
    return order.waste > waste_limit * order.units + TIE_TOLERANCE


def _reason(demand: Demand, ever: Chances, allowed: float) -> Reason:
    """Return the facts behind an order, on the first day that is not covered."""
    day = int(np.argmax(ever > allowed + TIE_TOLERANCE))
    found = project(use=demand.use, lots=demand.lots, receipts=demand.receipts, must_have=demand.must_have)
    use = np.asarray(demand.use, dtype=np.float64)
    due = [(0, *lot) for lot in demand.lots] + list(demand.receipts)
    return Reason(
        day=day,
        chance=float(ever[day]),
        allowed=allowed,
        short_of="reach" if found.short_in_reach[day] > found.short[day] else "use",
        in_date=sum(
            int(units) for arrives, units, last in due if arrives <= day and (last is None or last >= day)
        ),
        must_have=0 if demand.must_have is None else int(np.asarray(demand.must_have)[day]),
        expected_use=float((use[: day + 1] @ np.arange(use.shape[1])).sum()),
    )


class _Planner:
    """The sums behind one proposal; every chance is averaged over the lead times."""

    def __init__(
        self,
        demand: Demand,
        offer: Offer,
        review_days: int,
        lead: Distribution,
        later_use: Distribution | None,
    ) -> None:
        self.offer, self.review, self.later_use = offer, review_days, later_use
        self.full = demand
        self.leads = [int(days) for days in np.flatnonzero(lead)]
        self.weights = lead[self.leads]
        self.days = days = 2 * review_days + self.leads[-1]
        if days > len(np.asarray(demand.use)):
            raise WrongTerms(f"An order has to cover {days} days; the demand covers fewer.")
        self.demand = replace(
            demand,
            use=np.asarray(demand.use)[:days],
            must_have=None if demand.must_have is None else np.asarray(demand.must_have)[:days],
        )

    def with_order(self, demand: Demand, packs: int, lead: int) -> Demand:
        """Return the demand with an order of `packs` arriving after `lead` days."""
        last = None if self.offer.shelf_days is None else lead + self.offer.shelf_days
        return replace(demand, receipts=[*demand.receipts, (lead, packs * self.offer.pack, last)])

    def before_next(self, ever: Chances) -> float:
        """Return the chance of being short before goods ordered at the next review could arrive."""
        return float(sum(w * ever[self.review + lead - 1] for w, lead in self._cases()))

    def is_past_help(self, ever: Chances, allowed: float) -> bool:
        """Say whether all the risk lies before goods sent now could arrive, and what is due covers the rest.

        Ordering again would not mend such a shortage, only double what is already on its way.
        """
        before = sum(weight * ever[lead - 1] for weight, lead in self._cases() if lead > 0)
        if self.before_next(ever) - before > allowed + TIE_TOLERANCE:
            return False
        [found] = project_many([self.demand], quantiles=())
        after = sum(weight * self._worst(found, lead, self.review) for weight, lead in self._cases())
        return after <= allowed + TIE_TOLERANCE

    def before_next_if_sent(self, packs: int) -> float:
        """Return the same chance when an order is sent now."""
        found = ever_short([self.with_order(self.demand, packs, lead) for lead in self.leads])
        return float(
            sum(
                weight * ever[self.review + lead - 1]
                for (weight, lead), ever in zip(self._cases(), found, strict=True)
            )
        )

    def chance(self, packs: int) -> float:
        """Return the chance of being short on the worst day that an order sent now has to cover."""
        cases = [self.with_order(self.demand, packs, lead) for lead in self.leads]
        found = project_many(cases, quantiles=())
        return float(
            sum(
                weight * self._worst(projection, lead, 2 * self.review)
                for (weight, lead), projection in zip(self._cases(), found, strict=True)
            )
        )

    def _worst(self, projection: Projection, lead: int, days: int) -> float:
        """Return the chance of being short on the worst of so many days from the arrival on."""
        covered = slice(lead, lead + days)
        return float(max(projection.short[covered].max(), projection.short_in_reach[covered].max()))

    def packs_for(self, allowed: float) -> tuple[int, bool]:
        """Return the least packs that keep the chance within `allowed`, and whether any do."""
        widest = np.asarray(self.demand.use).shape[1] - 1
        reserve = 0 if self.demand.must_have is None else int(np.max(self.demand.must_have))
        least = self.offer.minimum_packs
        most = max(least, ceil((widest * self.days + reserve) / self.offer.pack))
        limit = allowed + TIE_TOLERANCE
        # Orders are small as a rule, and small orders are quickly worked out: double until one is enough.
        low, high = least, least
        while high < most and self.chance(high) > limit:
            low, high = high + 1, min(2 * high, most)
        reaches = high < most or self.chance(most) <= limit
        if not reaches:
            low, limit = least, self.chance(most) + TIE_TOLERANCE
        while low < high:
            middle = (low + high) // 2
            if self.chance(middle) <= limit:
                high = middle
            else:
                low = middle + 1
        return high, reaches

    def within_waste(self, wanted: Choice, waste_limit: float | None) -> Choice:
        """Return the order wanted, cut back if it would waste more than the limit."""
        if waste_limit is None or not _wasteful(wanted, waste_limit):
            return wanted
        return self.choice(self.packs_within(waste_limit, wanted.packs))

    def packs_within(self, waste_limit: float, most: int) -> int:
        """Return the most packs, at least the minimum, whose expected waste stays within the limit."""
        low, high = self.offer.minimum_packs, most
        while low < high:
            middle = (low + high + 1) // 2
            if self.waste(middle) <= waste_limit * middle * self.offer.pack + TIE_TOLERANCE:
                low = middle
            else:
                high = middle - 1
        return low

    def waste(self, packs: int) -> float:
        """Return the new units expected to go out of date unused, arriving after the median lead time."""
        if self.offer.shelf_days is None:
            return 0.0
        lead = self.leads[int(np.argmax(np.cumsum(self.weights) >= 0.5 - TIE_TOLERANCE))]
        use = np.asarray(self.full.use, dtype=np.float64)
        needed = lead + self.offer.shelf_days + 2 - len(use)
        if self.later_use is not None and needed > 0:
            width = max(use.shape[1], len(self.later_use))
            use = np.pad(use, ((0, 0), (0, width - use.shape[1])))
            use = np.vstack([use, np.tile(pmf.cap(self.later_use, width), (needed, 1))])
        demand = replace(self.full, use=use, must_have=None)
        return float(project_many([self.with_order(demand, packs, lead)], quantiles=())[0].expired[-1])

    def choice(self, packs: int) -> Choice:
        """Return an order with its figures."""
        return Choice(
            packs=packs,
            units=packs * self.offer.pack,
            chance=self.chance(packs),
            waste=self.waste(packs),
        )

    def _cases(self) -> list[tuple[float, int]]:
        """Return (chance, days) of every lead time."""
        return list(zip(self.weights, self.leads, strict=True))
