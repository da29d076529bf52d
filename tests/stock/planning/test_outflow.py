"""The projection against a slow twin, worked cases, published sums and a seeded simulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stock.planning.outflow import (
    Demand,
    Projection,
    WrongDemand,
    covered_until,
    ever_short,
    order_by,
    project,
    project_many,
)
from stock.planning.pmf import NotADistribution
from stock.planning.supply import WrongSupply
from tests.stock.planning.slow_shelf import enumerate_paths

FIELDS = ("short", "short_in_reach", "mean_on_hand", "on_hand", "expired")


def certain(*units):
    """Use that is known for each day."""
    array = np.zeros((len(units), max(units) + 1))
    array[np.arange(len(units)), units] = 1
    return array


def poisson_use(rates, size):
    """Daily Poisson use from SciPy, the rest in the last cell."""
    use = stats.poisson.pmf(np.arange(size), np.asarray(rates)[:, None])
    use[:, -1] += 1 - use.sum(axis=1)
    return use


def last_days(low, high):
    return st.one_of(st.none(), st.integers(low, high))


@st.composite
def shelves(draw, most_days=5):
    days = draw(st.integers(1, most_days))
    width = draw(st.integers(1, 3))
    rows = [draw(st.lists(st.integers(0, 4), min_size=width, max_size=width)) for _ in range(days)]
    use = np.array([np.array(row) + (1e-3 if sum(row) == 0 else 0) for row in rows], dtype=float)
    use /= use.sum(axis=1, keepdims=True)
    lots = draw(st.lists(st.tuples(st.integers(0, 3), last_days(-1, days)), max_size=3))
    receipts = draw(
        st.lists(st.tuples(st.integers(0, days), st.integers(0, 3), last_days(-1, days + 1)), max_size=3)
    )
    must_have = draw(
        st.one_of(st.none(), st.lists(st.integers(0, 4), min_size=days, max_size=days).map(np.array))
    )
    return {"use": use, "lots": lots, "receipts": receipts, "must_have": must_have}


def agree(shelf):
    """Compare everything the sums give with the slow twin."""
    fast, slow = project(**shelf), enumerate_paths(**shelf)
    np.testing.assert_allclose(fast.short, slow["short"], atol=1e-12)
    np.testing.assert_allclose(fast.short_in_reach, slow["reach"], atol=1e-12)
    np.testing.assert_allclose(fast.mean_on_hand, slow["mean"], atol=1e-11)
    np.testing.assert_array_equal(fast.on_hand, slow["on_hand"])
    np.testing.assert_allclose(fast.expired, slow["expired"], atol=1e-11)
    np.testing.assert_allclose(ever_short([Demand(**shelf)])[0], slow["ever"], atol=1e-12)
    return fast, slow


@settings(max_examples=250, deadline=None)
@given(shelves())
def test_agrees_with_the_slow_twin(shelf):
    fast, slow = agree(shelf)
    supplied = sum(units for units, _ in shelf["lots"])
    supplied += sum(units for day, units, _ in shelf["receipts"] if day < len(shelf["use"]))
    assert supplied == pytest.approx(slow["used"] + fast.expired.sum() + fast.mean_on_hand[-1], abs=1e-9)


CROSSINGS = {
    "short-dated units come while longer-dated ones lie": ([(4, 9)], [(2, 3, 4)]),
    "the longer-dated ones are long gone": ([(1, None)], [(3, 2, 4)]),
    "twice for the same day": ([(3, None)], [(1, 1, 4), (3, 2, 4)]),
    "two overlapping": ([(3, None)], [(1, 2, 5), (2, 2, 4)]),
    "one inside another": ([(2, None), (1, 2)], [(1, 2, 5), (2, 2, 3), (4, 1, 5)]),
    "with use still owed": ([(1, None)], [(3, 1, None), (4, 3, 5)]),
}


@pytest.mark.parametrize("name", CROSSINGS)
def test_short_dated_units_that_arrive_late_are_exact(name):
    lots, receipts = CROSSINGS[name]
    use = np.tile([0.5, 0.3, 0.2], (7, 1))
    agree({"use": use, "lots": lots, "receipts": receipts, "must_have": np.ones(7, dtype=int)})


@settings(max_examples=60, deadline=None)
@given(st.lists(shelves(most_days=3), min_size=1, max_size=6))
def test_many_items_at_once_give_the_same_numbers(shelves_given):
    days = min(len(shelf["use"]) for shelf in shelves_given)
    for shelf in shelves_given:
        shelf["use"] = shelf["use"][:days]
        shelf["must_have"] = None if shelf["must_have"] is None else shelf["must_have"][:days]
    together = project_many([Demand(**shelf) for shelf in shelves_given])
    for shelf, projection in zip(shelves_given, together, strict=True):
        alone = project(**shelf)
        for field in FIELDS:
            np.testing.assert_allclose(getattr(projection, field), getattr(alone, field), atol=1e-12)


def test_a_worked_case_by_hand():
    """5 units, 2 of them usable through day 1; one unit used on days 0 and 3; 4 arrive on day 4.

    Day 2 opens with one short-dated unit unused: it expires. Left 3, then 2, then 6.
    """
    projection = project(use=certain(1, 0, 0, 1, 0), lots=[(2, 1), (3, 9)], receipts=[(4, 4, None)])
    assert projection.on_hand[:, 1].tolist() == [4, 4, 3, 2, 6]
    assert projection.expired.tolist() == [1, 0, 0]


def test_owed_use_is_served_before_anything_else():
    """3 wanted on day 0 with 1 on the shelf: 2 are owed, and the 5 that come on day 2 leave 3."""
    projection = project(use=certain(3, 0, 0), lots=[(1, None)], receipts=[(2, 5, None)], must_have=[0, 0, 4])
    assert projection.short.tolist() == [1, 1, 0]
    assert projection.mean_on_hand.tolist() == [0, 0, 3]
    assert projection.short_in_reach.tolist() == [0, 0, 1]


@pytest.mark.parametrize(
    ("lots", "receipts", "expired", "end"),
    [
        ([(2, 0)], [], [2], [2, 0, 0]),
        ([(2, -1)], [], [2], [0, 0, 0]),
        ([(2, 2)], [], [0], [2, 2, 2]),
        ([], [(1, 2, 1)], [2], [0, 2, 0]),
        ([], [(1, 2, 0)], [2], [0, 0, 0]),
        ([], [(3, 2, 1)], [0], [0, 0, 0]),
        ([(1, 0), (1, 0)], [], [1, 1], [2, 0, 0]),
    ],
)
def test_the_last_usable_day_is_usable(lots, receipts, expired, end):
    projection = project(use=certain(0, 0, 0), lots=lots, receipts=receipts)
    assert projection.expired.tolist() == expired
    assert projection.mean_on_hand.tolist() == end


def test_short_equals_the_poisson_tail_of_the_textbooks():
    """No expiry, no receipt: P(short by day t) = P(Poisson(rate * t) > stock); scipy.stats.poisson.sf."""
    projection = project(use=poisson_use(np.full(60, 0.35), 25), lots=[(14, None)])
    expected = stats.poisson.sf(14, 0.35 * np.arange(1, 61))
    np.testing.assert_allclose(projection.short, expected, atol=1e-12)


def test_wide_use_gives_the_binomial_tail():
    """40 patients a day, each using one unit in half the cases: binomial use; scipy.stats.binom.sf."""
    use = stats.binom.pmf(np.arange(41), 40, 0.5)[None, :].repeat(12, axis=0)
    together = project_many([Demand(use=use, lots=[(stock, None)]) for stock in (180, 200, 230)])
    for stock, projection in zip((180, 200, 230), together, strict=True):
        expected = stats.binom.sf(stock, 40 * np.arange(1, 13), 0.5)
        np.testing.assert_allclose(projection.short, expected, atol=1e-12)


def test_on_hand_quantiles_equal_those_of_scipy():
    """On hand <= x as U >= stock - x, so the q quantile is stock minus the upper one of use."""
    projection = project(use=poisson_use(np.full(30, 0.4), 25), lots=[(40, None)], quantiles=(0.1, 0.5))
    use = stats.poisson(0.4 * np.arange(1, 31)[:, None])
    units = np.arange(41)
    for column, level in enumerate((0.1, 0.5)):
        at_most = use.sf(40 - units - 1)
        np.testing.assert_array_equal(projection.on_hand[:, column], np.argmax(at_most >= level, axis=1))


def test_a_seeded_simulation_is_within_four_standard_errors():
    random = np.random.default_rng(20260301)
    days, paths = 60, 40_000
    use = poisson_use(random.uniform(0, 0.9, days), 9)
    lots, receipts = [(6, 11), (9, 30), (8, None)], [(25, 6, 41), (44, 10, None)]
    projection = project(use=use, lots=lots, receipts=receipts)
    drawn = np.array([random.choice(9, size=paths, p=row / row.sum()) for row in use])
    left = np.zeros((paths, 5), dtype=int)
    left[:, :3] = 6, 9, 8
    order, gone = [0, 1, 3, 2, 4], np.zeros((paths, 5))
    owed, short = np.zeros(paths, dtype=int), np.zeros(days)
    for day in range(days):
        for batch, last in ((0, 11), (1, 30), (3, 41)):
            if day == last + 1:
                gone[:, batch], left[:, batch] = left[:, batch], 0
        left[:, 3] += 6 * (day == 25)
        left[:, 4] += 10 * (day == 44)
        owed += drawn[day]
        for batch in order:
            taken = np.minimum(owed, left[:, batch])
            owed, left[:, batch] = owed - taken, left[:, batch] - taken
        short[day] = (owed > 0).mean()
    error = np.sqrt(np.maximum(projection.short * (1 - projection.short), 1e-4) / paths)
    assert (np.abs(short - projection.short) <= 4 * error).all()
    spread = gone.std(axis=0) / np.sqrt(paths)
    assert (np.abs(gone.mean(axis=0) - projection.expired) <= 4 * spread + 1e-12).all()
    assert projection.expired[0] > 0.1
    assert projection.short.max() > 0.01


def test_late_short_dated_receipts_before_a_hundred_longer_dated_units_stay_exact():
    """60 units lie from day 20 to 50 and are used first, 30 more until day 70: two Poisson losses.

    Expected units left of n after use D is E[(n - D)+] = n - E[D] + the Poisson loss, here summed by SciPy.
    """
    use = poisson_use(np.full(120, 1.1), 14)
    projection = project(use=use, lots=[(120, None)], receipts=[(20, 60, 50), (40, 30, 70)])
    first = sum((60 - u) * stats.poisson.pmf(u, 1.1 * 31) for u in range(60))
    second = sum((30 - u) * stats.poisson.pmf(u, 1.1 * 20) for u in range(30))
    assert projection.expired[1] == pytest.approx(first, abs=1e-6)
    assert projection.expired[2] == pytest.approx(
        second, abs=1e-3
    )  # the first receipt ran out once in 10,000
    left = projection.mean_on_hand[-1] + projection.expired.sum()
    assert 210 - left == pytest.approx(1.1 * 120, abs=1e-4)


@settings(max_examples=60, deadline=None)
@given(shelves(), st.integers(1, 3))
def test_one_more_lasting_unit_never_makes_a_shortage_likelier(shelf, more):
    richer = {**shelf, "lots": [*shelf["lots"], (more, None)]}
    assert (project(**richer).short <= project(**shelf).short + 1e-12).all()
    assert (project(**richer).short_in_reach <= project(**shelf).short_in_reach + 1e-12).all()


def showing(short, reach):
    empty = np.zeros(len(short))
    return Projection(
        short=np.array(short),
        short_in_reach=np.array(reach),
        mean_on_hand=empty,
        on_hand=empty,
        expired=empty,
    )


@pytest.mark.parametrize(
    ("short", "reach", "allowed", "last"),
    [
        ([0, 0, 0.01], [0, 0, 0], 0.005, 1),
        ([0, 0, 0.01], [0, 0.02, 0], 0.005, 0),
        ([0.1, 0, 0], [0, 0, 0], 0.05, -1),
        ([0, 0.05, 0.05], [0, 0, 0], 0.05, 2),
        ([0, 0.1, 0], [0, 0, 0], 0.05, 0),
    ],
)
def test_covered_until_is_the_last_day_before_the_first_too_risky_one(short, reach, allowed, last):
    assert covered_until(showing(short, reach), allowed) == last


def test_order_by_brings_goods_in_for_the_first_day_not_covered():
    """Covered through day 9, lead 3 days: sent on day 7, received at the start of day 10."""
    assert order_by(9, 3) == 7
    assert order_by(1, 5) == -3


@pytest.mark.parametrize(
    ("changed", "error", "says"),
    [
        ({"use": [0.5, 0.5]}, WrongDemand, "days by units"),
        ({"use": [[0.5, 0.4]]}, NotADistribution, "day 0"),
        ({"use": [[1.5, -0.5]]}, NotADistribution, "negative"),
        ({"use": [[np.nan, 1]]}, NotADistribution, "not a number"),
        ({"must_have": [1, 2]}, WrongDemand, "each of the 1 days"),
        ({"must_have": [0.5]}, WrongDemand, "whole number"),
        ({"lots": [(-1, 3)]}, WrongSupply, "whole number"),
        ({"lots": [(1, 2.5)]}, WrongSupply, "last usable day"),
        ({"receipts": [(-1, 3, None)]}, WrongSupply, "cannot arrive"),
    ],
)
def test_input_that_cannot_be_is_refused_in_words(changed, error, says):
    with pytest.raises(error, match=says):
        project(**{"use": [[0.5, 0.5]], "lots": [(1, 0)], **changed})


def test_items_over_different_days_are_not_mixed():
    with pytest.raises(WrongDemand, match="same days"):
        project_many([Demand(use=certain(0), lots=[]), Demand(use=certain(0, 0), lots=[])])
