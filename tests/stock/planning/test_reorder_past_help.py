"""A shortage that no order can mend is no reason to order again what is already on its way."""

import numpy as np

from stock.planning import pmf
from stock.planning.outflow import Demand
from stock.planning.reorder import Offer, propose

DAYS = 40


def certain(*days):
    """One unit used for certain on each of these days."""
    use = np.tile([1.0, 0.0], (DAYS, 1))
    use[list(days)] = [0.0, 1.0]
    return use


def order(demand):
    return propose(demand=demand, offer=Offer(pack=1), review_days=7, lead=pmf.point(5), target=0.995)


def test_short_before_anything_can_arrive_and_enough_is_due():
    """One unit needed on day 1, none there; ten come on day 2: an order arriving on day 5 changes nothing."""
    assert order(Demand(use=certain(1, 8), lots=[], receipts=[(2, 10, None)])) is None


def test_short_before_anything_can_arrive_and_nothing_is_due():
    """The unit owed since day 1, and those of days 8 and 18 (before an order of the next review but one)."""
    found = order(Demand(use=certain(1, 8, 18), lots=[], receipts=[]))
    assert found.order.packs == 3
    assert found.chance_if_waiting == found.chance_if_sent == 1


def test_short_early_and_again_later_is_ordered_for():
    """One comes on day 2 for the unit owed; the one of day 8 is missing, and an order can bring it."""
    found = order(Demand(use=certain(1, 8), lots=[], receipts=[(2, 1, None)]))
    assert found.order.packs == 1
