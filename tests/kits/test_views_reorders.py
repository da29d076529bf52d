"""Reorders: what is proposed and why, choosing packs, approving, and what is refused."""

import datetime as dt
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from practice.models import AuditEntry
from stock.models import ClinicItem, Order, PriceBreak, SupplierItem
from stock.ordering import make_orders
from tests import builders
from tests.builders import NOW, TODAY
from tests.kits import builders_plan

pytestmark = pytest.mark.usefixtures("the_day")
HTMX = {"HTTP_HX_REQUEST": "true"}


def keep(cast, item, units=3):
    """Let the clinic keep so many of an item, whose units go out of date in nine days: it is proposed."""
    ClinicItem.objects.create(clinic=cast.clinic, item=item, keep_at_least=units)
    for _ in range(units if item.is_unit_tracked else 1):
        builders_plan.stock(cast, item, 1 if item.is_unit_tracked else units, last_day=8)
    return item.suppliers.get().pk


@pytest.fixture
def proposed(cast, sign_in):
    """Membranes and sutures run short; the manager has looked at the list."""
    ids = {"membrane": keep(cast, cast.membrane, 2), "suture": keep(cast, cast.suture)}
    sign_in(cast.manager).get(reverse("reorders"))
    return ids


def chosen(**packs):
    lines = [name.removeprefix("p") for name in packs]
    return {"line": lines} | {
        f"packs-{line}": number for line, number in zip(lines, packs.values(), strict=True)
    }


def packs(ids, **numbers):
    return chosen(**{f"p{ids[name]}": number for name, number in numbers.items()})


def page_of(client):
    answer = client.get(reverse("reorders"))
    assert answer.status_code == 200
    return answer


def test_the_list_groups_proposals_by_supplier_with_price_reason_and_sums(cast, proposed, sign_in):
    answer = page_of(sign_in(cast.manager))
    [part] = answer.context["list"].parts
    assert part.supplier == cast.general
    by_code = {line.item.code: line for line in part.lines}
    membrane, suture = by_code["MEM-RC-2030"], by_code["SUT-PT4"]
    assert (membrane.packs, membrane.price) == (2, Decimal("290.00"))
    assert (suture.packs, suture.says) == (1, "1 pack = 12 pieces")
    assert part.total == Decimal("428.00")
    text = answer.content.decode()
    assert "the least this clinic keeps" in text
    assert "Show the sums" in text and "Must lie in reach on 21 May" in text
    assert "1 order is above 400.00 and needs a second manager" in text


def test_a_case_that_causes_it_stands_in_the_reason(cast, sign_in):
    kind = builders_plan.procedure("SKG", (cast.membrane, 1, None))
    case = builders_plan.case(cast, kind, TODAY + dt.timedelta(days=3))
    [line] = page_of(sign_in(cast.manager)).context["list"].lines
    # One certain unit, none in stock: short for sure on the day of the case.
    assert case.code in line.proposal.reason and "15 May" in line.proposal.reason
    assert "None is in date by then" in line.proposal.reason


def test_one_touch_orders_what_is_chosen_and_approves_it(cast, proposed, sign_in):
    client = sign_in(cast.manager)
    answer = client.post(reverse("reorders_approve"), packs(proposed, membrane=2), follow=True)
    order = Order.objects.get()
    assert (order.state, order.approved_by, order.supplier) == (
        Order.State.APPROVED,
        cast.manager,
        cast.general,
    )
    [line] = order.lines.all()
    assert (line.packs, line.price) == (2, Decimal("290.00"))
    assert "must lie in reach" in line.reason
    assert answer.redirect_chain == [(reverse("order", args=[order.number]), 302)]
    # What was ordered is no longer proposed, what was left is.
    rest = [line.item.code for line in page_of(client).context["list"].lines]
    assert rest == ["SUT-PT4"]
    assert {"order.make", "order.approve"} <= set(AuditEntry.objects.values_list("action", flat=True))


def test_packs_can_be_changed_and_price_breaks_count(cast, proposed, sign_in):
    sold = SupplierItem.objects.get(pk=proposed["suture"])
    PriceBreak.objects.create(supplier_item=sold, from_packs=2, pack_price=Decimal("100.00"))
    sign_in(cast.manager).post(reverse("reorders_approve"), packs(proposed, suture=3))
    assert Order.objects.get().lines.get().price == Decimal("300.00")


def test_above_the_limit_it_waits_for_a_second_manager(cast, proposed, sign_in):
    answer = sign_in(cast.manager).post(
        reverse("reorders_approve"), packs(proposed, membrane=2, suture=1), follow=True
    )
    order = Order.objects.get()
    assert (order.state, order.approved_by) == (Order.State.PROPOSED, cast.manager)
    assert "a second manager has to approve it too" in answer.content.decode()
    text = page_of(sign_in(cast.second_manager)).content.decode()
    assert "approved by Q. Marrowick; a second manager is needed" in text
    assert reverse("order_approve", args=[order.number]) in text
    assert (
        reverse("order_approve", args=[order.number]) not in page_of(sign_in(cast.manager)).content.decode()
    )


def test_two_suppliers_become_two_orders(cast, sign_in):
    ids = {"membrane": keep(cast, cast.membrane, 1), "graft": keep(cast, cast.graft, 1)}
    client = sign_in(cast.manager)
    client.get(reverse("reorders"))
    answer = client.post(reverse("reorders_approve"), packs(ids, membrane=1, graft=1))
    assert answer["Location"] == reverse("reorders")
    assert Order.objects.count() == 2
    # Both stand at the top of the list, to be sent.
    assert [order.number for order in page_of(client).context["list"].in_hand] == ["PO-00001", "PO-00002"]


def test_the_same_choice_sent_twice_orders_once(cast, proposed, sign_in):
    client = sign_in(cast.manager)
    sent = packs(proposed, membrane=2)
    client.post(reverse("reorders_approve"), sent)
    answer = client.post(reverse("reorders_approve"), sent)
    assert answer.status_code == 409
    assert "No longer proposed: " + cast.membrane.name in answer.content.decode().replace("&#x27;", "'")
    assert Order.objects.count() == 1


def test_what_somebody_else_ordered_meanwhile_is_refused(cast, proposed, sign_in):
    sold = SupplierItem.objects.get(pk=proposed["membrane"])
    make_orders(clinic=cast.clinic, choices=[(sold, 2, "")], by=cast.second_manager, at=NOW)
    answer = sign_in(cast.manager).post(reverse("reorders_approve"), packs(proposed, membrane=2, suture=1))
    assert answer.status_code == 409
    assert Order.objects.count() == 1


@pytest.mark.parametrize("number", ["", "0", "-1", "2.5", "many", "1000000"])
def test_what_is_no_number_of_packs_is_refused_in_words(cast, proposed, sign_in, number):
    answer = sign_in(cast.manager).post(reverse("reorders_approve"), packs(proposed, membrane=number))
    assert answer.status_code == 409
    assert "is not a number of packs" in answer.content.decode()
    assert not Order.objects.exists()


def test_below_the_suppliers_minimum_is_refused_and_the_choice_is_kept(cast, sign_in):
    ids = {"gloves": keep(cast, cast.gloves, 20)}
    client = sign_in(cast.manager)
    client.get(reverse("reorders"))
    answer = client.post(reverse("reorders_approve"), packs(ids, gloves=1))
    assert answer.status_code == 409
    assert "from 2 packs on; 1 was chosen" in answer.content.decode()
    [line] = answer.context["list"].lines
    assert (line.packs, line.is_chosen) == (1, True)


def test_nothing_chosen_is_refused(cast, proposed, sign_in):
    answer = sign_in(cast.manager).post(reverse("reorders_approve"), {})
    assert answer.status_code == 409
    assert "Choose at least one line to order." in answer.content.decode()


def test_a_proposal_of_another_clinic_cannot_be_ordered_here(cast, sign_in):
    other = keep(cast, cast.membrane)
    elsewhere = sign_in(cast.manager, clinic=cast.other_clinic)
    assert page_of(elsewhere).context["list"].lines == []
    answer = elsewhere.post(reverse("reorders_approve"), chosen(**{f"p{other}": 1}))
    assert answer.status_code == 409
    assert not Order.objects.exists()


def test_the_sums_follow_each_change_in_place(cast, proposed, sign_in):
    answer = sign_in(cast.manager).post(reverse("reorders_sums"), packs(proposed, membrane=3), **HTMX)
    text = answer.content.decode()
    assert answer.status_code == 200
    assert "1 line chosen" in text and ">435.00</output>" in text
    assert f'id="sum-{proposed["membrane"]}" hx-swap-oob="true">435.00' in text
    # The line that is not chosen keeps its price and leaves the supplier's total.
    assert f'id="sum-{proposed["suture"]}" hx-swap-oob="true">138.00' in text
    assert "<html" not in text
    assert not Order.objects.exists()


def test_a_wrong_number_is_said_while_it_is_typed(cast, proposed, sign_in):
    answer = sign_in(cast.manager).post(reverse("reorders_sums"), packs(proposed, membrane="x"), **HTMX)
    assert answer.status_code == 422
    assert 'id="said" hx-swap-oob' in answer.content.decode()


def test_without_scripts_the_sums_come_with_the_whole_page(cast, proposed, sign_in):
    answer = sign_in(cast.manager).post(reverse("reorders_sums"), packs(proposed, membrane=3))
    assert answer.status_code == 200
    assert "<h1>To order</h1>" in answer.content.decode()
    assert answer.context["list"].total == Decimal("435.00")


def test_packs_taken_for_units_are_marked(cast, sign_in):
    kind = builders_plan.procedure("XTR", (cast.gloves, 1, None))
    for day in (1, 2, 3, 6, 7, 8):
        builders_plan.case(cast, kind, TODAY + dt.timedelta(days=day))
    client = sign_in(cast.manager)
    sold = cast.gloves.suppliers.get().pk
    assert [line.sold.pk for line in page_of(client).context["list"].lines] == [sold]
    # Six cases use six pairs in 90 days; 40 packs of 50 pairs last for decades.
    text = client.post(reverse("reorders_sums"), chosen(**{f"p{sold}": 40}), **HTMX).content.decode()
    assert "of use" in text


def test_free_freight_is_told(cast, proposed, sign_in):
    cast.general.freight_free_over = 500
    cast.general.save()
    client = sign_in(cast.manager)
    assert "72.00 more for free freight" in page_of(client).content.decode()
    more = client.post(reverse("reorders_sums"), packs(proposed, membrane=3, suture=1), **HTMX)
    assert "freight free over 500.00" in more.content.decode()


def test_an_empty_list_says_what_comes_next(cast, sign_in):
    text = page_of(sign_in(cast.manager)).content.decode()
    assert "Nothing has to be ordered now" in text
    assert "Every item is covered through the whole plan." in text


def test_a_reader_sees_the_list_and_cannot_act(cast, proposed, sign_in):
    client = sign_in(cast.reader)
    text = page_of(client).content.decode()
    assert "the least this clinic keeps" in text
    assert 'type="checkbox"' not in text and "Approve" not in text
    for name in ("reorders_approve", "reorders_sums"):
        assert client.post(reverse(name), packs(proposed, membrane=1)).status_code == 403
    assert not Order.objects.exists()


def test_strangers_assistants_and_wrong_methods(cast, proposed, sign_in):
    assert sign_in(cast.stranger).get(reverse("reorders")).status_code == 403
    assert sign_in(cast.manager).post(reverse("reorders")).status_code == 405
    for name in ("reorders_approve", "reorders_sums"):
        assert sign_in(cast.manager).get(reverse(name)).status_code == 405
        assert sign_in(cast.assistant).post(reverse(name), packs(proposed, membrane=1)).status_code == 403


def test_queries_do_not_grow_with_the_rows(cast, sign_in):
    client = sign_in(cast.manager)
    keep(cast, cast.membrane)

    def queries(name, **sent):
        client.get(reverse("reorders"))
        with CaptureQueriesContext(connection) as seen:
            answer = client.post(reverse(name), sent, **HTMX) if sent else client.get(reverse(name))
        assert answer.status_code == 200
        return len(seen)

    at_one = queries("reorders"), queries("reorders_sums", **{"line": "1", "packs-1": "1"})
    for _ in range(19):
        item = builders.item()
        builders.supplier_item(builders.Supplier.objects.create(name=f"S-{item.code}"), item)
        keep(cast, item)
    assert (queries("reorders"), queries("reorders_sums", **{"line": "1", "packs-1": "1"})) == at_one
    assert len(page_of(client).context["list"].lines) == 20
