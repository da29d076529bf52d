"""Bookings that change in their file, come by a second file, or go while their tray is set out.

Calendar events follow RFC 5545: an event keeps its UID (3.8.4.7) when its time changes.
"""

import datetime as dt

import pytest

from kits.importing_bookings import import_bookings
from kits.models import Case, FileBooking
from kits.picking import begin, put_on_tray
from kits.rebooking import TrayBegun, rebook, recognise
from kits.scheduling import NoProcedure, book, cancel_case, choose, plan_site
from kits.tray import WrongState
from practice.importing import Meanings, Options
from practice.models import AuditEntry
from stock.models import Balance
from tests.builders import NOW, TODAY

DAY = TODAY + dt.timedelta(days=6)
HEADER = "Appt date;Start;Dur (min);Chair;Provider;Chart #;Procedure;Teeth;Status;Appt id"
ROW = f"{DAY:%d/%m/%Y};08:45;90;A1;Dr Tessamore;P-0001;Ext + socket graft;15;Booked;"
EVENT = """BEGIN:VEVENT
UID:{uid}
DTSTAMP:20260512T080000Z
DTSTART;TZID=Europe/London:{day:%Y%m%d}T{start}
DTEND;TZID=Europe/London:{day:%Y%m%d}T{end}
SUMMARY:{words}
LOCATION:A1
DESCRIPTION:Chart P-0001\\nDr Tessamore
STATUS:{status}
END:VEVENT
"""


def table(kits, *rows, **how):
    return read(kits, "\n".join((HEADER, *rows)), "list.csv", **how)


def calendar(kits, *, day=DAY, start="084500", end="101500", words="Ext + socket graft 15", **facts):
    facts = {"uid": "bk-1@calendar.example", "status": "CONFIRMED"} | facts
    event = EVENT.format(day=day, start=start, end=end, words=words, **facts)
    text = f"BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:-//invented//EN\n{event}END:VCALENDAR\n"
    return read(kits, text.replace("\n", "\r\n"), "calendar.ics")


def read(kits, text, name, **how):
    how = {"today": TODAY, "at": NOW, "by": kits.cast.manager, "meanings": Meanings(notation="fdi")} | how
    return import_bookings(text.encode(), filename=name, clinic=kits.cast.clinic, options=Options(**how))


def planned(case=None):
    """Procedures and teeth of the one case there is."""
    case = case or Case.objects.exclude(state=Case.State.CANCELLED).get()
    codes = set(case.procedures.values_list("procedure__code", flat=True))
    return codes, list(case.sites.values_list("tooth", flat=True))


def said(report):
    return [change.what for change in report.changes]


@pytest.mark.parametrize("identity", ["", "bk-7"])
def test_another_procedure_in_the_file_plans_the_case_anew(kits, identity):
    table(kits, ROW + identity)
    report = table(kits, ROW.replace("Ext + socket graft", "Extraction") + identity)
    assert (said(report), report.changes[0].detail) == (["planned anew"], "SKG → XTR")
    assert planned() == ({"XTR"}, ["15"])
    entry = AuditEntry.objects.get(action="case.rebook")
    assert (entry.by, entry.facts["what"]) == (kits.cast.manager, "SKG → XTR")
    again = table(kits, ROW.replace("Ext + socket graft", "Extraction") + identity)
    assert (again.accepted, again.unchanged, again.notices) == (0, 1, [])


def test_a_check_says_so_and_changes_nothing(kits):
    table(kits, ROW)
    report = table(kits, ROW.replace(";15;", ";16;"), check=True)
    assert (said(report), planned()) == (["planned anew"], ({"SKG"}, ["15"]))


def test_where_a_tooth_stays_so_does_what_people_planned_there(kits):
    """15 stays with its implant, choice and measure; 16 goes; 17 comes; 14, added here, stays."""
    table(kits, ROW.replace(";15;", ";15, 16;"))
    case = Case.objects.get()
    facts = {"by": kits.cast.clinician, "at": NOW}
    kept = plan_site(case=case, tooth="15", implant=kits.items["IMP-CR-43-100"], defect_width_mm=8, **facts)
    choose(case=case, subject="GRAFT_SIZED", item=kits.items["GRF-AL-050"], site=kept, **facts)
    plan_site(case=case, tooth="14", **facts)
    report = table(kits, ROW.replace(";15;", ";15, 17;"))
    assert report.changes[0].detail == "teeth 14, 15, 16 → 14, 15, 17"
    assert sorted(planned()[1]) == ["14", "15", "17"]
    stayed = case.sites.get(tooth="15")
    assert (stayed.pk, stayed.implant, stayed.defect_width_mm) == (kept.pk, kept.implant, 8)
    assert case.choices.get().site == kept


def test_an_implant_that_goes_with_its_tooth_is_named_before(kits):
    table(kits, ROW)
    implant = kits.items["IMP-CR-43-100"]
    plan_site(case=Case.objects.get(), tooth="15", implant=implant, by=None, at=NOW)
    report = table(kits, ROW.replace(";15;", ";24;"), check=True)
    assert report.changes[0].detail == f"teeth 15 → 24 (no longer planned: {implant})"


def test_a_file_that_names_no_teeth_or_the_same_ones_leaves_the_plan_of_people(kits):
    table(kits, ROW)
    plan_site(case=Case.objects.get(), tooth="16", by=None, at=NOW)
    for row in (ROW, ROW.replace(";15;", ";;")):
        report = table(kits, row)
        assert (report.accepted, report.notices) == (0, [])
    assert planned() == ({"SKG"}, ["15", "16"])


def test_the_length_follows_the_procedures_where_the_file_has_none(kits):
    table(kits, ROW.replace(";90;", ";;"))
    before = Case.objects.get().minutes
    report = table(kits, ROW.replace(";90;", ";;").replace("Ext + socket graft", "Extraction"))
    case = Case.objects.get()
    assert case.minutes == kits.procedures["XTR"].minutes != before
    assert said(report) == ["moved"]


def test_time_and_plan_change_together(kits):
    table(kits, ROW + "bk-7")
    report = table(kits, ROW.replace("08:45", "10:15").replace(";15;", ";16;") + "bk-7")
    assert said(report) == ["moved"]
    assert "teeth 15 → 16" in report.changes[0].detail
    case = Case.objects.get()
    assert (f"{case.starts_at:%H:%M}", planned()[1]) == ("09:15", ["16"])


def test_a_plan_does_not_change_under_a_tray_that_is_being_set_out(kits):
    table(kits, ROW)
    begin(case=Case.objects.get(), by=kits.cast.assistant, at=NOW)
    report = table(kits, ROW.replace(";15;", ";16;"))
    assert not report.applied
    problem = report.problems[0]
    assert (problem.row, problem.column, problem.value) == (2, "Procedure", "Ext + socket graft")
    assert "already set out, so its plan was not changed (teeth 15 → 16)" in problem.reason
    assert "book it anew" in problem.reason
    assert planned() == ({"SKG"}, ["15"])
    # Its time may still change.
    assert said(table(kits, ROW.replace("08:45", "09:30"))) == ["moved"]


def test_the_verb_itself_refuses_and_repeats_nothing(kits):
    case = kits.case("SKG", teeth=("15",))
    facts = {"case": case, "by": None, "at": NOW}
    count = AuditEntry.objects.count()
    rebook(procedures=[kits.procedures["SKG"]], teeth=["15"], **facts)
    assert AuditEntry.objects.count() == count
    with pytest.raises(NoProcedure):
        rebook(procedures=[], teeth=["15"], **facts)
    begin(case=case, by=kits.cast.assistant, at=NOW)
    with pytest.raises(TrayBegun):
        rebook(procedures=[kits.procedures["XTR"]], teeth=["15"], **facts)
    cancel_case(case=case, reason="ill", by=None, at=NOW)
    with pytest.raises(WrongState):
        rebook(procedures=[kits.procedures["XTR"]], teeth=["15"], **facts)


def test_a_calendar_moves_the_case_that_a_list_booked(kits):
    table(kits, ROW)
    first = calendar(kits)
    assert (first.accepted, first.unchanged) == (0, 1)
    assert "booked by hand or from another file" in first.notices[-1].reason
    assert calendar(kits).notices == [], "the second time there is nothing new"
    later = DAY + dt.timedelta(days=7)
    report = calendar(kits, day=later)
    assert said(report) == ["moved"]
    assert Case.objects.get().on == later
    assert AuditEntry.objects.filter(action="case.recognise").count() == 1


@pytest.mark.parametrize("identity", ["", "bk-7"])
def test_a_list_moves_the_case_that_a_calendar_booked(kits, identity):
    calendar(kits)
    assert table(kits, ROW + identity).unchanged == 1
    report = table(kits, ROW.replace("08:45", "11:00") + identity)
    assert said(report) == ["moved"]
    assert f"{Case.objects.get().starts_at:%H:%M}" == "10:00"
    assert calendar(kits, start="110000", end="123000").unchanged == 1
    assert Case.objects.count() == 1


def test_either_file_cancels_the_one_case(kits):
    table(kits, ROW)
    calendar(kits)
    assert said(calendar(kits, status="CANCELLED")) == ["cancelled"]
    assert Case.objects.get().state == Case.State.CANCELLED


def test_a_case_booked_by_hand_is_known_too_and_its_plan_stays(kits):
    case = kits.case("SKG", teeth=("16",), on=DAY, hour=8)
    moment = dt.datetime.combine(DAY, dt.time(7, 45), tzinfo=dt.UTC)
    Case.objects.filter(pk=case.pk).update(starts_at=moment)
    chart = case.patient.chart_number
    report = table(kits, ROW.replace("P-0001", chart), ROW.replace("P-0001", chart))
    assert [notice.column for notice in report.notices[-2:]] == ["Teeth", "Chart #"]
    assert planned() == ({"SKG"}, ["16"])
    assert FileBooking.objects.get().case == case


def test_files_that_disagree_on_the_plan_are_told_apart_and_nothing_is_done(kits):
    table(kits, ROW)
    report = calendar(kits, words="Extraction 15")
    assert "is planned as SKG. Change its plan by hand" in report.notices[0].reason
    assert (Case.objects.count(), planned()) == (1, ({"SKG"}, ["15"]))


def test_two_visits_at_one_moment_with_ids_of_their_own_stay_two(kits):
    table(kits, ROW + "bk-1")
    table(kits, ROW + "bk-1", ROW.replace("Ext + socket graft", "Extraction") + "bk-2")
    assert Case.objects.count() == 2
    assert table(kits, ROW.replace("Ext + socket graft", "Extraction") + "bk-2").unchanged == 1


def test_a_row_that_is_off_does_not_cancel_the_visit_that_took_its_place(kits):
    off = ROW.replace("Booked", "Cancelled")
    instead = ROW.replace("Ext + socket graft", "Extraction")
    for _ in range(2):
        table(kits, off, instead)
    assert Case.objects.get().state == Case.State.BOOKED
    assert planned() == ({"XTR"}, ["15"])


def test_cancelling_a_case_that_is_set_out_says_what_to_put_back(kits):
    kits.stock_everything()
    table(kits, ROW)
    case = Case.objects.get()
    begin(case=case, by=kits.cast.assistant, at=NOW)
    line = case.tray_lines.filter(item__tracking="lot", item__category="Suture").first()
    balance = Balance.objects.filter(lot__item=line.item, place=kits.cast.stockroom, quantity__gt=0).first()
    unit = put_on_tray(
        line=line,
        lot=balance.lot,
        place=balance.place,
        quantity=1,
        scanned=True,
        by=kits.cast.assistant,
        at=NOW,
    )
    report = table(kits, ROW.replace("Booked", "Cancelled"))
    assert [(each.subject, each.detail) for each in report.to_do] == [
        (case.code, f"Put back from Tray A1 to Stockroom: 1 × {unit.lot}.")
    ]
    assert report.as_json()["to_do"][0]["row"] == 2
    assert not Balance.objects.filter(place=unit.tray, quantity__gt=0).exists()


def test_an_id_leads_to_the_case_that_was_named_last(kits):
    first, second = kits.case("SKG"), kits.case("XTR")
    facts = {"identity": "bk-9", "procedures": ["SKG"], "teeth": [], "by": None, "at": NOW}
    recognise(case=first, **facts)
    assert recognise(case=second, **facts).case == second


def test_booking_without_a_file_keeps_no_id(kits):
    book(
        clinic=kits.cast.clinic,
        patient=kits.cast.patient,
        procedures=[kits.procedures["SKG"]],
        starts_at=NOW,
        on=TODAY,
        by=None,
        at=NOW,
    )
    assert not FileBooking.objects.exists()
