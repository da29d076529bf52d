"""The demo practice, built small: sound ledger, the stories, the sign-ins, and that other data stay safe.

Check digits are recomputed by python-stdnum and biip, two general libraries for published number formats.
"""

import datetime as dt
import hashlib
import os
import subprocess
import sys

import pytest
from biip.checksums import gs1_standard_check_digit
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import transaction
from django.db.models import Count, Sum
from stdnum import ean

from kits.demo import cast as names
from kits.demo import planted, stories
from kits.demo.build import Wish, build
from kits.demo.days import DemoDays
from kits.models import Case, CaseFinding, TrayUnit
from kits.picking import day_pick_lists
from practice.models import AuditEntry, Patient, Practice, Role, User
from stock.models import Balance, Entry, Item, ItemCode, Lot, Order, Place
from stock.verification import verify_ledger

# A Tuesday: Skellowick Road is open, Eddlestoke Green the day after.
TODAY = dt.date(2026, 5, 12)
WISH = Wish(TODAY, seed=7, weeks=4)
DAYS = DemoDays(TODAY, WISH.weeks)


@pytest.fixture(scope="module")
def _built(django_db_setup, django_db_blocker):
    """One small demo for the whole module, taken back at its end."""
    with django_db_blocker.unblock(), transaction.atomic():
        build(WISH)
        yield
        transaction.set_rollback(True)


@pytest.fixture
def demo(_built, db):
    """The demo practice; what a test changes is taken back."""


def clinic_a():
    return Practice.objects.get().clinics.get(code="A")


def fingerprint() -> str:
    """A hash over cases and over everything the ledger states, without row ids."""
    cases = Case.objects.order_by("code").values_list("code", "on", "state", "patient__name", "note")
    entries = Entry.objects.order_by("clinic_id", "sequence").values_list(
        *("kind", "lot__item__code", "lot__lot_number", "lot__serial", "lot__expires_on"),
        *("place__name", "quantity", "source", "reason", "note", "by__username", "at"),
    )
    return hashlib.sha256(repr([*cases, *entries]).encode()).hexdigest()


def test_the_ledger_is_sound(demo):
    report = verify_ledger()
    assert report.differences == []
    assert report.triggers
    assert report.entries > 5000


def test_nobody_reads_anything_real_into_its_labels(demo):
    codes = list(ItemCode.objects.filter(standard="GS1").values_list("value", flat=True))
    assert len(codes) == Item.objects.count()
    assert all(code.startswith("02999") and len(code) == 14 for code in codes)
    assert all(ean.is_valid(code) for code in codes)
    assert all(str(gs1_standard_check_digit(code[:-1])) == code[-1] for code in codes)


def test_there_is_a_sign_in_for_every_role(demo, client):
    assert {role for role, _ in names.SIGN_INS} == set(Role.Kind.values)
    for role, username in names.SIGN_INS:
        user = User.objects.get(username=username)
        assert user.check_password(names.PASSWORD)
        assert set(user.roles.values_list("kind", flat=True)) == {role}


def test_patients_decline_as_often_as_the_trade_reference_says(demo):
    # Trade reference 6.4: 4 % human, 5 % porcine, 5 % bovine of 1,400; a binomial 99.9 % range round each.
    assert Patient.objects.count() == 1400
    for flag, share in names.DECLINES:
        expected, spread = 1400 * share, (1400 * share * (1 - share)) ** 0.5
        assert abs(Patient.objects.filter(**{flag: True}).count() - expected) < 3.3 * spread
    assert Patient.objects.first().name and Patient.objects.first().name_index


def test_every_past_case_is_accounted_for(demo):
    past = Case.objects.filter(on__lt=TODAY)
    assert past.count() > 150
    assert set(past.values_list("state", flat=True)) <= {"closed", "cancelled"}
    units = TrayUnit.objects.filter(line__case__in=past)
    assert not units.filter(outcome="").exists()
    assert not units.filter(outcome="used", line__case__state="cancelled").exists()
    # Tissue and serial-numbered units that were used are gone from every place (zero unaccounted).
    used = Lot.objects.filter(tray_units__in=units.filter(outcome="used"), item__tracking="lot+donor")
    assert used.exists()
    assert not Balance.objects.filter(lot__in=used, quantity__gt=0).exists()


def test_used_units_and_ledger_agree(demo):
    on_trays = (
        TrayUnit.objects.filter(outcome="used").values_list("line__case__code").annotate(n=Sum("quantity"))
    )
    entries = Entry.objects.filter(kind="use").values_list("source").annotate(n=-Sum("quantity"))
    assert {f"case:{code}": n for code, n in on_trays} == dict(entries)


def test_only_open_cases_hold_units_on_trays(demo):
    lying = Balance.objects.filter(place__kind=Place.Kind.TRAY, quantity__gt=0).aggregate(n=Sum("quantity"))
    held = TrayUnit.objects.filter(outcome="", line__case__state__in=Case.OPEN).aggregate(n=Sum("quantity"))
    assert lying["n"] == held["n"] > 0


def test_stock_is_neither_empty_nor_a_mountain(demo):
    stocked = Item.objects.filter(tracking__in=["lot", "none"], supply_mode="owned")
    there = dict(
        Balance.objects.filter(place__clinic=clinic_a(), lot__item__in=stocked)
        .values_list("lot__item__code")
        .annotate(n=Sum("quantity"))
    )
    empty = [code for code in stocked.values_list("code", flat=True) if not there.get(code)]
    assert len(empty) < 0.15 * stocked.count()
    assert Order.objects.filter(state=Order.State.RECEIVED).exists()
    assert Order.objects.filter(state__in=[Order.State.SENT, Order.State.PART_RECEIVED]).exists()
    assert Balance.objects.filter(place__kind=Place.Kind.QUARANTINE, quantity__gt=0).count() >= 4


def test_tomorrow_has_a_thin_case_and_one_that_cannot_start(demo):
    lists = day_pick_lists(clinic=clinic_a(), on=DAYS.next_surgery_day, today=TODAY)
    words = {}
    for found in lists:
        words.setdefault(found.readiness.word, []).append(found.procedures)
    surgery = [found for found in lists if found.case.room.kind == "surgical"]
    assert len(surgery) == 5
    assert "Extraction + immediate implant" in words["cannot start"]
    assert "Extraction + socket graft" in words["thin"]
    assert len(words["ready"]) > len(lists) / 2


def test_two_of_the_three_wide_implants_are_promised_to_the_others(demo):
    there = Balance.objects.filter(
        lot__item__code=stories.SHARED_IMPLANT, place__clinic=clinic_a(), place__kind__in=Place.PICKABLE
    )
    assert there.aggregate(n=Sum("quantity"))["n"] == 3
    planned = Case.objects.filter(
        on=DAYS.next_surgery_day, sites__implant__code=stories.SHARED_IMPLANT
    ).count()
    assert planned == 3


def test_today_has_cases_in_every_state(demo):
    cases = Case.objects.filter(on=DAYS.surgery_day, clinic=clinic_a(), room__kind="surgical")
    assert sorted(cases.values_list("state", flat=True)) == ["booked", "closed", "in-surgery", "set-out"]
    seen = CaseFinding.objects.get(case__in=cases.filter(state="in-surgery"))
    assert (seen.finding.code, seen.present) == ("F-FPM", True)
    opened = TrayUnit.objects.filter(
        line__case=seen.case, line__finding__code="F-FPM", opened_at__isnull=False
    )
    assert opened.exists()


def test_story_of_the_missing_plate(demo):
    case = Case.objects.get(note__startswith="Facial plate missing")
    used = set(
        TrayUnit.objects.filter(line__case=case, outcome="used").values_list("lot__item__code", flat=True)
    )
    assert "MEM-RC-2030" in used
    assert sum(code.startswith("GRF-") for code in used) >= 1
    visit = Case.objects.get(patient=case.patient, on=DAYS.surgery_day)
    assert visit.procedures.get().procedure.code == "V-SRM"


def test_story_of_the_implant_that_was_not_firm(demo):
    case = Case.objects.get(note__startswith="4.3 x 13 was not firm")
    fates = dict(
        TrayUnit.objects.filter(line__case=case, lot__item__category="Implant")
        .exclude(outcome="put-back")
        .values_list("lot__item__code", "outcome")
    )
    assert fates["IMP-CR-43-130"] == "wasted"
    [placed] = [code for code, outcome in fates.items() if outcome == "used"]
    assert placed.startswith("IMP-CW-50-")


def test_story_of_the_recalled_lot(demo):
    lots = Lot.objects.filter(lot_number=planted.RECALLED_LOT)
    assert set(lots.values_list("decision", flat=True)) == {"recalled"}
    where = Balance.objects.filter(lot__in=lots, quantity__gt=0)
    shelf = where.filter(place__clinic__code="A", place__kind=Place.Kind.STOCKROOM).count()
    tray = where.filter(place__clinic__code="B", place__kind=Place.Kind.TRAY).count()
    lent = where.filter(place__kind=Place.Kind.LOAN).count()
    patients = TrayUnit.objects.filter(lot__in=lots, outcome="used").values("line__case__patient").distinct()
    assert (shelf, tray, lent, patients.count()) == (2, 1, 1, 3)
    siblings = Lot.objects.filter(donor_id=planted.RECALLED_DONOR).exclude(pk__in=lots)
    assert set(siblings.values_list("lot_number", flat=True)) == {planted.SIBLING_LOT}
    assert not siblings.exclude(decision="").exists()


def test_story_of_the_count(demo):
    entry = Entry.objects.get(kind="count-correction", note__contains="paper")
    assert (entry.quantity, entry.lot.item.code, entry.reason) == (-1, "GRF-AL-050", "miscount")


def test_story_of_the_implants_about_to_expire(demo):
    soon = TODAY + dt.timedelta(days=40)
    rows = Balance.objects.filter(lot__item__code="IMP-CW-60-080", lot__expires_on=soon, quantity=1)
    assert rows.filter(place__clinic__code="A").count() == 2
    assert Item.objects.get(code="IMP-CW-60-080").supply_mode == "consignment"


def test_story_of_the_borrowed_sheet(demo):
    entry = Entry.objects.get(kind="borrow", lot__item__code="MEM-TR-2530", lot__lot_number="WEN-2207")
    assert entry.note == f"from {names.PARTNER}, to be given back by 18 May"


def test_story_of_the_patient_who_declines_porcine(demo):
    cases = Case.objects.filter(procedures__procedure__code="GBRX", membrane_class="collagen", on__gte=TODAY)
    [case] = cases.filter(patient__declines_porcine=True)
    [found] = [
        each for each in day_pick_lists(clinic=case.clinic, on=case.on, today=TODAY) if each.case == case
    ]
    assert found.readiness.word == "cannot start"
    assert "declines porcine" in found.readiness.sentence


def test_story_of_the_full_arch_without_steep_abutments(demo):
    arches = Case.objects.filter(procedures__procedure__code="FAR", room__code="A1", on__gte=TODAY)
    steep = arches.filter(choices__subject="group:FAR-MUA", choices__item__code=stories.STEEP)
    case = steep.annotate(n=Count("choices")).get(n=3, patient__chart_number__gte="P-1036")
    there = Balance.objects.filter(lot__item__code=stories.STEEP, place__clinic=case.clinic, quantity__gt=0)
    assert not there.exists()
    assert 14 <= (case.on - TODAY).days <= 20


def test_story_of_the_one_removal_set(demo):
    cases = Case.objects.filter(procedures__procedure__code="IRM", on__gte=TODAY, room__code__in=["A2", "B1"])
    days = [case.starts_at for case in cases.filter(patient__chart_number__gte="P-1039")]
    assert Item.objects.get(code="SET-EXP").sets_owned == 1
    assert len(days) >= 2 and len(set(days)) < len(days)


def test_story_of_the_forgotten_removal_visit(demo):
    case = Case.objects.get(note__startswith="Dense PTFE sheet placed")
    sheets = TrayUnit.objects.filter(line__case=case, outcome="used", lot__item__code__startswith="MEM-PT")
    assert sheets.exists()
    assert not Case.objects.filter(patient=case.patient, procedures__procedure__code="V-MBR").exists()


def test_story_of_the_fifty_boxes(demo):
    order = Order.objects.get(state=Order.State.CANCELLED)
    line = order.lines.get()
    assert (line.supplier_item.item.code, line.packs) == ("DRG-ART", 50)
    assert AuditEntry.objects.filter(action="order.cancel", subject=order.number).exists()


def test_story_of_the_wrong_screw(demo):
    case = Case.objects.get(note__startswith="Crown is here")
    assert case.sites.get().connection_in_place == "CN"


def test_running_it_again_changes_nothing(demo, capsys):
    before = (Entry.objects.count(), Case.objects.count(), AuditEntry.objects.count())
    call_command("demo", no_serve=True, today=TODAY, seed=WISH.seed, weeks=WISH.weeks)
    assert (Entry.objects.count(), Case.objects.count(), AuditEntry.objects.count()) == before
    assert "is there already" in capsys.readouterr().err


def test_it_stays_away_when_another_practice_was_added_to_it(demo):
    Practice.objects.create(name="Another Practice", short_name="Another")
    with pytest.raises(CommandError, match="Another Practice"):
        call_command("demo", no_serve=True, today=TODAY, fresh=True)
    assert Practice.objects.count() == 2


def test_patients_added_to_it_are_not_lost_by_running_it_another_day(demo):
    Patient.objects.create(practice=Practice.objects.get(), chart_number="X-1")
    with pytest.raises(CommandError, match="1 patient was added"):
        call_command("demo", no_serve=True, today=TODAY + dt.timedelta(days=1), weeks=WISH.weeks)
    assert Patient.objects.filter(chart_number="X-1").exists()


def manage(where, *words):
    """Run a command on a database of its own; returns what it said."""
    environment = {
        name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "TESTING"}
    }
    environment |= {
        "DATA_DIR": str(where),
        "PYTHONHASHSEED": "random",
        "DJANGO_SETTINGS_MODULE": "practice.settings",
    }
    ran = subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=settings.BASE_DIR,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    return ran.stdout + ran.stderr


def test_another_day_builds_it_anew_and_the_same_wish_the_same(demo, tmp_path):
    manage(tmp_path, "migrate", "--verbosity", "0")
    other = WISH.today - dt.timedelta(days=1)
    for day, said in ((other, "Built in"), (TODAY, f"Taking away the demo practice built for {other}")):
        words = ("--weeks", str(WISH.weeks), "--today", day.isoformat())
        assert said in manage(tmp_path, "demo", "--no-serve", *words)
    asked = "from tests.kits.test_demo import fingerprint; print(fingerprint())"
    assert fingerprint() in manage(tmp_path, "shell", "--verbosity", "0", "-c", asked)
    assert "differences           0" in manage(tmp_path, "verify_ledger")
