"""Booking, moving, cancelling and planning cases."""

import datetime as dt
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from kits import chairside, closing, scheduling
from kits.chairside import OtherCase
from kits.models import Case, CaseSite
from kits.scheduling import (
    KEEP,
    AlreadyUsed,
    NoProcedure,
    NotAnImplant,
    NothingPublished,
    OtherClinic,
    TrayStands,
)
from kits.tray import TakeOffFirst, WrongState
from practice.models import AuditEntry
from practice.teeth import UnknownTooth
from stock.models import Balance
from stock.verification import verify_ledger
from tests import builders
from tests.builders import NOW
from tests.kits.builders_kits import TOMORROW

pytestmark = pytest.mark.django_db
LATER = NOW + dt.timedelta(hours=1)


def test_booking_fixes_the_bill_and_the_sites(kits):
    case = kits.case("DEL", teeth=("36", "37", "36"))
    assert (case.code, case.state, case.minutes) == ("C-00001", "booked", 60)
    assert [site.tooth for site in case.sites.all()] == ["36", "37"]
    assert case.procedures.get().version.state == "published"
    assert kits.case("XTR").code == "C-00002"
    entry = AuditEntry.objects.filter(action="case.book", subject="C-00001").get()
    assert entry.facts["procedures"] == "DEL"


def test_bookings_refused(kits):
    with pytest.raises(NoProcedure):
        kits.case()
    with pytest.raises(OtherClinic, match="is not at Skellowick Road"):
        kits.case("XTR", room=kits.cast.other_room)
    with pytest.raises(UnknownTooth, match="99"):
        kits.case("XTR", teeth=("99",))
    kits.procedures["XTR"].versions.update(state="retired")
    with pytest.raises(NothingPublished):
        kits.case("XTR")
    assert not Case.objects.exists()


def test_moving_a_case(kits):
    case = kits.case("XTR")
    later = case.starts_at + dt.timedelta(days=1)
    facts = {"case": case, "starts_at": later, "on": TOMORROW + dt.timedelta(days=1), "by": None, "at": LATER}
    moved = scheduling.move_case(**facts)
    assert (moved.starts_at, moved.changed_at) == (later, LATER)
    scheduling.move_case(**facts)
    assert AuditEntry.objects.filter(action="case.move").count() == 1
    with pytest.raises(OtherClinic):
        scheduling.move_case(**facts, room=kits.cast.other_room)


def test_the_audit_of_a_move_tells_both_hours_of_the_clinics_clock(kits):
    kits.cast.clinic.time_zone = "America/New_York"
    kits.cast.clinic.save()
    case = kits.case("XTR", hour=15)
    zone = ZoneInfo("America/New_York")
    before = case.starts_at.astimezone(zone)
    # New York keeps whole hours from UTC; the hour given is that of the clinic, as the form sends it.
    later = before + dt.timedelta(hours=3)
    scheduling.move_case(case=case, starts_at=later, on=case.on, by=None, at=LATER)
    facts = AuditEntry.objects.get(action="case.move").facts
    assert facts == {"before": f"{before:%Y-%m-%d %H:%M}", "after": f"{later:%Y-%m-%d %H:%M}"}
    assert not facts["before"].endswith("15:00")


def test_a_tray_does_not_change_rooms_by_itself(stocked):
    case = stocked.case("V-SRM", teeth=())
    stocked.fill_tray(case)
    room = type(stocked.cast.room).objects.create(clinic=stocked.cast.clinic, code="A9")
    with pytest.raises(TrayStands, match="Take its units off"):
        scheduling.move_case(case=case, starts_at=case.starts_at, on=case.on, room=room, by=None, at=LATER)


def test_cancelling_puts_everything_back(stocked):
    case = stocked.case("V-SRM", teeth=())
    before = {row.pk: row.quantity for row in Balance.objects.all()}
    stocked.fill_tray(case)
    cancelled = scheduling.cancel_case(case=case, reason="patient ill", by=stocked.cast.assistant, at=LATER)
    assert (cancelled.state, cancelled.cancelled_at) == ("cancelled", LATER)
    after = {row.pk: row.quantity for row in Balance.objects.filter(pk__in=before)}
    assert after == before
    assert AuditEntry.objects.get(action="case.cancel").facts == {"reason": "patient ill"}
    assert verify_ledger().differences == []
    with pytest.raises(WrongState, match="too late to cancel"):
        scheduling.cancel_case(case=case, reason="", by=None, at=LATER)


def test_what_was_opened_is_wasted_when_a_case_is_cancelled(stocked):
    case = stocked.fill_tray(stocked.case("V-SRM", teeth=()))
    chairside.start_surgery(case=case, by=None, at=NOW)
    scheduling.cancel_case(case=case, reason="fainted", by=None, at=LATER)
    kit = case.tray_lines.get(item__code="DIS-SRK").units.get()
    assert (kit.outcome, kit.reason) == ("wasted", "cancelled")


def test_a_case_in_which_something_was_used_cannot_be_cancelled(stocked):
    case = stocked.fill_tray(stocked.case("V-SRM", teeth=()))
    unit = stocked.unit(case, "DIS-SRK")
    closing.record(unit=unit, outcome="used", quantity=1, by=None, at=NOW)
    with pytest.raises(AlreadyUsed, match="close it"):
        scheduling.cancel_case(case=case, reason="", by=None, at=LATER)


def test_planning_a_site(kits):
    case = kits.case("DEL", teeth=("36",))
    facts = {"case": case, "by": kits.cast.clinician, "at": LATER}
    implant = kits.items["IMP-CR-43-100"]
    site = scheduling.plan_site(
        **facts, tooth="36", implant=implant, longest_safe_mm=Decimal("11.2"), healing_height_mm=5
    )
    assert (site.implant, site.longest_safe_mm, site.healing_height_mm) == (implant, Decimal("11.2"), 5)
    # What is not given stays; a new tooth is added.
    assert scheduling.plan_site(**facts, tooth="36", graft_cc=Decimal("0.4")).implant == implant
    assert scheduling.plan_site(**facts, tooth="36", implant=KEEP, graft_cc=KEEP).graft_cc == Decimal("0.4")
    scheduling.plan_site(**facts, tooth="37")
    assert case.sites.count() == 2
    with pytest.raises(UnknownTooth):
        scheduling.plan_site(**facts, tooth="19")
    with pytest.raises(NotAnImplant):
        scheduling.plan_site(**facts, tooth="36", implant=kits.items["COL-PLG"])
    with pytest.raises(TypeError, match="shoe_size"):
        scheduling.plan_site(**facts, tooth="36", shoe_size=9)


def test_what_is_planned_for_a_site_is_cleared(kits):
    case = kits.case("DEL", teeth=("36",))
    facts = {"case": case, "tooth": "36", "by": kits.cast.clinician, "at": LATER}
    measures = {"longest_safe_mm": Decimal("11.2"), "healing_height_mm": 5, "connection_in_place": "CR"}
    scheduling.plan_site(**facts, implant=kits.items["IMP-CR-43-100"], **measures)
    site = scheduling.plan_site(**facts, implant=None, **dict.fromkeys(measures))
    assert (site.implant, site.longest_safe_mm, site.connection_in_place) == (None, None, "")
    assert site.healing_height_mm == CaseSite().healing_height_mm
    said = AuditEntry.objects.filter(action="case.plan-site").latest("pk").facts["what"]
    assert said.startswith("implant: cleared; longest safe: cleared; healing height: cleared")


def test_an_implant_on_the_tray_is_not_cleared_from_the_plan(stocked):
    case = stocked.plan(stocked.case("DEL", teeth=("46",)), "IMP-CR-43-100")
    stocked.fill_tray(case)
    with pytest.raises(TakeOffFirst, match="Take it off"):
        scheduling.plan_site(case=case, tooth="46", implant=None, by=None, at=LATER)
    assert case.sites.get().implant is not None


def test_a_choice_replaces_the_one_before(kits):
    case = kits.case("SKG", teeth=("11", "12"))
    facts = {"case": case, "subject": "GRAFT_SIZED", "by": kits.cast.clinician, "at": LATER}
    for code in ("GRF-XB-050", "GRF-SY-050"):
        scheduling.choose(**facts, item=kits.items[code], site=case.sites.first())
    scheduling.choose(**facts, item=kits.items["GRF-AL-100"])
    assert [choice.item.code for choice in case.choices.all()] == ["GRF-SY-050", "GRF-AL-100"]
    with pytest.raises(OtherCase):
        scheduling.choose(**facts, item=None, site=kits.case("SKG", teeth=("21",)).sites.get())


def test_the_plan_of_the_whole_case(kits):
    case = kits.case("DEL", teeth=("36",))
    planned = scheduling.plan_case(
        case=case, guided=True, graft_material="bovine", by=kits.cast.clinician, at=LATER
    )
    assert (planned.guided, planned.graft_material) == (True, "bovine")
    said = AuditEntry.objects.filter(action="case.plan").latest("pk").facts["what"]
    assert said == "guided: yes; graft material: bovine"
    with pytest.raises(TypeError, match="state"):
        scheduling.plan_case(case=case, state="closed", by=None, at=LATER)


def test_the_plan_is_fixed_once_surgery_has_begun(stocked):
    case = stocked.fill_tray(stocked.case("V-SRM", teeth=()))
    chairside.start_surgery(case=case, by=None, at=NOW)
    with pytest.raises(WrongState, match="change its plan"):
        scheduling.plan_site(case=case, tooth="11", by=None, at=LATER)
    with pytest.raises(WrongState, match="move it"):
        scheduling.move_case(case=case, starts_at=NOW, on=TOMORROW, by=None, at=LATER)


def test_every_refusal_is_a_whole_sentence():
    for refusal in (NoProcedure(), NotAnImplant(builders.Item(code="X", name="Y"))):
        assert str(refusal).endswith(".")
