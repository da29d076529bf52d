"""What is on order, and what is short for a later day, on every page and sheet that shows a case."""

import pytest

from kits import picking
from kits.pick_sheets import as_json, rows, to_text
from tests.builders import TODAY, shelved
from tests.kits.builders_pages import stop_clock, text_of, url
from tests.kits.builders_plan import case, day, procedure
from tests.kits.test_promises import ordered

pytestmark = pytest.mark.django_db
ON = day(6)
WORDS = "on order, due 13 May (PO-00001)"


@pytest.fixture(autouse=True)
def still(monkeypatch):
    stop_clock(monkeypatch)


@pytest.fixture
def client(sign_in, cast):
    return sign_in(cast.assistant)


@pytest.fixture
def waiting(cast):
    """A case whose sheet is on order, and one three weeks on that nobody has ordered for."""
    grafting = procedure("GR", (cast.membrane, 1, None))
    ordered(cast, cast.membrane, due=day(1))
    return case(cast, grafting, ON, room=cast.room), case(cast, grafting, day(21), room=cast.room)


def test_the_pick_list_says_it_instead_of_a_lot(client, waiting):
    page = text_of(client.get(url("pick_list", waiting[0].code)))
    assert WORDS in page


def test_today_calls_it_ready_and_the_later_one_thin(client, waiting):
    first, later = waiting

    def card(on):
        [column] = client.get(url("today", on=on)).context["columns"]
        return column.cards[0]

    assert (card(first.on).word, card(first.on).why) == ("Ready", "")
    assert card(later.on).word == "Thin reserve"
    # Three weeks on is Tuesday 2 June: needed by Monday, seven days before is Monday 25 May.
    assert "1 of 1 is short for this case: order by 25 May." in card(later.on).why


def test_there_is_nothing_to_fetch_yet(client, waiting):
    shown = client.get(url("gather", on=ON))
    assert shown.context["places"] == [] and shown.context["short"] == []
    assert "Still on order" in text_of(shown) and WORDS in text_of(shown)


def test_sheets_name_the_order(cast, waiting):
    pick = picking.pick_list(case=waiting[0], today=TODAY)
    [line] = as_json(pick)["lines"]
    assert (line["lot"], line["lots"], line["short"], line["state"]) == ("", [], 0, "on order")
    assert line["on_order"] == [{"order": "PO-00001", "due": day(1).isoformat(), "quantity": 1}]
    [row] = rows([pick])
    assert WORDS in row
    assert WORDS in to_text([pick])


def test_partly_there_and_partly_on_order(cast):
    pick = picking.pick_list(case=case(cast, two_sheets(cast), ON), today=TODAY)
    [line] = pick.lines
    assert (line.state, line.word, sum(part.quantity for part in line.parts)) == (
        "todo",
        "1 on order, due 13 May (PO-00001)",
        1,
    )


def two_sheets(cast):
    """A procedure that takes two sheets in one line, with one on the shelf and one on order."""
    made = procedure("G2", (cast.membrane, 1, None))
    made.versions.get().lines.update(quantity=2)
    shelved(cast.membrane, cast.stockroom, 1)
    ordered(cast, cast.membrane, due=day(1))
    return made
