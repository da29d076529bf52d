"""Lots, opening stock and receipts. The receiving checks of tissue and cold goods are common practice."""

import datetime as dt
from decimal import Decimal

import pytest

from practice import audit
from practice.models import AuditEntry
from stock.consuming import use
from stock.correcting import correct
from stock.models import Balance, Entry, Lot
from stock.posting import KeyReused, UnitTwice, WrongQuantity
from stock.receiving import (
    AlreadyUsed,
    CheckMissing,
    LotDiffers,
    MustBeQuarantined,
    NotStocked,
    NumberMissing,
    WrongPlace,
    ensure_lot,
    open_stock,
    receive,
)
from tests import builders
from tests.builders import NOW, TODAY


def newest_sentence():
    return audit.sentence(AuditEntry.objects.first())


class TestEnsureLot:
    def test_a_new_lot_keeps_its_leading_zeros(self, cast):
        lot = ensure_lot(item=cast.membrane, lot_number=" 000123 ", expires_on=TODAY, label_as_scanned="x")
        assert (lot.lot_number, lot.expires_on, lot.serial) == ("000123", TODAY, "")

    def test_the_same_lot_again_is_the_same_row(self, cast):
        first = ensure_lot(item=cast.membrane, lot_number="000123", expires_on=TODAY)
        assert ensure_lot(item=cast.membrane, lot_number="000123", expires_on=TODAY) == first
        assert ensure_lot(item=cast.membrane, lot_number="000123") == first
        assert ensure_lot(item=cast.membrane, lot_number="123") != first
        assert ensure_lot(item=cast.larger_membrane, lot_number="000123") != first

    def test_what_was_not_known_is_filled_in(self, cast):
        ensure_lot(item=cast.membrane, lot_number="7")
        ensure_lot(item=cast.membrane, lot_number="7", expires_on=TODAY, made_on=TODAY)
        assert Lot.objects.values_list("expires_on", "made_on").get() == (TODAY, TODAY)

    @pytest.mark.parametrize("fact", ["expires_on", "made_on"])
    def test_another_date_is_refused(self, cast, fact):
        ensure_lot(item=cast.membrane, lot_number="7", **{fact: TODAY})
        with pytest.raises(LotDiffers, match="MEM-RC-2030 7 is recorded with .* 2026-05-12, but 2026-06-12"):
            ensure_lot(item=cast.membrane, lot_number="7", **{fact: dt.date(2026, 6, 12)})

    def test_a_serial_of_another_lot_is_refused(self, cast):
        ensure_lot(item=cast.implant, lot_number="L1", serial="S1")
        with pytest.raises(LotDiffers, match="lot number L1, but L2 was given"):
            ensure_lot(item=cast.implant, lot_number="L2", serial="S1")

    def test_units_of_one_lot_are_rows_of_their_own(self, cast):
        one, other = (
            ensure_lot(item=cast.implant, lot_number="L1", serial=serial) for serial in ("S1", "S2")
        )
        assert one != other

    @pytest.mark.parametrize(
        ("item", "given", "missing"),
        [
            ("membrane", {}, "lot number"),
            ("implant", {"lot_number": "L1"}, "serial number"),
            ("graft", {"lot_number": "L1", "donor_id": "D"}, "tissue unit code"),
        ],
    )
    def test_a_missing_number_is_refused(self, cast, item, given, missing):
        with pytest.raises(
            NumberMissing, match=f"by its {missing}, which is missing. Read it from the label"
        ):
            ensure_lot(item=getattr(cast, item), **given)

    def test_tissue_without_a_donor_is_traced_by_its_own_code(self, cast):
        assert ensure_lot(item=cast.graft, serial="HM-U-1").donor_id == "HM-U-1"
        assert ensure_lot(item=cast.graft, serial="HM-U-2", donor_id="HM-DON-1").donor_id == "HM-DON-1"

    def test_untracked_goods_have_one_lot_or_one_for_each_date(self, cast):
        plain = ensure_lot(item=cast.gauze)
        assert plain.lot_number == "" and ensure_lot(item=cast.gauze) == plain
        dated = ensure_lot(item=cast.gauze, expires_on=dt.date(2027, 5, 31))
        assert (dated.lot_number, dated.expires_on) == ("exp 2027-05-31", dt.date(2027, 5, 31))

    def test_reusable_sets_are_not_stock(self, cast):
        with pytest.raises(NotStocked, match="Record its load instead"):
            ensure_lot(item=cast.exam_set, lot_number="1")


class TestOpening:
    def test_it_works_and_says_so(self, cast):
        lot = builders.lot(cast.membrane)
        [entry] = open_stock(
            lot=lot, place=cast.cart, quantity=4, by=cast.manager, at=NOW, source="import:count"
        )
        assert (entry.kind, entry.quantity, entry.source) == ("opening", 4, "import:count")
        assert Balance.objects.get(lot=lot, place=cast.cart).quantity == 4
        assert newest_sentence() == f"Q. Marrowick entered 4 of {lot} as opening stock at Cart A1"

    @pytest.mark.parametrize("quantity", [0, -1, "2"])
    def test_a_wrong_quantity_is_refused(self, cast, quantity):
        with pytest.raises(WrongQuantity):
            open_stock(lot=builders.lot(cast.membrane), place=cast.cart, quantity=quantity, by=None, at=NOW)


class TestReceiving:
    def arrive(self, cast, lot, place=None, quantity=1, **facts):
        place = place or cast.stockroom
        return receive(lot=lot, place=place, quantity=quantity, by=cast.assistant, at=NOW, **facts)

    def test_it_works_notes_the_arrival_and_says_so(self, cast):
        lot = builders.lot(cast.membrane)
        [entry] = self.arrive(cast, lot, quantity=3, temperature_c=Decimal("21.5"), package_intact=True)
        lot.refresh_from_db()
        assert (entry.kind, entry.quantity) == ("receive", 3)
        assert (lot.received_at, lot.received_by) == (NOW, cast.assistant)
        assert (lot.temperature_c, lot.package_intact) == (Decimal("21.5"), True)
        assert newest_sentence() == f"J. Pellister received 3 of {lot} into Stockroom"

    def test_the_first_arrival_stays_on_the_lot(self, cast):
        lot = builders.lot(cast.membrane)
        self.arrive(cast, lot, package_intact=True)
        later = NOW + dt.timedelta(days=1)
        receive(lot=lot, place=cast.stockroom, quantity=1, by=cast.manager, at=later)
        lot.refresh_from_db()
        assert (lot.received_at, lot.received_by) == (NOW, cast.assistant)

    @pytest.mark.parametrize("name", ["tray", "loan"])
    def test_goods_do_not_arrive_on_a_tray(self, cast, name):
        with pytest.raises(WrongPlace, match="Choose a stockroom"):
            self.arrive(cast, builders.lot(cast.membrane), place=getattr(cast, name))

    def test_tissue_is_looked_at(self, cast):
        with pytest.raises(CheckMissing, match="say whether it is intact"):
            self.arrive(cast, builders.lot(cast.graft))
        assert not Entry.objects.exists()

    def test_a_damaged_package_goes_into_quarantine(self, cast):
        lot = builders.lot(cast.graft)
        with pytest.raises(MustBeQuarantined, match="arrived in a damaged package. Put it into quarantine"):
            self.arrive(cast, lot, package_intact=False)
        self.arrive(cast, lot, place=cast.quarantine, package_intact=False)
        assert Balance.objects.get(lot=lot).place == cast.quarantine

    @pytest.mark.parametrize(
        ("temperature", "refused"), [("1.9", True), ("2", False), ("8", False), ("8.1", True)]
    )
    def test_cold_goods_out_of_range_go_into_quarantine(self, cast, temperature, refused):
        item = builders.item(temperature_min_c=2, temperature_max_c=8)
        lot = builders.lot(item)
        if refused:
            with pytest.raises(MustBeQuarantined, match="outside 2 to 8 °C"):
                self.arrive(cast, lot, temperature_c=Decimal(temperature))
        else:
            self.arrive(cast, lot, temperature_c=Decimal(temperature))

    @pytest.mark.parametrize(("days", "refused"), [(-1, True), (0, False)])
    def test_goods_that_expired_go_into_quarantine(self, cast, days, refused):
        lot = builders.lot(cast.membrane, expires_on=TODAY + dt.timedelta(days=days))
        if refused:
            with pytest.raises(MustBeQuarantined, match="arrived after it expired on 2026-05-11"):
                self.arrive(cast, lot)
            self.arrive(cast, lot, place=cast.quarantine)
        else:
            self.arrive(cast, lot)

    def test_a_unit_arrives_once(self, cast):
        lot = builders.lot(cast.implant)
        self.arrive(cast, lot)
        with pytest.raises(UnitTwice):
            self.arrive(cast, lot)

    def test_a_used_unit_never_arrives_again(self, cast):
        """A serial is one piece: its label cannot come back (trade reference 3.9, number 22)."""
        lot = builders.lot(cast.implant)
        self.arrive(cast, lot)
        said = {"by": cast.assistant, "at": NOW}
        [used] = use(lot=lot, place=cast.stockroom, quantity=1, **said)
        with pytest.raises(AlreadyUsed, match="already used or discarded"):
            self.arrive(cast, lot)
        correct(entry=used, note="scanned twice", **said)
        assert Balance.objects.get(lot=lot, place=cast.stockroom).quantity == 1
        with pytest.raises(UnitTwice):
            self.arrive(cast, lot)

    def test_a_second_tap_changes_nothing(self, cast):
        lot = builders.lot(cast.membrane)
        assert self.arrive(cast, lot, key="tap") == self.arrive(cast, lot, key="tap")
        assert Balance.objects.get(lot=lot).quantity == 1
        with pytest.raises(KeyReused):
            self.arrive(cast, lot, quantity=2, key="tap")
