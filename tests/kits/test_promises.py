"""What is promised to later cases: the shelf first, then orders from their day on; in few queries.

12 May 2026 is a Tuesday; clinic A opens Monday to Friday. The general supplier states three days.
"""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from scipy.stats import nbinom

from kits import picking
from kits.plan_report import plan_report
from kits.tray_checks import NothingToTake
from practice.models import Clinic, Closure, Policy
from stock.models import Order, OrderLine
from stock.receiving import ensure_lot, receive
from tests.builders import NOW, TODAY, shelved
from tests.kits.builders_plan import case, day, finding, procedure

pytestmark = pytest.mark.django_db
ONE_DAY = dt.timedelta(days=1)


def ordered(cast, item, units=1, *, due: dt.date, state="sent", clinic=None) -> Order:
    """An order of an item that is expected on a day."""
    number = f"PO-{Order.objects.count() + 1:05d}"
    sold = item.suppliers.get()
    made = Order.objects.create(
        clinic=clinic or cast.clinic,
        supplier=sold.supplier,
        number=number,
        state=state,
        created_at=NOW,
        approved_at=None if state == "proposed" else NOW,
        sent_at=NOW if state in ("sent", "part-received") else None,
    )
    OrderLine.objects.create(
        order=made, supplier_item=sold, packs=units, pack_size=1, pack_price=1, expected_on=due
    )
    return made


@pytest.fixture
def grafting(cast):
    """A procedure that takes one sheet, and cannot start without it."""
    return procedure("GR", (cast.membrane, 1, None))


def sheet(case, *, today=TODAY):
    pick = picking.pick_list(case=case, today=today)
    return pick.readiness, pick.lines[0]


# Surgery on Thursday the 21st, one sheet on order.
@pytest.mark.parametrize(
    ("due", "word", "said"),
    [
        (dt.date(2026, 5, 14), "ready", "on order, due 14 May (PO-00001)"),
        (dt.date(2026, 5, 19), "ready", "on order, due 19 May (PO-00001)"),
        (dt.date(2026, 5, 20), "thin", "on order, due 20 May (PO-00001)"),
        (dt.date(2026, 5, 21), "thin", "on order, due 21 May (PO-00001)"),
        # Comes too late: as if nothing were on order; a second order sent today would still be in time.
        (dt.date(2026, 5, 22), "thin", "short 1"),
        # Due on a Saturday, taken in on Monday the 18th.
        (dt.date(2026, 5, 16), "ready", "on order, due 18 May (PO-00001)"),
    ],
)
def test_an_order_counts_from_the_day_it_can_be_taken_in(cast, grafting, due, word, said):
    ordered(cast, cast.membrane, due=due)
    ready, line = sheet(case(cast, grafting, dt.date(2026, 5, 21)))
    assert (ready.word, line.word) == (word, said)
    assert line.parts == ()


def test_a_closure_moves_the_day_it_is_taken_in(cast, grafting):
    Closure.objects.create(clinic=cast.clinic, starts_on=dt.date(2026, 5, 18), ends_on=dt.date(2026, 5, 19))
    ordered(cast, cast.membrane, due=dt.date(2026, 5, 18))
    ready, line = sheet(case(cast, grafting, dt.date(2026, 5, 21)))
    assert (ready.word, line.word) == ("thin", "on order, due 20 May (PO-00001)")


# Due today or overdue: it may not come, so today's case does not hang on it; tomorrow's is thin.
@pytest.mark.parametrize("due", [TODAY, TODAY - 5 * ONE_DAY])
@pytest.mark.parametrize(("on", "word"), [(0, "cannot start"), (1, "thin"), (2, "thin"), (3, "ready")])
def test_what_is_due_today_or_overdue_makes_no_case_of_today_ready(cast, grafting, due, on, word):
    ordered(cast, cast.membrane, due=due)
    made = case(cast, grafting, day(on), hour=20)
    ready, line = sheet(made)
    assert ready.word == word
    if on and due < TODAY:
        assert line.word == "on order, overdue (PO-00001)"


@pytest.mark.parametrize(
    ("state", "word"),
    [
        ("approved", "ready"),
        ("sent", "ready"),
        ("part-received", "ready"),
        ("proposed", "thin"),
        ("cancelled", "thin"),
    ],
)
def test_only_an_order_somebody_approved_counts(cast, grafting, state, word):
    ordered(cast, cast.membrane, due=day(1), state=state)
    assert sheet(case(cast, grafting, day(15)))[0].word == word


def test_an_order_of_another_clinic_brings_nothing_here(cast, grafting):
    ordered(cast, cast.membrane, due=day(1), clinic=cast.other_clinic)
    assert sheet(case(cast, grafting, day(15)))[1].short == 1


def test_the_shelf_goes_first_and_only_it_can_be_fetched(cast):
    three = procedure("GR3", *[(cast.membrane, 1, None)] * 3)
    lot = shelved(cast.membrane, cast.stockroom, 2)
    ordered(cast, cast.membrane, 5, due=day(1))
    made = case(cast, three, day(6))
    pick = picking.pick_list(case=made, today=TODAY)
    fetched = [part for line in pick.lines for part in line.parts]
    assert [(part.lot, part.quantity) for part in fetched] == [(lot, 1), (lot, 1)]
    assert [line.state for line in pick.lines] == ["todo", "todo", "on order"]
    assert (pick.readiness.word, pick.short) == ("ready", [])


def test_what_is_on_order_cannot_be_ticked(cast, grafting):
    ordered(cast, cast.membrane, due=day(1))
    made = picking.begin(case=case(cast, grafting, day(6)), by=cast.assistant, at=NOW)
    with pytest.raises(NothingToTake):
        picking.tick(line=made.tray_lines.get(), by=cast.assistant, at=NOW)


def test_a_received_order_is_stock(cast, grafting):
    order = ordered(cast, cast.membrane, due=TODAY)
    lot = ensure_lot(item=cast.membrane, lot_number="N1", expires_on=dt.date(2028, 1, 1))
    arrival = {"by": cast.assistant, "at": NOW, "order_line": order.lines.get(), "package_intact": True}
    receive(lot=lot, place=cast.stockroom, quantity=1, **arrival)
    ready, line = sheet(case(cast, grafting, TODAY, hour=20))
    assert (ready.word, [part.lot for part in line.parts], line.coming) == ("ready", [lot], ())


def test_nineteen_in_twenty_come_within_seven_days():
    # Three days stated, worth four receipts: a negative binomial of shape 12 and mean 3.
    assert nbinom.cdf(6, 12, 0.8) < 0.95 < nbinom.cdf(7, 12, 0.8)


# Surgery on Thursday the 21st needs it by Wednesday the 20th; seven days before is Wednesday the 13th.
@pytest.mark.parametrize(
    ("today", "word"),
    [
        (12, "thin"),
        (13, "thin"),
        (14, "cannot start"),
        (15, "cannot start"),
        (18, "cannot start"),
        (21, "cannot start"),
    ],
)
def test_short_and_nothing_on_order(cast, grafting, today, word):
    ready, _ = sheet(case(cast, grafting, dt.date(2026, 5, 21)), today=dt.date(2026, 5, today))
    assert ready.word == word
    if word == "thin":
        assert "1 of 1 is short for this case: order by 13 May." in ready.sentence


def test_an_order_sent_in_time_makes_it_ready(cast, grafting):
    made = case(cast, grafting, dt.date(2026, 5, 21))
    assert sheet(made)[0].word == "thin"
    ordered(cast, cast.membrane, due=dt.date(2026, 5, 15))
    assert sheet(made)[0].word == "ready"


def test_nobody_sells_it(cast, grafting):
    cast.membrane.suppliers.all().delete()
    ready, _ = sheet(case(cast, grafting, day(30)))
    assert ready.word == "cannot start" and "no supplier is known" in ready.sentence


def test_a_clinic_that_never_opens_still_shows_its_day(cast, grafting):
    Clinic.objects.filter(pk=cast.clinic.pk).update(open_weekdays="0000000")
    cast.clinic.refresh_from_db()
    ordered(cast, cast.membrane, due=day(1))
    [pick] = picking.day_pick_lists(clinic=cast.clinic, on=case(cast, grafting, day(9)).on, today=TODAY)
    assert (pick.readiness.word, pick.short[0].short) == ("cannot start", 1)


def test_a_reserve_on_order_is_shared_by_the_practice_s_target(cast):
    bleeding = procedure("GB", (cast.membrane, 0.02, finding()))
    ordered(cast, cast.membrane, due=day(1))
    case(cast, bleeding, day(6))
    later = case(cast, bleeding, day(7))
    ready, line = sheet(later)
    # Both need it 4 times in 10,000: above the target of 0.995.
    assert (line.shared, ready.word) == (1, "ready")
    assert ready.probability == pytest.approx(1 - 0.02 * 0.02)
    assert "covered more than 99 times in 100" in ready.sentence
    Policy.objects.filter(clinic=cast.clinic).update(target_cannot_start=0.99999)
    assert sheet(later)[0].word == "thin"


def test_the_plan_says_the_same(cast, grafting):
    ordered(cast, cast.membrane, due=day(2))
    first, second = case(cast, grafting, day(3)), case(cast, grafting, day(20))
    rows = plan_report(clinic=cast.clinic, today=TODAY, days=30)["cases"]
    assert [(row["case"], row["readiness"]) for row in rows] == [(first.code, "thin"), (second.code, "thin")]
    assert "PO-00001" in rows[0]["blocking"][0] and "order by" in rows[1]["blocking"][0]
    assert rows[1]["probability"] == 0.95


def test_queries_hang_on_neither_cases_nor_orders(cast, grafting):
    on = day(9)

    def queries():
        with CaptureQueriesContext(connection) as seen:
            lists = picking.day_pick_lists(clinic=cast.clinic, on=on, today=TODAY)
        return len(lists), len(seen)

    shelved(cast.membrane, cast.stockroom, 15)
    case(cast, grafting, on)
    _, one = queries()
    for number in range(11):
        case(cast, grafting, on, hour=8 + number)
        ordered(cast, cast.membrane, due=day(number % 9))
        case(cast, grafting, day(number % 9))
    assert queries() == (12, one)
    assert one <= 25
