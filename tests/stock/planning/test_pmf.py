"""Distribution arithmetic against SciPy and its own laws."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from stock.planning import pmf


@st.composite
def distributions(draw):
    weights = np.array(draw(st.lists(st.integers(0, 9), min_size=1, max_size=8)), dtype=float)
    weights[draw(st.integers(0, len(weights) - 1))] += 1
    return weights / weights.sum()


@given(distributions(), distributions())
def test_sums_add_means_and_variances(one, other):
    total = pmf.convolve(one, other)
    assert total.sum() == pytest.approx(1, abs=1e-12)
    assert pmf.mean(total) == pytest.approx(pmf.mean(one) + pmf.mean(other))
    assert pmf.variance(total) == pytest.approx(pmf.variance(one) + pmf.variance(other))


@given(distributions(), st.integers(0, 5))
def test_a_shift_moves_every_quantile(one, units):
    moved = pmf.shift(one, units)
    for chance in (0.05, 0.5, 0.95):
        assert pmf.quantile(moved, chance) == pmf.quantile(one, chance) + units


@given(distributions(), st.floats(0, 1))
def test_thinning_keeps_the_share_of_the_mean(one, keep):
    assert pmf.mean(pmf.thin(one, keep)) == pytest.approx(keep * pmf.mean(one))


@given(distributions(), st.integers(1, 10))
def test_capping_drops_no_chance(one, size):
    capped = pmf.cap(one, size)
    assert len(capped) == size
    assert capped.sum() == pytest.approx(1, abs=1e-12)
    assert capped[-1] == pytest.approx(one[size - 1 :].sum())


@given(distributions(), st.floats(0.001, 0.999))
def test_quantiles_are_those_of_scipy(one, chance):
    # A chance that ties with the cumulative sum to the last digit may fall either way in SciPy.
    if np.abs(np.cumsum(one) - chance).min() > 1e-9:
        assert pmf.quantile(one, chance) == stats.rv_discrete(values=(np.arange(len(one)), one)).ppf(chance)


def test_quantiles_at_a_tie_are_not_moved_by_rounding():
    assert pmf.quantile(np.array([0.1] * 10), 0.3) == 2
    assert pmf.quantile(np.array([0.5, 0.5]), 0.5) == 0
    assert pmf.quantile(np.array([0.5, 0.5]), 1.0) == 1


def test_a_mixture_weighs_its_parts():
    mixed = pmf.mixture([0.25, 0.75], [pmf.point(0), pmf.point(2)])
    np.testing.assert_allclose(mixed, [0.25, 0, 0.75])


@pytest.mark.parametrize("rate", [0, 0.01, 1, 7.5, 300])
def test_poisson_is_that_of_scipy(rate):
    size = int(rate + 10 * np.sqrt(rate)) + 10
    np.testing.assert_allclose(
        pmf.poisson(rate, size)[:-1], stats.poisson.pmf(np.arange(size - 1), rate), atol=1e-13
    )


def test_a_compound_poisson_thinned_to_one_unit_is_poisson():
    """Cases at rate 2, each using one unit in half of them: Poisson of mean 1 (thinning, any textbook)."""
    found = pmf.compound_poisson(2.0, np.array([0.5, 0.5]), 14)
    np.testing.assert_allclose(found[:-1], stats.poisson.pmf(np.arange(13), 1.0), atol=1e-14)


@pytest.mark.parametrize("rate", [0.3, 4.0, 700.0])
def test_a_compound_poisson_equals_the_transform_formula(rate):
    """exp(rate * (transform of a case - 1)), by FFT on a long array."""
    each = np.array([0.4, 0.3, 0.1, 0.2])
    size = int(rate * 1.1 + 12 * np.sqrt(rate * 3)) + 20
    long = 1 << (2 * size - 1).bit_length()
    expected = np.fft.irfft(np.exp(rate * (np.fft.rfft(each, long) - 1)), long)
    np.testing.assert_allclose(pmf.compound_poisson(rate, each, size)[:-1], expected[: size - 1], atol=1e-12)


@pytest.mark.parametrize(
    ("act", "error"),
    [
        (lambda: pmf.checked([0.5, 0.4]), pmf.NotADistribution),
        (lambda: pmf.checked([[1.0]]), pmf.NotADistribution),
        (lambda: pmf.checked([]), pmf.NotADistribution),
        (lambda: pmf.checked([1.5, -0.5]), pmf.NotADistribution),
        (lambda: pmf.checked([np.nan, 1.0]), pmf.NotADistribution),
        (lambda: pmf.point(-1), pmf.NotADistribution),
        (lambda: pmf.shift(pmf.point(1), -1), pmf.NotADistribution),
        (lambda: pmf.cap(pmf.point(1), 0), pmf.NotADistribution),
        (lambda: pmf.thin(pmf.point(1), 1.1), pmf.WrongChance),
        (lambda: pmf.mixture([0.5], [pmf.point(1), pmf.point(2)]), pmf.WrongChance),
        (lambda: pmf.mixture([0.5, 0.6], [pmf.point(1), pmf.point(2)]), pmf.WrongChance),
        (lambda: pmf.quantile(pmf.point(1), 2), pmf.WrongChance),
        (lambda: pmf.poisson(-1, 5), pmf.WrongChance),
        (lambda: pmf.compound_poisson(-1, pmf.point(1), 5), pmf.WrongChance),
    ],
)
def test_what_is_no_distribution_is_refused(act, error):
    with pytest.raises(error):
        act()


def test_rounding_within_the_tolerance_is_scaled_away():
    assert pmf.checked([0.5, 0.5 + 5e-10]).sum() == pytest.approx(1, abs=1e-15)
