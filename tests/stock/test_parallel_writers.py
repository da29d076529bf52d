"""Real parallel writers, each with a database connection of its own, on whichever database the run uses.

What must hold is arithmetic: of n writers that each take one of k units, exactly k succeed.
"""

import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection, transaction

from practice.refusals import Refusal
from stock.correcting import AlreadyCorrected, correct
from stock.holds import hold
from stock.models import Balance, Entry, Order
from stock.moving import NotUsable, move
from stock.ordering import approve, make_orders, receive_line, send
from stock.posting import Movement, NotEnough, UnitTwice, post
from stock.receiving import ensure_lot, open_stock
from stock.verification import verify_ledger
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db(transaction=True)

WRITERS = 10


@pytest.fixture
def cast(transactional_db):
    return builders.cast()


def at_once(*jobs):
    """Start all jobs together, each in a thread with its own connection; return results or refusals."""
    gate = threading.Barrier(len(jobs))

    def run(job):
        gate.wait()
        try:
            return job()
        except Refusal as refusal:
            return refusal
        finally:
            connection.close()

    with ThreadPoolExecutor(max_workers=len(jobs)) as pool:
        return [future.result(timeout=60) for future in [pool.submit(run, job) for job in jobs]]


def refusals(results):
    return [result for result in results if isinstance(result, Refusal)]


def assert_sound():
    report = verify_ledger()
    assert report.is_sound, report.differences
    assert not Balance.objects.filter(quantity__lt=0).exists()


def test_only_as_many_succeed_as_there_are_units(cast):
    lot = builders.shelved(cast.membrane, cast.stockroom, 7)

    def take():
        return post(movements=[Movement(Entry.Kind.USE, lot, cast.stockroom, -1)], by=None, at=NOW)

    refused = refusals(at_once(*[take] * WRITERS))
    assert [type(refusal) for refusal in refused] == [NotEnough] * (WRITERS - 7)
    assert Balance.objects.get(lot=lot, place=cast.stockroom).quantity == 0
    assert list(Entry.objects.order_by("sequence").values_list("sequence", flat=True)) == list(range(1, 9))
    assert_sound()


def test_the_very_first_writers_of_a_clinic_make_one_chain(cast):
    lot = builders.lot(cast.suture)

    def opening():
        return open_stock(lot=lot, place=cast.stockroom, quantity=2, by=None, at=NOW)

    assert refusals(at_once(*[opening] * WRITERS)) == []
    assert Balance.objects.get(lot=lot).quantity == 2 * WRITERS
    assert_sound()


def test_a_unit_arrives_at_one_clinic_only(cast):
    lot = builders.lot(cast.graft)
    places = [cast.stockroom, cast.other_stockroom] * (WRITERS // 2)

    def arrive(place):
        return lambda: open_stock(lot=lot, place=place, quantity=1, by=None, at=NOW)

    refused = refusals(at_once(*[arrive(place) for place in places]))
    assert [type(refusal) for refusal in refused] == [UnitTwice] * (WRITERS - 1)
    assert Entry.objects.count() == 1
    assert_sound()


def test_one_key_is_written_once(cast):
    lot = builders.lot(cast.suture)

    def opening():
        return open_stock(lot=lot, place=cast.stockroom, quantity=1, by=None, at=NOW, key="tap")

    results = at_once(*[opening] * WRITERS)
    assert len({entry.pk for [entry] in results}) == 1
    assert Balance.objects.get(lot=lot).quantity == 1
    assert_sound()


def test_one_key_at_two_clinics_is_written_once(cast):
    lot = builders.lot(cast.suture)
    places = [cast.stockroom, cast.other_stockroom] * (WRITERS // 2)

    def arrive(place):
        return lambda: open_stock(lot=lot, place=place, quantity=1, by=None, at=NOW, key="tap")

    refused = refusals(at_once(*[arrive(place) for place in places]))
    assert len(refused) == WRITERS // 2
    assert all("“tap”" in str(refusal) for refusal in refused)
    assert Entry.objects.count() == 1
    assert_sound()


def test_transfers_in_both_directions_do_not_wait_in_a_circle(cast):
    lot = builders.shelved(cast.gloves, cast.stockroom, 50)
    open_stock(lot=lot, place=cast.other_stockroom, quantity=50, by=None, at=NOW)

    def transfer(start, end):
        return lambda: [
            move(lot=lot, from_place=start, to_place=end, quantity=1, by=None, at=NOW) for _ in range(4)
        ]

    there, back = (
        transfer(cast.stockroom, cast.other_stockroom),
        transfer(cast.other_stockroom, cast.stockroom),
    )
    assert refusals(at_once(*[there, back] * (WRITERS // 2))) == []
    assert set(Balance.objects.values_list("quantity", flat=True)) == {50}
    assert_sound()


def test_units_moved_both_ways_stay_one(cast):
    """Unit locks and chain locks are taken in one order, whichever clinic a writer starts from."""
    units = [builders.shelved(cast.implant, cast.stockroom) for _ in range(4)]

    def swap(unit, start, end):
        return lambda: move(lot=unit, from_place=start, to_place=end, quantity=1, by=None, at=NOW)

    jobs = [swap(unit, cast.stockroom, cast.other_stockroom) for unit in units]
    jobs += [swap(unit, cast.stockroom, cast.tray) for unit in units]
    assert len(refusals(at_once(*jobs))) == 4
    assert_sound()


def test_one_lot_is_made_once(cast):
    lots = at_once(
        *[lambda: ensure_lot(item=cast.membrane, lot_number="000123", expires_on=builders.TODAY)] * WRITERS
    )
    assert len({lot.pk for lot in lots}) == 1


def test_an_entry_is_corrected_once(cast):
    builders.shelved(cast.membrane, cast.stockroom, 9)
    entry = Entry.objects.get()

    def put_right():
        return correct(entry=Entry.objects.get(pk=entry.pk), by=cast.manager, at=NOW, note="counted twice")

    refused = refusals(at_once(*[put_right] * WRITERS))
    assert [type(refusal) for refusal in refused] == [AlreadyCorrected] * (WRITERS - 1)
    assert_sound()


def test_a_lot_being_held_goes_onto_no_tray(cast):
    lot = builders.shelved(cast.membrane, cast.stockroom, 3)
    held = threading.Event()

    def holding():
        with transaction.atomic():
            hold(lot=lot, reason="supplier's letter", by=cast.manager, at=NOW)
            held.set()
            time.sleep(0.3)

    def setting_out():
        held.wait()
        return move(lot=lot, from_place=cast.stockroom, to_place=cast.tray, quantity=1, by=None, at=NOW)

    [_, refused] = at_once(holding, setting_out)
    assert isinstance(refused, NotUsable)


def test_orders_made_at_once_have_numbers_of_their_own(cast):
    sold = cast.membrane.suppliers.get()

    def making():
        return make_orders(clinic=cast.clinic, choices=[(sold, 1, "")], by=cast.manager, at=NOW)

    assert refusals(at_once(*[making] * WRITERS)) == []
    numbers = Order.objects.order_by("number").values_list("number", flat=True)
    assert list(numbers) == [f"PO-{n:05d}" for n in range(1, WRITERS + 1)]


def test_no_more_arrives_on_a_line_than_was_ordered(cast):
    sold = cast.membrane.suppliers.get()
    [order] = make_orders(clinic=cast.clinic, choices=[(sold, 2, "")], by=cast.manager, at=NOW)
    approve(order=order, by=cast.manager, at=NOW)
    send(order=order, by=cast.manager, at=NOW)
    lot = builders.lot(cast.membrane)

    def arriving():
        line = order.lines.get()
        return receive_line(line=line, lot=lot, place=cast.stockroom, units=1, by=cast.assistant, at=NOW)

    assert len(refusals(at_once(*[arriving] * 6))) == 4
    order.refresh_from_db()
    assert (order.state, order.lines.get().units_received) == (Order.State.RECEIVED, 2)
    assert_sound()
