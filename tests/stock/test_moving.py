"""Moving and putting back: works, audit, twice, not enough, held lots stay out of reach."""

import pytest

from practice import audit
from practice.models import AuditEntry
from stock.holds import hold, recall, release
from stock.models import Balance, Entry
from stock.moving import NotUsable, SamePlace, move, put_back
from stock.posting import NotEnough, WrongQuantity
from tests import builders
from tests.builders import NOW


@pytest.fixture
def lot(cast):
    return builders.shelved(cast.membrane, cast.stockroom, 3)


def there(lot):
    return {row.place.name: row.quantity for row in Balance.objects.filter(lot=lot).select_related("place")}


def moving(cast, lot, start, end, quantity=1, **facts):
    return move(
        lot=lot, from_place=start, to_place=end, quantity=quantity, by=cast.assistant, at=NOW, **facts
    )


class TestMove:
    def test_it_works_and_says_so(self, cast, lot):
        out, into = moving(cast, lot, cast.stockroom, cast.tray, 2, source="case:C-1", note="early")
        assert (out.kind, out.quantity, out.place) == ("move-out", -2, cast.stockroom)
        assert (into.kind, into.quantity, into.place) == ("move-in", 2, cast.tray)
        assert {out.source, into.source} == {"case:C-1"} and {out.note, into.note} == {"early"}
        assert there(lot) == {"Stockroom": 1, "Tray A1": 2}
        said = audit.sentence(AuditEntry.objects.first())
        assert said == f"J. Pellister moved 2 of {lot} from Stockroom to Tray A1"

    def test_to_another_clinic(self, cast, lot):
        out, into = moving(cast, lot, cast.stockroom, cast.other_stockroom)
        assert (out.clinic, into.clinic) == (cast.clinic, cast.other_clinic)

    def test_a_second_tap_changes_nothing(self, cast, lot):
        first = moving(cast, lot, cast.stockroom, cast.tray, key="tap")
        assert moving(cast, lot, cast.stockroom, cast.tray, key="tap") == first
        assert there(lot) == {"Stockroom": 2, "Tray A1": 1}

    def test_a_second_tap_after_a_hold_still_answers(self, cast, lot):
        first = moving(cast, lot, cast.stockroom, cast.tray, key="tap")
        hold(lot=lot, reason="letter", by=cast.manager, at=NOW)
        assert moving(cast, lot, cast.stockroom, cast.tray, key="tap") == first

    def test_not_enough(self, cast, lot):
        with pytest.raises(NotEnough):
            moving(cast, lot, cast.stockroom, cast.tray, 4)
        assert there(lot) == {"Stockroom": 3}
        assert AuditEntry.objects.count() == 1

    def test_nowhere(self, cast, lot):
        with pytest.raises(SamePlace, match="already lie at Stockroom. Choose another place"):
            moving(cast, lot, cast.stockroom, cast.stockroom)

    def test_nothing(self, cast, lot):
        with pytest.raises(WrongQuantity):
            moving(cast, lot, cast.stockroom, cast.tray, 0)

    @pytest.mark.parametrize(("decide", "word"), [(hold, "held"), (recall, "recalled")])
    def test_a_held_lot_goes_onto_no_tray(self, cast, lot, decide, word):
        decide(lot=lot, reason="supplier's letter", by=cast.manager, at=NOW)
        with pytest.raises(NotUsable, match=rf"is {word} \(supplier's letter\) and may not go to Tray A1"):
            moving(cast, lot, cast.stockroom, cast.tray)

    def test_the_caller_s_old_copy_of_the_lot_does_not_help(self, cast, lot):
        stale = type(lot).objects.get(pk=lot.pk)
        hold(lot=lot, reason="letter", by=cast.manager, at=NOW)
        with pytest.raises(NotUsable):
            moving(cast, stale, cast.stockroom, cast.tray)

    def test_a_held_lot_goes_into_quarantine_and_stays(self, cast, lot):
        hold(lot=lot, reason="letter", by=cast.manager, at=NOW)
        moving(cast, lot, cast.stockroom, cast.quarantine, 3)
        with pytest.raises(NotUsable):
            moving(cast, lot, cast.quarantine, cast.stockroom)
        release(lot=lot, by=cast.manager, at=NOW, reason="all clear")
        moving(cast, lot, cast.quarantine, cast.stockroom)
        assert there(lot) == {"Stockroom": 1, "Quarantine": 2}


class TestPutBack:
    def back(self, cast, lot, quantity=1, **facts):
        return put_back(
            lot=lot,
            tray=cast.tray,
            place=cast.stockroom,
            quantity=quantity,
            by=cast.assistant,
            at=NOW,
            **facts,
        )

    def test_it_works_and_says_so(self, cast, lot):
        moving(cast, lot, cast.stockroom, cast.tray, 2)
        out, into = self.back(cast, lot, source="case:C-1")
        assert {out.kind, into.kind} == {Entry.Kind.PUT_BACK}
        assert (out.quantity, out.place, into.quantity, into.place) == (-1, cast.tray, 1, cast.stockroom)
        assert there(lot) == {"Stockroom": 2, "Tray A1": 1}
        assert "back sealed from Tray A1 to Stockroom" in audit.sentence(AuditEntry.objects.first())

    def test_twice_only_with_units(self, cast, lot):
        moving(cast, lot, cast.stockroom, cast.tray, 1)
        self.back(cast, lot)
        with pytest.raises(NotEnough):
            self.back(cast, lot)

    def test_a_held_lot_may_leave_the_tray(self, cast, lot):
        moving(cast, lot, cast.stockroom, cast.tray, 1)
        hold(lot=lot, reason="letter", by=cast.manager, at=NOW)
        self.back(cast, lot)
        assert there(lot) == {"Stockroom": 3, "Tray A1": 0}

    def test_onto_the_tray_itself(self, cast, lot):
        with pytest.raises(SamePlace):
            put_back(lot=lot, tray=cast.tray, place=cast.tray, quantity=1, by=None, at=NOW)
