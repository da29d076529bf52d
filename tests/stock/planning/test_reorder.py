"""When and how much to order, against the textbook level, brute force and worked cases."""

import numpy as np
import pytest
from scipy import stats

from stock.planning import pmf
from stock.planning.outflow import Demand, project
from stock.planning.reorder import (
    TARGET_CASE_CANNOT_START,
    TARGET_CONVENIENCE,
    TARGET_SUBSTITUTE_EXISTS,
    Offer,
    WrongTerms,
    lead_time,
    lead_time_quantile,
    propose,
)


def poisson_use(rate, days=60, size=24):
    return np.array([pmf.poisson(rate, size)] * days)


def order(on_hand, *, rate=0.5, review=2, lead=3, target=0.975, pack=1, **more):
    lots = more.pop("lots", [(on_hand, None)])
    offer = Offer(pack=pack, minimum_packs=more.pop("minimum", 1), shelf_days=more.pop("shelf", None))
    demand = Demand(
        use=more.pop("use", poisson_use(rate)),
        lots=lots,
        receipts=more.pop("receipts", ()),
        must_have=more.pop("must_have", None),
    )
    lead = pmf.point(lead) if isinstance(lead, int) else lead
    return propose(demand=demand, offer=offer, review_days=review, lead=lead, target=target, **more)


@pytest.mark.parametrize("target", [TARGET_CASE_CANNOT_START, TARGET_SUBSTITUTE_EXISTS, TARGET_CONVENIENCE])
@pytest.mark.parametrize(("rate", "review", "lead"), [(0.5, 2, 3), (0.05, 1, 5), (1.7, 4, 2), (0.3, 5, 0)])
def test_plain_items_follow_the_textbook_order_up_to_level(target, rate, review, lead):
    """Order when stock < ppf(target, rate * (review + lead)); raise it to the level of one review more."""
    trigger = stats.poisson.ppf(target, rate * (review + lead))
    level = stats.poisson.ppf(target, rate * (2 * review + lead))
    for on_hand in range(int(level) + 2):
        found = order(on_hand, rate=rate, review=review, lead=lead, target=target)
        assert (found is not None) == (on_hand < trigger)
        if found:
            assert on_hand + found.order.units == max(level, on_hand + 1)
            waiting = stats.poisson.sf(on_hand, rate * (review + lead))
            assert found.chance_if_waiting == pytest.approx(waiting, abs=1e-9)


def test_packs_and_the_least_order_round_up():
    assert order(0, pack=1).order.units == 8
    assert (order(0, pack=5).order.packs, order(0, pack=5).order.units) == (2, 10)
    assert order(0, pack=5, minimum=4).order.packs == 4


def test_a_random_lead_time_averages_over_its_days():
    """Left for the next review: sum over lead times of P(Poisson(rate * (review + lead)) > stock)."""
    lead = np.array([0, 0, 0.5, 0.3, 0.2])
    found = order(2, lead=lead)
    expected = sum(lead[days] * stats.poisson.sf(2, 0.5 * (2 + days)) for days in range(5))
    assert found.chance_if_waiting == pytest.approx(expected, abs=1e-9)
    after = [
        sum(lead[days] * stats.poisson.sf(2 + units, 0.5 * (4 + days)) for days in range(5))
        for units in range(12)
    ]
    assert found.order.units == next(units for units, chance in enumerate(after) if chance <= 0.025)
    assert found.order.chance == pytest.approx(after[found.order.units], abs=1e-9)


def test_what_must_lie_in_reach_is_bought_though_it_is_never_used():
    found = order(1, use=np.ones((60, 1)), must_have=[0] * 4 + [2] * 56)
    assert found.order.units == 1
    assert found.reason.short_of == "reach"
    assert (found.reason.day, found.reason.in_date, found.reason.must_have) == (4, 1, 2)
    assert found.reason.chance == 1
    assert order(2, use=np.ones((60, 1)), must_have=[2] * 60) is None


def test_lots_that_expire_are_not_counted_on():
    found = order(0, lots=[(5, 1), (1, None)], use=np.array([[0.0, 1.0]] * 60), review=2, lead=2)
    assert (found.reason.day, found.reason.in_date, found.reason.expected_use) == (3, 1, 4)
    assert found.reason.short_of == "use"


def test_a_receipt_due_in_time_makes_an_order_unnecessary():
    assert order(3) is not None
    assert order(3, receipts=[(1, 6, None)]) is None


def test_the_reason_names_the_first_day_that_is_not_covered():
    found = order(2, target=0.975)
    cover = stats.poisson.sf(2, 0.5 * np.arange(1, 11))
    assert found.reason.day == np.argmax(cover > 0.025)
    assert found.reason.chance == pytest.approx(cover[found.reason.day], abs=1e-9)
    assert found.reason.allowed == pytest.approx(0.025)


def test_an_order_never_leaves_the_item_likelier_to_be_short():
    found = order(1, lead=lead_time(stated_days=3))
    assert found.chance_if_sent < found.chance_if_waiting


def test_waste_caps_the_order_and_both_choices_are_shown():
    """Short shelf lives against a high target: what covers the target would partly be thrown away."""
    found = order(0, rate=0.05, pack=5, minimum=1, shelf=10, target=0.995, waste_limit=0.3)
    slow = order(0, rate=0.3, pack=1, shelf=6, target=0.995, waste_limit=0.2)
    assert found.conflict
    assert found.order.packs == found.for_target.packs == 1  # the least order is all that is left to choose
    assert slow.conflict
    assert slow.order.units < slow.for_target.units
    assert slow.order.waste <= 0.2 * slow.order.units
    assert slow.order.chance > 0.005 >= slow.for_target.chance
    one_more = order(
        0, rate=0.3, pack=1, shelf=6, target=0.995, waste_limit=0.2, minimum=slow.order.packs + 1
    )
    assert one_more.order.waste > 0.2 * one_more.order.units


def test_expected_waste_is_what_a_poisson_leaves_of_the_new_units():
    """Nothing on hand, n units arrive on day 3 with 3 days of use owed, usable through day 3 + shelf.

    Expected units left = E[(n - D)+] with D Poisson over the days up to the last usable one; SciPy.
    """
    found = order(0, rate=0.3, review=1, lead=3, shelf=20, target=0.9)
    units = np.arange(found.order.units + 1)
    left = ((found.order.units - units) * stats.poisson.pmf(units, 0.3 * 24)).sum()
    assert found.order.waste == pytest.approx(left, abs=1e-8)


def test_waste_after_the_planned_days_needs_to_know_the_later_use():
    known = order(0, rate=0.02, shelf=400, later_use=pmf.poisson(0.02, 24))
    unknown = order(0, rate=0.02, shelf=400)
    units = np.arange(known.order.units + 1)
    left = ((known.order.units - units) * stats.poisson.pmf(units, 0.02 * 404)).sum()
    assert unknown.order.waste == 0
    assert known.order.waste == pytest.approx(left, abs=1e-8)


def test_a_target_no_order_can_reach_is_said_so():
    """Units usable on the day they arrive only: five days later they are gone whatever was bought."""
    found = order(0, rate=0.5, review=5, lead=3, shelf=0, target=0.995)
    assert not found.reaches_target
    assert found.for_target.chance > 0.005
    assert found.for_target.units <= 20


def test_the_proposal_agrees_with_trying_every_order_in_turn():
    """Review 3, lead 2: the order arrives on day 2 and has to last through day 7."""
    use, lots, must_have = poisson_use(0.4), [(2, 4), (1, None)], np.array([1] * 8 + [2] * 52)
    found = order(0, use=use, lots=lots, must_have=must_have, pack=2, target=0.975, review=3, lead=2)
    worst = []
    for packs in range(12):
        receipts = [(2, 2 * packs, None)]
        tried = project(use=use, lots=lots, receipts=receipts, must_have=must_have)
        worst.append(max(tried.short[2:8].max(), tried.short_in_reach[2:8].max()))
    assert found.order.packs == next(packs for packs, chance in enumerate(worst) if chance <= 0.025)
    assert found.order.packs > 1
    assert found.order.chance == pytest.approx(worst[found.order.packs], abs=1e-12)


def test_lead_times_start_at_what_the_supplier_says_and_move_to_what_is_seen():
    stated = lead_time(stated_days=3)
    assert pmf.mean(stated) == pytest.approx(3, abs=1e-4)
    # Four receipts' worth of belief: negative binomial with r = 12, p = 4/5.
    np.testing.assert_allclose(stated[:10], stats.nbinom(12, 0.8).pmf(np.arange(10)), atol=1e-12)
    seen = lead_time(stated_days=3, observed=[8] * 36)
    assert pmf.mean(seen) == pytest.approx((3 * 4 + 8 * 36) / 40, abs=1e-3)
    assert lead_time_quantile(stated_days=3, observed=[8] * 36) > lead_time_quantile(stated_days=3)
    assert lead_time_quantile(stated_days=3, chance=0.5) == stats.nbinom(12, 0.8).ppf(0.5)
    assert lead_time(stated_days=0).tolist() == [1.0]


@pytest.mark.parametrize(
    "act",
    [
        lambda: order(0, pack=0),
        lambda: order(0, minimum=0),
        lambda: order(0, shelf=-1),
        lambda: order(0, review=0),
        lambda: order(0, target=1.0),
        lambda: order(0, waste_limit=-0.1),
        lambda: order(0, use=poisson_use(0.5, days=6)),
        lambda: lead_time(stated_days=-1),
        lambda: lead_time(stated_days=1, observed=[-2]),
    ],
)
def test_terms_that_cannot_be_are_refused(act):
    with pytest.raises(WrongTerms):
        act()
