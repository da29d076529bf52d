"""What the planner is told of stock and suppliers."""

import datetime as dt

import pytest

from stock import plan_supply
from stock.holds import hold
from stock.models import ClinicItem, Item, Order, Place, SupplierItem
from stock.moving import move
from stock.plan_values import ItemStock, LotInDate
from stock.receiving import open_stock
from tests.builders import NOW, TODAY, lot, place

pytestmark = pytest.mark.django_db


def put(cast, of, quantity, *, at=None, **facts):
    made = lot(of, **facts)
    open_stock(lot=made, place=at or cast.stockroom, quantity=quantity, by=None, at=NOW)
    return made


def test_one_lot_at_two_places_and_on_a_tray_is_one_lot(cast):
    made = put(cast, cast.suture, 9)
    for where in (cast.cart, cast.tray):
        move(lot=made, from_place=cast.stockroom, to_place=where, quantity=2, by=None, at=NOW)
    found = plan_supply.stock_of(clinic=cast.clinic)[cast.suture.pk]
    assert (found.on_hand, [row.quantity for row in found.lots]) == (9, [9])


def test_quarantined_and_held_units_are_on_hand_and_not_within_reach(cast):
    put(cast, cast.suture, 4, at=cast.quarantine)
    held = put(cast, cast.suture, 3)
    hold(lot=held, reason="seal broken", by=cast.manager, at=NOW)
    good = put(cast, cast.suture, 2)
    found = plan_supply.stock_of(clinic=cast.clinic)[cast.suture.pk]
    assert found.on_hand == 9
    assert [row.lot_id for row in found.lots] == [good.pk]


def test_lent_units_and_other_clinics_are_not_on_hand(cast):
    made = put(cast, cast.suture, 4)
    move(lot=made, from_place=cast.stockroom, to_place=cast.loan, quantity=1, by=None, at=NOW)
    put(cast, cast.suture, 7, at=cast.other_stockroom)
    assert plan_supply.stock_of(clinic=cast.clinic)[cast.suture.pk].on_hand == 3


def test_lots_come_soonest_to_expire_first_with_their_last_usable_day(cast):
    Item.objects.filter(pk=cast.suture.pk).update(safety_days=5)
    put(cast, cast.suture, 1, expires_on=None)
    late = put(cast, cast.suture, 1, expires_on=TODAY + dt.timedelta(days=90))
    soon = put(cast, cast.suture, 1, expires_on=TODAY + dt.timedelta(days=9))
    found = plan_supply.stock_of(clinic=cast.clinic)[cast.suture.pk].lots
    assert [row.lot_id for row in found[:2]] == [soon.pk, late.pk]
    assert [row.last_usable_on for row in found] == [
        TODAY + dt.timedelta(days=4),
        TODAY + dt.timedelta(days=85),
        None,
    ]


def test_usable_counts_units_in_date_on_the_day():
    def row(units, last):
        return LotInDate(lot_id=1, shown="L1", quantity=units, expires_on=last, last_usable_on=last)

    stock = ItemStock(on_hand=9, lots=(row(1, TODAY), row(2, TODAY - dt.timedelta(days=1)), row(4, None)))
    assert stock.usable(TODAY) == 5


def test_planned_items_are_stocked_ones_in_use(cast):
    Item.objects.filter(pk=cast.gloves.pk).update(is_active=False)
    Item.objects.filter(pk=cast.gauze.pk).update(tracking=Item.Tracking.CASE)
    found = plan_supply.planned_items()
    assert cast.suture in found
    assert not {cast.gloves, cast.gauze, cast.exam_set} & set(found)


def test_preferred_seller_goes_first(cast):
    SupplierItem.objects.create(
        supplier=cast.implants, item=cast.suture, supplier_code="S2", pack_price=1, preferred=True
    )
    cast.suture.suppliers.filter(supplier=cast.general).update(preferred=False)
    assert plan_supply.sellers()[cast.suture.pk].supplier == cast.implants.name
    assert cast.gauze.pk not in plan_supply.sellers()


def test_least_kept_is_each_clinics_own(cast):
    ClinicItem.objects.create(clinic=cast.clinic, item=cast.suture, keep_at_least=2)
    ClinicItem.objects.create(clinic=cast.other_clinic, item=cast.gauze, keep_at_least=3)
    assert plan_supply.kept_at_least(clinic=cast.clinic) == {cast.suture.pk: 2}


def test_lead_times_are_read_from_complete_orders_of_the_year(cast):
    def order(number, sent_before, took, state=Order.State.RECEIVED):
        sent_at = NOW - dt.timedelta(days=sent_before)
        Order.objects.create(
            clinic=cast.other_clinic,
            supplier=cast.general,
            number=number,
            state=state,
            created_at=sent_at,
            approved_at=sent_at,
            sent_at=sent_at,
            received_at=sent_at + dt.timedelta(days=took),
        )

    order("PO-1", 40, 3)
    order("PO-2", 20, 9)
    order("PO-3", 400, 30)
    order("PO-4", 20, 2, state=Order.State.PART_RECEIVED)
    assert plan_supply.lead_days_seen(today=TODAY) == {cast.general.pk: [3, 9]}


@pytest.mark.parametrize("lots", [1, 20])
def test_stock_is_one_query(cast, lots, django_assert_num_queries):
    spare = place(cast.clinic, "Drawer", Place.Kind.CART)
    for _ in range(lots):
        put(cast, cast.suture, 1, at=spare)
    with django_assert_num_queries(1):
        plan_supply.stock_of(clinic=cast.clinic)
