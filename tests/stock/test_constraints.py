"""Every constraint of stock's tables, tried past the verbs with bulk_create, by its name."""

import datetime as dt
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from stock.models import (
    Balance,
    ClinicItem,
    Entry,
    Item,
    ItemCode,
    ItemForecast,
    Lot,
    Order,
    OrderLine,
    Place,
    PriceBreak,
    Proposal,
    Supplier,
    SupplierItem,
)
from tests import builders
from tests.builders import NOW, TODAY
from tests.bulk_writing import accepts, refuses


def item(**facts):
    return Item(code=facts.pop("code", "X-1"), name="X", category="Others", **facts)


class TestCatalogue:
    @pytest.mark.parametrize(
        ("name", "facts"),
        [
            ("item_tracking_known", {"tracking": "smell"}),
            ("item_criticality_known", {"criticality": "D"}),
            ("item_supply_mode_known", {"supply_mode": "stolen"}),
            ("item_approver_known", {"substitution_approver": "anybody"}),
            ("item_human_tissue_is_logged", {"human_tissue": True, "tissue_log_needed": False}),
        ],
    )
    def test_items(self, db, name, facts):
        refuses(name, item(**facts))

    def test_tissue_that_is_logged_is_fine(self, db):
        accepts(item(human_tissue=True, tissue_log_needed=True))

    def test_a_code_names_one_item(self, cast):
        code = {"standard": "GS1", "value": "02999000104321"}
        refuses(
            "item_code_names_one_item", ItemCode(item=cast.suture, **code), ItemCode(item=cast.gauze, **code)
        )
        accepts(ItemCode(item=cast.suture, standard="HIBC", value="02999000104314"))

    @pytest.mark.parametrize(
        ("name", "facts"),
        [
            ("supplier_code_once", {"supplier_code": "SUT-PT4"}),
            ("supplier_item_pack_not_empty", {"pack_size": 0}),
            ("supplier_item_price_not_negative", {"pack_price": Decimal("-0.01")}),
            ("supplier_item_minimum_one_pack", {"minimum_packs": 0}),
        ],
    )
    def test_supplier_items(self, cast, name, facts):
        facts = {"supplier_code": "NEW", "pack_price": Decimal("1")} | facts
        refuses(name, SupplierItem(supplier=cast.general, item=cast.suture, **facts))

    def test_suppliers_have_names_of_their_own(self, cast):
        with pytest.raises(IntegrityError), transaction.atomic():
            Supplier.objects.bulk_create([Supplier(name=cast.general.name)])

    def test_price_breaks(self, cast):
        sold = cast.suture.suppliers.get()
        rows = [PriceBreak(supplier_item=sold, from_packs=5, pack_price=price) for price in (3, 2)]
        refuses("price_break_once", *rows)

    def test_clinic_items(self, cast):
        rows = [ClinicItem(clinic=cast.clinic, item=cast.suture, keep_at_least=n) for n in (1, 2)]
        refuses("clinic_item_once", *rows)


class TestPlacesAndLots:
    def test_places(self, cast):
        refuses("place_kind_known", Place(clinic=cast.clinic, name="Attic", kind="attic"))
        refuses("place_name_once_per_clinic", Place(clinic=cast.clinic, name="Stockroom"))

    def test_lots(self, cast):
        refuses("lot_decision_known", Lot(item=cast.suture, lot_number="1", decision="lost"))
        refuses("lot_once_per_item", *[Lot(item=cast.suture, lot_number="1") for _ in range(2)])
        accepts(Lot(item=cast.suture, lot_number="1"), Lot(item=cast.gloves, lot_number="1"))

    def test_serials(self, cast):
        rows = [Lot(item=cast.implant, lot_number=number, serial="S1") for number in ("1", "2")]
        refuses("lot_serial_once_per_item", *rows)
        accepts(rows[0], Lot(item=cast.wider_implant, lot_number="1", serial="S1"))

    def test_expiry(self, cast):
        day = dt.timedelta(days=1)
        refuses(
            "lot_expiry_after_made",
            Lot(item=cast.suture, lot_number="1", made_on=TODAY, expires_on=TODAY - day),
        )
        accepts(
            Lot(item=cast.suture, lot_number="2", made_on=TODAY, expires_on=TODAY),
            Lot(item=cast.suture, lot_number="3", made_on=TODAY),
            Lot(item=cast.suture, lot_number="4", expires_on=TODAY - day),
        )


class TestLedger:
    @pytest.fixture
    def entry(self, cast):
        """Make an unsaved entry that would follow the first one."""
        lot = builders.shelved(cast.suture, cast.stockroom, 5)

        def make(**facts):
            values = {
                "clinic": cast.clinic,
                "sequence": 2,
                "kind": "use",
                "lot": lot,
                "place": cast.stockroom,
                "quantity": -1,
                "at": NOW,
                "recorded_at": NOW,
                "previous_hash": "",
                "row_hash": "",
            }
            return Entry(**values | facts)

        return make

    @pytest.mark.parametrize(
        ("name", "facts"),
        [
            ("entry_kind_known", {"kind": "stolen"}),
            ("entry_reason_known", {"reason": "bored"}),
            ("entry_sequence_once_per_clinic", {"sequence": 1}),
            ("entry_quantity_not_zero", {"kind": "put-back", "quantity": 0}),
            ("entry_waste_has_reason", {"kind": "waste"}),
            ("entry_recorded_after_it_happened", {"recorded_at": NOW - dt.timedelta(microseconds=1)}),
        ],
    )
    def test_entries(self, entry, name, facts):
        refuses(name, entry(**facts))

    @pytest.mark.parametrize(
        ("kinds", "sign"),
        [
            (["opening", "receive", "move-in", "borrow"], 1),
            (["move-out", "use", "waste", "return", "lend"], -1),
        ],
    )
    def test_signs_fit_kinds(self, entry, kinds, sign):
        for kind in kinds:
            refuses("entry_sign_fits_kind", entry(kind=kind, quantity=-sign, reason="dropped"))
        accepts(
            *[
                entry(kind=kind, quantity=sign, reason="dropped", sequence=n)
                for n, kind in enumerate(kinds, 2)
            ]
        )

    def test_put_backs_counts_and_corrections_have_either_sign(self, entry):
        first = Entry.objects.get()
        accepts(
            entry(kind="put-back", quantity=1),
            entry(kind="put-back", quantity=-1, sequence=3),
            entry(kind="count-correction", quantity=1, sequence=4),
            entry(kind="count-correction", quantity=-1, sequence=5),
            entry(kind="opening", quantity=-5, sequence=6, corrects=first),
        )

    def test_a_correction_of_waste_needs_no_reason(self, entry):
        accepts(entry(kind="waste", quantity=1, corrects=Entry.objects.get()))

    def test_an_entry_is_corrected_once(self, entry):
        first = Entry.objects.get()
        refuses("entry_corrected_once", *[entry(corrects=first, sequence=number) for number in (2, 3)])

    def test_a_key_is_used_once(self, entry):
        with pytest.raises(IntegrityError), transaction.atomic():
            Entry.objects.bulk_create([entry(key="tap"), entry(key="tap", sequence=3)])

    def test_balances(self, cast):
        lot = builders.shelved(cast.suture, cast.stockroom, 5)
        refuses("balance_once_per_lot_and_place", Balance(lot=lot, place=cast.stockroom, quantity=1))
        refuses("balance_never_negative", Balance(lot=lot, place=cast.cart, quantity=-1))
        with pytest.raises(IntegrityError, match="balance_never_negative"), transaction.atomic():
            Balance.objects.update(quantity=-1)


class TestOrders:
    def order(self, cast, **facts):
        values = {"clinic": cast.clinic, "supplier": cast.general, "number": "PO-1", "created_at": NOW}
        return Order(**values | facts)

    @pytest.mark.parametrize(
        ("name", "facts"),
        [
            ("order_state_known", {"state": "lost", "approved_at": NOW}),
            ("order_approved_before_sent", {"state": "approved"}),
            ("order_sent_has_moment", {"state": "sent", "approved_at": NOW}),
            ("order_sent_has_moment", {"state": "received", "approved_at": NOW}),
        ],
    )
    def test_states(self, cast, name, facts):
        refuses(name, self.order(cast, **facts))

    def test_two_approvers_are_two_people(self, cast):
        both = {"approved_by": cast.manager, "second_approved_by": cast.manager}
        refuses("order_approvers_differ", self.order(cast, **both))
        accepts(
            self.order(cast, approved_by=cast.manager, second_approved_by=cast.second_manager),
            self.order(cast, number="PO-2", approved_by=cast.manager),
            self.order(cast, number="PO-3"),
        )

    def test_lines(self, cast):
        order = Order.objects.create(clinic=cast.clinic, supplier=cast.general, number="PO-1", created_at=NOW)
        facts = {
            "order": order,
            "supplier_item": cast.suture.suppliers.get(),
            "pack_size": 12,
            "pack_price": Decimal("1"),
        }
        refuses("order_line_packs_not_zero", OrderLine(packs=0, **facts))
        refuses("order_line_once_per_item", *[OrderLine(packs=1, **facts) for _ in range(2)])


class TestPlanning:
    def test_proposals(self, cast):
        facts = {
            "clinic": cast.clinic,
            "supplier_item": cast.suture.suppliers.get(),
            "order_by_on": TODAY,
            "reason": "r",
        }
        refuses("proposal_packs_not_zero", Proposal(packs=0, **facts))
        refuses("proposal_once_per_item", *[Proposal(packs=1, **facts) for _ in range(2)])

    def test_forecasts(self, cast):
        def forecast():
            return ItemForecast(
                clinic=cast.clinic,
                item=cast.suture,
                starts_on=TODAY,
                made_at=NOW,
                stamp="s",
                on_hand=1,
                usable=1,
                expected_use_30d=0.5,
                expected_use_90d=1.5,
            )

        refuses("forecast_once_per_item", forecast(), forecast())
