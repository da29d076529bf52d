"""Setting out: lists, ticks, units onto the tray and off it; two people at one tray."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from kits import chairside, closing, picking
from kits.models import TrayUnit
from kits.scheduling import cancel_case, choose, plan_site
from kits.tray import NoRoom, TakeOffFirst, WrongState
from kits.tray_checks import Complete, NothingToTake, OnATray, PromisedElsewhere, ScanIt, WrongItem
from kits.tray_units import AlreadyDecided, Opened
from practice.models import AuditEntry
from stock.models import Balance, Entry
from stock.posting import NotEnough
from tests.builders import NOW, TODAY
from tests.kits.builders_kits import TOMORROW

pytestmark = pytest.mark.django_db


@pytest.fixture
def case(stocked):
    return picking.begin(case=stocked.case("SKG"), by=stocked.cast.assistant, at=NOW)


def line_of(case, code):
    return case.tray_lines.filter(item__code=code).order_by("position").first()


def put(kits, line, lot, *, quantity=1, scanned=True, place=None, **rest):
    return picking.put_on_tray(
        line=line,
        lot=lot,
        place=place or kits.cast.stockroom,
        quantity=quantity,
        scanned=scanned,
        by=kits.cast.assistant,
        at=NOW,
        **rest,
    )


# begin


def test_begin_fixes_the_lines_and_says_so(stocked, case):
    assert case.state == "set-out"
    assert case.tray_lines.count() == 56
    # What nobody has decided is not on the tray.
    assert not case.tray_lines.filter(item__code="PRF-TUB").exists()
    entry = AuditEntry.objects.get(action="case.set-out")
    assert (entry.subject, entry.by) == (case.code, stocked.cast.assistant)


def test_begin_twice_changes_nothing(stocked, case):
    again = picking.begin(case=case, by=stocked.cast.assistant, at=NOW)
    assert again.tray_lines.count() == 56
    assert AuditEntry.objects.filter(action="case.set-out").count() == 1


def test_begin_needs_a_room_and_an_open_case(stocked):
    homeless = stocked.case("SKG", room=None)
    with pytest.raises(NoRoom, match="no room yet"):
        picking.begin(case=homeless, by=None, at=NOW)
    gone = cancel_case(case=stocked.case("SKG", teeth=("12",)), reason="", by=None, at=NOW)
    with pytest.raises(WrongState, match="cancelled, so it is too late"):
        picking.begin(case=gone, by=None, at=NOW)


# put on, take off


def test_units_move_from_shelf_to_tray_and_back(stocked, case):
    lot = stocked.stock("MEM-RC-2030", number="L1")
    unit = put(stocked, line_of(case, "MEM-RC-2030"), lot)
    assert (unit.scanned, unit.opened_at, unit.outcome) == (True, None, "")
    assert lot.balances.get(place=stocked.cast.tray).quantity == 1
    assert list(lot.entries.filter(source=f"case:{case.code}").values_list("kind", flat=True)) == [
        "move-out",
        "move-in",
    ]
    picking.take_off(unit=unit, by=stocked.cast.assistant, at=NOW)
    assert lot.balances.get(place=stocked.cast.stockroom).quantity == 1
    with pytest.raises(AlreadyDecided, match="already recorded as put back"):
        picking.take_off(unit=unit, by=None, at=NOW)
    # The line asks for one again.
    assert put(stocked, line_of(case, "MEM-RC-2030"), lot).pk != unit.pk


def test_the_same_key_moves_once(stocked, case):
    lot = stocked.stock("MEM-RC-2030", number="L1")
    first = put(stocked, line_of(case, "MEM-RC-2030"), lot, key="scan-1")
    assert put(stocked, line_of(case, "MEM-RC-2030"), lot, key="scan-1") == first
    assert TrayUnit.objects.count() == 1


def test_refusals_of_put_on_tray(stocked, case):
    sheet, graft = stocked.stock("MEM-RC-2030"), stocked.stock("GRF-AL-050")
    with pytest.raises(WrongItem, match="not what this line asks for"):
        put(stocked, line_of(case, "COL-PLG"), sheet)
    with pytest.raises(ScanIt, match="has to be scanned"):
        put(stocked, line_of(case, "GRF-AL-050"), graft, scanned=False)
    with pytest.raises(Complete, match="Only 1 more"):
        put(stocked, line_of(case, "MEM-RC-2030"), stocked.stock("MEM-RC-2030", 5), quantity=2)
    with pytest.raises(NotEnough):
        put(stocked, line_of(case, "DRG-ART"), stocked.stock("DRG-ART", 1), quantity=2)
    assert TrayUnit.objects.count() == 0
    assert not Entry.objects.filter(source=f"case:{case.code}").exists()


def test_an_unreadable_tissue_label_may_be_explained(stocked, case):
    graft = stocked.stock("GRF-AL-050")
    unit = put(stocked, line_of(case, "GRF-AL-050"), graft, scanned=False, note="label torn, read by two")
    assert unit.note == "label torn, read by two"


def test_a_promised_unit_is_refused_at_the_verb_too(kits):
    first, second = kits.case("SKG", hour=8), kits.case("SKG", hour=12, teeth=("12",))
    sheet = kits.stock("MEM-RC-2030")
    second = picking.begin(case=second, by=None, at=NOW)
    with pytest.raises(PromisedElsewhere, match=first.code):
        put(kits, line_of(second, "MEM-RC-2030"), sheet)


def test_opened_units_never_come_off(stocked, case):
    unit = put(stocked, line_of(case, "MEM-RC-2030"), stocked.stock("MEM-RC-2030"))
    chairside.open_line(line=unit.line, by=None, at=NOW)
    with pytest.raises(Opened, match="cannot be put back"):
        picking.take_off(unit=unit, by=None, at=NOW)


def test_nothing_comes_onto_a_closed_tray(stocked):
    case = stocked.case("V-SRM", teeth=())
    stocked.fill_tray(case)
    closing.settle_rest(case=case, by=None, at=NOW)
    closing.close(case=case, by=None, at=NOW)
    with pytest.raises(WrongState, match="closed"):
        put(stocked, line_of(case, "DIS-SRK"), stocked.stock("DIS-SRK"))
    with pytest.raises(WrongState):
        picking.pick_list(case=case, today=TODAY)


# tick


def test_a_tick_takes_the_suggested_lot_soonest_to_expire(kits):
    late = kits.stock("SUT-PT4", 5, expires_on=TOMORROW + dt.timedelta(days=300))
    soon = kits.stock("SUT-PT4", 5, expires_on=TOMORROW + dt.timedelta(days=3))
    kits.stock("SUT-PT4", 5, expires_on=TOMORROW - dt.timedelta(days=1))
    case = picking.begin(case=kits.case("SKG"), by=None, at=NOW)
    [unit] = picking.tick(line=line_of(case, "SUT-PT4"), by=kits.cast.assistant, at=NOW)
    assert unit.lot == soon != late and not unit.scanned


def test_a_tick_may_take_from_two_lots(kits):
    kits.stock("DRG-ART", 2)
    kits.stock("DRG-ART", 2)
    case = picking.begin(case=kits.case("SKG"), by=None, at=NOW)
    units = picking.tick(line=line_of(case, "DRG-ART"), by=None, at=NOW)
    assert [unit.quantity for unit in units] == [2, 1]


def test_ticks_refused(kits):
    case = picking.begin(case=kits.case("SKG"), by=None, at=NOW)
    with pytest.raises(ScanIt):
        picking.tick(line=line_of(case, "GRF-AL-050"), by=None, at=NOW)
    with pytest.raises(NothingToTake, match="Nothing of"):
        picking.tick(line=line_of(case, "SUT-PT4"), by=None, at=NOW)


def test_sets_are_ticked_once_and_taken_back(stocked, case):
    line = line_of(case, "SET-BAS")
    for _ in range(2):
        assert picking.tick(line=line, by=stocked.cast.assistant, at=NOW) == []
    assert AuditEntry.objects.filter(action="tray.ready").count() == 1
    picking.untick(line=line, by=stocked.cast.assistant, at=NOW)
    line.refresh_from_db()
    assert line.ready_at is None


def test_untick_puts_stock_back(stocked, case):
    line = line_of(case, "DRG-ART")
    picking.tick(line=line, by=None, at=NOW)
    picking.untick(line=line, by=None, at=NOW)
    assert stocked.at(stocked.cast.tray, "DRG-ART") == 0
    assert picking.pick_list(case=case, today=TODAY).find(line.key).left == 3


# lists


def test_a_list_counts_what_lies_ready(stocked, case):
    picking.tick(line=line_of(case, "DRG-ART"), by=None, at=NOW)
    picking.tick(line=line_of(case, "SET-EXM"), by=None, at=NOW)
    found = picking.pick_list(case=case, today=TODAY)
    assert (found.done, found.total) == (2, 48)


def test_earlier_cases_are_served_first_and_the_later_is_short(kits):
    first, second = kits.case("SKG", hour=8), kits.case("SKG", hour=8, teeth=("12",))
    kits.stock("MEM-RC-2030", 1)
    lists = picking.day_pick_lists(clinic=kits.cast.clinic, on=TOMORROW, today=TODAY)
    short = {
        found.case: sum(line.short for line in found.lines if line.description.endswith("20 x 30 mm"))
        for found in lists
    }
    assert short == {first: 0, second: 1}


def test_a_reserve_is_shared_with_a_later_case_and_said_so(kits):
    kits.stock_everything()
    Balance.objects.filter(lot__item__code="MEM-RC-2030").update(quantity=1)
    kits.case("SKG", hour=8)
    later = kits.case("SKG", hour=12, teeth=("12",))
    found = picking.pick_list(case=later, today=TODAY)
    [line] = [line for line in found.lines if line.item and line.item.code == "MEM-RC-2030"]
    assert (line.short, line.shared) == (0, 1)
    # The earlier case leaves it with 0.70; this one needs it with 0.30: 1 - 0.3 × 0.3.
    assert line.chance_free == pytest.approx(0.7)
    assert found.readiness.word == "thin"
    assert found.readiness.probability == pytest.approx(0.91)
    assert "91 times in 100" in found.readiness.sentence


def test_a_day_is_listed_in_order_of_start_and_alone(stocked):
    late, early = stocked.case("SKG", hour=15), stocked.case("XTR", hour=8, teeth=("12",))
    stocked.case("XTR", on=TOMORROW + dt.timedelta(days=1), teeth=("13",))
    stocked.case("XTR", clinic=stocked.cast.other_clinic, room=stocked.cast.other_room, teeth=("14",))
    lists = picking.day_pick_lists(clinic=stocked.cast.clinic, on=TOMORROW, today=TODAY)
    assert [found.case for found in lists] == [early, late]


def test_queries_do_not_grow_with_the_cases(stocked):
    teeth = iter(("11", "12", "13", "14", "15", "16", "21", "22", "23", "24", "25", "26"))

    def queries():
        with CaptureQueriesContext(connection) as seen:
            lists = picking.day_pick_lists(clinic=stocked.cast.clinic, on=TOMORROW, today=TODAY)
        return len(lists), len(seen)

    stocked.case("SKG", teeth=(next(teeth),))
    _, for_one = queries()
    for tooth in teeth:
        stocked.case("SKG", teeth=(tooth,))
    assert queries() == (12, for_one)
    assert for_one <= 20


# a changed plan


def test_a_tray_follows_the_plan_until_something_lies_there(stocked):
    case = stocked.case("DEL", teeth=("36",))
    by = stocked.cast.clinician
    plan_site(case=case, tooth="36", implant=stocked.items["IMP-CR-43-100"], by=by, at=NOW)
    case = picking.begin(case=case, by=by, at=NOW)
    assert line_of(case, "IMP-CR-43-100") and line_of(case, "HAB-CR-3")
    plan_site(case=case, tooth="36", implant=stocked.items["IMP-CW-50-100"], by=by, at=NOW)
    assert line_of(case, "IMP-CW-50-100") and line_of(case, "HAB-CW-3")
    assert not line_of(case, "IMP-CR-43-100") and not line_of(case, "HAB-CR-3")
    stocked.scan_one(case, stocked.items["IMP-CW-50-100"])
    with pytest.raises(TakeOffFirst, match="Take it off"):
        plan_site(case=case, tooth="36", implant=stocked.items["IMP-CR-43-100"], by=by, at=NOW)
    assert line_of(case, "IMP-CW-50-100")


def test_an_option_decided_late_joins_the_tray(stocked, case):
    choose(case=case, subject="plan:PRF-TUB", item=None, quantity=1, by=None, at=NOW)
    assert line_of(case, "PRF-TUB").quantity == 4
    choose(case=case, subject="plan:PRF-TUB", item=None, quantity=0, by=None, at=NOW)
    assert line_of(case, "PRF-TUB") is None


def test_two_people_at_one_tray_cannot_both_put_on_the_last(stocked, case):
    # Both have read the line as empty; the second acts on what the first has changed.
    lot = stocked.stock("MEM-RC-2030", 2)
    mine, theirs = line_of(case, "MEM-RC-2030"), line_of(case, "MEM-RC-2030")
    put(stocked, mine, lot)
    with pytest.raises(Complete):
        put(stocked, theirs, lot)
    graft = stocked.stock("GRF-AL-050")
    put(stocked, line_of(case, "GRF-AL-050"), graft)
    with pytest.raises(OnATray, match="one unit cannot be in two places"):
        put(stocked, line_of(case, "GRF-AL-050"), graft)
