"""A clinician in a browser: from a chart number to the graft lot, from a lot to its patients."""

import pytest
from playwright.sync_api import expect

from kits import closing
from kits.chairside import start_surgery
from kits.models import TrayUnit
from tests.builders import NOW, TODAY
from tests.kits import builders_kits
from tests.kits.builders_pages import stop_clock

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def graft(db, monkeypatch):
    """A vial of allograft that was used at 11 in a closed case of P-0001."""
    stop_clock(monkeypatch)
    kits = builders_kits.kits()
    kits.stock_everything()
    by = kits.cast.assistant
    case = start_surgery(case=kits.fill_tray(kits.case("SKG", on=TODAY)), by=by, at=NOW)
    unit = TrayUnit.objects.filter(line__case=case, lot__item__code="GRF-AL-050").first()
    closing.record(unit=unit, outcome="used", quantity=1, by=by, at=NOW)
    closing.settle_rest(case=case, by=by, at=NOW)
    closing.close(case=case, by=by, at=NOW)
    unit.refresh_from_db()
    return kits, unit


def test_chart_number_to_graft_lot_and_back_to_the_patients(page, signed_in_page, graft):
    kits, unit = graft
    page.set_viewport_size({"width": 820, "height": 1180})
    signed_in_page(kits.cast.clinician).goto("/")

    # Typed into the scan field that every page has.
    page.locator("#scan-code").fill("P-0001")
    page.keyboard.press("Enter")
    site = page.locator("section.site", has_text="upper right central incisor")
    expect(site).to_contain_text(unit.lot.serial)
    expect(site).to_contain_text(f"donor {unit.lot.donor_id}")
    expect(site).to_contain_text(f"to {unit.lot.expires_on.day} {unit.lot.expires_on:%b %Y}")

    # From the lot to everyone who got it.
    site.get_by_role("link", name=unit.lot.serial).click()
    expect(page.locator("main")).to_contain_text("P-0001")
    expect(page.locator("main")).to_contain_text(unit.lot.serial)


def test_a_plan_changes_what_is_laid_out(page, signed_in_page, graft):
    kits, _ = graft
    case = kits.case("DEL", teeth=("46",), hour=15)
    page.set_viewport_size({"width": 820, "height": 1180})
    signed_in_page(kits.cast.clinician).goto(f"/cases/{case.code}/")
    expect(page.locator("main")).to_contain_text("Choose the implant for 46.")
    page.get_by_text("Plan this tooth").click()
    chosen = kits.items["IMP-CR-43-100"]
    page.get_by_label("Implant").first.select_option(str(chosen.pk))
    page.get_by_label("Longest safe, mm").first.fill("11")
    page.get_by_role("button", name="Keep the plan of 46").click()
    expect(page.locator(".messages").first).to_contain_text("The site is planned")
    page.get_by_text("Neighbouring sizes, and why").click()
    expect(page.locator("main")).to_contain_text("longer than the safe length of 11 mm")
    page.get_by_role("link", name="Pick list").click()
    expect(page.locator("#tray")).to_contain_text("4.3 x 10 mm")
