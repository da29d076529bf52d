"""Use, waste, return, lend, borrow."""

import pytest

from practice import audit
from practice.models import AuditEntry
from stock.consuming import (
    NotALoanPlace,
    PartnerMissing,
    ReasonMissing,
    borrow,
    lend,
    return_to_supplier,
    use,
    waste,
)
from stock.holds import recall
from stock.models import Balance, Entry
from stock.moving import move
from stock.posting import NotEnough, UnitTwice, WrongQuantity
from tests import builders
from tests.builders import NOW


@pytest.fixture
def lot(cast):
    return builders.shelved(cast.membrane, cast.stockroom, 3)


def there(lot, place):
    return Balance.objects.get(lot=lot, place=place).quantity


def said():
    return audit.sentence(AuditEntry.objects.first())


@pytest.mark.parametrize(
    ("verb", "facts", "kind", "sentence"),
    [
        (use, {"source": "case:C-1"}, "use", "used 2 of {lot} from Stockroom"),
        (waste, {"reason": "dropped"}, "waste", "wasted 2 of {lot} from Stockroom: dropped or contaminated"),
        (return_to_supplier, {}, "return", "returned 2 of {lot} from Stockroom to the supplier"),
    ],
)
class TestLeaving:
    def test_it_works_and_says_so(self, cast, lot, verb, facts, kind, sentence):
        [entry] = verb(
            lot=lot, place=cast.stockroom, quantity=2, by=cast.assistant, at=NOW, note="n", **facts
        )
        assert (entry.kind, entry.quantity, entry.note) == (kind, -2, "n")
        assert entry.source == facts.get("source", "")
        assert there(lot, cast.stockroom) == 1
        assert said() == f"J. Pellister {sentence.format(lot=lot)}"

    def test_not_enough(self, cast, lot, verb, facts, kind, sentence):
        with pytest.raises(NotEnough):
            verb(lot=lot, place=cast.stockroom, quantity=4, by=None, at=NOW, **facts)
        with pytest.raises(NotEnough):
            verb(lot=lot, place=cast.fridge, quantity=1, by=None, at=NOW, **facts)
        assert Entry.objects.count() == 1

    def test_nothing(self, cast, lot, verb, facts, kind, sentence):
        with pytest.raises(WrongQuantity):
            verb(lot=lot, place=cast.stockroom, quantity=0, by=None, at=NOW, **facts)

    def test_a_second_tap_changes_nothing(self, cast, lot, verb, facts, kind, sentence):
        for _ in range(2):
            verb(lot=lot, place=cast.stockroom, quantity=2, by=None, at=NOW, key="tap", **facts)
        assert there(lot, cast.stockroom) == 1
        assert AuditEntry.objects.count() == 2


def test_what_was_used_is_recorded_even_if_recalled_meanwhile(cast, lot):
    recall(lot=lot, reason="letter", by=cast.manager, at=NOW)
    use(lot=lot, place=cast.stockroom, quantity=1, by=cast.assistant, at=NOW, source="case:C-1")
    assert there(lot, cast.stockroom) == 2


@pytest.mark.parametrize("reason", ["", "bored"])
def test_waste_needs_a_reason_of_the_list(cast, lot, reason):
    with pytest.raises(ReasonMissing, match="Choose one of: opened, not used, dropped or contaminated"):
        waste(lot=lot, place=cast.stockroom, quantity=1, reason=reason, by=None, at=NOW)


class TestLending:
    def lending(self, cast, lot, **facts):
        facts = {"loan_place": cast.loan, "partner": "Wenlowe Oral Surgery"} | facts
        return lend(lot=lot, place=cast.stockroom, quantity=1, by=cast.manager, at=NOW, **facts)

    def test_lent_units_stay_in_view_and_come_back(self, cast, lot):
        out, into = self.lending(cast, lot)
        assert (out.kind, into.kind, into.place) == ("lend", "move-in", cast.loan)
        assert there(lot, cast.loan) == 1
        assert said() == f"Q. Marrowick lent 1 of {lot} from Stockroom to Wenlowe Oral Surgery"
        move(lot=lot, from_place=cast.loan, to_place=cast.stockroom, quantity=1, by=cast.manager, at=NOW)
        assert (there(lot, cast.loan), there(lot, cast.stockroom)) == (0, 3)

    def test_a_lent_unit_still_exists_once(self, cast):
        graft = builders.shelved(cast.graft, cast.stockroom)
        self.lending(cast, graft)
        with pytest.raises(UnitTwice, match="On loan"):
            borrow(lot=graft, place=cast.stockroom, quantity=1, partner="Wenlowe", by=None, at=NOW)

    def test_only_to_a_place_for_loans(self, cast, lot):
        with pytest.raises(NotALoanPlace, match="Choose the clinic's place for loans"):
            self.lending(cast, lot, loan_place=cast.cart)

    def test_to_somebody(self, cast, lot):
        with pytest.raises(PartnerMissing):
            self.lending(cast, lot, partner=" ")

    def test_not_enough(self, cast, lot):
        use(lot=lot, place=cast.stockroom, quantity=3, by=None, at=NOW)
        with pytest.raises(NotEnough):
            self.lending(cast, lot)


class TestBorrowing:
    def test_it_works_and_is_given_back(self, cast):
        lot = builders.lot(cast.membrane)
        [entry] = borrow(
            lot=lot, place=cast.stockroom, quantity=2, partner="Wenlowe", by=cast.manager, at=NOW
        )
        assert (entry.kind, entry.quantity, entry.note) == ("borrow", 2, "from Wenlowe")
        assert said() == f"Q. Marrowick borrowed 2 of {lot} from Wenlowe into Stockroom"
        return_to_supplier(lot=lot, place=cast.stockroom, quantity=2, by=cast.manager, at=NOW)
        assert there(lot, cast.stockroom) == 0

    def test_from_somebody(self, cast):
        with pytest.raises(PartnerMissing, match="Name the clinic"):
            borrow(lot=builders.lot(cast.membrane), place=cast.cart, quantity=1, partner="", by=None, at=NOW)

    def test_something(self, cast):
        with pytest.raises(WrongQuantity):
            borrow(lot=builders.lot(cast.membrane), place=cast.cart, quantity=0, partner="W", by=None, at=NOW)
