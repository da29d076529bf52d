"""What became of every unit, undoing it, and closing only when all is accounted for."""

import datetime as dt

import pytest

from kits import chairside, closing, picking
from kits.chairside import NothingHangsOnIt, NotSetOut, OtherCase
from kits.closing import NoBill, NothingToUndo, TooManyUnits, Unaccounted
from kits.models import BomLine, BomVersion, Finding, TrayLine, TrayUnit
from kits.scheduling import connections_in_place
from kits.tray import WrongState
from kits.tray_checks import Expired, ScanIt
from kits.tray_units import AlreadyDecided, Opened
from practice.models import AuditEntry
from stock.consuming import ReasonMissing
from stock.models import Balance, Entry
from stock.verification import verify_ledger
from tests.builders import NOW
from tests.kits.builders_kits import TOMORROW

pytestmark = pytest.mark.django_db
LATER = NOW + dt.timedelta(hours=2)


@pytest.fixture
def case(stocked):
    return stocked.fill_tray(stocked.case("SKG"))


def record(kits, unit, outcome, **rest):
    rest = {"quantity": unit.quantity, "by": kits.cast.assistant, "at": NOW} | rest
    return closing.record(unit=unit, outcome=outcome, **rest)


# record


def test_used_leaves_the_tray_for_good_at_the_tooth(stocked, case):
    unit = record(stocked, stocked.unit(case, "GRF-AL-050"), "used")
    assert (unit.outcome, unit.site.tooth, unit.opened_at) == ("used", "11", NOW)
    entry = Entry.objects.get(kind="use", lot=unit.lot)
    assert (entry.quantity, entry.source, entry.place) == (-1, f"case:{case.code}", stocked.cast.tray)
    assert AuditEntry.objects.filter(action="tray.record", subject=case.code).count() == 1
    case.refresh_from_db()
    assert case.state == "in-surgery"


def test_waste_needs_a_reason(stocked, case):
    unit = stocked.unit(case, "SUT-PT5")
    with pytest.raises(ReasonMissing, match="Say why"):
        record(stocked, unit, "wasted")
    wasted = record(stocked, unit, "wasted", reason="dropped", note="on the floor")
    assert (wasted.outcome, wasted.reason, wasted.note) == ("wasted", "dropped", "on the floor")
    assert Entry.objects.get(kind="waste", lot=unit.lot).reason == "dropped"


def test_sealed_goes_back_where_it_came_from(stocked, case):
    before = stocked.at(stocked.cast.stockroom, "MEM-RC-2030")
    record(stocked, stocked.unit(case, "MEM-RC-2030"), "put-back")
    assert stocked.at(stocked.cast.stockroom, "MEM-RC-2030") == before + 1


def test_opened_is_never_put_back(stocked, case):
    unit = stocked.unit(case, "MEM-RC-2030")
    chairside.open_line(line=unit.line, by=None, at=NOW)
    with pytest.raises(Opened, match="wasted with a reason"):
        record(stocked, unit, "put-back")
    # Nor is what was opened at set-up, once surgery has begun.
    with pytest.raises(Opened):
        record(stocked, stocked.unit(case, "DIS-DRP"), "put-back")


def test_a_part_leaves_the_rest_unaccounted(stocked, case):
    unit = stocked.unit(case, "DRG-ART")
    assert unit.quantity == 3
    record(stocked, unit, "used", quantity=2)
    rest = stocked.unit(case, "DRG-ART")
    assert (rest.pk != unit.pk, rest.quantity) == (True, 1)
    record(stocked, rest, "wasted", reason="not-used")
    assert stocked.used(case)["DRG-ART"] == 2
    assert stocked.at(stocked.cast.tray, "DRG-ART") == 0


def test_refusals_of_record(stocked, case):
    unit = stocked.unit(case, "DRG-ART")
    with pytest.raises(TooManyUnits, match="Only 3"):
        record(stocked, unit, "used", quantity=4)
    with pytest.raises(OtherCase, match="is not a site of"):
        record(stocked, unit, "used", site=stocked.case("SKG", teeth=("21",)).sites.get())
    record(stocked, unit, "used")
    with pytest.raises(AlreadyDecided, match="already recorded as used"):
        record(stocked, unit, "wasted", reason="dropped")
    assert Entry.objects.filter(lot=unit.lot, kind__in=["use", "waste"]).count() == 1


# undo


@pytest.mark.parametrize(
    ("outcome", "facts"), [("used", {}), ("wasted", {"reason": "dropped"}), ("put-back", {})]
)
def test_undo_reverses_by_correcting_entries(stocked, case, outcome, facts):
    unit = stocked.unit(case, "MEM-RC-2030")
    record(stocked, unit, outcome, **facts)
    again = closing.undo(unit=unit, by=stocked.cast.assistant, at=LATER)
    assert (again.outcome, again.reason) == ("", "")
    assert unit.lot.balances.get(place=stocked.cast.tray).quantity == 1
    assert Entry.objects.filter(lot=unit.lot, corrects__isnull=False).exists()
    # Undone, it can be recorded again, and undone again.
    record(stocked, again, "used")
    closing.undo(unit=again, by=None, at=LATER)
    assert unit.lot.balances.get(place=stocked.cast.tray).quantity == 1
    assert verify_ledger().differences == []


def test_undo_of_nothing_is_refused(stocked, case):
    with pytest.raises(NothingToUndo, match="nothing to undo"):
        closing.undo(unit=stocked.unit(case, "MEM-RC-2030"), by=None, at=NOW)


def test_undo_of_direct_use_puts_it_back_on_the_shelf(stocked, case):
    lot = stocked.stock("HEM-GEL", 4, place=stocked.cast.cart)
    unit = chairside.add_used(case=case, lot=lot, place=stocked.cast.cart, quantity=2, by=None, at=NOW)
    closing.undo(unit=unit, by=None, at=LATER)
    assert lot.balances.get(place=stocked.cast.cart).quantity == 4
    assert not TrayUnit.objects.filter(pk=unit.pk, outcome="").exists()


# chairside


def test_a_finding_opens_its_group_together(stocked, case):
    plate, site = Finding.objects.get(code="F-FPM"), case.sites.get()
    chairside.record_finding(case=case, finding=plate, site=site, present=True, by=None, at=LATER)
    opened = set(
        TrayUnit.objects.filter(line__case=case, opened_at=LATER, line__finding=plate).values_list(
            "lot__item__code", flat=True
        )
    )
    # Trade reference, ten things, 2: membrane, extra graft and second suture open together.
    assert opened == {"MEM-RC-2030", "GRF-AL-025", "SUT-PT5", "SHP-B15"}
    found = picking.pick_list(case=case, today=TOMORROW)
    pouches = {pouch.finding.code: pouch for pouch in found.pouches if pouch.finding}
    assert pouches["F-FPM"].opened and not pouches["F-INTACT"].opened
    assert all(line.known is False for line in pouches["F-INTACT"].lines)


def test_a_mistaken_touch_is_taken_back(stocked, case):
    plate, site = Finding.objects.get(code="F-FPM"), case.sites.get()
    for present in (True, False):
        chairside.record_finding(case=case, finding=plate, site=site, present=present, by=None, at=LATER)
    sealed = TrayUnit.objects.filter(line__case=case, line__finding=plate)
    assert set(sealed.values_list("opened_at", flat=True)) == {None}
    assert case.findings.get().present is False


def test_a_mistake_touched_twice_is_taken_back_whole(stocked, case):
    plate, site = Finding.objects.get(code="F-FPM"), case.sites.get()
    for second, present in enumerate((True, True, False)):
        at = LATER + dt.timedelta(seconds=second)
        chairside.record_finding(case=case, finding=plate, site=site, present=present, by=None, at=at)
    sealed = TrayUnit.objects.filter(line__case=case, line__finding=plate)
    assert set(sealed.values_list("opened_at", flat=True)) == {None}


def test_a_finding_that_nothing_hangs_on_is_refused(stocked, case):
    own = set(BomLine.objects.filter(version__case_procedures__case=case).values_list("finding", flat=True))
    others = Finding.objects.filter(complement_of=None, complements=None, lines__isnull=False)
    strange = others.exclude(pk__in=own - {None}).first()
    facts = {"case": case, "site": case.sites.get(), "present": True, "by": None, "at": NOW}
    with pytest.raises(NothingHangsOnIt, match="hangs on"):
        chairside.record_finding(finding=strange, **facts)
    assert not case.findings.exists()


def test_several_lines_are_opened_together_or_not_at_all(stocked, case):
    own = list(case.tray_lines.filter(item__code__in=["MEM-RC-2030", "GRF-AL-025"]))
    booked = stocked.case("SKG", teeth=("21",))
    foreign = TrayLine(case=booked, description="of a case that is not set out")
    with pytest.raises(NotSetOut):
        chairside.open_lines(lines=[*own, foreign], by=None, at=LATER)
    assert not TrayUnit.objects.filter(line__in=own, opened_at=LATER).exists()
    assert chairside.open_lines(lines=own, by=None, at=LATER) == len(own)


def test_a_finding_from_imaging_opens_nothing(stocked):
    case = stocked.case("SKG")
    plate, site = Finding.objects.get(code="F-FPM"), case.sites.get()
    facts = {"case": case, "finding": plate, "site": site, "present": True, "by": None, "at": NOW}
    chairside.record_finding(**facts, source="imaging")
    case.refresh_from_db()
    assert case.state == "booked"
    with pytest.raises(NotSetOut, match="Begin setting out"):
        chairside.record_finding(**facts)


def test_room_stock_is_used_straight_from_its_place(stocked, case):
    lot = stocked.stock("DRG-LID", 10, place=stocked.cast.cart)
    unit = chairside.add_used(case=case, lot=lot, place=stocked.cast.cart, quantity=1, by=None, at=NOW)
    assert (unit.outcome, unit.line.set_out, unit.line.added) == ("used", "room stock", False)
    assert lot.balances.get(place=stocked.cast.cart).quantity == 9


def test_something_fetched_in_surgery_gets_a_line_of_its_own(stocked, case):
    lot = stocked.stock("STM-PM-1520")
    unit = chairside.add_used(
        case=case, lot=lot, place=stocked.cast.stockroom, quantity=1, scanned=True, by=None, at=NOW
    )
    assert unit.line.added and unit.site.tooth == "11"


def test_what_went_into_a_patient_is_recorded_even_if_it_should_not_have(stocked, case):
    lot = stocked.stock("STM-PM-1520", expires_on=TOMORROW - dt.timedelta(days=1))
    facts = {"case": case, "lot": lot, "place": stocked.cast.stockroom, "quantity": 1, "by": None, "at": NOW}
    with pytest.raises(Expired):
        chairside.add_used(**facts)
    unit = chairside.add_used(**facts, although="noticed after it was placed")
    assert "noticed after" in unit.note


def test_tissue_from_the_shelf_is_scanned_or_explained(stocked, case):
    graft = stocked.stock("GRF-AL-050")
    facts = {
        "case": case,
        "lot": graft,
        "place": stocked.cast.stockroom,
        "quantity": 1,
        "by": None,
        "at": NOW,
    }
    with pytest.raises(ScanIt):
        chairside.add_used(**facts)
    assert chairside.add_used(**facts, scanned=True).scanned


# close


def test_a_case_with_anything_unaccounted_stays_open(stocked, case):
    chairside.start_surgery(case=case, by=None, at=NOW)
    with pytest.raises(Unaccounted) as refused:
        closing.close(case=case, by=None, at=NOW)
    assert len(refused.value.sentences) == TrayUnit.objects.filter(line__case=case).count()
    assert "used or wasted?" in str(refused.value) and "put back?" in str(refused.value)
    case.refresh_from_db()
    assert case.state == "in-surgery"


def test_settling_the_rest_and_closing(stocked, case):
    chairside.open_line(line=case.tray_lines.get(item__code="GRF-AL-050"), by=None, at=NOW)
    closing.settle_rest(case=case, by=stocked.cast.assistant, at=NOW)
    closed = closing.close(case=case, by=stocked.cast.clinician, at=LATER)
    assert (closed.state, closed.closed_at, closed.closed_by) == ("closed", LATER, stocked.cast.clinician)
    assert stocked.used(case)["GRF-AL-050"] == 1 and stocked.used(case)["GRF-AL-025"] == 0
    assert not Balance.objects.filter(place=stocked.cast.tray, quantity__gt=0).exists()
    assert AuditEntry.objects.get(action="case.close").facts == {"procedures": "Extraction + socket graft"}
    with pytest.raises(WrongState, match="is closed, so it is too late"):
        closing.close(case=closed, by=None, at=LATER)
    with pytest.raises(WrongState):
        closing.undo(unit=TrayUnit.objects.filter(line__case=case).first(), by=None, at=LATER)


def test_a_booked_case_cannot_be_closed(stocked):
    with pytest.raises(NotSetOut):
        closing.close(case=stocked.case("SKG"), by=None, at=NOW)


def test_tissue_used_without_scan_or_words_keeps_the_case_open(stocked, case):
    unit = record(stocked, stocked.unit(case, "GRF-AL-050"), "used")
    TrayUnit.objects.filter(pk=unit.pk).update(scanned=False)
    assert any("scan its label" in sentence for sentence in closing.unaccounted(case))
    TrayUnit.objects.filter(pk=unit.pk).update(note="label lost, number from the box")
    assert not any("scan its label" in sentence for sentence in closing.unaccounted(case))


def test_with_several_teeth_what_stays_in_needs_its_tooth(stocked):
    two = stocked.plan(stocked.case("DELG", teeth=("46", "47")), "IMP-CR-43-100")
    two = stocked.fill_tray(two)
    sheet = record(stocked, stocked.unit(two, "MEM-RC-2030"), "used")
    assert sheet.site is None
    assert any("which tooth" in sentence for sentence in closing.unaccounted(two))
    again = closing.undo(unit=sheet, by=None, at=LATER)
    record(stocked, again, "used", site=two.sites.get(tooth="47"), at=LATER)
    assert not any("which tooth" in sentence for sentence in closing.unaccounted(two))


def test_the_procedure_may_change_and_both_are_kept(stocked, case):
    closing.settle_rest(case=case, by=None, at=NOW)
    closing.close(case=case, by=None, at=NOW, procedures_done=[stocked.procedures["GBRX"]])
    rows = {row.procedure.code: (row.planned, row.done) for row in case.procedures.all()}
    assert rows == {"SKG": (True, False), "GBRX": (False, True)}


def test_a_procedure_without_a_bill_cannot_be_done(stocked, case):
    BomVersion.objects.filter(procedure__code="GBRX").update(state="retired")
    closing.settle_rest(case=case, by=None, at=NOW)
    with pytest.raises(NoBill, match="no published bill"):
        closing.close(case=case, by=None, at=NOW, procedures_done=[stocked.procedures["GBRX"]])


def test_the_implant_placed_decides_the_later_parts(stocked):
    case = stocked.plan(stocked.case("DEL", teeth=("36",)), "IMP-CR-43-100")
    case = stocked.fill_tray(case)
    # The planned one spins; the wider goes in and brings its own platform (near miss 3 of the reference).
    record(stocked, stocked.unit(case, "IMP-CR-43-100"), "wasted", reason="not-firm")
    record(stocked, stocked.unit(case, "IMP-CW-50-100"), "used")
    assert connections_in_place(stocked.cast.patient, ["36"]) == {"36": "CW"}
    later = stocked.case("2ND", teeth=("36",), on=TOMORROW + dt.timedelta(days=90))
    parts = {line.item.code for line in picking.pick_list(case=later, today=TOMORROW).open}
    assert "HAB-CW-3" in parts and "HAB-CR-3" not in parts
