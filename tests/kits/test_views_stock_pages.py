"""The list of items and the page of one item."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from kits.replanning import replan
from stock.models import ClinicItem, Item, ItemForecast, Lot
from stock.ordering import approve, make_orders, send
from tests import builders
from tests.builders import NOW, TODAY
from tests.kits import builders_plan

pytestmark = pytest.mark.usefixtures("the_day")


def keep(cast, item, units):
    ClinicItem.objects.create(clinic=cast.clinic, item=item, keep_at_least=units)


def listed(client, **asked):
    answer = client.get(reverse("items"), asked)
    assert answer.status_code == 200
    return {row.record.code: row.record for row in answer.context["table"].rows}


def page_of(client, item, **asked):
    answer = client.get(reverse("item", args=[item.code]), asked)
    assert answer.status_code == 200
    return answer


def test_the_list_tells_how_each_item_stands_the_most_pressing_first(cast, sign_in):
    keep(cast, cast.membrane, 2)
    keep(cast, cast.suture, 1)
    keep(cast, cast.gauze, 1)
    builders_plan.stock(cast, cast.suture, 30)
    builders_plan.stock(cast, cast.gauze, 3, last_day=None)
    builders.shelved(cast.gauze, cast.cart, 2, number="old", expires_on=TODAY - dt.timedelta(days=1))
    rows = listed(sign_in(cast.reader))
    words = {code: row.status.word for code, row in rows.items()}
    assert words["MEM-RC-2030"] == "none in date"
    assert words["SUT-PT4"] == "covered"
    assert words["GEN-GZS"] == "2 out of date or held"
    assert words["MEM-RC-3040"] == "not in use"
    assert list(rows)[0] == "MEM-RC-2030"
    assert (rows["SUT-PT4"].usable, rows["SUT-PT4"].packs) == (30, "2.5 packs of 12")
    assert (rows["GEN-GZS"].on_hand, rows["GEN-GZS"].usable) == (5, 3)
    # Reusable sets are not kept in the ledger.
    assert "SET-EX" not in rows


def test_what_is_on_order_is_said(cast, sign_in):
    keep(cast, cast.membrane, 1)
    choices = [(cast.membrane.suppliers.get(), 1, "")]
    [order] = make_orders(clinic=cast.clinic, choices=choices, by=cast.manager, at=NOW)
    send(order=approve(order=order, by=cast.manager, at=NOW), by=cast.manager, at=NOW)
    assert listed(sign_in(cast.reader))["MEM-RC-2030"].status.word == "none in date, on order"


def test_the_list_is_narrowed_by_text_category_criticality_and_standing(cast, sign_in):
    keep(cast, cast.membrane, 2)
    client = sign_in(cast.reader)
    assert set(listed(client, q="collagen 30")) == {"MEM-RC-2030", "MEM-RC-3040"}
    assert set(listed(client, q="mem-rc-3040")) == {"MEM-RC-3040"}
    assert set(listed(client, category="Suture")) == {"SUT-PT4"}
    assert set(listed(client, criticality="A")) == {"MEM-RC-2030", "IMP-CR-4310", "IMP-CW-5010"}
    assert set(listed(client, status="out")) == {"MEM-RC-2030"}
    assert len(listed(client, category="no-such-category")) == 9
    assert listed(client, q="nothing of the kind") == {}


def test_the_list_is_sorted_and_saved(cast, sign_in):
    client = sign_in(cast.reader)
    assert list(listed(client, sort="name"))[0] == "GRF-AL-025"
    assert list(listed(client, sort="-name"))[0] == "SUT-PT4"
    saved = client.get(reverse("items"), {"export": "csv", "category": "Suture"}).content.decode("utf-8-sig")
    lines = saved.splitlines()
    assert lines[0].startswith("item,name,category,unit,on hand,in date,on order,")
    assert [line.split(",")[0] for line in lines[1:]] == ["SUT-PT4"]
    assert client.get(reverse("items"), {"export": "xlsx"}).content[:2] == b"PK"


def test_a_clinic_without_a_catalogue_is_told_what_to_do(cast, sign_in):
    Item.objects.update(is_active=False)
    assert "The catalogue is empty" in sign_in(cast.manager).get(reverse("items")).content.decode()


def test_an_item_shows_figures_chart_lots_use_suppliers_and_why(cast, sign_in):
    kind = builders_plan.procedure("SKG", (cast.membrane, 1, None))
    case = builders_plan.case(cast, kind, TODAY + dt.timedelta(days=9))
    lot = builders_plan.stock(cast, cast.membrane, 1, last_day=5)
    answer = page_of(sign_in(cast.manager), cast.membrane)
    text = answer.content.decode()
    page = answer.context["page"]
    # The one unit may be used through day 5; from then on a case at short notice would find none.
    assert (page.usable, page.forecast.covered_until) == (1, TODAY + dt.timedelta(days=5))
    assert '<svg class="projection"' in text and "out of date" in text
    assert reverse("lot", args=[lot.pk]) in text and "5 days left" in text
    assert page.lots[0].used_first == "no, none of it"
    assert page.sources[0].words.startswith("Booked: 1 case") and page.sources[0].units == "1.0"
    assert f'href="{reverse("case", args=[case.code])}"' in text
    assert "Brambleforth Surgical Supply" in text and "145.00" in text
    assert "Why order today?" in text and "Show the sums" in text
    assert f"{reverse('reorders')}#line-{page.proposal.supplier_item_id}" in text


def test_the_chart_reaches_60_days_or_the_whole_plan_and_has_its_table(cast, sign_in):
    client = sign_in(cast.reader)
    assert "the next 60 days" in page_of(client, cast.membrane).content.decode()
    whole = page_of(client, cast.membrane, days="all")
    assert "the next 180 days" in whole.content.decode()
    assert "The same as a table" in whole.content.decode()
    assert whole.context["page"].table[-1].on == TODAY + dt.timedelta(days=179)


def test_units_held_expired_or_in_quarantine_do_not_count_as_in_date(cast, sign_in):
    builders.shelved(cast.membrane, cast.stockroom, 2)
    builders.shelved(cast.membrane, cast.stockroom, 1, expires_on=TODAY - dt.timedelta(days=1))
    builders.shelved(cast.membrane, cast.stockroom, 1, decision=Lot.Decision.HELD)
    builders.shelved(cast.membrane, cast.quarantine, 1)
    page = page_of(sign_in(cast.reader), cast.membrane).context["page"]
    assert (page.usable, page.on_hand, len(page.lots)) == (2, 4, 4)
    assert [row.standing.word for row in page.lots].count("expired") == 1


def test_grams_stand_beside_vials_where_the_label_names_them(cast, sign_in):
    Item.objects.filter(pk=cast.graft.pk).update(mass_g="0.27")
    kind = builders_plan.procedure("SKG", (cast.graft, 1, None))
    for day in (1, 2):
        builders_plan.case(cast, kind, TODAY + dt.timedelta(days=day))
    answer = page_of(sign_in(cast.reader), cast.graft)
    expected = ItemForecast.objects.get(item=cast.graft, clinic=cast.clinic).expected_use_30d
    assert expected >= 2
    assert answer.context["grams"] == f"{expected * 0.27:.1f} g"


@pytest.mark.parametrize("code", ["LAB-CRN", "SET-EX"])
def test_what_is_not_forecast_has_a_page_too(cast, sign_in, code):
    builders.item("LAB-CRN", name="Crown", tracking=Item.Tracking.CASE, supply_mode=Item.Supply.PER_CASE)
    answer = sign_in(cast.reader).get(reverse("item", args=[code]))
    assert answer.status_code == 200
    assert '<svg class="projection"' not in answer.content.decode()


def test_a_reader_sees_the_item_and_no_way_to_act(cast, sign_in):
    builders.shelved(cast.membrane, cast.stockroom, 2)
    assert reverse("stock_move") not in page_of(sign_in(cast.reader), cast.membrane).content.decode()
    assert reverse("stock_move") in page_of(sign_in(cast.assistant), cast.membrane).content.decode()


def test_lots_of_another_clinic_are_named_with_it_for_those_who_work_there(cast, sign_in):
    builders.shelved(cast.membrane, cast.other_stockroom, 2)
    assert "Eddlestoke Green" in page_of(sign_in(cast.clinician), cast.membrane).content.decode()
    answer = page_of(sign_in(cast.assistant), cast.membrane)
    assert answer.context["page"].lots == []
    assert "None of it lies here" in answer.content.decode()


def test_strangers_and_unknown_items(cast, sign_in):
    assert sign_in(cast.stranger).get(reverse("items")).status_code == 403
    assert sign_in(cast.stranger).get(reverse("item", args=["MEM-RC-2030"])).status_code == 403
    assert sign_in(cast.reader).get(reverse("item", args=["NO-SUCH"])).status_code == 404


def test_an_item_code_may_hold_a_slash_or_a_space(cast, sign_in):
    odd = builders.item("A/B 1")
    assert page_of(sign_in(cast.reader), odd).context["item"] == odd


@pytest.mark.parametrize("name", ["items", "item"])
def test_queries_do_not_grow_with_the_rows(cast, sign_in, name):
    client = sign_in(cast.reader)
    address = reverse(name, args=["MEM-RC-2030"] if name == "item" else [])
    builders.shelved(cast.membrane, cast.stockroom, 1)
    kind = builders_plan.procedure("SKG", (cast.membrane, 1, None))

    def queries():
        # Planning anew is measured elsewhere; here the plan is fresh.
        replan(clinic=cast.clinic, today=TODAY, at=NOW)
        client.get(address)
        with CaptureQueriesContext(connection) as seen:
            assert client.get(address).status_code == 200
        return len(seen)

    builders_plan.case(cast, kind, TODAY + dt.timedelta(days=1))
    at_one = queries()
    for number in range(19):
        builders.item()
        builders.shelved(cast.membrane, cast.stockroom, 1)
        builders_plan.case(cast, kind, TODAY + dt.timedelta(days=2 + number))
    assert queries() == at_one
