"""An item's answer: what lies there first, the newest movements and patients, and all of them by pages."""

import csv
import datetime as dt
import io

import openpyxl
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from kits.item_history import MOVES_HEADER, NEWEST, USES_HEADER
from kits.views.item_history import PER_PAGE
from stock.correcting import correct
from stock.holds import hold
from stock.models import Entry
from stock.moving import move
from tests import builders
from tests.builders import NOW
from tests.kits.builders_pages import text_of, url
from tests.kits.test_views_stock_find import placed

pytestmark = pytest.mark.usefixtures("the_day")


@pytest.fixture
def reading(cast, sign_in):
    return sign_in(cast.clinician)


def history(reading, text="MEM-RC-2030"):
    answer = reading.get(url("find_lot", q=text))
    assert answer.status_code == 200
    return answer.context["history"]


def moved(cast, lot, times):
    """The lot goes to the cart and back so many times: two entries each way."""
    for number in range(times):
        ends = (cast.stockroom, cast.cart) if number % 2 == 0 else (cast.cart, cast.stockroom)
        at = NOW + dt.timedelta(minutes=number)
        move(lot=lot, from_place=ends[0], to_place=ends[1], quantity=1, by=cast.assistant, at=at)


@pytest.mark.parametrize("typed", ["MEM-RC-2030", "mem-rc-2030", "resorbable 20 x 30", "(01)02999000104321"])
def test_a_code_a_name_and_a_bare_label_lead_to_the_item(cast, reading, typed):
    cast.membrane.codes.create(value="02999000104321")
    builders.shelved(cast.membrane, cast.stockroom)
    cast.membrane.name = "Membrane, resorbable, 20 x 30 mm"
    cast.membrane.save()
    assert history(reading, typed).item == cast.membrane


def test_what_lies_here_comes_first_then_the_other_clinic(cast, reading):
    day = dt.date(2027, 3, 1)
    there = builders.shelved(cast.membrane, cast.other_stockroom, 2, number="L3", expires_on=day)
    later = builders.shelved(
        cast.membrane, cast.stockroom, 3, number="L2", expires_on=day + dt.timedelta(days=9)
    )
    sooner = builders.shelved(cast.membrane, cast.stockroom, 1, number="L1", expires_on=day)
    gone = builders.shelved(cast.membrane, cast.stockroom, 1, number="L0")
    placed(cast, gone)
    hold(lot=sooner, reason="seal torn", by=cast.manager, at=NOW)
    found = history(reading)
    assert [row.balance.lot for row in found.lying] == [sooner, later, there]
    assert [row.standing.state for row in found.lying][0] == "stop"
    assert (found.units, found.lot_number) == (6, 3)
    assert [shown.given.lot for shown in found.uses] == [gone]


def test_only_the_newest_are_told_and_the_numbers_say_how_many_there_are(cast, reading):
    lot = builders.shelved(cast.membrane, cast.stockroom, 40, number="L1")
    for _ in range(NEWEST + 3):
        placed(cast, lot)
    moved(cast, lot, 8)
    found = history(reading)
    entries = Entry.objects.filter(lot=lot)
    assert (len(found.moves), found.move_number) == (NEWEST, entries.count())
    assert [shown.entry for shown in found.moves] == list(entries.order_by("-at", "-pk")[:NEWEST])
    assert (len(found.uses), found.use_number) == (NEWEST, NEWEST + 3)
    page = text_of(reading.get(url("find_lot", q="MEM-RC-2030")))
    assert f"the newest {NEWEST} of {NEWEST + 3} uses" in page
    for name in ("item_moves", "item_patients"):
        assert url(name, "MEM-RC-2030") in page and f"{url(name, 'MEM-RC-2030')}?export=csv" in page


def test_all_of_them_page_by_page(cast, reading):
    lot = builders.shelved(cast.membrane, cast.stockroom, 2, number="L1")
    moved(cast, lot, PER_PAGE)
    first = reading.get(url("item_moves", "MEM-RC-2030"))
    second = reading.get(url("item_moves", "MEM-RC-2030", page=2))
    third = reading.get(url("item_moves", "MEM-RC-2030", page=99))
    shown = [[one.entry.pk for one in page.context["moves"]] for page in (first, second, third)]
    assert [len(numbers) for numbers in shown] == [PER_PAGE, PER_PAGE, 1]
    assert sum(shown, []) == list(Entry.objects.order_by("-at", "-pk").values_list("pk", flat=True))
    assert 'rel="next"' in text_of(first) and "page 2 of 3" in text_of(second)


def test_an_entry_put_right_says_so_on_another_page_too(cast, reading):
    lot = builders.shelved(cast.membrane, cast.stockroom, 2, number="L1")
    correct(entry=Entry.objects.get(), by=cast.assistant, at=NOW, note="typed twice")
    other = builders.shelved(cast.membrane, cast.stockroom, 2, number="L2")
    # With the correction and the other lot's opening these fill the first page; the entry opens the second.
    moved(cast, other, PER_PAGE // 2 - 1)
    first, second = (
        reading.get(url("item_moves", "MEM-RC-2030", page=page)).context["moves"] for page in (1, 2)
    )
    assert len(first) == PER_PAGE and first[-2].entry.corrects_id == second[0].entry.pk
    [last] = second
    assert last.entry.lot == lot
    assert last.was_corrected


def test_files_hold_every_row(cast, reading):
    lot = builders.shelved(cast.graft, cast.stockroom, 1, serial="0012-7", donor_id="HM-DON-1", number="007")
    case = placed(cast, lot)
    code = cast.graft.code
    answer = reading.get(url("item_moves", code, export="csv"))
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert rows[0] == list(MOVES_HEADER) and len(rows) == 1 + Entry.objects.filter(lot=lot).count()
    assert rows[1][6:9] == ["007", "0012-7", "HM-DON-1"] and rows[1][9] == f"case:{case.code}"
    book = openpyxl.load_workbook(
        io.BytesIO(reading.get(url("item_patients", code, export="xlsx")).content)
    ).active
    found = list(book.iter_rows(values_only=True))
    assert found[0] == USES_HEADER and len(found) == 2
    assert found[1][:2] == (case.patient.chart_number, case.code) and found[1][7] == "007"


def test_what_is_out_of_reach_is_counted_not_shown(cast, sign_in):
    lot = builders.shelved(cast.membrane, cast.other_stockroom, 3, number="L1")
    placed(cast, lot, clinic=cast.other_clinic)
    near = sign_in(cast.assistant)
    found = history(near)
    assert (found.lying, found.moves, found.uses) == ([], [], [])
    assert (found.units_elsewhere, found.moves_elsewhere, found.uses_elsewhere) == (2, 2, 1)
    assert "2 units lie at clinics you do not work at." in text_of(near.get(url("find_lot", q="MEM-RC-2030")))
    for name in ("item_moves", "item_patients"):
        assert near.get(url(name, "MEM-RC-2030")).context["page"].paginator.count == 0
        rows = near.get(url(name, "MEM-RC-2030", export="csv")).content.decode().strip().splitlines()
        assert len(rows) == 1
        assert sign_in(cast.stranger).get(url(name, "MEM-RC-2030")).status_code == 403
        near = sign_in(cast.assistant)
        assert near.get(url(name, "NO-SUCH")).status_code == 404


def test_an_item_never_had_says_what_to_do(cast, reading):
    page = text_of(reading.get(url("find_lot", q="MEM-RC-2030")))
    assert "None of it lies at your clinics" in page and "Used in no patient" in page
    assert "Nothing of it has moved yet" in text_of(reading.get(url("item_moves", "MEM-RC-2030")))
    assert "Used in no patient yet" in text_of(reading.get(url("item_patients", "MEM-RC-2030")))


def test_queries_do_not_grow_with_the_rows(cast, reading):
    addresses = (
        url("find_lot", q="MEM-RC-2030"),
        url("item_moves", "MEM-RC-2030"),
        url("item_patients", "MEM-RC-2030"),
    )

    def queries():
        counts = []
        for address in addresses:
            with CaptureQueriesContext(connection) as seen:
                assert reading.get(address).status_code == 200
            counts.append(len(seen))
        return counts

    placed(cast, builders.shelved(cast.membrane, cast.stockroom, 2, number="L"))
    queries()
    at_one = queries()
    for number in range(20):
        placed(cast, builders.shelved(cast.membrane, cast.stockroom, 2, number=f"L{number}"))
    assert queries() == at_one
