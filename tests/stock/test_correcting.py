"""Corrections are new entries; a count puts the ledger right; tissue that is missing is an incident."""

import datetime as dt

import pytest

from practice import audit
from practice.models import AuditEntry
from stock.consuming import lend, use
from stock.correcting import AlreadyCorrected, NoteMissing, WrongCount, correct, correct_count
from stock.models import Balance, Entry
from stock.moving import move, put_back
from stock.posting import NotEnough, UnitTwice
from stock.receiving import open_stock
from stock.verification import verify_ledger
from tests import builders
from tests.builders import NOW

LATER = NOW + dt.timedelta(hours=2)


@pytest.fixture
def lot(cast):
    return builders.shelved(cast.membrane, cast.stockroom, 3)


def there(lot):
    rows = Balance.objects.filter(lot=lot, quantity__gt=0).select_related("place")
    return {row.place.name: row.quantity for row in rows}


def put_right(cast, entry, **facts):
    facts = {"note": "wrong lot scanned"} | facts
    return correct(entry=entry, by=cast.manager, at=LATER, **facts)


class TestCorrect:
    def test_a_use_is_reversed_and_says_so(self, cast, lot):
        [used] = use(lot=lot, place=cast.stockroom, quantity=2, by=None, at=NOW, source="case:C-1")
        [entry] = put_right(cast, used)
        assert (entry.kind, entry.quantity, entry.corrects, entry.reason) == ("use", 2, used, "mistake")
        assert entry.source == "case:C-1"
        assert there(lot) == {"Stockroom": 3}
        said = audit.sentence(AuditEntry.objects.first())
        assert said == f"Q. Marrowick corrected an entry of {lot} (used, -2): wrong lot scanned"
        assert verify_ledger().is_sound

    def test_both_halves_of_a_move(self, cast, lot):
        other = builders.shelved(cast.suture, cast.stockroom, 3)
        start = {"from_place": cast.stockroom, "to_place": cast.tray, "quantity": 1, "by": None, "at": NOW}
        move(lot=lot, **start)
        out, into = move(lot=lot, **start)
        move(lot=other, **start)
        entries = put_right(cast, into)
        assert [entry.corrects for entry in entries] == [into, out]
        assert there(lot) == {"Stockroom": 2, "Tray A1": 1}
        assert there(other) == {"Stockroom": 2, "Tray A1": 1}
        with pytest.raises(AlreadyCorrected):
            put_right(cast, out)

    def test_both_halves_of_a_transfer_of_a_unit(self, cast):
        unit = builders.shelved(cast.implant, cast.stockroom)
        [out, _] = move(
            lot=unit, from_place=cast.stockroom, to_place=cast.other_stockroom, quantity=1, by=None, at=NOW
        )
        put_right(cast, out)
        assert there(unit) == {"Stockroom": 1}
        assert verify_ledger().is_sound

    def test_both_halves_of_a_loan_and_of_a_put_back(self, cast, lot):
        facts = {"quantity": 1, "by": None, "at": NOW}
        lent = lend(lot=lot, place=cast.stockroom, loan_place=cast.loan, partner="Wenlowe", **facts)
        put_right(cast, lent[0])
        assert there(lot) == {"Stockroom": 3}
        move(lot=lot, from_place=cast.stockroom, to_place=cast.tray, **facts)
        back = put_back(lot=lot, tray=cast.tray, place=cast.stockroom, **facts)
        put_right(cast, back[1])
        assert there(lot) == {"Stockroom": 2, "Tray A1": 1}
        assert verify_ledger().is_sound

    def test_once_only(self, cast, lot):
        [used] = use(lot=lot, place=cast.stockroom, quantity=2, by=None, at=NOW)
        [reversal] = put_right(cast, used)
        with pytest.raises(AlreadyCorrected, match=f"Entry #{used.sequence} was already corrected"):
            put_right(cast, used)
        with pytest.raises(AlreadyCorrected, match="is itself a correction"):
            put_right(cast, reversal)

    def test_a_second_tap_changes_nothing(self, cast, lot):
        [used] = use(lot=lot, place=cast.stockroom, quantity=2, by=None, at=NOW)
        assert put_right(cast, used, key="tap") == put_right(cast, used, key="tap")
        assert there(lot) == {"Stockroom": 3}

    def test_not_without_a_note(self, cast, lot):
        with pytest.raises(NoteMissing, match="Say in a few words why the entry was wrong"):
            put_right(cast, Entry.objects.get(), note=" ")

    def test_not_when_the_units_are_gone(self, cast, lot):
        use(lot=lot, place=cast.stockroom, quantity=2, by=None, at=NOW)
        with pytest.raises(NotEnough):
            put_right(cast, Entry.objects.first())

    def test_not_when_the_unit_lies_elsewhere_by_now(self, cast):
        unit = builders.shelved(cast.implant, cast.stockroom)
        [used] = use(lot=unit, place=cast.stockroom, quantity=1, by=None, at=NOW)
        open_stock(lot=unit, place=cast.other_stockroom, quantity=1, by=None, at=NOW)
        with pytest.raises(UnitTwice):
            put_right(cast, used)


class TestCount:
    def count(self, cast, lot, counted, **facts):
        return correct_count(
            lot=lot, place=cast.stockroom, counted=counted, by=cast.manager, at=LATER, **facts
        )

    @pytest.mark.parametrize(("counted", "difference"), [(2, -1), (5, 2), (0, -3)])
    def test_the_ledger_follows_the_count_and_says_so(self, cast, lot, counted, difference):
        [entry] = self.count(cast, lot, counted)
        assert (entry.kind, entry.quantity, entry.reason) == ("count-correction", difference, "miscount")
        assert entry.source == "count"
        assert Balance.objects.get(lot=lot).quantity == counted
        said = audit.sentence(AuditEntry.objects.first())
        assert said == f"Q. Marrowick counted {counted} of {lot} at Stockroom where 3 were recorded"

    def test_a_right_count_writes_nothing(self, cast, lot):
        assert self.count(cast, lot, 3) == []
        assert Entry.objects.count() == 1

    def test_what_lay_nowhere_before(self, cast):
        lot = builders.lot(cast.suture)
        [entry] = self.count(cast, lot, 4)
        assert entry.quantity == 4

    def test_a_second_tap_changes_nothing(self, cast, lot):
        [first] = self.count(cast, lot, 2, key="tap")
        use(lot=lot, place=cast.stockroom, quantity=1, by=None, at=LATER)
        assert self.count(cast, lot, 2, key="tap") == [first]
        assert there(lot) == {"Stockroom": 1}

    @pytest.mark.parametrize("counted", [-1, 1.5, "2", True, None])
    def test_a_count_is_a_whole_number(self, cast, lot, counted):
        with pytest.raises(WrongCount, match="0 or more"):
            self.count(cast, lot, counted)

    def test_missing_tissue_is_an_incident(self, cast):
        graft = builders.shelved(cast.graft, cast.stockroom)
        with pytest.raises(NoteMissing, match="human tissue is missing or over"):
            self.count(cast, graft, 0)
        [entry] = self.count(cast, graft, 0, note="card of C-0007 found unentered; told Q. Marrowick")
        assert entry.quantity == -1

    def test_a_unit_is_counted_once(self, cast):
        implant = builders.shelved(cast.implant, cast.cart)
        with pytest.raises(UnitTwice):
            self.count(cast, implant, 1)
