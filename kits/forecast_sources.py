"""The two sources of demand that no booking shows: cases not booked yet, and everything else.

Both are learnt from the clinic's own record. A clinic without a record gets neither, and its forecast
covers booked cases (and what the bookings so far say of those to come) only.
"""

import datetime as dt

from django.db.models import Min

from kits.case_history import WINDOW_DAYS, counts_by_open_day, other_use, read_history
from kits.demand import BookedCase, Other
from kits.expected_cases import Coming, KnownCase, expect
from practice.models import Clinic, Room
from practice.workdays import Workdays
from stock.models import Entry
from stock.planning import history

ONE_DAY = dt.timedelta(days=1)
# Rate of use by other causes before any is counted, units per open day: one unit in 200 open days.
# Our choice: small enough that the record decides, above 0 so that a single drop is not the whole truth.
PRIOR_OTHER_USE = 0.005


def coming_cases(
    *, clinic: Clinic, calendar: Workdays, today: dt.date, days: int, booked: list[BookedCase]
) -> Coming:
    """Cases not booked yet over the coming days, by the rates of the last half year and of the book."""
    record = read_history(clinic=clinic, today=today)
    return expect(
        [*record.cases, *(KnownCase(case.kind, case.use, case.requirement) for case in booked)],
        past_open_days=len(open_days(calendar, record.first_on, today)),
        is_open=calendar.flags(today, days),
        rooms=Room.objects.filter(clinic=clinic, kind=Room.Kind.SURGICAL).count(),
    )


def everything_else(*, clinic: Clinic, calendar: Workdays, today: dt.date, days: int) -> Other:
    """Use that no case explains: Gamma-Poisson on its own record, item by item, older days fading."""
    start = _first_on_record(clinic, today - ONE_DAY * WINDOW_DAYS)
    past = open_days(calendar, start, today)
    prior = history.start(PRIOR_OTHER_USE)
    used = other_use(clinic=clinic, today=today) if past else {}
    return Other(
        rates={
            item: history.learn(counts_by_open_day(units, past), prior=prior) for item, units in used.items()
        },
        is_open=calendar.flags(today, days),
    )


def _first_on_record(clinic: Clinic, earliest: dt.date) -> dt.date | None:
    """The day of the clinic's first entry, `earliest` where the record goes further back; None: no entry."""
    entries = Entry.objects.filter(clinic=clinic)
    window_opens = dt.datetime.combine(earliest, dt.time.min, dt.UTC)
    # The index on the moment answers this at once; the very first moment of a long record takes a walk.
    if entries.filter(at__lt=window_opens).exists():
        return earliest
    first_at = entries.aggregate(first=Min("at"))["first"]
    return first_at.date() if first_at else None


def open_days(calendar: Workdays, start: dt.date | None, end: dt.date) -> list[dt.date]:
    """Open days from `start` up to the day before `end`; none without a start."""
    if start is None:
        return []
    flags = calendar.flags(start, max((end - start).days, 0))
    return [start + ONE_DAY * offset for offset, is_open in enumerate(flags) if is_open]
