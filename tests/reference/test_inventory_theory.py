"""The planner on plain items against inventory theory.

Base stock: one-for-one replenishment with Poisson lead-time demand, textbook theory (Snyder and Shen,
Fundamentals of Supply Chain Theory, treat it); the figures were computed with SciPy 1.17.1.
"""

import numpy as np
import pytest

from stock.planning import pmf
from stock.planning.outflow import Demand, project
from stock.planning.reorder import Offer, propose

TARGETS = (0.9, 0.95, 0.98, 0.99)

LEAST_STOCK = {
    # mean demand over the protected days: least S with P(D <= S) >= each of TARGETS
    0.2: (1, 1, 1, 2),
    1: (2, 3, 3, 4),
    2: (4, 5, 5, 6),
    3: (5, 6, 7, 8),
    4.5: (7, 8, 9, 10),
    6: (9, 10, 12, 12),
    10: (14, 15, 17, 18),
}

BASE_STOCK = [
    # S, mean lead-time demand, expected backorders, expected on hand, fill rate P(D <= S - 1)
    (2, 1, 0.103638, 1.103638, 0.735759),
    (3, 2, 0.218018, 1.218018, 0.676676),
    (5, 2, 0.022488, 3.022488, 0.947347),
    (6, 2, 0.005924, 4.005924, 0.983436),
    (8, 4.5, 0.067581, 3.567581, 0.913414),
    (9, 4.5, 0.027323, 4.527323, 0.959743),
    (10, 4.5, 0.010231, 5.510231, 0.982907),
]


def use_over(days, mean):
    """Poisson use that adds up to `mean` over the first `days` days."""
    return np.array([pmf.poisson(mean / days, 40)] * days)


@pytest.mark.parametrize("mean", LEAST_STOCK)
def test_the_order_brings_stock_to_the_least_level_that_meets_the_target(mean):
    """Lead 2 days and reviews every day: an order protects 4 days, which hold the mean demand."""
    for target, least in zip(TARGETS, LEAST_STOCK[mean], strict=True):
        demand = Demand(use=use_over(4, mean), lots=[])
        proposal = propose(
            demand=demand, offer=Offer(pack=1), review_days=1, lead=pmf.point(2), target=target
        )
        assert proposal is not None
        assert proposal.order.units == least


@pytest.mark.parametrize("mean", LEAST_STOCK)
def test_an_order_is_due_below_the_least_level_for_review_and_lead_time(mean):
    """Reviews every 2 days and lead 3: 5 days to protect before goods of the next review arrive."""
    use = np.vstack([use_over(5, mean), use_over(5, mean)])
    for target, least in zip(TARGETS, LEAST_STOCK[mean], strict=True):
        for on_hand, due in ((least - 1, True), (least, False)):
            proposal = propose(
                demand=Demand(use=use, lots=[(on_hand, None)]),
                offer=Offer(pack=1),
                review_days=2,
                lead=pmf.point(3),
                target=target,
            )
            assert (proposal is not None) == due


@pytest.mark.parametrize(("stock", "mean", "backorders", "on_hand", "fill"), BASE_STOCK)
def test_stock_at_the_end_of_the_lead_time_is_that_of_the_textbook(stock, mean, backorders, on_hand, fill):
    projection = project(use=use_over(6, mean), lots=[(stock, None)], quantiles=())
    assert projection.mean_on_hand[-1] == pytest.approx(on_hand, abs=1e-6)
    # On hand minus backorders is stock minus mean demand, so the backorders follow.
    assert projection.mean_on_hand[-1] - (stock - mean) == pytest.approx(backorders, abs=1e-6)
    one_less = project(use=use_over(6, mean), lots=[(stock - 1, None)], quantiles=())
    assert 1 - one_less.short[-1] == pytest.approx(fill, abs=1e-6)


@pytest.mark.parametrize(
    ("stock", "mean", "loss", "below"), [(18, 15, 0.5176095282584722, 3.517609528258472)]
)
def test_the_poisson_loss_is_the_published_one(stock, mean, loss, below):
    """n(S) = E[(D - S)+] and E[(S - D)+] for Poisson(15), S = 18: stockpyl 1.0.2, loss_functions."""
    projection = project(use=use_over(30, mean), lots=[(stock, None)], quantiles=())
    assert projection.mean_on_hand[-1] == pytest.approx(below, abs=1e-9)
    assert projection.mean_on_hand[-1] - (stock - mean) == pytest.approx(loss, abs=1e-9)


def test_a_material_plan_with_known_demand_ends_with_the_published_stock():
    """Single-level plan, on hand 120, lot for lot (problem data from a public tutoring page, computed).

    Orders released two weeks ahead cover each week's net need, so stock ends at 79, 35 and then 0.
    """
    gross = [41, 44, 84, 42, 84, 86, 7, 18, 49, 30]
    net = [0, 0, 49, 42, 84, 86, 7, 18, 49, 30]
    use = np.zeros((10, 87))
    use[np.arange(10), gross] = 1
    receipts = [(week, units, None) for week, units in enumerate(net) if units]
    projection = project(use=use, lots=[(120, None)], receipts=receipts)
    assert projection.on_hand[:, 1].tolist() == [79, 35, 0, 0, 0, 0, 0, 0, 0, 0]
    assert projection.short.max() == 0
