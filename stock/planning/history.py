"""Use that no case explains (drops, trials, walk-ins), learnt from what was used before.

Daily use is Poisson with an unknown rate; the rate has a Gamma distribution that each day's count
updates, older days fading (discounted Gamma-Poisson: West and Harrison, Bayesian Forecasting and
Dynamic Models, on discount models; from memory). Its predictive distribution is negative binomial.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.planning import pmf
from stock.planning.pmf import Distribution

FORGETTING = 0.995
"""Weight kept by a day's count after one more working day (no unit): half after 138 days. Our choice."""

PRIOR_DAYS = 20.0
"""Working days the starting rate counts for (days): about a month. Our choice."""


class WrongHistory(ValueError):
    """Past use, or the belief to start from, cannot be."""


@dataclass(frozen=True, kw_only=True)
class Rate:
    """Gamma belief about a rate: shape (units) and exposure (days); mean = shape / exposure, per day."""

    shape: float
    exposure: float

    @property
    def mean(self) -> float:
        """Expected units a day."""
        return self.shape / self.exposure


def start(mean: float, days: float = PRIOR_DAYS) -> Rate:
    """Return the belief before any count: `mean` units a day, worth `days` days of counting.

    Raises WrongHistory unless both are above 0.
    """
    if not (mean > 0 and days > 0):
        raise WrongHistory(f"A starting rate of {mean} a day worth {days} days is not above 0.")
    return Rate(shape=mean * days, exposure=days)


def learn(counts: ArrayLike, *, prior: Rate, forgetting: float = FORGETTING) -> Rate:
    """Return the belief after daily `counts` (units, oldest first), each day fading by `forgetting`.

    Both the counts and the days they took fade, and so does what was learnt; the prior itself stays
    whole, so that an item nobody used for years falls back to it and not to nothing.
    """
    units = np.asarray(counts, dtype=np.float64)
    if units.ndim != 1 or (units < 0).any() or not np.isfinite(units).all():
        raise WrongHistory("Past use is a row of counts, none of them below 0.")
    if not 0 < forgetting <= 1:
        raise WrongHistory(f"Forgetting keeps a share above 0 and at most 1 of each day, not {forgetting}.")
    weights = forgetting ** np.arange(len(units) - 1, -1, -1, dtype=np.float64)
    return Rate(shape=prior.shape + float(weights @ units), exposure=prior.exposure + float(weights.sum()))


def predictive(rate: Rate, *, days: float = 1.0, size: int) -> Distribution:
    """Return the distribution of use over `days` days in `size` cells, the rest in the last cell.

    Negative binomial with r = shape and p = exposure / (exposure + days).
    """
    units = np.arange(max(size - 1, 0), dtype=np.float64)
    odds = days / (rate.exposure + days)
    steps = np.log((rate.shape + units[:-1]) / (units[:-1] + 1) * odds) if len(units) > 1 else np.empty(0)
    first = rate.shape * np.log(rate.exposure / (rate.exposure + days))
    logarithms: NDArray[np.float64] = first + np.concatenate([[0.0], np.cumsum(steps)])
    return pmf.from_logarithms(logarithms[: len(units)])
