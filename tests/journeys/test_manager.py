"""The office manager's week: from what runs short to goods on the shelf, in a browser."""

import pytest
from django.urls import reverse
from openpyxl import load_workbook
from playwright.sync_api import expect

from practice.models import Policy
from stock.models import Balance, ClinicItem, ItemCode, Order, OrderLine, Proposal
from tests import builders
from tests.kits import builders_plan

pytestmark = pytest.mark.usefixtures("the_day")
# AI 01 GTIN, 17 expiry, 10 lot of variable length, closed by a separator where more follows (GS1 General
# Specifications); the GTIN is one of the range GS1 keeps for use inside a company.
SUTURE_GTIN = "02999000104307"
GROUP_SEPARATOR = "Control+]"


@pytest.fixture
def shortage(cast):
    """Two membranes and three sutures are kept; those there are go out of date in nine days."""
    ItemCode.objects.create(item=cast.suture, value=SUTURE_GTIN)
    for item, units in ((cast.membrane, 2), (cast.suture, 3)):
        ClinicItem.objects.create(clinic=cast.clinic, item=item, keep_at_least=units)
        builders_plan.stock(cast, item, units, last_day=8)


def scan(page, *parts):
    """Type as a scanner does: anywhere on the page, fast, closed by Enter."""
    for number, part in enumerate(parts):
        if number:
            page.keyboard.press(GROUP_SEPARATOR)
        page.keyboard.type(part, delay=2)
    page.keyboard.press("Enter")


def sign_in(page):
    """Sign in as the manager, by hand, and go to the orders."""
    page.goto(reverse("sign_in"))
    page.get_by_label("Sign-in name").or_(page.locator("input[name=username]")).first.fill("marrowick")
    page.locator("input[type=password]").fill(builders.PASSWORD)
    page.keyboard.press("Enter")
    page.get_by_role("navigation", name="Main").get_by_role("link", name="Orders").click()


def approve_two_packs(cast, page):
    """Look at the reason, take two packs instead of one and no membranes, and approve."""
    expect(page.get_by_role("heading", name="To order")).to_be_visible()
    line = page.locator(".order-line", has_text=cast.suture.name)
    expect(line).to_contain_text("the least this clinic keeps")
    line.get_by_text("Show the sums").click()
    expect(line.get_by_text("Must lie in reach on 21 May")).to_be_visible()
    line.get_by_role("button", name="One more").click()
    expect(line.locator(".order-sum")).to_have_text("276.00")
    expect(line).to_contain_text("2 packs = 24 pieces")
    page.get_by_role("checkbox", name=f"Order {cast.membrane.name}").uncheck()
    expect(page.locator("#bar-total")).to_have_text("276.00")
    page.get_by_role("button", name="Approve 1 order").click()
    expect(page.get_by_role("heading", name="Brambleforth Surgical Supply")).to_be_visible()
    expect(page.locator(".page-under")).to_contain_text("approved, not sent")


def send_it(cast, page, file):
    """Save the workbook for the supplier and mark the order as sent."""
    with page.expect_download() as coming:
        page.get_by_role("link", name="XLSX").click()
    coming.value.save_as(file)
    rows = [[cell.value for cell in row] for row in load_workbook(file).active.iter_rows()]
    assert ["SUT-PT4", cast.suture.name, "SUT-PT4", 2, 12, 24, 138, 276] in rows
    page.get_by_role("button", name="Mark as sent").click()
    expect(page.locator(".page-under")).to_contain_text("sent")


def receive_it(page):
    """Scan one box, look at what was read, say how many units, take them in."""
    page.get_by_role("link", name="Receive", exact=True).click()
    expect(page.get_by_text("24 pieces, 2 packs of 12")).to_be_visible()
    scan(page, f"01{SUTURE_GTIN}17290331" + "10S-2291")
    expect(page.get_by_label("Lot", exact=True)).to_have_value("S-2291")
    expect(page.get_by_label("Expires on")).to_have_value("2029-03-31")
    expect(page.get_by_label("Units")).to_have_value("12")
    page.get_by_label("Units").fill("24")
    page.get_by_role("button", name="Take into stock").click()
    expect(page.get_by_text("24 pieces of SUT-PT4 S-2291 lie at Stockroom")).to_be_visible()


def test_from_the_reorder_list_to_goods_on_the_shelf(cast, shortage, page, tmp_path):
    sign_in(page)
    approve_two_packs(cast, page)
    send_it(cast, page, tmp_path / "order.xlsx")
    receive_it(page)
    page.goto(reverse("item", args=["SUT-PT4"]))
    expect(page.locator(".fact", has_text="In date today")).to_contain_text("27")
    page.goto(reverse("reorders"))
    expect(page.locator(".order-line", has_text=cast.membrane.name)).to_be_visible()
    expect(page.locator(".order-line", has_text=cast.suture.name)).to_have_count(0)

    order = Order.objects.get()
    assert order.state == Order.State.RECEIVED
    assert OrderLine.objects.get().units_received == 24
    assert Balance.objects.get(lot__lot_number="S-2291").quantity == 24
    assert [proposal.supplier_item.item for proposal in Proposal.objects.all()] == [cast.membrane]


def test_a_scan_with_a_separator_is_read_whole_and_a_second_manager_approves(cast, shortage, signed_in_page):
    Policy.objects.filter(clinic=cast.clinic).update(approval_limit=100)
    page = signed_in_page(cast.manager)
    page.goto(reverse("stock_receive"))
    # A lot of variable length, closed by a separator, then the expiry.
    scan(page, f"01{SUTURE_GTIN}10S-2291", "17290331")
    expect(page.get_by_label("Lot", exact=True)).to_have_value("S-2291")
    expect(page.get_by_label("Expires on")).to_have_value("2029-03-31")

    page.goto(reverse("reorders"))
    page.get_by_role("button", name="Approve 1 order").click()
    expect(page.locator(".page-under")).to_contain_text("a second manager has to approve it too")
    expect(page.get_by_role("button", name="Approve")).to_have_count(0)

    page = signed_in_page(cast.second_manager)
    page.goto(reverse("reorders"))
    page.get_by_role("button", name="Approve", exact=True).click()
    expect(page.locator(".page-under")).to_contain_text("approved, not sent")
    order = Order.objects.get()
    assert (order.approved_by, order.second_approved_by) == (cast.manager, cast.second_manager)
