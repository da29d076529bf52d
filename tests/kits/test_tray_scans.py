"""Scanning at a tray: the right thing is taken, everything else is refused in words."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from kits import picking
from kits.models import TrayLine, TrayUnit
from practice.models import AuditEntry
from stock.holds import hold, recall
from stock.models import Item, ItemCode
from tests import builders
from tests.builders import NOW
from tests.kits.builders_kits import TOMORROW

pytestmark = pytest.mark.django_db

GTIN = "02999000104314"


@pytest.fixture
def case(stocked):
    return stocked.case("SKG", teeth=("11",))


def refused(answer, *words):
    assert not answer.ok and answer.title == "Not taken"
    for word in words:
        assert word in answer.detail, answer.detail
    # Every refusal is a whole sentence that ends and says what to do.
    assert answer.detail.endswith(".")
    assert TrayUnit.objects.count() == 0


def test_a_typed_lot_number_is_taken_with_all_the_line_asks_for(stocked, case):
    lot = stocked.stock("DRG-ART", 50, number="L77001", expires_on=TOMORROW + dt.timedelta(days=60))
    answer = stocked.scan(case, "l77001")
    assert answer.ok and answer.title.startswith("3 × Local anaesthetic")
    assert answer.unit.lot == lot and answer.unit.scanned
    assert answer.next.startswith("Next: ")
    assert stocked.at(stocked.cast.tray, "DRG-ART") == 3
    assert case.tray_lines.exists()


def test_units_that_are_one_record_come_singly(stocked, case):
    answer = stocked.scan_one(case, stocked.items["GRF-AL-050"])
    assert answer.unit.quantity == 1


def test_a_gs1_label_is_read_by_item_lot_and_expiry(stocked, case):
    ItemCode.objects.update_or_create(value=GTIN, defaults={"item": stocked.items["MEM-RC-2030"]})
    lot = stocked.stock("MEM-RC-2030", number="LOT7A", expires_on=dt.date(2027, 6, 30))
    answer = stocked.scan(case, f"01{GTIN}17270630" + "10LOT7A")
    assert answer.ok and answer.unit.lot == lot


def test_a_label_whose_expiry_differs_from_the_record_is_refused(stocked, case):
    ItemCode.objects.update_or_create(value=GTIN, defaults={"item": stocked.items["MEM-RC-2030"]})
    stocked.stock("MEM-RC-2030", number="LOT7A", expires_on=dt.date(2027, 6, 30))
    refused(stocked.scan(case, f"01{GTIN}17261231" + "10LOT7A"), "31 December 2026", "30 June 2027", "label")


def test_a_broken_label_is_refused(stocked, case):
    # The last digit of the item number is wrong by one (GS1 General Specifications, check digit).
    refused(stocked.scan(case, f"01{GTIN[:-1]}510LOT7A"), "cannot be relied upon")


def test_an_unknown_item_number_is_refused(stocked, case):
    # Example number of the GS1 documentation; not in our catalogue.
    refused(stocked.scan(case, "010950600011784310LOT7A"), "No item of ours has the code 09506000117843")


def test_a_lot_that_was_never_received_is_refused(stocked, case):
    ItemCode.objects.update_or_create(value=GTIN, defaults={"item": stocked.items["MEM-RC-2030"]})
    refused(stocked.scan(case, f"01{GTIN}10NEVER"), "NEVER", "never received", "Receive it first")


@pytest.mark.parametrize("text", ["XYZ-1", "", "   "])
def test_text_that_names_nothing_is_refused(stocked, case, text):
    refused(stocked.scan(case, text), "Nothing here is called")


def test_an_item_of_no_line_is_refused(stocked, case):
    lot = stocked.stock("IMP-CR-43-100")
    refused(stocked.scan(case, lot.serial), "not on the list", case.code)


def test_expired_on_the_day_of_surgery_is_refused_though_in_date_today(stocked, case):
    lot = stocked.stock("MEM-RC-2030", number="L-OLD", expires_on=TOMORROW - dt.timedelta(days=1))
    refused(stocked.scan(case, lot.lot_number), "not usable on 13 May 2026", "12 May 2026")


def test_the_day_of_expiry_itself_is_usable(stocked, case):
    lot = stocked.stock("MEM-RC-2030", number="L-LAST", expires_on=TOMORROW)
    assert stocked.scan(case, lot.lot_number).ok


def test_safety_days_count(stocked, case):
    Item.objects.filter(code="MEM-RC-2030").update(safety_days=5)
    lot = stocked.stock("MEM-RC-2030", number="L-5", expires_on=TOMORROW + dt.timedelta(days=4))
    refused(stocked.scan(case, lot.lot_number), "5 days")


@pytest.mark.parametrize("verb", [hold, recall])
def test_held_and_recalled_lots_are_refused(stocked, case, verb):
    lot = stocked.stock("MEM-RC-2030", number="L-HELD")
    verb(lot=lot, reason="seal broken", by=stocked.cast.manager, at=NOW)
    refused(stocked.scan(case, "L-HELD"), "seal broken", "quarantine")


def test_a_recall_and_the_date_are_heard_before_a_full_line(stocked, case):
    """What belongs into quarantine is never sent back to its shelf (trade reference 3.9, number 4)."""
    full = stocked.stock("MEM-RC-2030", 9, number="L-FULL")
    assert stocked.scan(case, full.lot_number).ok
    old = stocked.stock("MEM-RC-2030", number="L-OLD", expires_on=TOMORROW - dt.timedelta(days=1))
    bad = stocked.stock("MEM-RC-2030", number="L-BAD")
    recall(lot=bad, reason="seal broken", by=stocked.cast.manager, at=NOW)
    for lot, word in ((old, "12 May 2026"), (bad, "seal broken")):
        detail = stocked.scan(case, lot.lot_number).detail
        assert word in detail and "quarantine" in detail
        assert "back where it came from" not in detail
    assert "back where it came from" in stocked.scan(case, full.lot_number).detail


def test_quarantine_is_out_of_reach(stocked, case):
    stocked.stock("MEM-RC-2030", number="L-Q", place=stocked.cast.quarantine)
    refused(stocked.scan(case, "L-Q"), "quarantine")


def test_the_other_clinics_stock_is_out_of_reach(stocked, case):
    stocked.stock("MEM-RC-2030", number="L-B", place=stocked.cast.other_stockroom)
    refused(stocked.scan(case, "L-B"), "Eddlestoke Green", "transfer")


def test_a_declined_origin_is_refused(stocked):
    patient = builders.patient(stocked.cast.practice, declines_porcine=True)
    case = stocked.case("SKG", teeth=("11",), patient=patient)
    lot = stocked.stock("MEM-RC-2030", number="L-POR")
    refused(stocked.scan(case, lot.lot_number), "declines porcine", patient.chart_number)


def test_human_tissue_is_refused_to_whoever_declines_it(stocked):
    patient = builders.patient(stocked.cast.practice, declines_human=True)
    case = stocked.case("SKG", teeth=("11",), patient=patient)
    lot = stocked.stock("GRF-AL-050")
    refused(stocked.scan(case, lot.serial), "declines human", patient.chart_number)
    picking.begin(case=case, by=stocked.cast.assistant, at=NOW)
    assert not case.tray_lines.filter(item__human_tissue=True).exists()


def test_the_same_unit_twice_is_refused(stocked, case):
    answer = stocked.scan_one(case, stocked.items["GRF-AL-050"])
    again = stocked.scan(case, answer.unit.lot.serial)
    assert not again.ok and "already lies on the tray of" in again.detail
    assert TrayUnit.objects.count() == 1


def test_a_unit_on_another_tray_is_refused(stocked, case):
    answer = stocked.scan_one(case, stocked.items["GRF-AL-050"])
    other = stocked.case("SKG", teeth=("12",), hour=14)
    again = stocked.scan(other, answer.unit.lot.serial)
    assert not again.ok and case.code in again.detail


def test_a_complete_line_takes_no_more(stocked, case):
    assert stocked.scan(case, "MEM-RC-2030").ok
    extra = stocked.stock("MEM-RC-2030", number="L-EXTRA")
    answer = stocked.scan(case, extra.lot_number)
    assert not answer.ok and "already" in answer.detail


def test_what_is_promised_to_an_earlier_case_is_refused(kits):
    first, second = kits.case("SKG", hour=8), kits.case("SKG", hour=11, teeth=("12",))
    lot = kits.stock("MEM-RC-2030", 1, number="L-ONLY")
    refused(kits.scan(second, "L-ONLY"), first.code, "starts earlier")
    # With a second sheet nobody goes short, whichever of the two is taken.
    kits.stock("MEM-RC-2030", 1, number="L-TWO", expires_on=TOMORROW + dt.timedelta(days=900))
    assert kits.scan(second, "L-ONLY").ok
    assert kits.scan(first, "L-TWO").ok
    assert lot.balances.get(place=kits.cast.tray).quantity == 1


def test_a_later_case_does_not_hold_back_an_earlier_one(kits):
    later, sooner = kits.case("SKG", hour=11), kits.case("SKG", hour=8, teeth=("12",))
    kits.stock("MEM-RC-2030", 1, number="L-ONLY")
    assert kits.scan(sooner, "L-ONLY").ok
    assert not kits.scan(later, "L-ONLY").ok


def test_a_lot_that_expires_sooner_is_pointed_out(stocked, case):
    stocked.stock("MEM-RC-2030", number="L-SOON", expires_on=TOMORROW + dt.timedelta(days=30))
    late = stocked.stock("MEM-RC-2030", number="L-LATE", expires_on=TOMORROW + dt.timedelta(days=900))
    answer = stocked.scan(case, late.lot_number)
    assert answer.ok and "L-SOON expires sooner" in answer.detail


def test_a_set_code_says_that_the_set_lies_ready(stocked, case):
    answer = stocked.scan(case, "set-bas")
    assert answer.ok and "lies ready" in answer.title and "load" in answer.detail
    assert TrayLine.objects.get(case=case, item__code="SET-BAS").ready_by == stocked.cast.assistant
    assert not stocked.scan(case, "SET-BAS").ok


def test_an_item_code_takes_the_suggested_lot(stocked, case):
    answer = stocked.scan(case, "SUT-PT4")
    assert answer.ok and answer.unit.lot.item.code == "SUT-PT4"


def test_an_item_code_is_not_enough_for_tissue(stocked, case):
    refused(stocked.scan(case, "GRF-AL-050"), "has to be scanned")


def test_a_larger_sheet_of_the_same_class_is_taken_and_logged(kits):
    case = kits.case("PIR", teeth=("36",))
    kits.stock("MEM-RC-3040", 2, number="L-BIG")
    answer = kits.scan(case, "L-BIG")
    assert answer.ok and "trimmed" in answer.detail
    assert answer.line.substitutes.item.code == "MEM-RC-2030"
    assert AuditEntry.objects.get(action="tray.substitute").by == kits.cast.assistant
    assert not kits.scan(case, "L-BIG").ok


def test_a_smaller_sheet_is_never_taken(kits):
    case = kits.case("PIR", teeth=("36",))
    kits.stock("MEM-RC-1520", 1, number="L-SMALL")
    refused(kits.scan(case, "L-SMALL"), "smaller than the sheet that is needed")
    assert not TrayLine.objects.filter(case=case, added=True).exists()


def test_a_refused_substitute_leaves_no_line(kits):
    case = kits.case("PIR", teeth=("36",))
    kits.stock("MEM-RC-3040", 1, number="L-OLD", expires_on=TOMORROW - dt.timedelta(days=1))
    refused(kits.scan(case, "L-OLD"), "not usable")
    assert not TrayLine.objects.filter(case=case, added=True).exists()


def test_a_larger_vial_stands_in_for_a_smaller_one(kits):
    case = kits.case("SKG", teeth=("36",))
    kits.stock("GRF-AL-200", 1)
    picking.begin(case=case, by=kits.cast.assistant, at=NOW)
    wanted = case.tray_lines.get(item__code="GRF-AL-100")
    vial = kits.items["GRF-AL-200"].lots.get()
    answer = kits.scan(case, vial.serial)
    assert answer.ok and "left over is discarded" in answer.detail
    assert answer.line.substitutes == wanted and answer.line.added
    entry = AuditEntry.objects.filter(action="tray.substitute").get()
    assert entry.facts["wanted"] == wanted.description
    found = picking.pick_list(case=case, today=builders.TODAY)
    assert found.find(wanted.key).left == 0


def test_a_swap_that_a_clinician_decides_is_refused_by_name(kits):
    case = kits.case("DEL", teeth=("36",))
    kits.stock("SUT-PP5", 1, number="L-5")
    refused(kits.scan(case, "L-5"), "clinician")


def test_smaller_vials_together_stand_in_for_a_large_one(kits):
    case = kits.case("SLT", teeth=("16",))
    kits.stock("GRF-AL-100", 6)
    picking.begin(case=case, by=kits.cast.assistant, at=NOW)
    # Its own lines of 1.0 cc first (second vial, more graft), then two for the line of 2.0 cc.
    for _ in range(4):
        kits.scan_one(case, kits.items["GRF-AL-100"])
    assert not kits.scan(case, kits.stock("GRF-AL-100").serial).ok
    added = case.tray_lines.get(added=True)
    assert (added.substitutes.item.code, added.quantity) == ("GRF-AL-200", 2)


def test_a_scan_says_how_the_list_stands_now(stocked, case):
    answer = stocked.scan_one(case, stocked.items["GRF-AL-050"])
    afresh = picking.pick_list(case=case, today=builders.TODAY)
    assert [(line.key, line.state, line.on_tray) for line in answer.pick.lines] == [
        (line.key, line.state, line.on_tray) for line in afresh.lines
    ]
    assert answer.pick.case.state == "set-out" and answer.pick.done == afresh.done == 1


def test_the_queries_of_a_scan_do_not_grow_with_the_cases_before_it(stocked):
    stocked.stock("GRF-AL-050", 12)
    last = stocked.case("SKG", hour=16)

    def queries():
        with CaptureQueriesContext(connection) as seen:
            stocked.scan_one(last, stocked.items["GRF-AL-050"])
        picking.take_off(unit=stocked.unit(last, "GRF-AL-050"), by=None, at=NOW)
        return len(seen)

    # The first scan begins the tray; with nobody before it there is nothing to compare.
    stocked.case("SKG", hour=8, teeth=("16",))
    queries()
    after_one = queries()
    for hour, tooth in enumerate(("12", "13", "14", "15", "21", "22"), start=8):
        stocked.case("SKG", hour=hour, teeth=(tooth,))
    assert queries() == after_one <= 62
