"""Receive: a scan fills the form, the form takes goods in once, and refusals are words."""

import datetime as dt

import pytest
from django.urls import reverse

from stock.models import Balance, Item, ItemCode, Lot, Order, Place
from stock.ordering import approve, make_orders, send
from tests.builders import NOW

pytestmark = pytest.mark.usefixtures("the_day")
# GS1 element strings (GS1 General Specifications: AI 01 GTIN, 17 expiry, 10 lot, 21 serial); the numbers
# are invented, the GTINs from the range GS1 keeps for use inside a company.
MEMBRANE = "(01)02999000104314(17)290331(10)L30001"
ADDRESS = "stock_receive"


def order_of(cast, item, packs, *, to=Order.State.SENT):
    [order] = make_orders(
        clinic=cast.clinic, choices=[(item.suppliers.get(), packs, "short")], by=cast.manager, at=NOW
    )
    order = approve(order=order, by=cast.manager, at=NOW)
    if order.state == Order.State.PROPOSED:
        order = approve(order=order, by=cast.second_manager, at=NOW)
    return send(order=order, by=cast.manager, at=NOW) if to == Order.State.SENT else order


def arrived(cast, **facts):
    plain = {
        "key": "k-1",
        "item": "MEM-RC-2030",
        "lot_number": "L30001",
        "expires_on": "2029-03-31",
        "quantity": 2,
        "place": cast.stockroom.pk,
    }
    return plain | facts


def there(number, place):
    row = Balance.objects.filter(lot__lot_number=number, place=place).first()
    return row.quantity if row else 0


def test_a_scan_fills_item_lot_expiry_and_the_order_it_came_on(cast, sign_in):
    order = order_of(cast, cast.membrane, 4)
    answer = sign_in(cast.assistant).get(reverse(ADDRESS), {"code": MEMBRANE})
    first = answer.context["form"].initial
    assert (first["item"], first["lot_number"], first["expires_on"]) == (
        "MEM-RC-2030",
        "L30001",
        dt.date(2029, 3, 31),
    )
    assert first["order_line"] == order.lines.get().pk


def test_what_was_scanned_is_taken_in_against_its_order(cast, sign_in):
    order = order_of(cast, cast.membrane, 4)
    sent = arrived(cast, order_line=order.lines.get().pk, label_as_scanned=MEMBRANE)
    answer = sign_in(cast.assistant).post(f"{reverse(ADDRESS)}?order={order.number}", sent, follow=True)
    assert there("L30001", cast.stockroom) == 2
    order.refresh_from_db()
    assert (order.state, order.lines.get().units_received) == (Order.State.PART_RECEIVED, 2)
    lot = Lot.objects.get(lot_number="L30001")
    assert (lot.supplier, lot.received_by, lot.label_as_scanned) == (cast.general, cast.assistant, MEMBRANE)
    assert "2 pieces of MEM-RC-2030 L30001 lie at Stockroom. Scan the next." in answer.content.decode()
    # The next scan goes on with the same order and place.
    [(address, _)] = answer.redirect_chain
    assert f"order={order.number}" in address and f"place={cast.stockroom.pk}" in address


def test_the_same_form_sent_twice_receives_once(cast, sign_in):
    client = sign_in(cast.assistant)
    for _ in range(2):
        client.post(reverse(ADDRESS), arrived(cast))
    assert there("L30001", cast.stockroom) == 2


def test_goods_without_an_order_are_received_too(cast, sign_in):
    sign_in(cast.manager).post(reverse(ADDRESS), arrived(cast))
    assert there("L30001", cast.stockroom) == 2


def test_more_than_is_to_come_is_refused_and_leaves_no_lot_behind(cast, sign_in):
    order = order_of(cast, cast.membrane, 1)
    answer = sign_in(cast.assistant).post(
        reverse(ADDRESS), arrived(cast, order_line=order.lines.get().pk, quantity=2)
    )
    assert answer.status_code == 409
    assert "1 of MEM-RC-2030" in answer.content.decode() and "but 2 arrived" in answer.content.decode()
    assert not Lot.objects.filter(lot_number="L30001").exists()


def test_an_order_that_is_not_sent_yet_is_not_offered(cast, sign_in):
    order = order_of(cast, cast.membrane, 1, to=Order.State.APPROVED)
    client = sign_in(cast.assistant)
    assert client.get(reverse(ADDRESS), {"code": MEMBRANE}).context["form"].initial["order_line"] is None
    answer = client.post(reverse(ADDRESS), arrived(cast, order_line=order.lines.get().pk))
    assert answer.status_code == 422


def test_a_pack_of_twelve_is_said_in_units(cast, sign_in):
    ItemCode.objects.create(item=cast.suture, value="02999000104307")
    order_of(cast, cast.suture, 2)
    form = (
        sign_in(cast.assistant).get(reverse(ADDRESS), {"code": "(01)02999000104307(10)S-1"}).context["form"]
    )
    assert form.initial["quantity"] == 12
    assert form.fields["quantity"].help_text == "Single units, not packs: 1 pack is 12 pieces."


def test_tissue_asks_for_the_state_of_its_package_and_keeps_its_donor(cast, sign_in):
    client = sign_in(cast.assistant)
    unit = arrived(
        cast, item="GRF-AL-050", lot_number="HM-1", serial="HM-U-1", donor_id="HM-DON-0007", quantity=1
    )
    answer = client.post(reverse(ADDRESS), unit)
    assert answer.status_code == 409
    assert "say whether it is intact" in answer.content.decode()
    client.post(reverse(ADDRESS), unit | {"package_intact": "yes", "temperature_c": "21.5", "key": "k-2"})
    lot = Lot.objects.get(serial="HM-U-1")
    assert (lot.donor_id, lot.package_intact, str(lot.temperature_c)) == ("HM-DON-0007", True, "21.5")


def test_a_damaged_package_goes_into_quarantine_only(cast, sign_in):
    client = sign_in(cast.assistant)
    damaged = arrived(cast, package_intact="no")
    answer = client.post(reverse(ADDRESS), damaged)
    assert answer.status_code == 409
    assert "Put it into quarantine and ask the supplier." in answer.content.decode()
    client.post(reverse(ADDRESS), damaged | {"place": cast.quarantine.pk})
    assert there("L30001", cast.quarantine) == 2


def test_a_serial_number_that_is_here_already_is_refused(cast, sign_in):
    client = sign_in(cast.assistant)
    unit = arrived(cast, item="IMP-CR-4310", serial="00417", quantity=1)
    client.post(reverse(ADDRESS), unit)
    answer = client.post(reverse(ADDRESS), unit | {"key": "k-2", "place": cast.cart.pk})
    assert answer.status_code == 409
    assert "exists only once" in answer.content.decode()


def test_a_lot_with_another_expiry_than_recorded_is_refused(cast, sign_in):
    client = sign_in(cast.assistant)
    client.post(reverse(ADDRESS), arrived(cast))
    answer = client.post(reverse(ADDRESS), arrived(cast, key="k-2", expires_on="2029-04-30"))
    assert answer.status_code == 409
    assert "is recorded with expiry 2029-03-31, but 2029-04-30 was given" in answer.content.decode()


def test_a_missing_lot_number_and_an_unknown_item_are_named(cast, sign_in):
    client = sign_in(cast.assistant)
    answer = client.post(reverse(ADDRESS), arrived(cast, lot_number=""))
    assert (answer.status_code, "lot number, which is missing" in answer.content.decode()) == (409, True)
    answer = client.post(reverse(ADDRESS), arrived(cast, item="NO-SUCH"))
    assert (answer.status_code, "No item has this code." in answer.content.decode()) == (422, True)


def test_what_is_out_of_date_on_arrival_goes_into_quarantine(cast, sign_in):
    client = sign_in(cast.assistant)
    old = arrived(cast, expires_on="2026-05-01")
    answer = client.post(reverse(ADDRESS), old)
    assert (answer.status_code, "arrived after it expired" in answer.content.decode()) == (409, True)
    client.post(reverse(ADDRESS), old | {"place": cast.quarantine.pk})
    assert there("L30001", cast.quarantine) == 2


def test_what_is_inside_its_safety_days_is_said(cast, sign_in):
    Item.objects.filter(pk=cast.membrane.pk).update(safety_days=30)
    soon = arrived(cast, expires_on="2026-05-20")
    answer = sign_in(cast.assistant).post(reverse(ADDRESS), soon, follow=True)
    assert "already past its last day of use" in answer.content.decode()


def test_an_unknown_code_says_so_and_keeps_what_was_read(cast, sign_in):
    answer = sign_in(cast.assistant).get(reverse(ADDRESS), {"code": "(01)02999000104321(10)X-1"})
    assert answer.status_code == 404
    assert "belongs to no item of the catalogue" in answer.content.decode()
    assert answer.context["form"].initial["lot_number"] == "X-1"


def test_a_label_that_contradicts_itself_fills_nothing(cast, sign_in):
    answer = sign_in(cast.assistant).get(reverse(ADDRESS), {"code": "(01)02999000104315(10)X-1"})
    assert answer.status_code == 404
    assert "cannot be relied upon" in answer.content.decode()
    assert "lot_number" not in answer.context["form"].initial


def test_goods_come_to_a_shelf_of_this_clinic(cast, sign_in):
    client = sign_in(cast.assistant)
    for place in (cast.tray, cast.loan, cast.other_stockroom):
        assert client.post(reverse(ADDRESS), arrived(cast, place=place.pk)).status_code == 422
    offered = client.get(reverse(ADDRESS)).context["form"].fields["place"].queryset
    assert {place.kind for place in offered} == {*Place.PICKABLE, Place.Kind.QUARANTINE}


def test_the_page_lists_what_is_expected_with_units_and_packs(cast, sign_in):
    order_of(cast, cast.suture, 2)
    text = sign_in(cast.assistant).get(reverse(ADDRESS)).content.decode()
    assert "24 pieces, 2 packs of 12" in text


def test_who_may_receive(cast, sign_in):
    order = order_of(cast, cast.membrane, 1)
    for who in (cast.clinician, cast.reader, cast.administrator, cast.stranger):
        assert sign_in(who).get(reverse(ADDRESS)).status_code == 403
        assert sign_in(who).post(reverse(ADDRESS), arrived(cast)).status_code == 403
    assert sign_in(cast.other_assistant).get(reverse(ADDRESS), {"order": order.number}).status_code == 404
    assert sign_in(cast.assistant).put(reverse(ADDRESS)).status_code == 405
    assert not Lot.objects.filter(lot_number="L30001").exists()
