"""The page of closing a case: each unit's fate, undo, the rest in one touch, and the refusal to close."""

import datetime as dt

import pytest

from kits.chairside import record_finding, start_surgery
from kits.models import Case, Finding, TrayUnit
from kits.picking import begin
from kits.trace import materials_of
from practice.models import AuditEntry
from stock.holds import hold
from stock.models import Balance, Entry
from tests.builders import NOW
from tests.kits.builders_pages import HTMX, stop_clock, text_of, url

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def still(monkeypatch):
    stop_clock(monkeypatch)


@pytest.fixture
def case(stocked):
    case = stocked.fill_tray(stocked.case("SKG", teeth=("11", "21")))
    return start_surgery(case=case, by=stocked.cast.assistant, at=NOW)


@pytest.fixture
def client(sign_in, stocked):
    return sign_in(stocked.cast.assistant)


def fate(client, case, unit, **answer):
    return client.post(url("close_record", case.code), {"unit": unit.pk, **answer}, **HTMX)


def graft(case):
    return TrayUnit.objects.filter(line__case=case, lot__item__category="Bone graft", outcome="").first()


def test_the_page_asks_for_the_tooth_where_there_are_two(client, case):
    page = text_of(client.get(url("case_close", case.code)))
    assert "Used at 11" in page and "Used at 21" in page and "Still to be said" in page


def test_a_booked_case_has_nothing_to_account_for(client, stocked):
    other = stocked.case("SKG", teeth=("12",), hour=15)
    answer = client.get(url("case_close", other.code))
    assert answer.status_code == 302 and answer["Location"] == url("case", other.code)


def test_used_at_a_tooth(client, case):
    unit, site = graft(case), case.sites.get(tooth="21")
    answer = fate(client, case, unit, fate=f"used:{site.pk}")
    assert answer.status_code == 200 and 'id="closing" hx-swap-oob="true"' in text_of(answer)
    unit.refresh_from_db()
    assert (unit.outcome, unit.site) == ("used", site)
    entry = Entry.objects.get(kind="use")
    assert (entry.lot, entry.quantity, entry.source) == (unit.lot, -1, f"case:{case.code}")


def test_the_same_unit_is_not_used_twice(client, case):
    unit, site = graft(case), case.sites.get(tooth="21")
    fate(client, case, unit, fate=f"used:{site.pk}")
    again = fate(client, case, unit, fate="put-back")
    assert again.status_code == 409 and "already recorded" in text_of(again)
    assert Entry.objects.filter(kind__in=("use", "put-back")).count() == 1


def test_waste_needs_a_reason(client, case):
    unit = graft(case)
    refused = fate(client, case, unit, fate="wasted")
    assert refused.status_code == 409 and not Entry.objects.filter(kind="waste").exists()
    fate(client, case, unit, fate="wasted", reason="dropped", note="fell off the trolley")
    entry = Entry.objects.get(kind="waste")
    assert (entry.reason, entry.lot) == ("dropped", unit.lot)


def test_what_was_opened_never_goes_back(client, case):
    unit = TrayUnit.objects.filter(line__case=case, opened_at__isnull=False).first()
    answer = fate(client, case, unit, fate="put-back")
    assert answer.status_code == 409 and "cannot be put back" in text_of(answer)


def test_a_part_of_a_row_leaves_the_rest_open(client, case):
    unit = TrayUnit.objects.filter(line__case=case, quantity__gte=3, opened_at__isnull=False).first()
    before = unit.quantity
    fate(client, case, unit, fate="wasted", quantity=1, reason="dropped")
    left = TrayUnit.objects.filter(line=unit.line, outcome="")
    assert sum(row.quantity for row in left) == before - 1
    too_many = fate(client, case, left.first(), fate="used", quantity=before + 5)
    assert too_many.status_code == 409 and "Only" in text_of(too_many)


def test_a_nonsense_fate_is_refused(client, case):
    assert fate(client, case, graft(case), fate="eaten").status_code == 409
    assert client.post(url("close_record", case.code), {"unit": 999999, "fate": "used"}).status_code == 404


def test_undo_posts_a_correction(client, case):
    unit = graft(case)
    fate(client, case, unit, fate="put-back")
    shelf = Balance.objects.get(lot=unit.lot, place=unit.place)
    assert shelf.quantity == 1
    answer = client.post(url("close_undo", case.code), {"unit": unit.pk}, **HTMX)
    assert answer.status_code == 200
    unit.refresh_from_db()
    assert unit.outcome == "" and Entry.objects.filter(corrects__isnull=False).exists()
    nothing = client.post(url("close_undo", case.code), {"unit": unit.pk}, **HTMX)
    assert nothing.status_code == 409 and "nothing to undo" in text_of(nothing)


def test_closing_is_refused_with_the_list(client, case):
    answer = client.post(url("close_done", case.code), follow=True)
    assert "cannot be closed yet" in text_of(answer) and "used or wasted?" in text_of(answer)
    assert Case.objects.get(pk=case.pk).state == "in-surgery"


def test_the_rest_in_one_touch_and_closed(client, stocked, case):
    record_finding(
        case=case,
        finding=Finding.objects.get(code="F-FPM"),
        site=case.sites.get(tooth="11"),
        present=True,
        by=None,
        at=NOW,
    )
    answer = client.post(url("close_rest", case.code), **HTMX)
    assert answer.status_code == 200
    asked = text_of(client.post(url("close_done", case.code), follow=True))
    # What went into the patient at an unknown tooth is still asked for; everything else is said.
    for unit in TrayUnit.objects.filter(
        line__case=case, outcome="used", site=None, lot__item__category="Membrane"
    ):
        assert unit.lot.shown in asked
    case.refresh_from_db()
    assert "which tooth" in asked or "none was placed" in asked
    assert not TrayUnit.objects.filter(line__case=case, outcome="").exists()


def test_a_case_of_one_tooth_closes(client, stocked):
    case = start_surgery(case=stocked.fill_tray(stocked.case("SKG", teeth=("13",), hour=15)), by=None, at=NOW)
    fate(client, case, graft(case), fate="used")
    client.post(url("close_rest", case.code))
    answer = client.post(url("close_done", case.code))
    assert answer.status_code == 302 and answer["Location"] == url("today")
    case.refresh_from_db()
    assert (case.state, case.closed_by) == ("closed", stocked.cast.assistant)
    again = client.post(url("close_done", case.code), follow=True)
    assert "too late" in text_of(again)


def test_something_else_was_done(client, stocked):
    case = start_surgery(case=stocked.fill_tray(stocked.case("SKG", teeth=("13",), hour=15)), by=None, at=NOW)
    client.post(url("close_rest", case.code))
    other = stocked.procedures["XTR"]
    client.post(url("close_done", case.code), {"procedure": [other.pk]})
    kept = {row.procedure.code: (row.planned, row.done) for row in case.procedures.all()}
    assert kept == {"SKG": (True, False), "XTR": (False, True)}


def test_room_stock_is_written_down_as_used(client, stocked, case):
    page = client.get(url("case_close", case.code))
    one = next(row for row in page.context["room"] if row["name"].startswith("Local anaesthetic lidocaine"))
    balance = one["balance"]
    before = balance.quantity
    answer = client.post(url("close_room", case.code), {"balance": balance.pk, "quantity": 2}, **HTMX)
    assert answer.status_code == 200
    balance.refresh_from_db()
    assert balance.quantity == before - 2
    none = client.post(url("close_room", case.code), {"balance": balance.pk, "quantity": "x"}, **HTMX)
    assert none.status_code == 409
    much = client.post(url("close_room", case.code), {"balance": balance.pk, "quantity": 10_000}, **HTMX)
    assert much.status_code == 409
    assert client.post(url("close_room", case.code), {"balance": 0, "quantity": 1}).status_code == 404


def test_what_was_fetched_in_surgery_is_scanned(client, stocked, case):
    lot = stocked.stock("SHP-B15", 4, number="L50001")
    answer = client.post(url("close_scan", case.code), {"code": "L50001"}, **HTMX)
    assert answer.status_code == 200
    assert TrayUnit.objects.get(lot=lot).outcome == "used" and stocked.held("SHP-B15") == 203
    unknown = client.post(url("close_scan", case.code), {"code": "ZZ-9"}, **HTMX)
    assert unknown.status_code == 409 and "Nothing here is called" in text_of(unknown)


def test_what_was_fetched_for_one_of_two_teeth_is_asked_for_its_tooth(client, stocked, case):
    """The whole way: scanned in surgery, asked for its tooth, said, closed, on the record at that tooth."""
    lot = stocked.stock("GRF-AL-100")
    client.post(url("close_scan", case.code), {"code": lot.serial}, **HTMX)
    unit, site = TrayUnit.objects.get(lot=lot), case.sites.get(tooth="21")
    assert unit.site is None
    assert text_of(client.get(url("case_close", case.code))).count(f'value="{unit.pk}"') == 2
    said = client.post(url("close_site", case.code), {"unit": unit.pk, "site": site.pk}, **HTMX)
    assert said.status_code == 200 and "used at 21" in text_of(said)
    for one in TrayUnit.objects.filter(line__case=case, outcome="", lot__item__category="Bone graft"):
        fate(client, case, one, fate=f"used:{one.line.site_id or site.pk}")
    client.post(url("close_rest", case.code), **HTMX)
    client.post(url("close_done", case.code))
    case.refresh_from_db()
    assert case.state == "closed"
    given = {one.lot: one.tooth for one in materials_of(patient=case.patient)}
    assert given[lot] == "21"


@pytest.mark.parametrize("trouble", ["expired", "held"])
def test_what_should_not_have_been_used_is_recorded_with_a_word_why(client, stocked, case, trouble):
    """Asked once, told in the audit and on the page of the patient; a reason that is no word is none."""
    past = {"expires_on": case.on - dt.timedelta(days=1)} if trouble == "expired" else {}
    lot = stocked.stock("GRF-AL-100", **past)
    if trouble == "held":
        hold(lot=lot, reason="seal is open", by=None, at=NOW)
    asked = client.post(url("close_scan", case.code), {"code": lot.serial, "key": "k1"}, **HTMX)
    assert asked.status_code == 409 and "used all the same" in text_of(asked)
    assert f'name="code" value="{lot.serial}"' in text_of(asked)
    plain = client.post(url("close_scan", case.code), {"code": lot.serial, "although": " "})
    assert plain.status_code == 409 and "used all the same" in text_of(plain)
    assert not TrayUnit.objects.filter(lot=lot).exists()
    again = {"code": lot.serial, "key": "k1", "although": "seen after it was placed"}
    assert client.post(url("close_scan", case.code), again, **HTMX).status_code == 200
    assert TrayUnit.objects.get(lot=lot).outcome == "used"
    facts = AuditEntry.objects.get(action="tray.add-although").facts
    assert facts["why"] == "seen after it was placed" and trouble.removesuffix("red") in facts["refused"]
    page = client.get(url("patient", case.patient.chart_number))
    assert "seen after it was placed" in text_of(page)


def test_what_was_planned_for_certain_is_not_left_out_without_a_word(client, stocked):
    """A tray that was begun and never filled does not close as done without its graft."""
    empty = stocked.case("SKG", teeth=("13",), hour=15)
    empty = start_surgery(case=begin(case=empty, by=None, at=NOW), by=None, at=NOW)
    refused = client.post(url("close_done", empty.code), follow=True)
    assert "none was placed, so say why" in text_of(refused)
    page = client.get(url("case_close", empty.code))
    lines = page.context["nothing_placed"]
    assert "GRF-AL-050" in {line.item.code for line in lines}
    wordless = client.post(url("close_none", empty.code), {"line": lines[0].pk, "why": " "}, **HTMX)
    assert wordless.status_code == 409
    for line in lines:
        sent = {"line": line.pk, "why": "socket left to heal"}
        assert client.post(url("close_none", empty.code), sent, **HTMX).status_code == 200
    client.post(url("close_done", empty.code))
    empty.refresh_from_db()
    assert empty.state == "closed"
    said = AuditEntry.objects.filter(action="tray.none-used", subject=empty.code)
    assert {entry.facts["why"] for entry in said} == {"socket left to heal"}


def test_the_same_form_sent_twice_uses_once(client, stocked, case):
    balance = stocked.stock("HEM-GEL", 9, place=stocked.cast.cart).balances.get()
    sent = {"balance": balance.pk, "quantity": 2, "key": "one-form"}
    for _ in range(2):
        assert client.post(url("close_room", case.code), sent, **HTMX).status_code == 200
    balance.refresh_from_db()
    assert balance.quantity == 7
    client.post(url("close_room", case.code), sent | {"key": "the next form"}, **HTMX)
    balance.refresh_from_db()
    assert balance.quantity == 5
    lot = stocked.stock("SHP-B15", 4, number="L50001")
    page = client.get(url("case_close", case.code))
    sent = {"code": "L50001", "key": page.context["scan_key"]}
    answers = [client.post(url("close_scan", case.code), sent, **HTMX) for _ in range(2)]
    assert TrayUnit.objects.get(lot=lot).quantity == 1
    # Each answer brings the key of the next scan.
    following = answers[-1].context["scan_key"]
    assert f'name="key" value="{following}" hx-swap-oob="true"' in text_of(answers[-1])
    client.post(url("close_scan", case.code), sent | {"key": following}, **HTMX)
    assert TrayUnit.objects.filter(lot=lot).count() == 2


def test_only_what_was_used_gets_a_tooth_and_only_one_of_its_case(client, stocked, case):
    unit, site = graft(case), case.sites.get(tooth="21")
    sealed = client.post(url("close_site", case.code), {"unit": unit.pk, "site": site.pk}, **HTMX)
    assert sealed.status_code == 409 and "not recorded as used" in text_of(sealed)
    foreign = stocked.case("SKG", teeth=("13",), hour=15).sites.get()
    asked = {"unit": unit.pk, "site": foreign.pk}
    assert client.post(url("close_site", case.code), asked, **HTMX).status_code == 404


def test_queries_do_not_grow_with_the_units(client, stocked, case, django_assert_max_num_queries):
    with django_assert_max_num_queries(35):
        client.get(url("case_close", case.code))
    small = stocked.fill_tray(stocked.case("V-SRM", teeth=("13",), hour=15))
    with django_assert_max_num_queries(35):
        client.get(url("case_close", small.code))
