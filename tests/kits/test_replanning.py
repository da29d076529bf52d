"""Plans of a clinic on small books whose figures can be worked out by hand.

Today is Tuesday 12 May 2026. For the first three days ahead every case is in the book already, because
nobody is taken to book less than three days ahead until the clinic's own record says so; the hand sums
below keep to those days where cases not booked yet would matter.
"""

import datetime as dt

import numpy as np
import pytest
from scipy import stats

from kits.replanning import ensure_fresh, replan
from practice.models import Closure, Policy
from stock.holds import hold
from stock.models import ClinicItem, Item, ItemForecast, Order, Proposal
from tests.builders import NOW, TODAY
from tests.kits.builders_plan import (
    case,
    day,
    finding,
    ordered,
    planned,
    procedure,
    proposal,
    stock,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def two_cases(cast):
    """A sheet for certain on Thursday and on Friday; one sheet in date for both, one only till Wednesday."""
    grafting = procedure("GR", (cast.membrane, 1, None))
    thursday, friday = case(cast, grafting, day(2)), case(cast, grafting, day(3))
    lots = stock(cast, cast.membrane, 1, last_day=1), stock(cast, cast.membrane, 1)
    return thursday, friday, lots


def test_expiry_before_two_cases_worked_by_hand(cast, two_cases):
    """The short-dated sheet is gone on Thursday; the other serves Thursday; Friday has none."""
    thursday, friday, lots = two_cases
    found = planned(cast, cast.membrane)
    assert (found.on_hand, found.usable, found.starts_on) == (2, 2, TODAY)
    assert found.series["short"][:4] == [0, 0, 0, 1]
    assert found.series["short_in_reach"][:4] == [0, 0, 0, 1]
    assert found.series["median"][:4] == [2, 2, 0, 0]
    assert found.series["must_have"][:4] == [0, 0, 1, 1]
    assert found.series["use"]["booked"][:4] == [0, 0, 1, 1]
    assert found.series["use"]["not_booked"][:4] == [0, 0, 0, 0]
    assert found.covered_until == day(2)
    assert [(lot["lot"], lot["expected_unused"]) for lot in found.series["lots"]] == [
        (lots[0].shown, 1.0),
        (lots[1].shown, 0.0),
    ]
    assert found.series["cases"][:2] == [
        [thursday.code, day(2).isoformat(), 1, 1.0],
        [friday.code, day(3).isoformat(), 1, 1.0],
    ]


def test_reason_names_case_day_and_what_is_in_date(cast, two_cases):
    found, order = planned(cast, cast.membrane), proposal(cast, cast.membrane)
    thursday, friday, _ = two_cases
    assert order.reason.startswith(
        f"By 15 May about 2 will be used in {thursday.code} and {friday.code}. 1 is in date by then; "
        "the chance of being short by then is more than 99 in 100, 1 in 200 is accepted. "
        "The day to order by, 8 May, has passed: order today (3 to 7 days)"
    )
    # Seven days before Friday 15 May is Friday 8 May: the cautious lead time of a stated three.
    assert order.order_by_on == found.order_by_on == day(-4)
    assert order.sums["in_date"] == 1 and order.sums["must_have"] == 1
    assert order.sums["first_day"] == day(3).isoformat()
    assert order.packs >= 1


def test_plan_agrees_with_poisson_binomial_use(cast):
    """Three cases with a reserve of 0.3 each on one day: P(more than two used) = 0.027 (scipy.stats)."""
    bleeding = finding()
    extraction = procedure("EX", (cast.suture, 0.3, bleeding))
    for hour in (9, 11, 14):
        case(cast, extraction, day(2), hour=hour)
    stock(cast, cast.suture, 2)
    found = planned(cast, cast.suture)
    expected = stats.poisson_binom.sf(2, [0.3] * 3)
    assert found.series["short"][2] == pytest.approx(expected, abs=1e-6)
    assert found.series["mean"][2] == pytest.approx(
        sum((2 - used) * stats.poisson_binom.pmf(used, [0.3] * 3) for used in (0, 1)), abs=1e-3
    )
    # Two sutures cover only 973 of 1,000 such days, fewer than the 975 asked: three must lie there.
    assert found.series["must_have"][2] == stats.poisson_binom.ppf(0.975, [0.3] * 3) == 3


def test_held_stock_other_clinics_and_stock_out_of_reach_do_not_count(cast, two_cases):
    stock(cast, cast.membrane, 5)
    assert planned(cast, cast.membrane).usable == 7
    held = stock(cast, cast.membrane, 4)
    hold(lot=held, reason="seal broken", by=cast.manager, at=NOW)
    found = planned(cast, cast.membrane)
    assert (found.on_hand, found.usable) == (11, 7)
    assert found.series["median"][0] == 7


def test_what_is_ordered_is_not_proposed_again(cast, two_cases):
    stock(cast, cast.membrane, 1)
    planned(cast, cast.membrane)
    wanted = proposal(cast, cast.membrane)
    assert wanted is not None
    ordered(cast, cast.membrane, wanted.packs, expected=day(3), state=Order.State.PROPOSED)
    found = planned(cast, cast.membrane)
    assert proposal(cast, cast.membrane) is None
    assert found.series["receipts"] == [[3, wanted.packs, "PO-T1"]]


def test_an_order_sent_now_does_not_overtake_the_one_on_its_way(cast):
    """Tomorrow is short whatever is done; what comes on Thursday would only be ordered a second time."""
    case(cast, procedure("GR", (cast.membrane, 1, None)), day(1))
    ordered(cast, cast.membrane, 12, expected=day(2))
    found = planned(cast, cast.membrane)
    assert found.series["short"][1:3] == [1, 0]
    assert proposal(cast, cast.membrane) is None


def test_overdue_order_is_expected_tomorrow_or_when_the_clinic_opens(cast, two_cases):
    ordered(cast, cast.membrane, 2, expected=day(-5))
    assert planned(cast, cast.membrane).series["receipts"] == [[1, 2, "PO-T1"]]
    Closure.objects.create(clinic=cast.clinic, starts_on=day(1), ends_on=day(1))
    assert planned(cast, cast.membrane).series["receipts"] == [[2, 2, "PO-T1"]]


def test_closure_moves_the_day_to_order_by(cast, two_cases):
    planned(cast, cast.membrane)
    assert proposal(cast, cast.membrane).order_by_on == day(-4)
    Closure.objects.create(clinic=cast.clinic, starts_on=day(-4), ends_on=day(-4))
    planned(cast, cast.membrane)
    assert proposal(cast, cast.membrane).order_by_on == day(-5)


def test_clinic_keeps_at_least_what_it_decided(cast):
    rescue = cast.wider_implant
    assert planned(cast, rescue).covered_until == day(179)
    ClinicItem.objects.create(clinic=cast.clinic, item=rescue, keep_at_least=1)
    found = planned(cast, rescue)
    assert (found.must_have_peak, found.covered_until) == (1, day(-1))
    assert proposal(cast, rescue) is None  # nobody sells it here
    cast.implants.items.create(item=rescue, supplier_code="W", pack_price=310)
    planned(cast, rescue)
    order = proposal(cast, rescue)
    assert order.packs == 1
    assert (
        "On 12 May 1 must lie in reach, the least this clinic keeps. None is in date by then;" in order.reason
    )


def test_targets_come_from_the_policy(cast):
    """Two for three reserves of 0.3: short 27 times in 1,000, too often for 0.975, fine for 0.90."""
    extraction = procedure("EX", (cast.suture, 0.3, finding()))
    for hour in (9, 11, 14):
        case(cast, extraction, day(2), hour=hour)
    stock(cast, cast.suture, 2)
    assert planned(cast, cast.suture).covered_until == day(1)
    Policy.objects.filter(clinic=cast.clinic).update(target_substitute=0.90)
    assert planned(cast, cast.suture).covered_until > day(1)


def test_goods_for_one_case_are_planned_from_the_book_alone(cast):
    cast.membrane.supply_mode = Item.Supply.PER_CASE
    cast.membrane.save()
    case(cast, procedure("GR", (cast.membrane, 1, None)), day(2))
    found = planned(cast, cast.membrane)
    assert sum(found.series["use"]["booked"]) == 1
    assert sum(found.series["use"]["not_booked"]) == 0


def test_series_cover_the_policy_and_are_whole(cast, two_cases):
    found = planned(cast, cast.membrane)
    for name in ("median", "p05", "p95", "mean", "short", "short_in_reach", "must_have"):
        assert len(found.series[name]) == 180
    assert (np.array(found.series["p05"]) <= np.array(found.series["p95"])).all()
    assert len(planned(cast, cast.membrane, days=200).series["median"]) == 200


def test_every_stocked_item_gets_an_outlook_and_sets_do_not(cast):
    planned(cast, cast.gauze)
    assert ItemForecast.objects.filter(clinic=cast.clinic).count() == Item.objects.count() - 1
    assert not ItemForecast.objects.filter(item=cast.exam_set).exists()


def fresh(cast, *, today=TODAY):
    return ensure_fresh(clinic=cast.clinic, today=today, at=NOW)


def test_plan_is_made_once_and_anew_when_the_day_changes(cast, two_cases):
    assert fresh(cast) is True
    made = ItemForecast.objects.filter(clinic=cast.clinic).values_list("id", flat=True)
    before = set(made)
    assert fresh(cast) is False
    assert set(made.all()) == before
    assert fresh(cast, today=day(1)) is True


@pytest.mark.parametrize(
    "change",
    [
        lambda cast, lots, first: stock(cast, cast.membrane, 1),
        lambda cast, lots, first: hold(lot=lots[1], reason="seal broken", by=cast.manager, at=NOW),
        lambda cast, lots, first: type(first).objects.filter(pk=first.pk).update(on=day(6)),
        lambda cast, lots, first: first.sites.create(tooth="12"),
        lambda cast, lots, first: ordered(cast, cast.membrane, 1, expected=day(9)),
        lambda cast, lots, first: Policy.objects.filter(clinic=cast.clinic).update(review_days=14),
        lambda cast, lots, first: Item.objects.filter(pk=cast.membrane.pk).update(safety_days=3),
        lambda cast, lots, first: ClinicItem.objects.create(
            clinic=cast.clinic, item=cast.membrane, keep_at_least=1
        ),
        lambda cast, lots, first: Closure.objects.create(
            clinic=cast.clinic, starts_on=day(9), ends_on=day(9)
        ),
        lambda cast, lots, first: cast.membrane.suppliers.update(lead_days=9),
    ],
    ids=[
        "ledger",
        "hold",
        "case moved",
        "site",
        "order",
        "policy",
        "item",
        "kept",
        "closure",
        "supplier",
    ],
)
def test_any_change_the_plan_hangs_on_is_noticed(cast, two_cases, change):
    fresh(cast)
    change(cast, two_cases[2], two_cases[0])
    assert fresh(cast) is True
    assert fresh(cast) is False


def test_other_clinics_changes_leave_the_plan_alone(cast, two_cases):
    fresh(cast)
    case(cast, two_cases[0].procedures.get().procedure, day(4), clinic=cast.other_clinic, room=None)
    assert fresh(cast) is False
    assert not Proposal.objects.filter(clinic=cast.other_clinic).exists()


@pytest.mark.parametrize("cases", [1, 20])
def test_queries_do_not_grow_with_cases(cast, django_assert_max_num_queries, cases):
    grafting = procedure("GR", (cast.membrane, 1, None), (cast.suture, 0.3, finding()))
    for number in range(cases):
        case(cast, grafting, day(number % 10), hour=8 + number % 8)
    stock(cast, cast.membrane, 5)
    with django_assert_max_num_queries(60):
        replan(clinic=cast.clinic, today=TODAY, at=NOW)
    with django_assert_max_num_queries(24):
        ensure_fresh(clinic=cast.clinic, today=TODAY, at=NOW)


def test_longest_lead_time_still_fits_in_a_short_plan(cast, two_cases):
    cast.membrane.suppliers.update(lead_days=28)
    Policy.objects.filter(clinic=cast.clinic).update(plan_days=30)
    planned(cast, cast.membrane)
    assert proposal(cast, cast.membrane).order_by_on < TODAY - dt.timedelta(days=14)
