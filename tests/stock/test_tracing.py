"""Tracing by lot, serial, donor, item, typed text and label."""

from types import SimpleNamespace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from stock.consuming import use
from stock.moving import move
from stock.tracing import NothingToFind, find_label, find_lots, find_text, trace
from tests import builders
from tests.builders import NOW


@pytest.fixture
def vials(cast):
    """Three vials: two of one donor, one of another."""
    facts = {"number": "000123"}
    return [
        builders.shelved(cast.graft, cast.stockroom, serial="HM-U-1", donor_id="HM-DON-0001", **facts),
        builders.shelved(cast.small_graft, cast.other_stockroom, serial="HM-U-2", donor_id="HM-DON-0001"),
        builders.shelved(cast.graft, cast.stockroom, serial="HM-U-3", donor_id="HM-DON-0002", **facts),
    ]


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({"lot": "000123"}, [0, 2]),
        ({"lot": "123"}, []),
        ({"serial": "hm-u-2"}, [1]),
        ({"donor": " HM-DON-0001 "}, [0, 1]),
        ({"donor": "HM-DON-0001", "lot": "000123"}, [0]),
    ],
)
def test_by_what_a_letter_says(vials, asked, found):
    assert list(find_lots(**asked)) == [vials[index] for index in found]


def test_by_item(cast, vials):
    assert list(find_lots(item=cast.small_graft)) == [vials[1]]


@pytest.mark.parametrize(
    ("text", "found"),
    [("000123", [0, 2]), ("HM-U-3", [2]), ("hm-don-0001", [0, 1]), ("GRF-AL-025", [1]), ("nothing", [])],
)
def test_by_typed_text(vials, text, found):
    assert list(find_text(text=text)) == [vials[index] for index in found]


def test_by_a_code_of_the_label(cast, vials):
    sheet = builders.shelved(cast.membrane, cast.stockroom)
    assert list(find_text(text="02999000104314")) == [sheet]


def label(**fields):
    empty = dict.fromkeys(("gtin", "product", "lot", "serial", "donation"))
    return SimpleNamespace(**empty | fields)


def test_by_a_scanned_label(cast, vials):
    sheet = builders.shelved(cast.membrane, cast.stockroom, number="7A")
    builders.shelved(cast.membrane, cast.stockroom, number="7B")
    builders.shelved(cast.larger_membrane, cast.stockroom, number="7A")
    assert list(find_label(label=label(gtin="02999000104314", lot="7A"))) == [sheet]
    assert list(find_label(label=label(donation="HM-DON-0001"))) == vials[:2]
    assert list(find_label(label=label(donation="HM-U-3"))) == [vials[2]]


def test_nothing_to_find(db):
    for asked in (lambda: find_lots(), lambda: find_text(text=" "), lambda: find_label(label=label())):
        with pytest.raises(NothingToFind, match="Give a lot number"):
            asked()


def test_a_trace_tells_where_what_happened_and_the_donor_s_other_lots(cast, vials):
    vial = vials[0]
    move(lot=vial, from_place=cast.stockroom, to_place=cast.tray, quantity=1, by=cast.assistant, at=NOW)
    found = trace(lots=find_lots(serial="HM-U-1"))
    assert found.lots == [vial]
    assert [(row.place, row.quantity) for row in found.where] == [(cast.tray, 1)]
    assert [entry.kind for entry in found.movements] == ["opening", "move-out", "move-in"]
    assert found.siblings == [vials[1]]
    use(lot=vial, place=cast.tray, quantity=1, by=cast.assistant, at=NOW, source="case:C-1")
    after = trace(lots=[vial])
    assert after.where == []
    assert after.movements[-1].source == "case:C-1"


def test_queries_do_not_hang_on_how_much_is_found(cast):
    def count():
        with CaptureQueriesContext(connection) as captured:
            found = trace(lots=find_lots(item=cast.graft))
            [(str(row.lot), str(row.place.clinic)) for row in found.where]
            [(str(entry.lot), str(entry.by)) for entry in found.movements]
        return len(captured)

    builders.shelved(cast.graft, cast.stockroom)
    few = count()
    for _ in range(20):
        builders.shelved(cast.graft, cast.stockroom)
    assert count() == few <= 5
