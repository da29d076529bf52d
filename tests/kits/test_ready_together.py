"""Ordinary supplies set out with one touch: what carries no lot, and what waits for reprocessing."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from kits import picking
from kits.models import Case, TrayUnit
from kits.ready_together import (
    REPROCESSING,
    WITHOUT_LOT,
    NothingLeft,
    left_together,
    set_out_together,
)
from practice.models import AuditEntry
from stock.models import Balance
from stock.verification import verify_ledger
from tests.builders import NOW
from tests.kits.builders_kits import TOMORROW
from tests.kits.builders_pages import HTMX, stop_clock, text_of, url

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def still(monkeypatch):
    stop_clock(monkeypatch)


@pytest.fixture
def case(stocked):
    return stocked.case("SKG")


@pytest.fixture
def facts(stocked):
    return {"today": NOW.date(), "by": stocked.cast.assistant, "at": NOW}


def left(case, group):
    return left_together(picking.pick_list(case=case, today=NOW.date()), group)


def test_the_groups_of_a_socket_graft(case):
    # The trade's own bill: consumables of trade.md by the tracking and category of the catalogue.
    bare = {line.item.code for line in left(case, WITHOUT_LOT)}
    assert {"PPE-MSK", "PPE-CAP", "DIS-BIB", "DIS-BAR"} <= bare and "STE-LBL" not in bare
    assert all(line.item.tracking == "none" for line in left(case, WITHOUT_LOT))
    again = {line.item.code for line in left(case, REPROCESSING)}
    assert {"STE-WRP", "STE-PCH", "STE-CI5", "STE-LBL"} <= again
    with pytest.raises(KeyError):
        left(case, "everything")


def test_one_touch_takes_the_suggested_lots_of_the_whole_group(case, facts):
    asked = left(case, REPROCESSING)
    wanted = {(part.lot.pk, part.quantity) for line in asked for part in line.parts}
    before = picking.pick_list(case=case, today=NOW.date())
    done = set_out_together(case=case, group=REPROCESSING, **facts)
    assert [line.key for line in done.ready] == [line.key for line in asked] and not done.short
    assert {(unit.lot_id, unit.quantity) for unit in TrayUnit.objects.all()} == wanted
    fresh = Case.objects.get(pk=case.pk)
    after = picking.pick_list(case=fresh, today=NOW.date())
    assert fresh.state == Case.State.SET_OUT and after.done == before.done + len(asked)
    assert after.total == before.total and left(fresh, REPROCESSING) == []
    assert AuditEntry.objects.filter(action="tray.put-on", subject=case.code).count() == len(wanted)
    assert not verify_ledger().differences
    with pytest.raises(NothingLeft, match="lies ready already"):
        set_out_together(case=fresh, group=REPROCESSING, **facts)


def test_what_is_short_is_named_and_the_rest_taken(stocked, case, facts):
    Balance.objects.filter(lot__item__code="PPE-CAP").update(quantity=0)
    done = set_out_together(case=case, group=WITHOUT_LOT, **facts)
    assert [line.item.code for line in done.short] == ["PPE-CAP"]
    assert "PPE-CAP" not in {unit.lot.item.code for unit in TrayUnit.objects.all()}
    assert {line.item.code for line in left(Case.objects.get(), WITHOUT_LOT)} == {"PPE-CAP"}


def test_nothing_begins_where_nothing_can_be_taken(case, facts):
    Balance.objects.filter(lot__item__category="Sterilisation").update(quantity=0)
    with pytest.raises(NothingLeft, match="Nothing of it can be set out"):
        set_out_together(case=case, group=REPROCESSING, **facts)
    case.refresh_from_db()
    assert case.state == Case.State.BOOKED and not TrayUnit.objects.exists()


def test_two_groups_of_the_same_day_do_not_share_a_unit(stocked, case, facts):
    later = stocked.case("SKG", teeth=("12",), hour=12)
    for one in (case, later):
        set_out_together(case=one, group=REPROCESSING, **facts)
    assert not Balance.objects.filter(quantity__lt=0).exists() and not verify_ledger().differences
    assert {unit.line.case_id for unit in TrayUnit.objects.all()} == {case.pk, later.pk}


def test_the_page_offers_the_touch_and_takes_it(sign_in, stocked, case):
    client = sign_in(stocked.cast.assistant)
    page = client.get(url("pick_list", case.code))
    shown = page.context
    codes = {line["name"] for line in shown["open_lines"]}
    assert not any("Sterilisation" in name for name in codes)
    assert "For reprocessing and turnover" in text_of(page)
    address = shown["reprocessing_ready"]["url"]
    answer = client.post(address, **HTMX)
    assert answer.status_code == 200 and "Set out:" in text_of(answer)
    assert answer.context["reprocessing_ready"] is None
    again = client.post(address, **HTMX)
    assert again.status_code == 409 and "Go on with the next line" in text_of(again)
    Balance.objects.filter(lot__item__code="PPE-CAP", place__kind="store").update(quantity=0)
    Balance.objects.filter(lot__item__code="PPE-CAP").update(quantity=0)
    short = client.post(url("pick_ready", case.code, group=WITHOUT_LOT), follow=True)
    assert "Not enough is free of: Surgical cap." in text_of(short)


def test_who_may_not(sign_in, stocked, case):
    address = url("pick_ready", case.code, group=REPROCESSING)
    assert sign_in(stocked.cast.reader).post(address).status_code == 403
    assert sign_in(stocked.cast.stranger).post(address).status_code == 403
    assert sign_in(stocked.cast.other_assistant).post(address).status_code in (403, 404)
    client = sign_in(stocked.cast.assistant)
    assert client.get(address).status_code == 405
    assert client.post(url("pick_ready", case.code, group="everything")).status_code == 404
    assert not TrayUnit.objects.exists() and case.on == TOMORROW
    assert sign_in(stocked.cast.reader).get(url("pick_list", case.code)).context["no_lot_ready"] is None


def test_the_book_is_read_once_for_the_group(case, facts):
    with CaptureQueriesContext(connection) as seen:
        set_out_together(case=case, group=WITHOUT_LOT, **facts)
    reads = [query["sql"] for query in seen if '"stock_balance"' in query["sql"] and "SELECT" in query["sql"]]
    assert sum("stock_order" in query["sql"] for query in seen) <= 2, reads
