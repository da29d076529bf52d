"""What the record of past cases says: what they used, how far ahead they were booked, and the rest."""

import datetime as dt

import numpy as np
import pytest

from kits.case_history import counts_by_open_day, other_use, read_history
from kits.forecast_sources import coming_cases, everything_else, open_days
from kits.models import TrayLine
from kits.replanning import calendar_of
from stock.correcting import correct
from stock.models import Entry
from tests.builders import NOW, TODAY
from tests.kits.builders_plan import case, day, moment, planned, procedure, stock, use

pytestmark = pytest.mark.django_db

LONG_AGO = moment(day(-150))


def read(cast):
    return read_history(clinic=cast.clinic, today=TODAY)


def closed(cast, of, on, **facts):
    return case(cast, of, on, state="closed", **facts)


def test_use_of_closed_cases_is_read_from_the_ledger_less_corrections(cast):
    grafting = procedure("GR", (cast.membrane, 1, None))
    done = closed(cast, grafting, day(-20))
    lot = stock(cast, cast.membrane, 9, at=LONG_AGO)
    use(cast, lot, 2, at=moment(day(-20)), source=f"case:{done.code}")
    use(cast, lot, 1, at=moment(day(-20)), source=f"case:{done.code}", reason=Entry.Reason.DROPPED)
    wrong = use(cast, lot, 1, at=moment(day(-20)), source=f"case:{done.code}")
    correct(entry=wrong, by=cast.manager, at=NOW, note="typed twice")
    [known] = read(cast).cases
    assert known.kind == (grafting.pk,)
    assert {item: row.tolist() for item, row in known.use.items()} == {cast.membrane.pk: [0, 0, 0, 1]}
    assert known.requirement is None  # its tray was not kept


def test_what_lay_ready_is_read_from_the_tray(cast):
    done = closed(cast, procedure("GR", (cast.membrane, 1, None)), day(-20))
    TrayLine.objects.create(
        case=done,
        position=1,
        key="GR.1/case",
        item=cast.membrane,
        description="sheet",
        quantity=2,
        certain=True,
        set_out="open",
    )
    assert read(cast).cases[0].requirement == {cast.membrane.pk: 2}


def test_leads_are_days_between_booking_and_surgery(cast):
    grafting = procedure("GR", (cast.membrane, 1, None))
    closed(cast, grafting, day(-20), booked_at=moment(day(-25)))
    closed(cast, grafting, day(-10), booked_at=moment(day(-10), hour=7))
    closed(cast, grafting, day(-5), booked_at=NOW)  # typed in afterwards: how far ahead is not known
    record = read(cast)
    assert [known.lead for known in record.cases] == [5, 0, None]
    assert (len(record.cases), record.first_on) == (3, day(-20))


def test_only_closed_cases_of_the_half_year_at_this_clinic_count(cast):
    grafting = procedure("GR", (cast.membrane, 1, None))
    closed(cast, grafting, day(-183))
    closed(cast, grafting, TODAY)
    case(cast, grafting, day(-3))
    case(cast, grafting, day(-4), state="cancelled")
    closed(cast, grafting, day(-3), clinic=cast.other_clinic, room=None)
    assert read(cast).cases == ()


def test_other_use_leaves_cases_and_losses_out(cast):
    lot = stock(cast, cast.suture, 30, at=LONG_AGO)
    use(cast, lot, 3, at=moment(day(-8)))
    use(cast, lot, 1, at=moment(day(-8)), reason=Entry.Reason.DROPPED)
    use(cast, lot, 5, at=moment(day(-8)), source="case:C-00001")
    lost = use(cast, lot, 7, at=moment(day(-8)), reason=Entry.Reason.EXPIRED)
    correct(entry=lost, by=cast.manager, at=NOW, note="counted again")
    use(cast, lot, 2, at=NOW)  # today is not over
    assert other_use(clinic=cast.clinic, today=TODAY) == {cast.suture.pk: {day(-8): 4}}


def test_use_on_a_closed_day_counts_on_the_open_day_before(cast):
    days = [day(-4), day(-1)]  # Friday and Monday
    counts = counts_by_open_day({day(-4): 1, day(-3): 2, day(-1): 5, day(-9): 1}, days)
    assert counts.tolist() == [4, 5]


def test_cases_to_come_follow_the_rate_of_the_past(cast):
    """Twenty cases on as many open days, one sheet each: about one a day once nothing is booked."""
    grafting = procedure("GR", (cast.membrane, 1, None))
    lot = stock(cast, cast.membrane, 40, at=LONG_AGO)
    calendar = calendar_of(cast.clinic)
    past = open_days(calendar, day(-28), TODAY)
    assert len(past) == 20
    for on in past:
        done = closed(cast, grafting, on)
        use(cast, lot, 1, at=moment(on), source=f"case:{done.code}")
    coming = coming_cases(clinic=cast.clinic, calendar=calendar, today=TODAY, days=40, booked=[])
    [rate] = coming.rates[cast.membrane.pk].units
    # Gamma posterior: 20 cases over 20 days and the share of the coming days that is in the book (none is).
    share = 1 - coming.not_booked[np.array(calendar.flags(TODAY, 40)), 0]
    assert rate == pytest.approx(20 / (20 + share.sum()))
    assert coming.expected[:3, 0].tolist() == [0, 0, 0]
    assert coming.expected[4, 0] == 0  # Saturday
    assert coming.expected[34, 0] == 1  # Monday in five weeks: booked at most four weeks ahead


def test_everything_else_is_learnt_from_open_days_on_record(cast):
    lot = stock(cast, cast.suture, 30, at=moment(day(-28)))
    for back in (25, 18, 11, 4):
        use(cast, lot, 1, at=moment(day(-back)))
    other = everything_else(clinic=cast.clinic, calendar=calendar_of(cast.clinic), today=TODAY, days=14)
    belief = other.rates[cast.suture.pk]
    assert 4 / 45 < belief.mean < 4 / 30  # four in twenty open days, steadied by twenty days of almost none
    assert sum(other.is_open) == 10


def test_plan_keeps_the_sources_apart(cast):
    lot = stock(cast, cast.suture, 30, at=moment(day(-28)))
    use(cast, lot, 2, at=moment(day(-8)))
    case(cast, procedure("EX", (cast.suture, 1, None)), day(1))
    uses = planned(cast, cast.suture).series["use"]
    assert uses["booked"][:3] == [0, 1, 0]
    assert uses["other"][0] > 0 and uses["other"][4] == 0  # open today, closed on Saturday
    assert uses["not_booked"][0] == 0 and max(uses["not_booked"]) > 0


def test_clinic_without_a_record_plans_its_book_alone(cast):
    found = planned(cast, cast.suture)
    assert set(found.series["use"]["not_booked"]) == set(found.series["use"]["other"]) == {0.0}
    assert found.covered_until == TODAY + dt.timedelta(days=179)
