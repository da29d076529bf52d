"""Arithmetic on distributions of whole units.

A distribution is a float array: cell u holds the chance of exactly u units.
The last cell of a capped array holds "this many or more"; mass is moved there,
never dropped. Every function checks that the chances add up to 1.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Distribution = NDArray[np.float64]

MASS_TOLERANCE = 1e-9
"""Largest allowed gap between a total probability and 1 (no unit): rounding, not loss. Our choice."""

TIE_TOLERANCE = 1e-12
"""Slack when a cumulative chance is compared with a quantile (no unit): rounding must not move a tie."""


class NotADistribution(ValueError):
    """The array given is not a distribution of whole units."""


class WrongChance(ValueError):
    """A chance lies outside 0 to 1, or a set of weights does not add up to 1."""


def checked(values: ArrayLike) -> Distribution:
    """Return `values` as a float array whose chances add up to 1.

    values: one-dimensional, cell u = chance of u units. A gap to 1 within
    `MASS_TOLERANCE` is rounding and is scaled away.
    Raises NotADistribution for a wrong shape, a negative or non-finite chance, or a wrong total.
    """
    array = np.array(values, dtype=np.float64)
    if array.ndim != 1 or array.size == 0:
        raise NotADistribution(f"A distribution is a row of chances; this has the shape {array.shape}.")
    if not np.all(np.isfinite(array)) or array.min() < 0:
        raise NotADistribution("A distribution holds a chance that is negative or not a number.")
    total = float(array.sum())
    if abs(total - 1) > MASS_TOLERANCE:
        raise NotADistribution(f"The chances of a distribution add up to {total!r}, not to 1.")
    return array / total


def point(units: int) -> Distribution:
    """Return the distribution that is `units` for certain."""
    if units < 0:
        raise NotADistribution(f"A distribution of units cannot sit at {units}, which is below nothing.")
    array = np.zeros(units + 1)
    array[units] = 1.0
    return array


def shift(distribution: Distribution, units: int) -> Distribution:
    """Return the distribution of the same amount plus `units` more, which are certain."""
    if units < 0:
        raise NotADistribution(f"Adding {units} certain units would take units away.")
    return np.concatenate([np.zeros(units), distribution])


def convolve(one: Distribution, other: Distribution) -> Distribution:
    """Return the distribution of the sum of two independent amounts."""
    return checked(np.convolve(one, other))


def convolve_all(distributions: Iterable[Distribution]) -> Distribution:
    """Return the distribution of the sum of independent amounts; of none, zero for certain."""
    total = point(0)
    for distribution in distributions:
        total = convolve(total, distribution)
    return total


def mixture(weights: Sequence[float], distributions: Sequence[Distribution]) -> Distribution:
    """Return the distribution of one amount drawn from `distributions` with chances `weights`.

    Raises WrongChance if the weights are not chances that add up to 1.
    """
    parts = np.asarray(weights, dtype=np.float64)
    if len(parts) != len(distributions) or len(parts) == 0:
        raise WrongChance(f"{len(parts)} weights were given for {len(distributions)} distributions.")
    if parts.min() < 0 or abs(parts.sum() - 1) > MASS_TOLERANCE:
        raise WrongChance(f"The weights {parts.tolist()} are not chances that add up to 1.")
    mixed = np.zeros(max(len(distribution) for distribution in distributions))
    for weight, distribution in zip(parts, distributions, strict=True):
        mixed[: len(distribution)] += weight * distribution
    return checked(mixed)


def thin(distribution: Distribution, keep: float) -> Distribution:
    """Return the amount when the whole event behind it takes place with chance `keep` only.

    This is how a cancellation chance acts on a booked case: either all of it happens or none.
    """
    if not 0 <= keep <= 1:
        raise WrongChance(f"{keep} is not a chance between 0 and 1.")
    return mixture([1 - keep, keep], [point(0), distribution])


def cap(distribution: Distribution, size: int) -> Distribution:
    """Return exactly `size` cells; the last one collects the chance of all larger amounts."""
    if size < 1:
        raise NotADistribution(f"A distribution cannot be cut to {size} cells.")
    if len(distribution) <= size:
        return np.concatenate([distribution, np.zeros(size - len(distribution))])
    capped = distribution[:size].copy()
    capped[-1] += distribution[size:].sum()
    return checked(capped)


def trim(distribution: Distribution) -> Distribution:
    """Return the distribution without the impossible amounts (chance 0) at its upper end."""
    return distribution[: int(np.flatnonzero(distribution)[-1]) + 1]


def mean(distribution: Distribution) -> float:
    """Return the expected units."""
    return float(distribution @ np.arange(len(distribution)))


def variance(distribution: Distribution) -> float:
    """Return the variance in units squared."""
    units = np.arange(len(distribution)) - mean(distribution)
    return float(distribution @ units**2)


def quantile(distribution: Distribution, chance: float) -> int:
    """Return the least u with P(amount <= u) >= chance, as `scipy.stats` defines its ppf."""
    if not 0 <= chance <= 1:
        raise WrongChance(f"{chance} is not a chance between 0 and 1.")
    reached = np.cumsum(distribution) >= chance - TIE_TOLERANCE
    return int(np.argmax(reached)) if reached.any() else len(distribution) - 1


def poisson(rate: float, size: int) -> Distribution:
    """Return the Poisson distribution of mean `rate` in `size` cells, the rest in the last cell."""
    if rate < 0 or not np.isfinite(rate):
        raise WrongChance(f"A rate of {rate} events is not possible.")
    return from_logarithms(_log_poisson(rate, size))


def _log_poisson(rate: float, size: int) -> NDArray[np.float64]:
    """Return log P(N = n) for n below size - 1."""
    counts = np.arange(size - 1)
    log_factorial = np.concatenate([[0.0], np.cumsum(np.log(np.arange(1, max(size - 1, 1))))])[: size - 1]
    if rate == 0:
        return np.where(counts == 0, 0.0, -np.inf)
    logarithms: NDArray[np.float64] = counts * np.log(rate) - rate - log_factorial
    return logarithms


def from_logarithms(logarithms: NDArray[np.float64]) -> Distribution:
    """Return a capped distribution from the logarithms of all chances but the last cell's."""
    body = np.exp(logarithms)
    return checked(np.concatenate([body, [max(0.0, 1.0 - float(body.sum()))]]))


def compound_poisson(rate: float, each: Distribution, size: int) -> Distribution:
    """Return the units used by a Poisson number of cases, each using `each`, in `size` cells.

    Panjer's recursion, p[n] = rate / n * sum over j of j * each[j] * p[n - j] (H. H. Panjer, 1981,
    ASTIN Bulletin 12), which gives the same numbers as exp(rate * (transform of each - 1)).
    Exact for all cells but the last, which holds the rest. Rates are cut in halves while
    exp(-rate) would be too small for a float.
    """
    if rate < 0 or not np.isfinite(rate):
        raise WrongChance(f"A rate of {rate} cases is not possible.")
    if rate > 600:
        half = compound_poisson(rate / 2, each, size)
        return cap(convolve(half, half), size)
    weights = rate * np.arange(len(each)) * each
    chances = np.zeros(size)
    chances[0] = np.exp(-rate * (1 - each[0]))
    for units in range(1, size - 1):
        reach = min(units, len(each) - 1)
        chances[units] = weights[1 : reach + 1] @ chances[units - reach : units][::-1] / units
    chances[-1] = max(0.0, 1.0 - float(chances[:-1].sum())) if size > 1 else 1.0
    return checked(chances)
