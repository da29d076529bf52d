"""The pick list page: scans, ticks, findings, what is opened, and the sheet to print."""

import numpy as np
import pytest
import zxingcpp
from PIL import Image, ImageDraw

from kits import picking
from kits.chairside import start_surgery
from kits.models import CaseFinding, Finding, TrayUnit
from kits.views.symbol import code_symbol
from kits.views.words import LONGEST_NAME, name_and_rest, plain_note, without_echo
from practice.models import AuditEntry
from stock.holds import hold
from stock.models import Lot
from tests.builders import NOW
from tests.kits.builders_pages import HTMX, stop_clock, text_of, url

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def still(monkeypatch):
    stop_clock(monkeypatch)


@pytest.fixture
def case(stocked):
    return stocked.case("SKG")


@pytest.fixture
def client(sign_in, stocked):
    return sign_in(stocked.cast.assistant)


def scan(client, case, text, **headers):
    return client.post(url("pick_scan", case.code), {"code": text}, **(headers or HTMX))


def graft(stocked):
    return Lot.objects.filter(item__code="GRF-AL-050").earliest("expires_on", "pk")


def test_the_page_lays_out_open_and_sealed(client, case):
    answer = client.get(url("pick_list", case.code))
    page = text_of(answer)
    assert "Open at set-up" in page and "Sealed, within reach" in page
    assert "If the facial plate is missing" in page and "3 in 10" in page
    assert f"0 of {answer.context['pick'].total}" in page and answer.context["pick"].total > 40
    # The codes of findings and procedures never reach people.
    assert "F-FPM" not in page and "F-INTACT" not in page


def test_a_scan_ticks_its_line_and_says_what_comes_next(client, stocked, case):
    lot = graft(stocked)
    answer = scan(client, case, lot.serial)
    body = text_of(answer)
    assert answer.status_code == 200 and answer["HX-Retarget"] == "#said"
    assert 'data-said="ok"' in body and lot.serial in body and "Next:" in body
    assert 'id="tray" hx-swap-oob="true"' in body and 'id="tray-meter"' in body
    unit = TrayUnit.objects.get()
    assert (unit.lot, unit.scanned, unit.line.case) == (lot, True, case)
    assert AuditEntry.objects.filter(action="tray.put-on", by=stocked.cast.assistant).exists()


def test_progress_survives_a_reload(client, stocked, case):
    scan(client, case, graft(stocked).serial)
    page = client.get(url("pick_list", case.code))
    pick = page.context["pick"]
    assert pick.done == 1 and f"1 of {pick.total}" in text_of(page)


def test_a_refusal_is_said_aloud_and_in_words(client, stocked, case):
    lot = graft(stocked)
    hold(lot=lot, reason="label torn", by=stocked.cast.manager, at=NOW)
    answer = scan(client, case, lot.serial)
    assert answer.status_code == 409
    assert 'data-said="refused"' in text_of(answer) and "label torn" in text_of(answer)
    assert not TrayUnit.objects.exists()


def test_the_same_unit_twice_is_refused(client, stocked, case):
    serial = graft(stocked).serial
    scan(client, case, serial)
    again = scan(client, case, serial)
    assert again.status_code == 409 and TrayUnit.objects.count() == 1


def test_without_scripts_the_answer_stands_on_the_page(client, stocked, case):
    answer = client.post(url("pick_scan", case.code), {"code": "nothing of ours"}, follow=True)
    assert answer.redirect_chain == [(url("pick_list", case.code), 302)]
    assert "Nothing here is called" in text_of(answer)


def test_a_tick_takes_the_suggested_lot_and_takes_it_back(client, stocked, case):
    line = picking.pick_list(case=case, today=NOW.date()).open[0]
    answer = client.post(url("pick_tick", case.code, line=line.key), **HTMX)
    assert answer.status_code == 200 and "is-done" in text_of(answer)
    again = client.post(url("pick_tick", case.code, line=line.key), **HTMX)
    assert TrayUnit.objects.count() == 1, again.content
    client.post(url("pick_tick", case.code, line=line.key, off=1), **HTMX)
    assert [unit.outcome for unit in TrayUnit.objects.all()] == ["put-back"]


def test_a_tick_of_an_unknown_line_is_not_found(client, case):
    assert client.post(url("pick_tick", case.code, line="SKG.999/11")).status_code == 404


@pytest.mark.parametrize(
    ("note", "heading", "left"),
    [
        (
            "next larger; defect larger than the prepared sheet",
            "If the defect is larger than the prepared sheet",
            "next larger",
        ),
        (
            "facial plate missing: membrane instead of the cover",
            "If the facial plate is missing",
            "membrane instead of the cover",
        ),
        ("needs 12.0 × 23.4 mm", "If the facial plate is missing", "needs 12.0 × 23.4 mm"),
        ("flap raised", "If the flap is raised", ""),
        ("any words", "", "any words"),
    ],
)
def test_a_note_does_not_say_its_heading_again(note, heading, left):
    assert without_echo(note, heading) == left


def test_the_sheet_keeps_room_for_labels_of_implant_graft_and_membrane(client, stocked):
    case = stocked.plan(stocked.case("IMM", teeth=("14",)), "IMP-CR-43-100")
    shown = client.get(url("pick_list", case.code)).context
    wanted = [line for line in shown["pick"].lines if line.is_wanted and line.item is not None]
    found = {"Implant", "Bone graft", "Membrane"} & {line.item.category for line in wanted}
    assert found == {"Implant", "Bone graft", "Membrane"}
    keys = {line["key"] for line in shown["labels"]}
    assert keys >= {line.key for line in wanted if line.item.category in found}
    assert not keys & {line.key for line in wanted if line.item.category == "Suture"}


def test_tissue_is_not_ticked_but_may_be_put_on_with_a_reason(client, stocked, case):
    picking.begin(case=case, by=None, at=NOW)
    line = case.tray_lines.get(item__code="GRF-AL-050", certain=True)
    refused = client.post(url("pick_tick", case.code, line=line.key), **HTMX)
    assert refused.status_code == 409 and url("pick_by_hand", case.code) in text_of(refused)
    address = url("pick_by_hand", case.code, line=line.key)
    page = client.get(address)
    part = page.context["form"].fields["part"].choices[0][0]
    assert client.post(address, {"part": part, "note": ""}).status_code == 422
    done = client.post(address, {"part": part, "note": "label torn in the fridge"})
    assert done.status_code == 302
    unit = TrayUnit.objects.get()
    assert (unit.scanned, unit.note) == (False, "label torn in the fridge")


def test_a_closed_case_has_no_tray(client, case):
    type(case).objects.filter(pk=case.pk).update(state="cancelled")
    answer = client.get(url("pick_list", case.code))
    assert answer.status_code == 302 and answer["Location"] == url("case", case.code)


def test_a_case_cancelled_by_somebody_else_meanwhile_leads_away_from_the_tray(client, stocked, case):
    type(case).objects.filter(pk=case.pk).update(state="cancelled")
    answer = scan(client, case, graft(stocked).serial)
    assert answer["HX-Redirect"] == url("case", case.code)
    assert "is-refused" in text_of(client.get(answer["HX-Redirect"])) and not TrayUnit.objects.exists()


def in_surgery(stocked, case):
    stocked.fill_tray(case)
    return start_surgery(case=case, by=stocked.cast.assistant, at=NOW)


def test_surgery_begins_with_one_touch(client, stocked, case):
    stocked.fill_tray(case)
    client.post(url("pick_start", case.code))
    case.refresh_from_db()
    assert case.state == "in-surgery"
    page = text_of(client.get(url("pick_list", case.code)))
    assert "Account for the tray" in page and "Found it: open" in page


def test_a_finding_opens_its_group_and_can_be_taken_back(client, stocked, case):
    case = in_surgery(stocked, case)
    finding, site = Finding.objects.get(code="F-FPM"), case.sites.get()
    address = {"finding": finding.pk, "site": site.pk}
    answer = client.post(url("pick_finding", case.code, present=1, **address), **HTMX)
    assert answer.status_code == 200 and "Not there after all" in text_of(answer)
    opened = TrayUnit.objects.filter(line__finding=finding, opened_at__isnull=False)
    assert {unit.lot.item.category for unit in opened} >= {"Membrane", "Bone graft"}
    client.post(url("pick_finding", case.code, present=0, **address), **HTMX)
    assert not CaseFinding.objects.get().present and not opened.all().exists()


def test_a_finding_needs_a_tray_and_its_own_site(client, stocked, case):
    finding = Finding.objects.get(code="F-FPM")
    early = client.post(url("pick_finding", case.code, present=1, finding=finding.pk), **HTMX)
    assert early.status_code == 409 and "Begin setting out" in text_of(early)
    other = stocked.case("SKG", teeth=("12",), hour=14).sites.get()
    address = url("pick_finding", case.code, present=1, finding=finding.pk, site=other.pk)
    assert client.post(address, **HTMX).status_code == 404
    assert not CaseFinding.objects.exists()


def test_a_sealed_line_is_opened_on_its_own(client, stocked, case):
    case = in_surgery(stocked, case)
    line = case.tray_lines.get(item__code="GRF-AL-050", certain=True)
    answer = client.post(url("pick_open", case.code, line=line.key), **HTMX)
    assert answer.status_code == 200
    assert TrayUnit.objects.get(line=line).opened_at is not None


def test_the_sheet_carries_a_code_that_a_scanner_reads(client, case):
    """Round trip through an independent reading of the picture, as a scanner would see it (ISO/IEC 16022)."""
    page = text_of(client.get(url("pick_list", case.code)))
    assert str(code_symbol(case.code)) in page
    assert zxingcpp.read_barcode(_drawn(str(code_symbol(case.code)))).text == case.code


def _drawn(svg: str) -> Image.Image:
    """The modules of the SVG path as a picture, eight pixels each."""
    size = int(svg.split('viewBox="0 0 ')[1].split()[0])
    path = svg.split('fill="#000" d="')[1].split('"')[0]
    modules = np.array([[int(n) for n in part.split("h")[0].split()] for part in path.split("M")[1:]])
    image = Image.new("L", ((size + 4) * 8, (size + 4) * 8), 255)
    draw = ImageDraw.Draw(image)
    for x, y in (modules + 2) * 8:
        draw.rectangle((x, y, x + 7, y + 7), fill=0)
    return image


def test_queries_do_not_grow_with_the_lines(client, stocked, case, django_assert_max_num_queries):
    with django_assert_max_num_queries(45):
        client.get(url("pick_list", case.code))
    stocked.fill_tray(case)
    for hour in (11, 12, 13):
        stocked.fill_tray(stocked.case("SKG", hour=hour))
    with django_assert_max_num_queries(45):
        client.get(url("pick_list", case.code))


def test_long_names_are_cut_where_they_can_be_and_keep_their_size(stocked):
    for item in stocked.items.values():
        name, rest = name_and_rest(item.name)
        assert len(name) <= max(LONGEST_NAME, len(item.name.split(", ")[0])) + 20
        for word in item.name.replace("(", "").replace(")", "").replace(",", "").split():
            assert word in f"{name} {rest}".replace(",", "").replace("(", "").replace(")", "").split()
    assert name_and_rest(
        "Allograft, mineralised cortico-cancellous particulate 0.25-1.0 mm, 0.25 cc vial"
    ) == (
        "Allograft, 0.25 cc vial",
        "mineralised cortico-cancellous particulate 0.25-1.0 mm",
    )


def test_notes_in_codes_are_not_shown():
    assert plain_note("only when F-FPM did not occur (0.70): one cover, share 0.45; trim it") == "trim it"
