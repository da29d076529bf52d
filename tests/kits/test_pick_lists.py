"""A list worked out for one case says the same as the lists of all cases worked out together."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from kits import picking
from kits.pick_lists import pick_list_in, readiness_by_case
from kits.promises import book_of
from kits.tray import WrongState
from tests.builders import NOW, TODAY
from tests.kits.builders_kits import TOMORROW

pytestmark = pytest.mark.django_db
LATER = TOMORROW + dt.timedelta(days=2)
# Every case of the day starts after others that want the same units, one of them at the very same minute.
BOOKED = (
    ("SKG", 8, TOMORROW, "11"),
    ("XTR", 8, TOMORROW, "12"),
    ("SKG", 8, TOMORROW, "13"),
    ("GBRX", 12, TOMORROW, "24"),
    ("CTG", 15, TOMORROW, "21"),
    ("SKG", 9, LATER, "36"),
    ("GBRX", 9, LATER, "46"),
)


@pytest.fixture
def book(kits):
    """Seven cases of two days, scarce stock, and the first tray begun."""
    kits.stock_everything(each=2)
    found = [kits.case(code, hour=hour, on=on, teeth=(tooth,)) for code, hour, on, tooth in BOOKED]
    picking.begin(case=found[0], by=None, at=NOW)
    kits.scan_one(found[0], kits.items["GRF-AL-050"])
    return found


def said(pick):
    """What a list says of each line, and of the case."""
    lines = [
        (
            line.key,
            line.state,
            line.on_tray,
            [(part.lot.pk, part.place.pk, part.quantity) for part in line.parts],
            (line.short, line.shared, line.chance_free),
        )
        for line in pick.lines
    ]
    return lines, pick.readiness.word, pick.readiness.sentence, pick.readiness.probability


def test_one_list_says_what_all_lists_together_say(kits, book):
    together = readiness_by_case(clinic=kits.cast.clinic, through=LATER, today=TODAY)
    assert list(together) == [case.pk for case in sorted(book, key=lambda case: (case.starts_at, case.pk))]
    alone = {case.pk: said(picking.pick_list(case=case, today=TODAY)) for case in book}
    assert alone == {pk: said(pick) for pk, pick in together.items()}
    # The book is scarce enough for the comparison to mean something.
    lines = [line for pick in together.values() for line in pick.lines]
    assert any(line.short for line in lines) and any(line.shared for line in lines)


def test_the_lists_of_a_day_say_what_all_lists_together_say(kits, book):
    clinic = kits.cast.clinic
    together = readiness_by_case(clinic=clinic, through=LATER, today=TODAY)
    for on in (TOMORROW, LATER):
        for pick in picking.day_pick_lists(clinic=clinic, on=on, today=TODAY):
            assert said(pick) == said(together[pick.case.pk])


def test_a_list_is_read_with_as_many_queries_however_many_cases_come_first(kits):
    kits.stock_everything()
    last = kits.case("SKG", hour=16)

    def queries():
        with CaptureQueriesContext(connection) as seen:
            picking.pick_list(case=last, today=TODAY)
        return len(seen)

    alone = queries()
    for hour, tooth in enumerate(("12", "13", "14", "15", "16", "21"), start=8):
        kits.case("SKG", hour=hour, teeth=(tooth,))
    assert queries() == alone


def test_what_starts_later_is_not_read(kits, book):
    found = book_of(clinic=kits.cast.clinic, through=LATER, until=book[3].starts_at)
    assert [case.pk for case in found.cases] == [case.pk for case in book[:4]]
    with pytest.raises(WrongState):
        pick_list_in(found, case=book[4], today=TODAY)
