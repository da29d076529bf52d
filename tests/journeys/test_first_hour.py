"""A new practice's first hour in a browser: nothing there, its own files, then pick list and reorder list.

The files are the invented exports as they came. What should come out was counted by other means: the rows
that stand with the csv module and calamine (see the tests of each import), the cases of the first day by
reading bookings.csv for 30/11/2026: seven bookings, none of them off.
"""

import csv
import datetime as dt
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from kits.models import Case
from practice.models import Clinic, User
from stock.models import Entry, Lot, Order
from stock.verification import verify_ledger
from tests.builders import PASSWORD
from tests.kits.builders_pages import stop_clock

pytestmark = pytest.mark.django_db(transaction=True)

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
# The evening on which the exports were printed.
NOW = dt.datetime(2026, 11, 24, 17, 30, tzinfo=dt.UTC)
TABLET, DESK = {"width": 820, "height": 1180}, {"width": 1280, "height": 900}
PEOPLE = (
    ("tessamore", "Dr A. Tessamore", "Clinician"),
    ("okwendale", "Dr B. Okwendale", "Clinician"),
    ("lindqvarn", "Dr C. Lindqvarn", "Clinician"),
    ("pellister", "J. Pellister", "Assistant"),
    ("marrowick", "Q. Marrowick", "Office manager"),
)


@pytest.fixture(autouse=True)
def evening(monkeypatch):
    stop_clock(monkeypatch, NOW)


def go(page, way):
    """Take one of the ways of the main navigation."""
    page.get_by_role("navigation", name="Main").get_by_role("link", name=way, exact=True).click()


def next_step(page):
    """Follow what Set-up says comes next."""
    go(page, "Set-up")
    page.get_by_role("link", name="Do this next").click()


def start(page):
    page.goto("/")
    expect(page.locator("h1")).to_have_text("Set up your practice")
    answers = {
        "Name of the practice": "Quillenshaw Oral Surgery",
        "Rooms": "A1, A2, A3",
        "Your name as shown": "T. Ostrewold",
        "Your sign-in name": "ostrewold",
        "Your password again": PASSWORD,
    }
    for label, value in answers.items():
        page.get_by_label(label).fill(value)
    page.get_by_label("Clinic", exact=True).fill("Skellowick Road")
    page.get_by_label("Your password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Set up the practice").click()
    expect(page.locator(".messages")).to_contain_text("you are signed in")


def add_people(page):
    next_step(page)
    for username, name, role in PEOPLE:
        page.get_by_role("link", name="Add a person").click()
        page.get_by_label("Sign-in name").fill(username)
        page.get_by_label("Name as shown").fill(name)
        page.get_by_label("Role at this clinic").select_option(label=role)
        page.get_by_label("First password").fill(PASSWORD)
        page.get_by_role("button", name="Add person").click()
        expect(page.locator(".messages")).to_contain_text(f"{name} can sign in as {username}.")


def bring(page, title, file, **answers):
    """Choose a file on the card of its kind and look at what it would change."""
    if "/imports/" not in page.url:
        next_step(page)
    card = page.locator("section.card", has=page.get_by_role("heading", name=re.compile(rf"\d\. {title}")))
    card.locator("input[type=file]").set_input_files(FIXTURES / file)
    for label, value in answers.items():
        card.get_by_label(label).select_option(label=value)
    card.get_by_role("button", name="Look at it first").click()
    expect(page.locator("h1")).to_have_text(Path(file).name)


def take(page, words, *, good_only=False):
    """Take the file in; what happened stands on the page that follows."""
    name = "Take in the good rows only" if good_only else "Take it in"
    page.get_by_role("button", name=name).click()
    expect(page.locator(".messages")).to_contain_text(words)


def settle(page, value):
    """Say that rows with this value stay out; it is remembered."""
    page.get_by_label(re.compile(re.escape(f"“{value}”"))).select_option(label="Leave these rows out")
    page.get_by_role("button", name="Remember and look again").click()
    expect(page.locator("#meanings")).to_have_count(0)


def sign_in(page, username):
    page.get_by_role("button", name="Sign out").click()
    page.get_by_label("Sign-in name").fill(username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def first_day():
    """Chart numbers booked for 30 November, from the export itself."""
    lines = (FIXTURES / "imports" / "bookings.csv").read_text("utf-8-sig").splitlines()[3:]
    rows = csv.DictReader(lines, delimiter=";")
    return {row["Chart #"] for row in rows if row["Appt date"] == "30/11/2026"}


def test_from_nothing_to_the_first_pick_list_and_the_first_reorder_list(page):
    page.set_viewport_size(DESK)
    start(page)
    add_people(page)
    _bring_everything(page)
    assert verify_ledger().is_sound
    go(page, "Set-up")
    expect(page.locator("#first-steps")).to_have_count(0)

    page.set_viewport_size(TABLET)
    sign_in(page, "pellister")
    _first_pick_list(page)
    sign_in(page, "marrowick")
    _first_order(page)
    assert (Clinic.objects.count(), User.objects.count()) == (1, 6)
    page.goto("/start/")
    expect(page.locator("h1")).not_to_have_text("Set up your practice")


def _bring_everything(page):
    bring(page, "Catalogue", "catalogue.csv")
    take(page, "Taken in: 191 of 191 rows")
    expect(page.locator(".page-under")).to_contain_text("Next: bills of materials")
    bring(page, "Bills of materials", "boms.csv")
    take(page, "Taken in: 857 of 857 rows")
    expect(page.locator("#bills")).to_contain_text("19 procedures with a bill")
    bring(page, "Stock count", "imports/stock_count.xlsx")
    expect(page.locator("#problems tbody tr")).to_have_count(3)
    settle(page, "IMP-XX-99-999")
    expect(page.locator("#problems tbody tr")).to_have_count(2)
    take(page, "Taken in: 165 of 169 rows", good_only=True)
    assert Entry.objects.count() == 165
    bring(page, "Price list", "imports/price_list.xlsx", Supplier="Brambleforth Surgical Supply")
    expect(page.locator("#notices")).to_contain_text("priced in EUR")
    take(page, "Taken in: 95 of 96 rows")
    bring(page, "Bookings", "imports/bookings.csv")
    expect(page.locator("#notices")).to_contain_text("numbers teeth in Universal")
    settle(page, "Botox")
    take(page, "Taken in: 153 of 190 rows", good_only=True)
    assert Case.objects.count() == 153


def _first_pick_list(page):
    expect(page.locator("h1")).to_contain_text("Tuesday 24 November")
    page.get_by_role("link", name="To Monday 30 November").click()
    cards = page.locator("article.case")
    expect(cards).to_have_count(7)
    shown = set(re.findall(r"P-\d{4}", " ".join(cards.all_inner_texts())))
    assert shown == first_day()
    cards.filter(has_text="P-0458").get_by_role("link", name="Set out tray").click()
    expect(page.get_by_role("heading", name="Open at set-up")).to_be_visible()
    expect(page.get_by_text("If the facial plate is missing").first).to_be_visible()
    tips = Lot.objects.filter(item__code="DIS-SUC", expires_on__gte=dt.date(2026, 11, 30))
    soonest, *later = tips.order_by("expires_on")
    line = page.locator(".line", has_text="Sterile surgical suction tip")
    expect(line).to_contain_text(soonest.lot_number)
    assert later, "there was another lot to choose"


def _first_order(page):
    go(page, "Orders")
    expect(page.locator("h1")).to_have_text("To order")
    expect(page.locator("#main")).to_contain_text("Brambleforth Surgical Supply")
    expect(page.locator("#main")).to_contain_text(re.compile(r"\d+ must lie in reach for C-\d{5}"))
    assert not Order.objects.exists(), "a proposal is no order until someone says so"
