"""Cases not booked yet: rates, booking curve and use, against SciPy, Panjer's recursion and hand sums."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kits.expected_cases import (
    PRIOR_LEADS,
    PRIOR_OPEN_DAYS,
    KnownCase,
    daily_use,
    item_rates,
    open_days_seen,
    rates,
    share_not_booked,
)
from stock.planning import pmf

PLUG, SHEET = 1, 2


def test_share_not_booked_counts_cases_booked_less_than_that_many_days_ahead():
    leads = [2, 2, 5, 9]
    share = share_not_booked(leads, 12)
    known = [*leads, *PRIOR_LEADS]
    assert share[0] == 0
    assert share[2] == 0  # booked two days ahead is in the book two days ahead
    assert share[3] == pytest.approx(2 / 8)
    assert share == pytest.approx([sum(lead < day for lead in known) / 8 for day in range(12)])
    assert share_not_booked(leads, 60)[-1] == 1


def test_half_booked_days_count_half():
    not_booked = np.array([0.0, 0.5, 1.0, 1.0])
    seen = open_days_seen(past_open_days=100, coming_open=[True, True, True, False], not_booked=not_booked)
    assert seen == pytest.approx(101.5)


def test_rates_add_up_to_all_cases_and_lean_on_the_average_kind():
    counts = {"plain": 60, "rare": 2}
    found = rates(counts, open_days=100.0)
    assert sum(found.values()) == pytest.approx(62 / 100)
    # Gamma posterior mean, (n + a) / (days + b) with b = 10 open days and a = b times 0.31 a day.
    assert found["rare"] == pytest.approx((2 + PRIOR_OPEN_DAYS * 0.31) / 110)
    assert rates({}, open_days=100.0) == {}
    assert rates(counts, open_days=0.0) == {}


def test_one_unit_a_case_is_poisson():
    """Thinned Poisson arrivals are Poisson; checked against scipy.stats.poisson."""
    chances = daily_use(np.array([0.7, 0.3]), np.array([0.0, 0.5, 1.0]))
    for row, mean in zip(chances, [0.0, 0.15, 0.3], strict=True):
        assert row == pytest.approx(stats.poisson.pmf(np.arange(len(row)), mean), abs=1e-12)


def test_compound_use_equals_panjers_recursion():
    """H. H. Panjer, ASTIN Bulletin 12 (1981), as pmf.compound_poisson computes it."""
    by_use = np.array([0.4, 1.5, 0.0, 0.2, 0.0, 0.0, 0.0, 0.0, 0.6])
    chances = daily_use(by_use, np.array([0.3, 1.0]))
    each = np.concatenate([[0.0], by_use[1:] / by_use[1:].sum()])
    for row, share in zip(chances, [0.3, 1.0], strict=True):
        slow = pmf.compound_poisson(share * by_use[1:].sum(), each, len(row))
        assert row == pytest.approx(slow, abs=1e-12)


def test_no_work_expected_uses_nothing():
    assert daily_use(np.array([0.5]), np.array([1.0, 1.0])).tolist() == [[1.0], [1.0]]


def test_items_are_rated_by_the_kinds_that_need_them():
    graft = KnownCase("graft", use={PLUG: np.array([0.6, 0.4])}, requirement={PLUG: 1, SHEET: 2})
    plain = KnownCase("plain", use={PLUG: np.array([1.0])}, requirement={})
    found = item_rates([graft, graft, plain, plain], open_days=10.0)
    assert found[PLUG].units == pytest.approx(0.2 * 0.4)
    assert found[SHEET].units == 0
    assert found[SHEET].by_requirement == pytest.approx([0, 0, 0.2])


def test_cases_without_a_kept_list_do_not_thin_what_must_lie_ready():
    kept = KnownCase("graft", use={}, requirement={SHEET: 2})
    forgotten = KnownCase("graft", use={}, requirement=None)
    found = item_rates([kept, forgotten, forgotten, forgotten], open_days=10.0)
    assert found[SHEET].by_requirement == pytest.approx([0, 0, 0.4])


@given(
    by_use=st.lists(st.floats(0, 3), min_size=1, max_size=6),
    expected=st.lists(st.floats(0, 1), min_size=1, max_size=5),
)
def test_daily_use_is_a_distribution_with_the_right_mean_and_variance(by_use, expected):
    rate, share = np.array(by_use), np.array(expected)
    chances = daily_use(rate, share)
    units, sizes = np.arange(chances.shape[1]), np.arange(len(rate))
    assert chances.sum(axis=1) == pytest.approx(np.ones(len(share)), abs=1e-9)
    mean = chances @ units
    assert mean == pytest.approx(share * (rate @ sizes), abs=1e-8)
    # Campbell's theorem: the variance of a compound Poisson sum is the rate times the mean square.
    assert chances @ units**2 - mean**2 == pytest.approx(share * (rate @ sizes**2), abs=1e-6)
