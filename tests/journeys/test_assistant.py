"""An assistant's day in a browser: from sign-in to a closed case, by scanner and by touch.

Labels are GS1 element strings as a scanner types them: the application identifiers 01, 17, 10 and 21 of the
GS1 General Specifications (section 3), the separator GS (ASCII 29) after a part of variable length.
"""

import datetime as dt
import re

import pytest
from playwright.sync_api import expect

from kits.models import Case, TrayUnit
from kits.picking import pick_list
from stock.models import ItemCode
from tests.builders import NOW, PASSWORD, TODAY
from tests.kits import builders_kits
from tests.kits.builders_kits import TOMORROW
from tests.kits.builders_pages import stop_clock

pytestmark = pytest.mark.django_db(transaction=True)

MEMBRANE_GTIN = "02999000104314"
IMPLANT_GTIN = "02999000200016"
TABLET = {"width": 820, "height": 1180}
# Scanners send the separator as the control key with a closing bracket.
GS = "\x1d"


@pytest.fixture
def kits(db, monkeypatch):
    stop_clock(monkeypatch)
    found = builders_kits.kits()
    found.stock_everything()
    return found


def scan(page, text):
    """Type a code as a scanner does: fast, anywhere on the page, ended by Enter."""
    for part, last in zip(parts := text.split(GS), [False] * (len(parts) - 1) + [True], strict=True):
        page.keyboard.type(part, delay=1)
        if not last:
            page.keyboard.press("Control+]")
    page.keyboard.press("Enter")


def scanned(page, text):
    """Scan, and wait for the answer in the one place where it stands."""
    with page.expect_response(lambda answer: "/scan/" in answer.url or "/tick/" in answer.url):
        scan(page, text)
    return page.locator("#said")


def sign_in(page, name):
    page.set_viewport_size(TABLET)
    page.goto("/")
    page.get_by_label("Name").or_(page.locator("input[name=username]")).first.fill(name)
    page.locator("input[type=password]").fill(PASSWORD)
    page.locator("input[type=password]").press("Enter")
    expect(page.locator("h1")).to_contain_text("Tuesday 12 May")


def label(unit):
    """The GS1 label of a unit: item, expiry, lot, GS, serial number."""
    expiry = f"17{unit.expires_on:%y%m%d}"
    return f"01{IMPLANT_GTIN}{expiry}10{unit.lot_number}{GS}21{unit.serial}"


def test_a_day_from_sign_in_to_a_closed_case(page, kits):
    implant = kits.items["IMP-CR-43-100"]
    ItemCode.objects.create(item=implant, value=IMPLANT_GTIN)
    case = kits.plan(kits.case("DEL", teeth=("46",), on=TODAY, hour=12), "IMP-CR-43-100")
    kits.case("SKG", teeth=("11",))

    sign_in(page, "pellister")
    card = page.locator("article.case", has_text="Implant placement")
    expect(card).to_contain_text("Ready")
    card.get_by_role("link", name="Set out tray").click()
    expect(page.get_by_role("heading", name="Open at set-up")).to_be_visible()
    expect(page.locator("#scan-code")).to_be_focused()

    set_out_by_hand_and_scanner(page, kits, case, implant)
    surgery(page, case)
    close(page, kits, case)


def set_out_by_hand_and_scanner(page, kits, case, implant):
    """The implant by its label, tissue by its unit number, the rest by touch; a wrong thing is refused."""
    said = scanned(page, "no such thing")
    expect(said).to_contain_text("Nothing here is called")
    expect(said.locator("[data-said=refused]")).to_be_visible()
    assert not TrayUnit.objects.exists()

    today = NOW.date()
    for line in pick_list(case=case, today=today).wanted:
        if line.must_scan:
            for part in line.parts:
                is_implant = part.lot.item_id == implant.pk
                said = scanned(page, label(part.lot) if is_implant else part.lot.serial)
                expect(said.locator("[data-said=ok]")).to_contain_text("1 ×")
    unit = TrayUnit.objects.get(lot__item=implant)
    assert unit.scanned and unit.lot.serial

    ticks = page.locator("button.tick[aria-pressed=false]")
    while ticks.count():
        left = ticks.count()
        with page.expect_response(lambda answer: "/tick/" in answer.url):
            ticks.first.click()
        expect(ticks).to_have_count(left - 1)
    found = pick_list(case=Case.objects.get(pk=case.pk), today=today)
    assert found.done == found.total
    # Progress is on the server: the page shows the same after a reload.
    page.reload()
    expect(page.locator("#tray-meter")).to_contain_text(f"{found.total} of {found.total}")


def surgery(page, case):
    page.get_by_role("button", name="Begin surgery").click()
    expect(page.get_by_role("link", name="Account for the tray")).to_be_visible()
    pouch = page.locator("section.pouch", has_text="If bone is missing beside the implant")
    with page.expect_response(lambda answer: "/finding/" in answer.url):
        pouch.get_by_role("button", name=re.compile("Found it")).first.click()
    expect(page.locator("#said")).to_contain_text("Recorded: bone missing beside the implant")
    opened = page.locator("section.pouch.is-opened", has_text="If bone is missing beside the implant")
    expect(opened.first).to_be_visible()
    bed = page.locator("section.pouch", has_text="When the implant bed has been checked")
    bed.get_by_role("button", name="Open").first.click()
    expect(page.locator("#said")).to_contain_text("Opened:")
    assert TrayUnit.objects.filter(
        line__case=case, line__finding__code="F-DEH", opened_at__isnull=False
    ).exists()


def close(page, kits, case):
    page.get_by_role("link", name="Account for the tray").click()
    row = page.locator(".fate", has_text="Membrane").first
    row.get_by_text("Wasted").first.click()
    row.get_by_label("Why it was wasted").select_option("dropped")
    row.get_by_role("button", name=re.compile("^Wasted")).click()
    expect(page.locator("#said")).to_contain_text("wasted")
    # Not everything is said yet, so the case stays open and says what is missing.
    page.get_by_role("button", name="Close the case").click()
    expect(page.locator(".messages")).to_contain_text("cannot be closed yet")
    page.get_by_role("button", name="Opened: used; sealed: put back").click()
    expect(page.locator("#said")).to_contain_text("Recorded the rest")
    expect(page.get_by_role("heading", name="Ready to close")).to_be_visible()
    page.get_by_role("button", name="Close the case").click()
    expect(page.locator(".messages")).to_contain_text(f"{case.code} is closed")
    case.refresh_from_db()
    assert case.state == "closed"
    assert TrayUnit.objects.get(line__case=case, outcome="wasted").reason == "dropped"
    implant = TrayUnit.objects.get(line__case=case, lot__item__code="IMP-CR-43-100")
    assert (implant.outcome, implant.site.tooth) == ("used", "46")
    assert kits.held("IMP-CR-43-100") == 2


def test_an_expired_label_is_refused_by_name_on_the_tray(page, signed_in_page, kits):
    ItemCode.objects.update_or_create(item=kits.items["MEM-RC-2030"], value=MEMBRANE_GTIN)
    kits.stock("MEM-RC-2030", number="L20417", expires_on=TOMORROW - dt.timedelta(days=2))
    case = kits.case("SKG")
    signed_in_page(kits.cast.assistant).set_viewport_size(TABLET)
    page.goto(f"/cases/{case.code}/tray/")
    old = TOMORROW - dt.timedelta(days=2)
    said = scanned(page, f"01{MEMBRANE_GTIN}17{old:%y%m%d}10L20417")
    expect(said.locator("[data-said=refused]")).to_contain_text("L20417 is not usable on 13 May 2026")
    expect(page.locator("#scan-code")).to_have_value("")
    assert not TrayUnit.objects.exists()


def test_keyboard_alone_ticks_a_line_and_keeps_its_place(page, signed_in_page, kits):
    case = kits.case("V-SRM", teeth=("13",))
    signed_in_page(kits.cast.assistant).goto(f"/cases/{case.code}/tray/")
    tick = page.locator("button.tick").first
    tick.focus()
    with page.expect_response(lambda answer: "/tick/" in answer.url):
        page.keyboard.press("Space")
    expect(page.locator("button.tick").first).to_have_attribute("aria-pressed", "true")
    expect(page.locator("button.tick").first).to_be_focused()
