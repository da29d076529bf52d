"""Demand by item: hand sums, SciPy's Poisson-binomial, and a slow twin that counts every outcome."""

import datetime as dt
import itertools
from collections import defaultdict

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kits.demand import BookedCase, Other, build, in_reach, other_use
from kits.expected_cases import Coming, ItemRate
from stock.planning import pmf
from stock.planning.history import Rate
from stock.planning.outflow import project

START = dt.date(2026, 5, 12)
SHEET, SUTURE = 1, 2


def case(number, *, day=0, starts=540, minutes=60, use=None, requirement=None):
    return BookedCase(
        code=f"C-{number:05d}",
        kind=("SKG",),
        on=START + dt.timedelta(days=day),
        day=day,
        starts=starts,
        ends=starts + minutes,
        use={SHEET: np.array([0.7, 0.3])} if use is None else use,
        requirement={SHEET: 1} if requirement is None else requirement,
    )


def reserve(chance, units=1):
    return {SHEET: pmf.mixture([1 - chance, chance], [pmf.point(0), pmf.point(units)])}


def test_two_cases_of_a_day_worked_by_hand():
    """One certain sheet, and two sheets with chance 0.3: 1 sheet in 7 of 10, 3 sheets in 3 of 10."""
    cases = [case(1, use={SHEET: pmf.point(1)}), case(2, starts=660, use=reserve(0.3, 2))]
    found = build(days=3, cases=cases)[SHEET]
    assert found.use[0] == pytest.approx([0, 0.7, 0, 0.3])
    assert found.use[1] == pytest.approx([1, 0, 0, 0])
    assert found.booked == pytest.approx([1.6, 0, 0])
    assert [(need.code, need.expected_use) for need in found.cases] == [
        ("C-00001", 1.0),
        ("C-00002", pytest.approx(0.6)),
    ]


def test_expiry_between_two_cases_worked_by_hand():
    """Two sheets, one out of date after day 0; a reserve (0.3) on day 0, one certain on day 2.

    If the reserve is not used (0.7) one sheet expires; either way one is left for day 2: never short.
    With only the short-dated sheet, day 2 is short for certain.
    """
    demand = build(days=3, cases=[case(1), case(2, day=2, use={SHEET: pmf.point(1)})])[SHEET]
    safe = project(use=demand.use, lots=[(1, 0), (1, 30)], must_have=demand.together)
    assert safe.short == pytest.approx([0, 0, 0])
    assert safe.short_in_reach == pytest.approx([0, 0, 0])
    assert safe.expired == pytest.approx([0.7, 0])
    alone = project(use=demand.use, lots=[(1, 0)], must_have=demand.together)
    assert alone.short == pytest.approx([0, 0, 1])
    assert alone.short_in_reach == pytest.approx([0, 0, 1])


def test_one_reserve_a_case_is_poisson_binomial():
    """Against scipy.stats.poisson_binom (SciPy 1.17)."""
    chances = [0.3, 0.3, 0.15, 0.6, 0.45]
    cases = [case(n, starts=480 + 60 * n, use=reserve(p)) for n, p in enumerate(chances)]
    found = build(days=1, cases=cases)[SHEET]
    assert found.use[0] == pytest.approx(stats.poisson_binom.pmf(np.arange(6), chances), abs=1e-12)
    spread = [case(n, day=n, use=reserve(p)) for n, p in enumerate(chances)]
    total = pmf.convolve_all(build(days=5, cases=spread)[SHEET].use)
    assert total[:6] == pytest.approx(stats.poisson_binom.pmf(np.arange(6), chances), abs=1e-12)


@given(
    st.lists(
        st.tuples(
            st.integers(0, 2),
            st.lists(st.floats(0.05, 1), min_size=1, max_size=3),
            st.sampled_from([SHEET, SUTURE]),
        ),
        max_size=5,
    )
)
def test_agrees_with_a_slow_twin_that_counts_every_outcome(drawn):
    cases = []
    for number, (day, weights, item) in enumerate(drawn):
        cases.append(case(number, day=day, use={item: np.array(weights) / sum(weights)}, requirement={}))
    found = build(days=3, cases=cases, items=[SHEET, SUTURE])
    for item, day in itertools.product([SHEET, SUTURE], range(3)):
        mine = [each.use[item] for each in cases if item in each.use and each.day == day]
        slow = defaultdict(float)
        for outcome in itertools.product(*(range(len(each)) for each in mine)):
            slow[sum(outcome)] += np.prod([each[units] for each, units in zip(mine, outcome, strict=True)])
        row = found[item].use[day]
        assert row == pytest.approx([slow.get(units, 0.0) for units in range(len(row))], abs=1e-12)
        assert row.sum() == pytest.approx(1, abs=1e-9)


def test_reserve_is_shared_by_cases_that_follow_and_not_by_cases_that_overlap():
    follow = build(days=1, cases=[case(1, starts=540), case(2, starts=600)])[SHEET]
    overlap = build(days=1, cases=[case(1, starts=540), case(2, starts=570)])[SHEET]
    assert (follow.together.tolist(), overlap.together.tolist()) == ([1], [2])


def test_cases_after_the_plan_and_past_cases_are_left_out():
    found = build(days=2, cases=[case(1, day=2), case(2, day=-1)], items=[SUTURE])
    assert list(found) == [SUTURE]
    assert found[SUTURE].use.tolist() == [[1.0], [1.0]]


def coming(by_use, by_requirement, not_booked=(1.0, 1.0, 1.0), is_open=(True, True, False)):
    """One kind of case not booked yet."""
    rate = ItemRate(np.array([by_use]), np.array([by_requirement]))
    shares = np.array(not_booked, dtype=float)[:, None]
    return Coming(rates={SHEET: rate}, not_booked=shares, is_open=np.array(is_open), rooms=1)


def test_sources_stay_apart_and_add_up():
    belief = Rate(shape=2.0, exposure=40.0)
    found = build(
        days=3,
        cases=[case(1)],
        coming=coming([0.5, 0.2], [0, 0.7]),
        other=Other(rates={SHEET: belief}, is_open=[True, False, True]),
    )[SHEET]
    assert found.booked == pytest.approx([0.3, 0, 0])
    assert found.not_booked == pytest.approx([0.2, 0.2, 0])
    assert found.other == pytest.approx([0.05, 0, 0.05])
    means = found.use @ np.arange(found.use.shape[1])
    assert means == pytest.approx(found.expected, abs=1e-8)
    slow = pmf.convolve_all([pmf.point(0), [0.7, 0.3], pmf.poisson(0.2, 30), other_use(belief)])
    cells = min(len(slow), found.use.shape[1])
    assert found.use[0][:cells] == pytest.approx(slow[:cells], abs=1e-9)


def test_other_use_is_negative_binomial():
    """Gamma-Poisson predictive, against scipy.stats.nbinom with r = shape, p = exposure / (exposure + 1)."""
    row = other_use(Rate(shape=2.0, exposure=40.0))
    assert row[:-1] == pytest.approx(stats.nbinom.pmf(np.arange(len(row) - 1), 2.0, 40 / 41), abs=1e-12)
    assert row[-1] < 1e-8


def test_slow_item_that_any_case_may_need_never_falls_to_nothing():
    """Half a case a day not booked yet, one in ten of them needs a sheet in reach."""
    ahead = coming([0.5], [0.45, 0.05])
    found = build(days=3, cases=[], coming=ahead)[SHEET]
    assert in_reach(found, service=0.995, coming=None).tolist() == [0, 0, 0]
    assert in_reach(found, service=0.995, coming=ahead).tolist() == [1, 1, 0]


def test_cases_booked_early_enough_to_order_for_need_no_reserve_beforehand():
    """Nothing is booked later than two days ahead; goods take two days, so each case can be ordered for."""
    ahead = coming([0.5], [0.45, 0.05], not_booked=(0, 0, 1), is_open=(True, True, True))
    found = build(days=3, cases=[], coming=ahead)[SHEET]
    assert in_reach(found, service=0.995, coming=ahead).tolist() == [0, 0, 1]
    assert in_reach(found, service=0.995, coming=ahead, notice=1).tolist() == [0, 0, 0]


def test_no_more_cases_at_a_time_than_rooms():
    """A booked case takes the only room, so a second one cannot need its reserve at the same time."""
    ahead = coming([0.5], [0.0, 0.5])
    found = build(days=3, cases=[case(1)], coming=ahead)[SHEET]
    assert in_reach(found, service=0.6, coming=ahead).tolist() == [1, 0, 0]
    assert in_reach(found, service=0.9, coming=ahead).tolist() == [1, 1, 0]


def test_clinic_keeps_at_least_what_it_decided():
    found = build(days=3, cases=[case(1, day=1)])[SHEET]
    assert in_reach(found, service=0.995, coming=None, at_least=0).tolist() == [0, 1, 0]
    assert in_reach(found, service=0.995, coming=None, at_least=2).tolist() == [2, 2, 2]
