"""What must lie in reach, against a minute-by-minute twin and worked cases."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from stock.planning import pmf
from stock.planning.presence import (
    Bookings,
    Expected,
    WrongPresence,
    expected_quantile,
    largest_together,
    must_have,
    use_quantile,
)

NO_USE = np.array([[1.0]])


def day_of(*cases):
    """Bookings on day 0 from (start, end) in minutes."""
    starts, ends = zip(*cases, strict=True)
    return Bookings(days=[0] * len(cases), starts=starts, ends=ends)


@pytest.mark.parametrize(
    ("cases", "units", "most"),
    [
        ([(540, 600), (600, 660)], [1, 1], 1),  # one ends as the other starts: they share the reserve
        ([(540, 601), (600, 660)], [1, 1], 2),
        ([(540, 660), (550, 560), (570, 580)], [1, 2, 3], 4),
        ([(540, 600), (700, 760)], [3, 2], 3),
        ([(540, 600)] * 3, [1, 0, 2], 3),
    ],
)
def test_cases_in_turn_share_a_reserve_and_cases_at_once_do_not(cases, units, most):
    needed = largest_together(bookings=day_of(*cases), requirements=np.array(units)[:, None], days=1)
    assert needed.tolist() == [[most]]


@st.composite
def booked(draw):
    rows = draw(
        st.lists(
            st.tuples(
                st.integers(-1, 3),
                st.integers(0, 20),
                st.integers(1, 9),
                st.integers(0, 3),
                st.integers(0, 3),
            ),
            max_size=8,
        )
    )
    return np.array(rows, dtype=int).reshape(-1, 5)


@given(booked())
def test_agrees_with_looking_at_every_minute(rows):
    days, starts, lengths = rows[:, 0], rows[:, 1], rows[:, 2]
    bookings = Bookings(days=days, starts=starts, ends=starts + lengths)
    found = largest_together(bookings=bookings, requirements=rows[:, 3:], days=3)
    for day in range(3):
        for item in range(2):
            by_minute = [
                sum(row[3 + item] for row in rows if row[0] == day and row[1] <= minute < row[1] + row[2])
                for minute in range(30)
            ]
            assert found[day, item] == max(by_minute)


def test_the_use_quantile_is_that_of_scipy():
    use = stats.binom.pmf(np.arange(13), [[12], [5]], 0.3)
    np.testing.assert_array_equal(use_quantile(use, 0.975), stats.binom.ppf(0.975, [12, 5], 0.3))


def test_the_reserve_for_a_day_of_socket_grafts_is_the_worked_example():
    """Common practice: 4 sites at 0.30 and a 98 % binomial quantile give 3, P(X <= 3) = 0.992."""
    use = stats.binom.pmf(np.arange(5), 4, 0.3)[None, :]
    assert use[0, :4].sum() == pytest.approx(0.992, abs=5e-4)
    assert must_have(booked=[1], use=use, service=0.98).tolist() == [3]


def test_the_larger_of_overlap_and_use_counts():
    use = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])
    assert must_have(booked=[1, 3], use=use, service=0.9).tolist() == [2, 3]


def test_a_slow_item_that_any_extraction_may_need_never_falls_to_zero():
    """One in a hundred extractions uses it, but each must have it in reach."""
    rate = np.full(30, 1.4)
    use = np.array([pmf.compound_poisson(1.4, np.array([0.99, 0.01]), 4)] * 30)
    need = must_have(
        booked=np.zeros(30), use=use, service=0.9, expected=Expected(rate=rate, units=pmf.point(1)), rooms=3
    )
    assert use_quantile(use, 0.9).max() == 0
    assert need.min() >= 1


def test_expected_cases_count_up_to_the_rooms_there_are():
    """P(N <= 1) = 0.736 and P(N <= 2) = 0.920 for Poisson(1), scipy.stats.poisson.cdf."""
    assert stats.poisson.cdf([1, 2], 1) == pytest.approx([0.7358, 0.9197], abs=1e-4)
    booked_units, rate = np.array([2]), np.array([1.0])
    for rooms, service, more in ((5, 0.9, 2), (5, 0.7, 1), (1, 0.99, 1), (5, 0.3, 0)):
        need = expected_quantile(
            expected=Expected(rate=rate, units=pmf.point(1)),
            booked=booked_units,
            service=service,
            rooms=rooms,
        )
        assert need.tolist() == [2 + more]


def test_kinds_of_expected_cases_are_pooled():
    """Two kinds at 0.5 a day each, needing 2 units and none, one room: P(2) = (1 - e^-1) / 2 = 0.316."""
    kinds = [
        Expected(rate=[0.5, 0.0], units=pmf.point(2)),
        Expected(rate=[0.5, 0.0], units=pmf.point(0)),
    ]
    for service, need in ((0.68, [0, 0]), (0.69, [2, 0])):
        found = must_have(booked=[0, 0], use=np.ones((2, 1)), service=service, expected=kinds)
        assert found.tolist() == need


@pytest.mark.parametrize(
    "act",
    [
        lambda: largest_together(bookings=day_of((10, 10)), requirements=[[1]], days=1),
        lambda: largest_together(
            bookings=Bookings(days=[0, 1], starts=[1], ends=[2]), requirements=[[1]], days=1
        ),
        lambda: must_have(
            booked=[1], use=NO_USE, service=0.9, expected=Expected(rate=[1], units=pmf.point(1)), rooms=0
        ),
        lambda: must_have(
            booked=[1], use=NO_USE, service=0.9, expected=Expected(rate=[1, 1], units=pmf.point(1))
        ),
    ],
)
def test_cases_that_do_not_fit_together_are_refused(act):
    with pytest.raises(WrongPresence):
        act()
