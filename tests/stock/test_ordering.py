"""Orders: one per supplier, guarded changes of state, two managers above the limit, receipts by line."""

import datetime as dt
from decimal import Decimal

import pytest

from practice import audit
from practice.models import AuditEntry, Policy
from stock.correcting import correct
from stock.models import Entry, Order, PriceBreak, Proposal
from stock.ordering import (
    BelowMinimum,
    NothingChosen,
    NotOnTheLine,
    SecondManagerNeeded,
    TooMany,
    WrongState,
    approve,
    cancel,
    make_orders,
    pack_price,
    receive_line,
    send,
    total,
)
from stock.posting import WrongQuantity
from tests import builders
from tests.builders import NOW

State = Order.State


def said():
    return [audit.sentence(entry) for entry in AuditEntry.objects.order_by("id")]


def make(cast, *choices):
    return make_orders(clinic=cast.clinic, choices=choices, by=cast.manager, at=NOW)


@pytest.fixture
def sold(cast):
    return {
        name: getattr(cast, name).suppliers.get()
        for name in ("membrane", "suture", "gloves", "graft", "implant")
    }


@pytest.fixture
def order(cast, sold):
    """Two membranes: 290.00, below the limit of 400."""
    [made] = make(cast, (sold["membrane"], 2, "two cases next week"))
    return made


@pytest.fixture
def sent(cast, order):
    approve(order=order, by=cast.manager, at=NOW)
    return send(order=order, by=cast.manager, at=NOW)


class TestMaking:
    def test_one_order_for_each_supplier(self, cast, sold):
        general, bank = make(
            cast, (sold["membrane"], 2, "why"), (sold["graft"], 1, "because"), (sold["suture"], 3, "")
        )
        assert [(o.number, o.state, str(o.supplier)) for o in (general, bank)] == [
            ("PO-00001", "proposed", "Brambleforth Surgical Supply"),
            ("PO-00002", "proposed", "Hathermoss Tissue Bank"),
        ]
        lines = [(line.packs, line.units, line.price, line.reason) for line in general.lines.all()]
        assert lines == [(2, 2, Decimal("290.00"), "why"), (3, 36, Decimal("414.00"), "")]
        assert total(general) == Decimal("704.00")
        assert said()[0] == "Q. Marrowick made PO-00001 to Brambleforth Surgical Supply for 704.00 GBP"

    def test_the_same_item_twice_is_one_line(self, cast, sold):
        [order] = make(cast, (sold["membrane"], 1, "a"), (sold["membrane"], 2, "b"))
        assert [(line.packs, line.reason) for line in order.lines.all()] == [(3, "a\nb")]

    def test_numbers_go_on(self, cast, sold, order):
        [other] = make(cast, (sold["graft"], 1, ""))
        assert other.number == "PO-00002"

    def test_what_was_chosen_is_no_longer_proposed(self, cast, sold):
        for clinic in (cast.clinic, cast.other_clinic):
            Proposal.objects.create(
                clinic=clinic, supplier_item=sold["membrane"], packs=1, order_by_on=builders.TODAY, reason="r"
            )
        make(cast, (sold["membrane"], 1, ""))
        assert [proposal.clinic for proposal in Proposal.objects.all()] == [cast.other_clinic]

    def test_nothing_chosen(self, cast):
        with pytest.raises(NothingChosen, match="Choose at least one line"):
            make(cast)

    @pytest.mark.parametrize("packs", [0, -1, 1.5, True])
    def test_a_wrong_number_of_packs(self, cast, sold, packs):
        with pytest.raises(WrongQuantity):
            make(cast, (sold["membrane"], packs, ""))

    def test_fewer_than_the_supplier_sells(self, cast, sold):
        with pytest.raises(BelowMinimum, match="from 2 packs on; 1 was chosen"):
            make(cast, (sold["membrane"], 1, ""), (sold["gloves"], 1, ""))
        assert not Order.objects.exists()

    @pytest.mark.parametrize(
        ("packs", "price"), [(1, "145.00"), (4, "145.00"), (5, "140.00"), (12, "131.50")]
    )
    def test_price_breaks(self, cast, sold, packs, price):
        PriceBreak.objects.create(supplier_item=sold["membrane"], from_packs=5, pack_price="140.00")
        PriceBreak.objects.create(supplier_item=sold["membrane"], from_packs=10, pack_price="131.50")
        assert pack_price(sold["membrane"], packs) == Decimal(price)
        [order] = make(cast, (sold["membrane"], packs, ""))
        assert order.lines.get().pack_price == Decimal(price)


class TestApproving:
    def test_up_to_the_limit_one_manager_will_do(self, cast, order):
        Policy.objects.update(approval_limit=Decimal("290.00"))
        approved = approve(order=order, by=cast.manager, at=NOW)
        assert (approved.state, approved.approved_by, approved.approved_at) == ("approved", cast.manager, NOW)
        assert approved.lines.get().expected_on == dt.date(2026, 5, 15)
        assert said()[-1] == "Q. Marrowick approved PO-00001 for 290.00 GBP"

    def test_above_it_a_second_one_has_to(self, cast, order):
        Policy.objects.update(approval_limit=Decimal("289.99"))
        once = approve(order=order, by=cast.manager, at=NOW)
        assert once.state == State.PROPOSED
        with pytest.raises(SecondManagerNeeded, match="above 289.99 GBP, so a second manager"):
            approve(order=order, by=cast.manager, at=NOW)
        with pytest.raises(WrongState, match="to approve, so it cannot be sent"):
            send(order=order, by=cast.manager, at=NOW)
        twice = approve(order=order, by=cast.second_manager, at=NOW)
        assert (twice.state, twice.second_approved_by) == ("approved", cast.second_manager)

    def test_the_system_is_no_second_manager(self, cast, order):
        Policy.objects.update(approval_limit=1)
        approve(order=order, by=cast.manager, at=NOW)
        with pytest.raises(SecondManagerNeeded):
            approve(order=order, by=None, at=NOW)

    def test_already_done(self, cast, order):
        approve(order=order, by=cast.manager, at=NOW)
        with pytest.raises(WrongState, match="PO-00001 is approved, so it cannot be approved"):
            approve(order=order, by=cast.manager, at=NOW)


class TestSendingAndCancelling:
    def test_sent(self, cast, order):
        approve(order=order, by=cast.manager, at=NOW)
        later = NOW + dt.timedelta(days=2)
        send(order=order, by=cast.manager, at=later)
        assert (order.state, order.sent_at) == ("sent", later)
        assert order.lines.get().expected_on == dt.date(2026, 5, 17)
        assert said()[-1] == "Q. Marrowick sent PO-00001 to Brambleforth Surgical Supply"

    def test_the_day_is_the_clinic_s_own(self, cast, order):
        cast.clinic.time_zone = "Pacific/Auckland"
        cast.clinic.save()
        order.refresh_from_db()
        approve(order=order, by=cast.manager, at=dt.datetime(2026, 5, 12, 13, tzinfo=dt.UTC))
        assert order.lines.get().expected_on == dt.date(2026, 5, 16)

    def test_already_sent(self, cast, sent):
        written = AuditEntry.objects.count()
        with pytest.raises(WrongState, match="is sent, so it cannot be sent"):
            send(order=sent, by=cast.manager, at=NOW)
        assert AuditEntry.objects.count() == written

    def test_an_old_copy_of_the_order_changes_nothing(self, cast, order):
        stale = Order.objects.get(pk=order.pk)
        cancel(order=order, by=cast.manager, at=NOW)
        with pytest.raises(WrongState, match="is cancelled, so it cannot be cancelled"):
            cancel(order=stale, by=cast.manager, at=NOW)

    def test_cancelled(self, cast, sent):
        cancel(order=sent, by=cast.manager, at=NOW)
        assert (sent.state, sent.cancelled_at) == ("cancelled", NOW)
        assert said()[-1] == "Q. Marrowick cancelled PO-00001"


class TestReceiving:
    def arrive(self, cast, order, units=1, lot=None, place=None, **facts):
        line = order.lines.get()
        lot = lot or builders.lot(cast.membrane)
        place = place or cast.stockroom
        return receive_line(line=line, lot=lot, place=place, units=units, by=cast.assistant, at=NOW, **facts)

    def state(self, order):
        order.refresh_from_db()
        return order.state, order.lines.get().units_received

    def test_partly_and_then_whole(self, cast, sent):
        lot = builders.lot(cast.membrane)
        [entry] = self.arrive(cast, sent, lot=lot)
        assert (entry.source, entry.kind) == ("order:PO-00001", "receive")
        assert self.state(sent) == ("part-received", 1)
        self.arrive(cast, sent)
        assert self.state(sent) == ("received", 2)
        assert sent.received_at == NOW
        lot.refresh_from_db()
        assert (lot.supplier, lot.unit_cost) == (cast.general, Decimal("145.00"))

    def test_a_unit_s_cost_is_its_share_of_the_pack(self, cast, sold):
        [order] = make(cast, (sold["suture"], 1, ""))
        approve(order=order, by=cast.manager, at=NOW)
        send(order=order, by=cast.manager, at=NOW)
        lot = builders.lot(cast.suture)
        self.arrive(cast, order, units=12, lot=lot)
        lot.refresh_from_db()
        assert lot.unit_cost == Decimal("11.50")

    def test_a_second_tap_changes_nothing(self, cast, sent):
        lot = builders.lot(cast.membrane)
        for _ in range(2):
            self.arrive(cast, sent, units=2, lot=lot, key="tap")
        assert self.state(sent) == ("received", 2)
        assert Entry.objects.count() == 1

    def test_more_than_ordered(self, cast, sent):
        with pytest.raises(TooMany, match="2 of .* are still to come on PO-00001, but 3 arrived"):
            self.arrive(cast, sent, units=3)
        self.arrive(cast, sent)
        with pytest.raises(TooMany, match="1 of .* is still to come"):
            self.arrive(cast, sent, units=2)
        assert self.state(sent) == ("part-received", 1)

    def test_another_item_or_clinic(self, cast, sent):
        with pytest.raises(NotOnTheLine, match="Choose the line that fits"):
            self.arrive(cast, sent, lot=builders.lot(cast.suture))
        with pytest.raises(NotOnTheLine):
            self.arrive(cast, sent, place=cast.other_stockroom)
        assert not Entry.objects.exists()

    @pytest.mark.parametrize("state", ["proposed", "approved", "cancelled", "received"])
    def test_only_on_a_sent_order(self, cast, order, state):
        moments = {"approved_at": NOW, "sent_at": NOW}
        Order.objects.filter(pk=order.pk).update(state=state, **moments)
        with pytest.raises(WrongState):
            self.arrive(cast, order)

    def test_a_corrected_receipt_is_to_come_again(self, cast, sent):
        [entry] = self.arrive(cast, sent, units=2)
        correct(entry=entry, by=cast.manager, at=NOW, note="wrong clinic's parcel")
        assert self.state(sent) == ("sent", 0)
        assert sent.received_at is None
        self.arrive(cast, sent, units=2)
        assert self.state(sent) == ("received", 2)

    def test_two_pack_sizes_of_one_item(self, cast, sold):
        box = builders.supplier_item(
            cast.general, cast.membrane, supplier_code="BOX5", pack_size=5, price="600.00"
        )
        [order] = make(cast, (sold["membrane"], 2, ""), (box, 1, ""))
        approve(order=order, by=cast.manager, at=NOW)
        approve(order=order, by=cast.second_manager, at=NOW)
        send(order=order, by=cast.manager, at=NOW)
        line = order.lines.get(supplier_item=box)
        lot = builders.lot(cast.membrane)
        receive_line(line=line, lot=lot, place=cast.stockroom, units=5, by=cast.assistant, at=NOW)
        assert list(order.lines.values_list("units_received", flat=True)) == [2, 3]

    def test_an_arrived_order_is_not_cancelled(self, cast, sent):
        self.arrive(cast, sent)
        with pytest.raises(WrongState, match="partly received, so it cannot be cancelled"):
            cancel(order=sent, by=cast.manager, at=NOW)
