"""Unexplained use against SciPy's negative binomial and hand sums."""

import numpy as np
import pytest
from scipy import stats

from stock.planning.history import Rate, WrongHistory, learn, predictive, start


def test_counts_add_up_without_forgetting():
    """Gamma(a, b) after counts summing to s over n days is Gamma(a + s, b + n), any Bayesian textbook."""
    assert learn([0, 2, 1], prior=start(0.5, 4), forgetting=1.0) == Rate(shape=5.0, exposure=7.0)


def test_older_days_fade():
    rate = learn([4, 0, 1], prior=start(0.5, 4), forgetting=0.5)
    assert rate == Rate(shape=2 + 4 * 0.25 + 0 + 1, exposure=4 + 0.25 + 0.5 + 1)


def test_an_item_unused_for_years_falls_back_towards_nothing_but_keeps_its_prior():
    rate = learn(np.zeros(2000), prior=start(0.5, 20))
    assert rate.shape == 10
    assert 0 < rate.mean < 0.05


@pytest.mark.parametrize(
    ("shape", "exposure", "days"), [(0.4, 3, 1), (12, 8.5, 1), (12, 8.5, 30), (900, 2, 1)]
)
def test_the_predictive_is_the_negative_binomial_of_scipy(shape, exposure, days):
    expected = stats.nbinom(shape, exposure / (exposure + days))
    size = int(expected.ppf(1 - 1e-9)) + 5
    found = predictive(Rate(shape=shape, exposure=exposure), days=days, size=size)
    np.testing.assert_allclose(found[:-1], expected.pmf(np.arange(size - 1)), atol=1e-11)
    assert found.sum() == pytest.approx(1, abs=1e-12)


def test_what_passes_the_last_cell_stays_in_it():
    found = predictive(Rate(shape=4, exposure=2), size=3)
    assert found[2] == pytest.approx(stats.nbinom(4, 2 / 3).sf(1))
    assert predictive(Rate(shape=4, exposure=2), size=1).tolist() == [1.0]


@pytest.mark.parametrize(
    "act",
    [
        lambda: start(0),
        lambda: learn([-1], prior=start(1)),
        lambda: learn([[1]], prior=start(1)),
        lambda: learn([1], prior=start(1), forgetting=0),
    ],
)
def test_a_past_that_cannot_be_is_refused(act):
    with pytest.raises(WrongHistory):
        act()
