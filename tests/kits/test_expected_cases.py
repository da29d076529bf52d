"""Cases not booked yet: rates, booking curve and use, against SciPy, Panjer's recursion and hand sums."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kits.expected_cases import (
    PRIOR_CASES,
    PRIOR_LEADS,
    PRIOR_OPEN_DAYS,
    KnownCase,
    daily_use,
    expect,
    item_rates,
    rates,
    shares_not_booked,
)
from stock.planning import pmf

PLUG, SHEET = 1, 2


def one_kind(by_use):
    return np.array([by_use])


def shares(*values):
    return np.array(values, dtype=float)[:, None]


def test_share_not_booked_counts_cases_booked_less_than_that_many_days_ahead():
    leads = [2, 2, 5, 9]
    found = shares_not_booked([leads], 60)[:, 0]
    assert found[0] == 0
    assert found[2] == 0  # booked two days ahead is in the book two days ahead
    known = [*leads, *PRIOR_LEADS]
    for day in (3, 6, 10, 30):
        own = sum(lead < day for lead in leads)
        whole = sum(lead < day for lead in known) / 8
        assert found[day] == pytest.approx((own + PRIOR_CASES * whole) / (4 + PRIOR_CASES))
    assert found[-1] == 1


def test_kind_without_a_record_leans_on_all_kinds():
    found = shares_not_booked([[40] * 96, []], 60)
    whole = np.array([sum(lead < day for lead in PRIOR_LEADS) for day in range(60)]) / 100
    whole[41:] = (96 + 4) / 100
    assert found[:, 1] == pytest.approx(whole)
    assert found[30, 0] < found[30, 1] + 1e-12
    assert shares_not_booked([], 5).shape == (5, 0)


def test_half_booked_days_count_half_in_the_rate():
    """One case of 20 booked in the coming week: the days ahead count as far as they are in the book."""
    cases = [KnownCase("graft", {SHEET: pmf.point(1)}, None, lead=lead) for lead in [1, 30] * 10]
    found = expect(cases, past_open_days=40, is_open=[True] * 10, rooms=2)
    share = shares_not_booked([[1, 30] * 10], 10)[:, 0]
    # One kind is its own average, so the posterior mean is cases over days seen.
    assert found.rates[SHEET].units == pytest.approx([20 / (40 + (1 - share).sum())])
    assert found.expected[:, 0] == pytest.approx(share)


def test_closed_days_expect_nobody_and_short_notice_stops_growing():
    cases = [KnownCase("graft", {}, None, lead=lead) for lead in range(1, 21)]
    found = expect(cases, past_open_days=40, is_open=[True] * 25 + [False] * 5, rooms=0)
    assert found.expected[25:].sum() == 0
    assert found.rooms == 1
    short = found.at_short_notice(6)
    assert short[:7].tolist() == found.expected[:7].tolist()
    assert set(short[6:25, 0]) == {found.not_booked[6, 0]}


def test_rates_lean_on_the_average_kind():
    counts = {"plain": 60, "rare": 2}
    found = rates(counts, {"plain": 100.0, "rare": 100.0})
    assert sum(found.values()) == pytest.approx(62 / 100)
    # Gamma posterior mean, (n + a) / (days + b) with b = 10 open days and a = b times 0.31 a day.
    assert found["rare"] == pytest.approx((2 + PRIOR_OPEN_DAYS * 0.31) / 110)
    assert rates({}, {}) == {}
    assert rates(counts, {"plain": 0.0, "rare": 0.0}) == {}


def test_one_unit_a_case_is_poisson():
    """Thinned Poisson arrivals are Poisson; checked against scipy.stats.poisson."""
    chances = daily_use(one_kind([0.7, 0.3]), shares(0.0, 0.5, 1.0))
    for row, mean in zip(chances, [0.0, 0.15, 0.3], strict=True):
        assert row == pytest.approx(stats.poisson.pmf(np.arange(len(row)), mean), abs=1e-12)


def test_kinds_add_up():
    """The sum of independent Poisson uses is Poisson; each kind goes by its own share."""
    chances = daily_use(np.array([[0.0, 0.4], [0.0, 0.6]]), np.array([[1.0, 0.5], [0.0, 1.0]]))
    for row, mean in zip(chances, [0.7, 0.6], strict=True):
        assert row == pytest.approx(stats.poisson.pmf(np.arange(len(row)), mean), abs=1e-12)


def test_compound_use_equals_panjers_recursion():
    """H. H. Panjer, ASTIN Bulletin 12 (1981), as pmf.compound_poisson computes it."""
    by_use = np.array([0.4, 1.5, 0.0, 0.2, 0.0, 0.0, 0.0, 0.0, 0.6])
    chances = daily_use(one_kind(by_use), shares(0.3, 1.0))
    each = np.concatenate([[0.0], by_use[1:] / by_use[1:].sum()])
    for row, share in zip(chances, [0.3, 1.0], strict=True):
        slow = pmf.compound_poisson(share * by_use[1:].sum(), each, len(row))
        assert row == pytest.approx(slow, abs=1e-12)


def test_no_work_expected_uses_nothing():
    assert daily_use(one_kind([0.5]), shares(1.0, 1.0)).tolist() == [[1.0], [1.0]]
    assert daily_use(np.zeros((0, 1)), np.zeros((2, 0))).tolist() == [[1.0], [1.0]]


def test_items_are_rated_by_the_kinds_that_need_them():
    graft = KnownCase("graft", use={PLUG: np.array([0.6, 0.4])}, requirement={PLUG: 1, SHEET: 2})
    plain = KnownCase("plain", use={PLUG: np.array([1.0])}, requirement={})
    found = item_rates([graft, graft, plain, plain], {"graft": 10.0, "plain": 10.0})
    assert found[PLUG].units == pytest.approx([0.2 * 0.4, 0])
    assert found[SHEET].units == pytest.approx([0, 0])
    assert found[SHEET].by_requirement == pytest.approx(np.array([[0, 0, 0.2], [0, 0, 0]]))


def test_cases_without_a_kept_list_do_not_thin_what_must_lie_ready():
    kept = KnownCase("graft", use={}, requirement={SHEET: 2})
    forgotten = KnownCase("graft", use={}, requirement=None)
    found = item_rates([kept, forgotten, forgotten, forgotten], {"graft": 10.0})
    assert found[SHEET].by_requirement == pytest.approx(np.array([[0, 0, 0.4]]))


@given(
    by_use=st.lists(st.floats(0, 3), min_size=1, max_size=6),
    expected=st.lists(st.floats(0, 1), min_size=1, max_size=5),
)
def test_daily_use_is_a_distribution_with_the_right_mean_and_variance(by_use, expected):
    rate, share = np.array(by_use), np.array(expected)
    chances = daily_use(one_kind(rate), share[:, None])
    units, sizes = np.arange(chances.shape[1]), np.arange(len(rate))
    assert chances.sum(axis=1) == pytest.approx(np.ones(len(share)), abs=1e-9)
    mean = chances @ units
    assert mean == pytest.approx(share * (rate @ sizes), abs=1e-8)
    # Campbell's theorem: the variance of a compound Poisson sum is the rate times the mean square.
    assert chances @ units**2 - mean**2 == pytest.approx(share * (rate @ sizes**2), abs=1e-6)
