"""Orders: the list, one order, and its way from made to received, by who may do which step."""

import datetime as dt
import io

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from stock.arrivals import take_in
from stock.models import ItemForecast, Order
from stock.ordering import approve, cancel, make_orders, send
from tests import builders
from tests.builders import NOW, TODAY

pytestmark = pytest.mark.usefixtures("the_day")


def made(cast, item, packs=1, clinic=None):
    choices = [(item.suppliers.get(), packs, "It will run short on 20 May.")]
    [order] = make_orders(clinic=clinic or cast.clinic, choices=choices, by=cast.manager, at=NOW)
    return order


def text_of(client, order, name="order"):
    answer = client.get(reverse(name, args=[order.number]))
    assert answer.status_code == 200
    return answer.content.decode()


def now(order):
    order.refresh_from_db()
    return order


def test_an_order_goes_its_way_from_made_to_received(cast, sign_in):
    order = made(cast, cast.membrane, 2)
    client = sign_in(cast.manager)
    assert "Approve 290.00" in text_of(client, order)
    client.post(reverse("order_approve", args=[order.number]))
    assert now(order).state == Order.State.APPROVED
    assert "Mark as sent" in text_of(client, order)
    client.post(reverse("order_send", args=[order.number]))
    assert now(order).state == Order.State.SENT
    assert f"{reverse('stock_receive')}?order={order.number}" in text_of(client, order)
    take_in(
        item=cast.membrane,
        lot_number="L1",
        place=cast.stockroom,
        quantity=2,
        by=cast.assistant,
        at=NOW,
        order_line=order.lines.get(),
    )
    shown = text_of(client, order)
    assert now(order).state == Order.State.RECEIVED
    assert "What arrived" in shown and "L1" in shown and "Cancel the order" not in shown


def test_above_the_limit_two_different_managers_approve(cast, sign_in):
    order = made(cast, cast.membrane, 3)  # 435.00, the limit is 400
    first = sign_in(cast.manager)
    assert "Above 400.00 two managers approve." in text_of(first, order)
    first.post(reverse("order_approve", args=[order.number]))
    assert now(order).state == Order.State.PROPOSED
    assert "a second manager has to approve it too" in text_of(first, order)
    again = first.post(reverse("order_approve", args=[order.number]), follow=True)
    assert "Ask a colleague." in again.content.decode()
    assert now(order).state == Order.State.PROPOSED
    second = sign_in(cast.second_manager)
    assert "Q. Marrowick approved it; it is above 400.00" in text_of(second, order)
    second.post(reverse("order_approve", args=[order.number]))
    assert now(order).state == Order.State.APPROVED
    assert now(order).second_approved_by == cast.second_manager


def test_a_step_out_of_turn_is_refused_in_words(cast, sign_in):
    order = made(cast, cast.membrane)
    client = sign_in(cast.manager)
    answer = client.post(reverse("order_send", args=[order.number]), follow=True)
    assert "is to approve, so it cannot be sent" in answer.content.decode()
    client.post(reverse("order_cancel", args=[order.number]))
    assert now(order).state == Order.State.CANCELLED
    answer = client.post(reverse("order_approve", args=[order.number]), follow=True)
    assert "is cancelled, so it cannot be approved" in answer.content.decode()


def test_units_and_packs_stand_side_by_side_and_long_cover_is_marked(cast, sign_in):
    order = made(cast, cast.suture, 3)
    ItemForecast.objects.create(
        clinic=cast.clinic,
        item=cast.suture,
        starts_on=TODAY,
        made_at=NOW,
        stamp="x",
        on_hand=0,
        usable=0,
        expected_use_30d=9,
        expected_use_90d=27,  # 0.3 a day, so 36 pieces last 17 weeks
    )
    shown = text_of(sign_in(cast.reader), order)
    assert "36 pieces" in shown and "of 12" in shown
    assert "17 weeks of use" in shown


def test_the_workbook_is_the_order(cast, sign_in):
    order = made(cast, cast.suture, 3)
    answer = sign_in(cast.reader).get(reverse("order_workbook", args=[order.number]))
    assert answer["Content-Disposition"] == f'attachment; filename="{order.number}.xlsx"'
    sheet = load_workbook(io.BytesIO(answer.content)).active
    cells = [[cell.value for cell in row] for row in sheet.iter_rows()]
    assert ["SUT-PT4", cast.suture.name, "SUT-PT4", 3, 12, 36, 138, 414] in cells


def test_the_sheet_prints_the_order_and_says_when_it_is_a_draft(cast, sign_in):
    order = made(cast, cast.suture, 2)
    client = sign_in(cast.reader)
    assert "Draft, not an order yet" in text_of(client, order, "order_sheet")
    send(order=approve(order=order, by=cast.manager, at=NOW), by=cast.manager, at=NOW)
    shown = text_of(client, order, "order_sheet")
    assert "Purchase order" in shown and "276.00" in shown and "Draft" not in shown


def test_a_reader_sees_everything_and_can_do_nothing(cast, sign_in):
    order = made(cast, cast.membrane)
    client = sign_in(cast.reader)
    shown = text_of(client, order)
    assert "Approve" not in shown and "Cancel the order" not in shown
    for name in ("order_approve", "order_send", "order_cancel"):
        assert client.post(reverse(name, args=[order.number])).status_code == 403
    assert now(order).state == Order.State.PROPOSED


@pytest.mark.parametrize("name", ["order", "order_sheet", "order_workbook"])
def test_an_order_of_another_clinic_is_not_there(cast, sign_in, name):
    order = made(cast, cast.membrane, clinic=cast.other_clinic)
    assert sign_in(cast.reader).get(reverse(name, args=[order.number])).status_code == 404
    assert sign_in(cast.stranger).get(reverse(name, args=[order.number])).status_code == 403


@pytest.mark.parametrize("name", ["order_approve", "order_send", "order_cancel"])
def test_steps_are_posts_of_managers(cast, sign_in, name):
    order = made(cast, cast.membrane)
    assert sign_in(cast.manager).get(reverse(name, args=[order.number])).status_code == 405
    for who in (cast.assistant, cast.clinician, cast.administrator, cast.stranger):
        assert sign_in(who).post(reverse(name, args=[order.number])).status_code == 403
    assert sign_in(cast.manager).post(reverse(name, args=["PO-99999"])).status_code == 404


def test_the_list_is_filtered_searched_and_saved(cast, sign_in):
    first, second = made(cast, cast.membrane), made(cast, cast.implant)
    made(cast, cast.membrane, clinic=cast.other_clinic)
    cancel(order=second, by=cast.manager, at=NOW)
    client = sign_in(cast.reader)

    def numbers(**asked):
        table = client.get(reverse("orders"), asked).context["table"]
        return [row.record.number for row in table.rows]

    assert numbers() == [second.number, first.number]
    assert numbers(state="cancelled") == [second.number]
    assert numbers(supplier=cast.general.pk) == [first.number]
    assert numbers(q="collagen") == [first.number]
    assert numbers(q="tindrell") == [second.number]
    assert numbers(state="no-such-state") == [second.number, first.number]
    assert numbers(sort="price") == [first.number, second.number]
    saved = client.get(reverse("orders"), {"export": "csv", "q": "collagen"}).content.decode("utf-8-sig")
    assert saved.splitlines()[1].startswith(f"{first.number},Brambleforth Surgical Supply,1,145.00,GBP,")
    assert client.get(reverse("orders"), {"export": "xlsx"}).content[:2] == b"PK"


def test_the_saved_list_gives_days_of_the_clinic(cast, sign_in):
    order = made(cast, cast.membrane)
    # Half past eleven at night by UTC is the next day in London's summer.
    Order.objects.filter(pk=order.pk).update(created_at=NOW.replace(hour=23, minute=30))
    answer = sign_in(cast.manager).get(reverse("orders"), {"export": "csv"})
    assert (TODAY + dt.timedelta(days=1)).isoformat() in answer.content.decode()


def test_an_empty_list_says_what_to_do(cast, sign_in):
    assert "Approve what is proposed" in sign_in(cast.reader).get(reverse("orders")).content.decode()


@pytest.mark.parametrize("name", ["orders", "order"])
def test_queries_do_not_grow_with_the_rows(cast, sign_in, name):
    client = sign_in(cast.manager)
    order = made(cast, cast.membrane)
    address = reverse(name, args=[order.number] if name == "order" else [])
    client.get(address)

    def queries():
        with CaptureQueriesContext(connection) as seen:
            assert client.get(address).status_code == 200
        return len(seen)

    at_one = queries()
    for _ in range(19):
        item = builders.item()
        builders.supplier_item(cast.general, item)
        made(cast, item)
        order.lines.create(
            supplier_item=item.suppliers.get(),
            packs=1,
            pack_size=1,
            pack_price=item.suppliers.get().pack_price,
        )
    assert queries() == at_one
