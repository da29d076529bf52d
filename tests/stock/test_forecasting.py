"""A plan replaces the one before it whole, at its own clinic only."""

import datetime as dt

import pytest
from django.db import IntegrityError, transaction

from stock.forecasting import Outlook, Suggestion, plan_stamp, replace_plan
from stock.models import ItemForecast, Proposal, SupplierItem
from tests.builders import NOW, TODAY, item


def outlook(of, **facts):
    facts = {"on_hand": 5, "usable": 4, "expected_use_30d": 1.5, "expected_use_90d": 4.0} | facts
    return Outlook(item_id=of.pk, **facts)


def plan(clinic, *outlooks, suggestions=(), stamp="one"):
    replace_plan(
        clinic=clinic, outlooks=outlooks, suggestions=suggestions, starts_on=TODAY, at=NOW, stamp=stamp
    )


def test_plan_is_written_whole(cast):
    sold = SupplierItem.objects.get(item=cast.membrane)
    suggestion = Suggestion(
        supplier_item_id=sold.pk,
        packs=2,
        order_by_on=TODAY,
        reason="Two cases need one.",
        sums={"short": 0.1},
    )
    plan(cast.clinic, outlook(cast.membrane, series={"median": [4, 3]}), suggestions=[suggestion])
    kept = ItemForecast.objects.get(clinic=cast.clinic)
    assert (kept.item, kept.usable, kept.series, kept.made_at) == (cast.membrane, 4, {"median": [4, 3]}, NOW)
    proposal = Proposal.objects.get()
    assert (proposal.clinic, proposal.packs, proposal.sums) == (cast.clinic, 2, {"short": 0.1})
    assert plan_stamp(clinic=cast.clinic) == ("one", TODAY)


def test_next_plan_leaves_nothing_of_the_one_before_and_other_clinics_alone(cast):
    plan(cast.clinic, outlook(cast.membrane), outlook(cast.suture))
    plan(cast.other_clinic, outlook(cast.suture), stamp="theirs")
    plan(cast.clinic, outlook(cast.graft), stamp="two")
    assert [kept.item for kept in ItemForecast.objects.filter(clinic=cast.clinic)] == [cast.graft]
    assert plan_stamp(clinic=cast.clinic) == ("two", TODAY)
    assert plan_stamp(clinic=cast.other_clinic) == ("theirs", TODAY)


def test_plan_that_cannot_be_written_leaves_the_one_before(cast):
    plan(cast.clinic, outlook(cast.membrane))
    twice = [outlook(cast.suture), outlook(cast.suture)]
    with pytest.raises(IntegrityError), transaction.atomic():
        plan(cast.clinic, *twice, stamp="two")
    assert plan_stamp(clinic=cast.clinic) == ("one", TODAY)


def test_no_plan_has_no_stamp(cast):
    assert plan_stamp(clinic=cast.clinic) is None


@pytest.mark.parametrize("items", [1, 20])
def test_number_of_queries_does_not_grow(cast, items, django_assert_max_num_queries):
    found = [item() for _ in range(items)]
    with django_assert_max_num_queries(8):
        plan(cast.clinic, *[outlook(one, covered_until=TODAY + dt.timedelta(days=9)) for one in found])
