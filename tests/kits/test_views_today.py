"""Today and the list to gather by: cards in words, one thing to do next, what to fetch, what is left over."""

import datetime as dt

import pytest

from kits.chairside import start_surgery
from kits.views.board import capital, day_sentence
from stock.models import Balance
from tests.builders import NOW, TODAY
from tests.kits.builders_kits import TOMORROW
from tests.kits.builders_pages import stop_clock, text_of, url

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def still(monkeypatch):
    stop_clock(monkeypatch)


@pytest.fixture
def client(sign_in, stocked):
    return sign_in(stocked.cast.assistant)


def cards(client, on=TOMORROW):
    shown = client.get(url("today", on=on)).context["columns"]
    return {card.case.code: card for column in shown for card in column.cards}


def test_an_empty_day_leads_to_the_next_one_with_surgery(client, stocked):
    stocked.case("SKG")
    page = text_of(client.get(url("today")))
    assert "No surgery on this day" in page and f"?on={TOMORROW.isoformat()}" in page


def test_an_empty_book_says_where_bookings_come_from(client):
    page = text_of(client.get(url("today")))
    assert "No surgery is booked" in page and url("case_book") in page


def test_each_case_has_its_status_and_one_thing_to_do(client, stocked):
    stocked.stock("GRF-AL-025", 9)
    ready, undecided = stocked.case("SKG"), stocked.case("DEL", teeth=("46",), hour=12)
    over = stocked.fill_tray(stocked.case("V-SRM", teeth=("13",), hour=8))
    going = start_surgery(case=stocked.fill_tray(stocked.case("SKG", teeth=("12",), hour=9)), by=None, at=NOW)
    found = cards(client)
    assert (found[ready.code].word, found[ready.code].action_label) == ("Ready", "Set out tray")
    assert found[ready.code].kind == "is-next"
    assert (
        found[undecided.code].word == "Cannot start"
        and found[undecided.code].why == "Choose the implant for 46."
    )
    assert found[undecided.code].action_url == url("case", undecided.code)
    assert (found[over.code].word, found[over.code].kind) == ("Set out", "is-over")
    assert found[going.code].action_url == url("case_close", going.code)
    sentence = client.get(url("today", on=TOMORROW)).context["sentence"]
    assert sentence == "Four cases in one room. One tray set out; one case cannot start yet."


def test_a_room_of_visits_only_is_a_list_of_rows(client, stocked):
    surgery = stocked.case("SKG")
    room = type(stocked.cast.room).objects.create(clinic=stocked.cast.clinic, code="A9")
    visits = [stocked.case("V-SRM", teeth=("13",), hour=hour, room=room) for hour in (8, 9)]
    answer = client.get(url("today", on=TOMORROW))
    shown = answer.context
    assert [[card.case for card in column.cards] for column in shown["surgery_rooms"]] == [[surgery]]
    assert [[card.case for card in column.cards] for column in shown["visit_rooms"]] == [visits]
    assert text_of(answer).count('<li class="visit ') == 2
    # A visit in a room where somebody operates stays a card among its neighbours.
    stocked.case("V-SRM", teeth=("15",), hour=13)
    again = client.get(url("today", on=TOMORROW)).context
    assert len(again["surgery_rooms"][0].cards) == 2


def test_one_step_is_filled_besides_decisions_that_hold_a_case_up(client, stocked):
    stocked.stock("GRF-AL-025", 9)
    following, undecided = stocked.case("SKG"), stocked.case("DEL", teeth=("46",), hour=12)
    short = stocked.plan(stocked.case("DEL", teeth=("36",), hour=13), "IMP-CR-43-100")
    Balance.objects.filter(lot__item__code="IMP-CR-43-100").update(quantity=0)
    found = cards(client)
    pressing = {code for code, card in found.items() if card.is_pressing}
    assert found[short.code].word == "Cannot start"
    assert pressing == {following.code, undecided.code}


def test_what_is_short_here_and_lies_at_the_other_clinic_is_said(client, stocked):
    case = stocked.plan(stocked.case("DEL", teeth=("46",)), "IMP-CR-43-100")
    here = Balance.objects.filter(lot__item__code="IMP-CR-43-100", place__clinic=stocked.cast.clinic)
    here.update(quantity=0)
    assert "Eddlestoke Green" not in cards(client)[case.code].why
    stocked.stock("IMP-CR-43-100", 2, place=stocked.cast.other_stockroom)
    card = cards(client)[case.code]
    assert card.word == "Cannot start" and "Eddlestoke Green has 2." in card.why


def test_what_to_fetch_names_what_matters_and_sums_up_the_rest(client, stocked):
    stocked.case("SKG")
    shown = client.get(url("today", on=TOMORROW)).context
    leads = [thing.lead for thing in shown["fetch"]]
    assert leads[0].startswith("Allograft") and leads[-1].endswith("lines")
    assert shown["fetch_heading"] == "Before 11:00"  # ten o'clock UTC is eleven at the clinic in May


def test_cases_left_open_are_brought_up_for_two_weeks(client, stocked):
    yesterday = TODAY - dt.timedelta(days=1)
    stocked.case("SKG")
    left = start_surgery(
        case=stocked.fill_tray(stocked.case("SKG", teeth=("12",), on=yesterday)), by=None, at=NOW
    )
    never = stocked.case("XTR", teeth=("12",), on=yesterday, hour=8)
    old = stocked.case("XTR", teeth=("12",), on=TODAY - dt.timedelta(days=20))
    things = {thing.lead: thing.rest for thing in client.get(url("today")).context["finish"]}
    assert "unaccounted for" in things[f"Close {left.code} of yesterday"]
    assert things[f"{never.code} of yesterday"] == "was never set out: move it or cancel it"
    assert not any(old.code in lead for lead in things)


def test_a_day_that_is_no_day_shows_today(client):
    for wrong in ("2026-02-31", "tomorrow", ""):
        assert client.get(url("today"), {"on": wrong}).context["on"] == TODAY


def test_gather_sums_units_by_place_and_lot(client, stocked):
    stocked.case("SKG"), stocked.case("SKG", teeth=("12",), hour=12)
    shown = client.get(url("gather", on=TOMORROW)).context
    assert [place for place, _ in shown["places"]] == ["Stockroom"]
    found = {one.lot.item.code: one for _, rows in shown["places"] for one in rows}
    assert found["DRG-ART"].quantity == 6 and found["DRG-ART"].rooms == ["A1"]
    assert "box-mark" in text_of(client.get(url("gather", on=TOMORROW)))


def test_gather_leaves_out_what_lies_on_trays(client, stocked):
    stocked.fill_tray(stocked.case("SKG"))
    assert client.get(url("gather", on=TOMORROW)).context["places"] == []
    assert "Everything is gathered" in text_of(client.get(url("gather", on=TOMORROW)))
    assert "Nothing to gather" in text_of(client.get(url("gather", on=TODAY)))


def test_the_day_in_a_sentence(stocked):
    case = stocked.case("SKG")
    assert capital(day_sentence([case], {})) == "One case in one room."
    assert capital(day_sentence([case] * 12, {})) == "12 cases in one room."


def test_queries_do_not_grow_with_the_cases(client, stocked, django_assert_max_num_queries):
    stocked.case("SKG")
    with django_assert_max_num_queries(50):
        client.get(url("today", on=TOMORROW))
    for number in range(19):
        stocked.case("SKG", teeth=("12",), hour=6 + number % 12)
    for name in ("today", "gather"):
        with django_assert_max_num_queries(50):
            client.get(url(name, on=TOMORROW))
