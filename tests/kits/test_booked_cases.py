"""The book as the planner reads it, on the trade's own bills (boms.csv, invented chances of the demo)."""

import datetime as dt

import numpy as np
import pytest

from kits.booked_cases import booked_cases
from kits.chairside import open_line, record_finding
from kits.closing import record
from kits.models import Case, Finding, TrayUnit
from kits.scheduling import cancel_case
from kits.tray import begin
from kits.tray_moves import tick
from stock.models import Balance, Entry, Place
from tests.builders import NOW, TODAY
from tests.kits.builders_kits import TOMORROW

SOCKET = "SKG"


def read(kits, *, today=TODAY, days=30):
    return booked_cases(clinic=kits.cast.clinic, today=today, days=days)


def use_of(kits, code, **facts):
    [case] = read(kits, **facts)
    return np.asarray(case.use.get(kits.items[code].pk, [1.0]))


def tray_line(case, code):
    return case.tray_lines.get(item__code=code)


@pytest.fixture
def set_out(stocked):
    """A socket graft whose suture and reserve blade lie on the tray."""
    case = stocked.case(SOCKET)
    begin(case=case, by=stocked.cast.assistant, at=NOW)
    for code in ("SUT-PT4", "SHP-B15"):
        tick(line=tray_line(case, code), by=stocked.cast.assistant, at=NOW)
    return case


def test_certain_reserve_and_shared_covers_of_a_socket_graft(kits):
    """boms.csv: suture certain; blade 0.30 on the missing plate; plug 0.45, sheet 0.35 of the intact 0.70."""
    kits.case(SOCKET)
    assert use_of(kits, "SUT-PT4") == pytest.approx([0, 1])
    assert use_of(kits, "SHP-B15") == pytest.approx([0.7, 0.3])
    assert use_of(kits, "COL-PLG") == pytest.approx([1 - 0.315, 0.315])
    assert use_of(kits, "MEM-PT-1224") == pytest.approx([1 - 0.245, 0.245])
    assert use_of(kits, "FIX-TCK") == pytest.approx([0.97, 0.03])


def test_everything_that_can_be_needed_lies_ready_but_options_nobody_decided(kits):
    kits.case(SOCKET)
    [case] = read(kits)
    ready = {item.code: case.requirement.get(item.pk, 0) for item in kits.items.values()}
    assert (ready["SUT-PT4"], ready["SHP-B15"], ready["FIX-TCK"], ready["DRG-ART"]) == (1, 1, 1, 3)
    assert ready["PRF-TUB"] == 0  # planned in 15 of 100 such cases, not decided here
    assert use_of(kits, "PRF-TUB") == pytest.approx([0.85, 0, 0, 0, 0.15])


def test_day_time_and_kind(kits):
    kits.case(SOCKET, hour=10)
    [case] = read(kits)
    # Ten o'clock UTC in May is eleven at the clinic.
    assert (case.day, case.on, case.starts) == (1, TOMORROW, 11 * 60)
    assert case.ends - case.starts == kits.procedures[SOCKET].minutes
    assert case.kind == (kits.procedures[SOCKET].pk,)


def test_found_in_surgery_is_certain_or_out(set_out, stocked):
    site = set_out.sites.get()
    plate = Finding.objects.get(code="F-FPM")
    record_finding(case=set_out, finding=plate, site=site, present=False, by=None, at=NOW)
    assert use_of(stocked, "SHP-B15") == pytest.approx([1])
    assert use_of(stocked, "COL-PLG") == pytest.approx([0.55, 0.45])
    record_finding(case=set_out, finding=plate, site=site, present=True, by=None, at=NOW)
    assert use_of(stocked, "SHP-B15") == pytest.approx([0, 1])
    assert use_of(stocked, "COL-PLG") == pytest.approx([1])
    assert use_of(stocked, "FIX-TCK") == pytest.approx([0.9, 0.1])


def test_used_units_are_not_counted_again(set_out, stocked):
    before = stocked.held("SUT-PT4")
    open_line(line=tray_line(set_out, "SUT-PT4"), by=None, at=NOW)
    assert use_of(stocked, "SUT-PT4") == pytest.approx([0, 1])
    [unit] = TrayUnit.objects.filter(line__item__code="SUT-PT4")
    record(unit=unit, outcome=TrayUnit.Outcome.USED, quantity=1, by=None, at=NOW)
    assert stocked.held("SUT-PT4") == before - 1
    assert use_of(stocked, "SUT-PT4") == pytest.approx([1])


def test_wasted_units_are_not_counted_again(set_out, stocked):
    [unit] = TrayUnit.objects.filter(line__item__code="SHP-B15")
    open_line(line=unit.line, by=None, at=NOW)
    unit.refresh_from_db()
    reason = Entry.Reason.DROPPED
    record(unit=unit, outcome=TrayUnit.Outcome.WASTED, quantity=1, reason=reason, by=None, at=NOW)
    assert use_of(stocked, "SHP-B15") == pytest.approx([1])


def test_what_lies_on_a_tray_is_still_to_be_used_and_still_there(set_out, stocked):
    assert Balance.objects.get(lot__item__code="SUT-PT4", place__kind=Place.Kind.TRAY).quantity == 1
    assert use_of(stocked, "SUT-PT4") == pytest.approx([0, 1])


def test_cancelled_closed_and_forgotten_cases_need_nothing(kits):
    cancelled = kits.case(SOCKET)
    cancel_case(case=cancelled, reason="ill", by=kits.cast.manager, at=NOW)
    kits.case(SOCKET, on=TODAY - dt.timedelta(days=8))
    closed = kits.case(SOCKET)
    Case.objects.filter(pk=closed.pk).update(state=Case.State.CLOSED, closed_at=NOW)
    assert read(kits) == []


def test_overdue_case_counts_today_and_needs_nothing_ready(kits):
    kits.case(SOCKET, on=TODAY - dt.timedelta(days=3))
    [case] = read(kits)
    assert (case.day, case.requirement) == (0, {})
    assert use_of(kits, "SUT-PT4") == pytest.approx([0, 1])


@pytest.mark.parametrize("cases", [1, 12])
def test_queries_do_not_grow_with_cases(kits, cases, django_assert_max_num_queries):
    for number in range(cases):
        kits.case(SOCKET, hour=8 + number % 8, teeth=("11",))
    with django_assert_max_num_queries(24):
        assert len(read(kits)) == cases
