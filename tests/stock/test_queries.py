"""Questions to stock: right, in few queries however much there is."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from stock.consuming import use, waste
from stock.correcting import correct
from stock.holds import hold
from stock.models import Order
from stock.moving import move
from stock.ordering import approve, cancel, make_orders, send
from stock.queries import balances_of, movements_of, quantities, receipts_due, stock_units, use_history
from stock.values import ReceiptDue, StockUnit
from tests import builders
from tests.builders import NOW, TODAY


def queries(job):
    with CaptureQueriesContext(
        connection,
    ) as captured:
        job()
    return len(captured)


class TestStockUnits:
    def test_what_a_case_may_be_given(self, cast):
        item = builders.item(safety_days=7)
        good = builders.shelved(item, cast.stockroom, 3, expires_on=dt.date(2026, 6, 30))
        endless = builders.shelved(cast.suture, cast.fridge, 2, expires_on=None)
        held = builders.shelved(cast.membrane, cast.stockroom)
        hold(lot=held, reason="letter", by=None, at=NOW)
        builders.shelved(cast.membrane, cast.quarantine)
        builders.shelved(cast.membrane, cast.tray)
        builders.shelved(cast.membrane, cast.loan)
        builders.shelved(cast.membrane, cast.other_stockroom)
        used_up = builders.shelved(cast.membrane, cast.stockroom)
        use(lot=used_up, place=cast.stockroom, quantity=1, by=None, at=NOW)
        assert stock_units(clinic=cast.clinic) == [
            StockUnit(good.pk, item.pk, cast.stockroom.pk, 3, dt.date(2026, 6, 23)),
            StockUnit(endless.pk, cast.suture.pk, cast.fridge.pk, 2, None),
        ]
        assert len(stock_units(clinic=cast.clinic, items=[item])) == 1

    def test_one_query_however_much_there_is(self, cast):
        for _ in range(20):
            builders.shelved(cast.membrane, cast.stockroom)
        assert queries(lambda: stock_units(clinic=cast.clinic)) == 1


def test_balances_by_place_and_lot_soonest_to_expire_first(cast):
    late = builders.shelved(cast.membrane, cast.stockroom, 2, expires_on=dt.date(2028, 1, 1))
    soon = builders.shelved(cast.membrane, cast.cart, 1, expires_on=dt.date(2026, 6, 1))
    never = builders.shelved(cast.membrane, cast.stockroom, 4, expires_on=None)
    elsewhere = builders.shelved(cast.membrane, cast.other_stockroom, 5, expires_on=dt.date(2026, 5, 20))
    rows = balances_of(item=cast.membrane, clinics=[cast.clinic])
    assert [(row.lot, row.quantity) for row in rows] == [(soon, 1), (late, 2), (never, 4)]
    both = balances_of(item=cast.membrane, clinics=[cast.clinic, cast.other_clinic])
    assert both[0].lot == elsewhere


@pytest.mark.parametrize(("on", "usable"), [(dt.date(2026, 6, 1), 6), (dt.date(2026, 6, 2), 2)])
def test_quantities_present_and_usable(cast, on, usable):
    soon = builders.shelved(cast.membrane, cast.stockroom, 5, expires_on=dt.date(2026, 6, 1))
    move(lot=soon, from_place=cast.stockroom, to_place=cast.tray, quantity=1, by=None, at=NOW)
    move(lot=soon, from_place=cast.stockroom, to_place=cast.quarantine, quantity=1, by=None, at=NOW)
    builders.shelved(cast.membrane, cast.stockroom, 2)
    held = builders.shelved(cast.membrane, cast.stockroom, 3)
    hold(lot=held, reason="letter", by=None, at=NOW)
    assert quantities(clinic=cast.clinic, on=on) == {cast.membrane.pk: (9, usable)}


def test_movements_of_a_lot_oldest_first_in_one_query(cast):
    lot = builders.shelved(cast.membrane, cast.stockroom, 5)
    builders.shelved(cast.suture, cast.stockroom, 5)
    use(lot=lot, place=cast.stockroom, quantity=1, by=cast.assistant, at=NOW)
    use(lot=lot, place=cast.stockroom, quantity=2, by=cast.assistant, at=NOW - dt.timedelta(days=1))
    with CaptureQueriesContext(connection) as captured:
        shown = [(e.kind, e.quantity, str(e.lot), str(e.place), str(e.by)) for e in movements_of(lots=[lot])]
    assert [row[:2] for row in shown] == [("opening", 5), ("use", -2), ("use", -1)]
    assert len(captured) == 1


class TestReceiptsDue:
    def order(self, cast, name, packs, *, sent_at=NOW):
        sold = getattr(cast, name).suppliers.get()
        [order] = make_orders(clinic=cast.clinic, choices=[(sold, packs, "")], by=cast.manager, at=sent_at)
        approve(order=order, by=cast.manager, at=sent_at)
        approve_twice(order, cast, sent_at)
        return send(order=order, by=cast.manager, at=sent_at)

    def test_what_is_still_to_come(self, cast):
        cast.suture.shelf_life_months = 9
        cast.suture.safety_days = 10
        cast.suture.save()
        order = self.order(cast, "suture", 2)
        line = order.lines.get()
        line.units_received = 10
        line.save()
        sold = cast.suture.suppliers.get()
        assert receipts_due(clinic=cast.clinic, today=TODAY) == [
            # Three days after 12 May; nine months on is 15 February 2027, ten days earlier the 5th.
            ReceiptDue(cast.suture.pk, sold.pk, "PO-00001", dt.date(2026, 5, 15), 14, dt.date(2027, 2, 5))
        ]

    def test_what_is_overdue_is_expected_today(self, cast):
        self.order(cast, "suture", 1, sent_at=NOW - dt.timedelta(days=30))
        [due] = receipts_due(clinic=cast.clinic, today=TODAY)
        assert (due.arrives_on, due.last_usable_on, due.overdue) == (TODAY, None, True)

    def test_a_month_s_last_day(self, cast):
        cast.suture.shelf_life_months = 1
        cast.suture.save()
        self.order(cast, "suture", 1)
        [due] = receipts_due(clinic=cast.clinic, today=dt.date(2027, 1, 31))
        assert due.last_usable_on == dt.date(2027, 2, 28)

    def test_cancelled_received_and_foreign_orders_bring_nothing(self, cast):
        cancel(order=self.order(cast, "suture", 1), by=cast.manager, at=NOW)
        self.order(cast, "gloves", 2)
        assert receipts_due(clinic=cast.other_clinic, today=TODAY) == []
        assert [due.order_number for due in receipts_due(clinic=cast.clinic, today=TODAY)] == ["PO-00002"]

    def test_proposed_orders_only_if_asked_for(self, cast):
        sold = cast.suture.suppliers.get()
        make_orders(clinic=cast.clinic, choices=[(sold, 1, "")], by=cast.manager, at=NOW)
        assert receipts_due(clinic=cast.clinic, today=TODAY) == []
        [due] = receipts_due(clinic=cast.clinic, today=TODAY, states=[*Order.OPEN, Order.State.PROPOSED])
        assert (due.quantity, due.arrives_on) == (12, dt.date(2026, 5, 15))


def approve_twice(order, cast, at):
    """The second approval, where the first was not enough."""
    order.refresh_from_db()
    if order.state == Order.State.PROPOSED:
        approve(order=order, by=cast.second_manager, at=at)


class TestUseHistory:
    def test_use_and_waste_by_day_of_the_clinic(self, cast):
        lot = builders.shelved(cast.suture, cast.stockroom, 50)
        # London is an hour ahead of UTC in May: half past eleven at night is already the 13th there.
        late = dt.datetime(2026, 5, 12, 23, 30, tzinfo=dt.UTC)
        use(lot=lot, place=cast.stockroom, quantity=2, by=None, at=NOW)
        waste(lot=lot, place=cast.stockroom, quantity=1, reason="dropped", by=None, at=NOW)
        use(lot=lot, place=cast.stockroom, quantity=4, by=None, at=late)
        found = use_history(clinic=cast.clinic, since=TODAY, until=dt.date(2026, 5, 13))
        assert found == {cast.suture.pk: {dt.date(2026, 5, 12): 3, dt.date(2026, 5, 13): 4}}
        assert use_history(clinic=cast.clinic, since=TODAY, until=TODAY) == {cast.suture.pk: {TODAY: 3}}
        assert use_history(clinic=cast.other_clinic, since=TODAY, until=TODAY) == {}

    def test_a_corrected_use_leaves_no_trace(self, cast):
        lot = builders.shelved(cast.suture, cast.stockroom, 50)
        [used] = use(lot=lot, place=cast.stockroom, quantity=2, by=None, at=NOW)
        later = NOW + dt.timedelta(days=3)
        correct(entry=used, by=cast.manager, at=later, note="wrong lot")
        assert use_history(clinic=cast.clinic, since=TODAY, until=dt.date(2026, 6, 1)) == {}
