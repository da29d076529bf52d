"""Posting: entries, balances and chain together; never negative, units once, one key once, all or nothing."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from practice.models import AuditEntry
from stock.models import Balance, ChainHead, Entry
from stock.posting import (
    BadMoment,
    KeyReused,
    Movement,
    NotEnough,
    Posting,
    TooLong,
    UnitTwice,
    WrongQuantity,
    post,
    post_many,
    whole,
)
from stock.receiving import open_stock
from stock.verification import verify_ledger
from tests import builders
from tests.builders import NOW

Kind = Entry.Kind


@pytest.fixture
def membrane(cast):
    """Three membranes of one lot in the stockroom."""
    return builders.shelved(cast.membrane, cast.stockroom, 3)


def using(lot, place, quantity=1, **facts):
    return Posting([Movement(Kind.USE, lot, place, -quantity)], by=None, at=NOW, **facts)


def there(lot, place):
    return Balance.objects.get(lot=lot, place=place).quantity


def test_an_entry_follows_the_one_before_it(cast, membrane):
    first = Entry.objects.get()
    [entry] = post(
        movements=[Movement(Kind.USE, membrane, cast.stockroom, -1)],
        by=cast.assistant,
        at=NOW,
        source="case:C-1",
    )
    assert (first.sequence, first.previous_hash) == (1, "")
    assert (entry.sequence, entry.previous_hash) == (2, first.row_hash)
    assert (entry.clinic, entry.by, entry.source, entry.quantity) == (
        cast.clinic,
        cast.assistant,
        "case:C-1",
        -1,
    )
    head = ChainHead.objects.get(clinic=cast.clinic)
    assert (head.sequence, head.row_hash) == (2, entry.row_hash)
    assert there(membrane, cast.stockroom) == 2
    assert verify_ledger().is_sound


def test_clinics_have_chains_of_their_own(cast, membrane):
    builders.shelved(cast.suture, cast.other_stockroom, 5)
    sequences = Entry.objects.order_by("id").values_list("clinic__code", "sequence")
    assert list(sequences) == [("A", 1), ("B", 1)]


def test_the_last_units_can_be_taken_and_no_more(cast, membrane):
    post_many(postings=[using(membrane, cast.stockroom, 3)])
    with pytest.raises(NotEnough) as refused:
        post_many(postings=[using(membrane, cast.stockroom)])
    assert str(refused.value) == (
        f"None of {membrane} is at Stockroom, but 1 is to be taken. Take another lot, or count the place."
    )
    assert there(membrane, cast.stockroom) == 0


def test_a_refused_posting_leaves_nothing_behind(cast, membrane):
    with pytest.raises(NotEnough, match="Only 2 of .* are at Stockroom, but 4 are to be taken"):
        post(
            movements=[
                Movement(Kind.USE, membrane, cast.stockroom, -1),
                Movement(Kind.USE, membrane, cast.stockroom, -4),
            ],
            by=None,
            at=NOW,
        )
    assert Entry.objects.count() == 1
    assert ChainHead.objects.get(clinic=cast.clinic).sequence == 1
    assert there(membrane, cast.stockroom) == 3


def test_units_of_one_movement_may_feed_the_next(cast, membrane):
    post(
        movements=[
            Movement(Kind.MOVE_OUT, membrane, cast.stockroom, -2),
            Movement(Kind.MOVE_IN, membrane, cast.tray, 2),
            Movement(Kind.USE, membrane, cast.tray, -2),
        ],
        by=None,
        at=NOW,
    )
    assert (there(membrane, cast.stockroom), there(membrane, cast.tray)) == (1, 0)


class TestUnits:
    def test_a_unit_cannot_come_twice(self, cast):
        implant = builders.shelved(cast.implant, cast.stockroom)
        with pytest.raises(
            UnitTwice, match=r"exists only once and already lies at Stockroom \(Skellowick Road\)"
        ):
            open_stock(lot=implant, place=cast.fridge, quantity=1, by=None, at=NOW)

    def test_nor_at_another_clinic(self, cast):
        graft = builders.shelved(cast.graft, cast.stockroom)
        with pytest.raises(UnitTwice):
            open_stock(lot=graft, place=cast.other_stockroom, quantity=1, by=None, at=NOW)
        assert Entry.objects.count() == 1

    def test_nor_two_at_once(self, cast):
        graft = builders.lot(cast.graft)
        with pytest.raises(UnitTwice, match="already lies at Stockroom"):
            open_stock(lot=graft, place=cast.stockroom, quantity=2, by=None, at=NOW)

    def test_it_may_move_to_another_clinic(self, cast):
        implant = builders.shelved(cast.implant, cast.stockroom)
        post(
            movements=[
                Movement(Kind.MOVE_OUT, implant, cast.stockroom, -1),
                Movement(Kind.MOVE_IN, implant, cast.other_stockroom, 1),
            ],
            by=None,
            at=NOW,
        )
        assert there(implant, cast.other_stockroom) == 1
        assert verify_ledger().is_sound

    def test_lots_without_serials_may_lie_anywhere(self, cast, membrane):
        open_stock(lot=membrane, place=cast.other_stockroom, quantity=5, by=None, at=NOW)
        assert verify_ledger().is_sound


class TestKeys:
    def test_the_same_again_returns_the_first_entries(self, cast, membrane):
        first = open_stock(lot=membrane, place=cast.cart, quantity=2, by=None, at=NOW, key="form-1")
        audits = AuditEntry.objects.count()
        later = NOW + dt.timedelta(minutes=1)
        again = open_stock(
            lot=membrane, place=cast.cart, quantity=2, by=cast.assistant, at=later, key="form-1"
        )
        assert [entry.pk for entry in again] == [entry.pk for entry in first]
        assert there(membrane, cast.cart) == 2
        assert AuditEntry.objects.count() == audits

    def test_with_something_else_it_is_refused(self, cast, membrane):
        open_stock(lot=membrane, place=cast.cart, quantity=2, by=None, at=NOW, key="form-1")
        with pytest.raises(KeyReused, match="Something else was already recorded under “form-1”"):
            open_stock(lot=membrane, place=cast.cart, quantity=3, by=None, at=NOW, key="form-1")
        assert there(membrane, cast.cart) == 2

    @pytest.mark.parametrize(("first", "second"), [(1, 2), (2, 1)])
    def test_more_or_fewer_movements_are_something_else(self, cast, membrane, first, second):
        movement = Movement(Kind.USE, membrane, cast.stockroom, -1)
        post(movements=[movement] * first, by=None, at=NOW, key="k")
        with pytest.raises(KeyReused):
            post(movements=[movement] * second, by=None, at=NOW, key="k")

    def test_a_key_covers_every_movement_of_its_posting(self, cast, membrane):
        movement = Movement(Kind.USE, membrane, cast.stockroom, -1)
        first = post(movements=[movement] * 3, by=None, at=NOW, key="k")
        assert [entry.key for entry in first] == ["k", "k/2", "k/3"]
        assert post(movements=[movement] * 3, by=None, at=NOW, key="k") == first

    def test_within_one_bulk_the_second_is_the_first(self, cast, membrane):
        twice = [using(membrane, cast.stockroom, key="row-1")] * 2
        assert post_many(postings=twice) == 1
        assert there(membrane, cast.stockroom) == 2


class TestForm:
    def test_nothing_is_recorded_before_it_happened(self, cast, membrane):
        early = NOW - dt.timedelta(minutes=1)
        with pytest.raises(BadMoment, match="when it is recorded"):
            post_many(postings=[using(membrane, cast.stockroom, recorded_at=early)])

    def test_a_late_entry_is_flagged(self, cast, membrane):
        movement = [Movement(Kind.USE, membrane, cast.stockroom, -1)]
        evening, tomorrow = NOW + dt.timedelta(hours=10), NOW + dt.timedelta(hours=30)
        [same_day] = post(movements=movement, by=None, at=NOW, recorded_at=evening)
        [late] = post(movements=movement, by=None, at=NOW, recorded_at=tomorrow)
        assert (same_day.is_late, late.is_late) == (False, True)

    def test_moments_carry_their_zone(self, cast, membrane):
        movement = [Movement(Kind.USE, membrane, cast.stockroom, -1)]
        with pytest.raises(ValueError, match="time zone"):
            post(movements=movement, by=None, at=NOW.replace(tzinfo=None))

    @pytest.mark.parametrize("facts", [{"source": "s" * 81}, {"key": "k" * 91}])
    def test_what_does_not_fit_is_refused(self, cast, membrane, facts):
        with pytest.raises(TooLong, match="Shorten it"):
            post_many(postings=[using(membrane, cast.stockroom, **facts)])

    def test_nor_a_note_that_does_not_fit(self, cast, membrane):
        with pytest.raises(TooLong, match="The note has 201 characters; 200 fit"):
            post(
                movements=[Movement(Kind.USE, membrane, cast.stockroom, -1, note="n" * 201)], by=None, at=NOW
            )

    @pytest.mark.parametrize("quantity", [0, -1, 1.0, True, "3", None])
    def test_a_quantity_is_a_whole_number(self, quantity):
        with pytest.raises(WrongQuantity, match="at least 1"):
            whole(quantity)


class TestMany:
    def test_many_postings_are_one_chain_in_their_order(self, cast):
        lot = builders.shelved(cast.gloves, cast.stockroom, 5000)
        moments = [NOW + dt.timedelta(seconds=n) for n in range(2500)]
        postings = [
            Posting([Movement(Kind.USE, lot, cast.stockroom, -1)], by=None, at=at, source="demo", key=f"d{n}")
            for n, at in enumerate(moments)
        ]
        told = []
        assert post_many(postings=iter(postings), progress=told.append) == 2500
        assert told == [1000, 2000, 2500]
        assert list(Entry.objects.order_by("sequence").values_list("at", flat=True)[1:]) == moments
        assert there(lot, cast.stockroom) == 2500
        report = verify_ledger()
        assert (report.entries, report.differences) == (2501, [])
        assert post_many(postings=postings) == 0

    def test_one_refusal_refuses_all(self, cast, membrane):
        good = [using(membrane, cast.stockroom)] * 3
        with pytest.raises(NotEnough):
            post_many(postings=[*good, using(membrane, cast.stockroom)])
        assert there(membrane, cast.stockroom) == 3
        assert Entry.objects.count() == 1

    def test_queries_hang_on_chunks_not_on_postings(self, cast):
        lot = builders.shelved(cast.gloves, cast.stockroom, 500)
        with CaptureQueriesContext(
            connection,
        ) as few:
            post_many(postings=[using(lot, cast.stockroom)] * 2)
        with CaptureQueriesContext(connection) as many:
            post_many(postings=[using(lot, cast.stockroom)] * 40)
        assert len(many) <= len(few) + 2
