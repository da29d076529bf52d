"""The bookings import: the invented exports as they are, and single faults, moves and cancellations.

Counts by reading bookings.csv with the csv module: 190 bookings, 23 of them off (16 cancelled, 7 no-show) and
one standing twice; 31/02/2027 and 25:10 are no moments; 11 later rows give a chart number to another person
(another name and another birth year). 190 - 23 - 1 - 2 - 11 = 153.
"""

import csv
import datetime as dt
import json
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from kits.importing_boms import import_boms
from kits.importing_bookings import import_bookings
from kits.models import Case
from kits.scheduling import cancel_case
from practice.importing import Meanings, Options, remember
from practice.models import Clinic, Closure, Patient, Room
from stock.importing_catalogue import import_catalogue

FIXTURES = Path(__file__).parents[2] / "fixtures"
CSV = FIXTURES / "imports" / "bookings.csv"
ICS = FIXTURES / "imports" / "bookings.ics"
TODAY = dt.date(2026, 11, 24)
AT = dt.datetime(2026, 11, 24, 9, tzinfo=dt.UTC)
HEADER = "Appt date;Start;Dur (min);Chair;Provider;Chart #;Patient;Born;Procedure;Teeth;Status;Appt id"
ROW = "30/11/2026;08:45;90;A1;Dr Tessamore;P-0458;Skelbeck, Benno;13/10/1976;Ext + socket graft;#4;Booked;"
UNIVERSAL = Meanings(notation="universal")


def options(**how):
    return Options(**({"today": TODAY, "at": AT, "meanings": UNIVERSAL} | how))


@pytest.fixture(scope="module")
def files():
    """The catalogue and the bills, read from disk once."""
    return (FIXTURES / "catalogue.csv").read_bytes(), (FIXTURES / "boms.csv").read_bytes()


@pytest.fixture
def practice(cast, files):
    """The standing cast with the demo's catalogue and bills, and its three rooms."""
    catalogue, bills = files
    assert import_catalogue(catalogue, filename="c.csv", options=options()).applied
    import_boms(bills, filename="b.csv", by=None, at=AT)
    for code in ("A2", "A3"):
        Room.objects.create(clinic=cast.clinic, code=code)
    return cast


def take(cast, *rows, **how):
    data = "\n".join((HEADER, *rows)).encode() if rows else CSV.read_bytes()
    return import_bookings(data, filename="b.csv", clinic=cast.clinic, options=options(**how))


def rows_of_file():
    lines = CSV.read_text("utf-8-sig").splitlines()[3:]
    return [row for row in csv.DictReader(lines, delimiter=";") if row["Appt date"]]


def test_the_export_as_it_is_changes_nothing_and_names_its_faults(practice):
    report = take(practice)
    assert (report.read, report.accepted, report.skipped, report.applied) == (190, 153, 24, False)
    named = {(p.row, p.column, p.value) for p in report.problems}
    assert {(47, "Appt date", "31/02/2027"), (63, "Start", "25:10"), (63, "Teeth", "#99")} <= named
    assert report.unmapped == {"Procedure": ["Botox"]}
    others = [p for p in report.problems if "another person" in p.reason]
    assert len(others) == 11
    assert (58, "P-0704") in {(p.row, p.value) for p in others}
    assert len(report.problems) == 14
    assert not Case.objects.exists()
    assert not Patient.objects.exclude(pk=practice.patient.pk).exists()


def test_the_good_rows_become_cases_and_the_second_time_changes_nothing(practice):
    report = take(practice, accept_good=True)
    assert (report.accepted, report.applied) == (153, True)
    assert Case.objects.count() == 153
    again = take(practice, accept_good=True)
    assert (again.accepted, again.unchanged, again.skipped, again.applied) == (0, 153, 24, False)
    assert Case.objects.count() == 153


def test_every_case_has_the_moment_chart_and_teeth_of_its_row(practice):
    """Oracle: the csv module and the HL7 crosswalk of Universal to FDI for four teeth by hand."""
    take(practice, accept_good=True)
    by_hand = {"#4": ["15"], "#12": ["24"], "#19": ["36"], "#30": ["46"]}
    seen = 0
    for row in rows_of_file():
        if row["Status"] not in ("Booked", "Confirmed") or row["Teeth"] not in by_hand:
            continue
        on = (
            dt.datetime.strptime(row["Appt date"], "%d/%m/%Y").date()
            if "31/02" not in row["Appt date"]
            else None
        )
        case = Case.objects.filter(patient__chart_number=row["Chart #"], on=on).first()
        if case is None:
            continue
        seen += 1
        assert f"{case.starts_at:%H:%M}" == row["Start"]
        assert case.minutes == int(row["Dur (min)"])
        assert case.room.code == row["Chair"]
        assert [site.tooth for site in case.sites.all()] == by_hand[row["Teeth"]]
    assert seen >= 40


def test_patients_get_chart_name_and_birth_year_and_no_more(practice):
    take(practice, ROW)
    patient = Patient.objects.get(chart_number="P-0458")
    assert (patient.name, patient.born_in) == ("Skelbeck, Benno", 1976)
    assert not patient.declined_origins


def test_the_clinician_and_the_room_are_found_or_said(practice):
    assert take(practice, ROW).applied
    case = Case.objects.get()
    assert (case.clinician, case.room) == (practice.clinician, practice.room)
    report = take(
        practice, ROW.replace("P-0458", "P-0459").replace("Tessamore", "Nobody").replace(";A1;", ";Z9;")
    )
    assert {n.column for n in report.notices if "without one" in n.reason} == {"Chair", "Provider"}
    assert report.applied


def test_the_calendar_as_it_is(practice):
    """63 components less the calendar: 60 bookings, 5 of them cancelled, a closure and six meetings."""
    report = import_bookings(ICS.read_bytes(), filename="b.ics", clinic=practice.clinic, options=options())
    assert (report.read, report.accepted, report.skipped, report.problems) == (67, 56, 11, [])
    assert Case.objects.count() == 55
    closure = Closure.objects.get(clinic=practice.clinic)
    assert (closure.starts_on, closure.ends_on) == (dt.date(2026, 12, 25), dt.date(2027, 1, 1))
    again = import_bookings(ICS.read_bytes(), filename="b.ics", clinic=practice.clinic, options=options())
    assert (again.accepted, again.unchanged, again.applied) == (0, 56, False)


def test_the_same_bookings_from_table_and_calendar_are_one(practice):
    take(practice, accept_good=True)
    report = import_bookings(ICS.read_bytes(), filename="b.ics", clinic=practice.clinic, options=options())
    doubled = [c for c in Case.objects.all() if Case.objects.filter(
        patient=c.patient, starts_at=c.starts_at, state=Case.State.BOOKED).count() > 1]  # fmt: skip
    assert doubled == []
    assert report.unchanged > 45


@pytest.mark.parametrize("identity", ["", "bk-7"])
def test_a_booking_at_another_time_that_day_moves_its_case(practice, identity):
    take(practice, ROW + identity)
    report = take(practice, ROW.replace("08:45", "10:15") + identity)
    assert [change.what for change in report.changes] == ["moved"]
    assert "08:45 → Mon 30 Nov 10:15" in report.changes[0].detail
    case = Case.objects.get()
    assert f"{case.starts_at:%H:%M}" == "10:15"


def test_with_an_id_a_booking_moves_to_another_day_room_and_clinician(practice):
    take(practice, ROW + "bk-7")
    take(practice, ROW.replace("30/11", "14/12").replace(";A1;", ";A2;") + "bk-7")
    case = Case.objects.get()
    assert (case.on, case.room.code) == (dt.date(2026, 12, 14), "A2")


@pytest.mark.parametrize("word", ["Cancelled", "No show", "no-show"])
def test_a_booking_that_is_off_cancels_its_case_once(practice, word):
    take(practice, ROW + "bk-7")
    off = ROW.replace("Booked", word) + "bk-7"
    assert [change.what for change in take(practice, off).changes] == ["cancelled"]
    assert Case.objects.get().state == Case.State.CANCELLED
    again = take(practice, off)
    assert (again.accepted, again.skipped) == (0, 1)


def test_what_was_cancelled_here_stays_so(practice):
    take(practice, ROW + "bk-7")
    cancel_case(case=Case.objects.get(), reason="ill", by=practice.assistant, at=AT)
    report = take(practice, ROW + "bk-7")
    assert (report.accepted, report.unchanged) == (0, 1)
    assert "was cancelled here and stays so" in report.notices[0].reason


def test_past_bookings_and_meetings_are_left_out(practice):
    report = take(
        practice, ROW.replace("30/11/2026", "02/11/2026"), ROW.replace("Ext + socket graft", "Lunch")
    )
    assert (report.read, report.skipped, report.problems, report.unmapped) == (2, 2, [], {})
    assert "past" in report.notices[0].reason


def test_unknown_words_wait_for_a_meaning_which_is_remembered(practice):
    odd = ROW.replace("Ext + socket graft", "Phase II")
    assert take(practice, odd).unmapped == {"Procedure": ["Phase II"]}
    said = Meanings(notation="universal", values={"Procedure": {"Phase II": "2ND"}})
    assert take(practice, odd, meanings=said, check=True).accepted == 1
    remember(
        clinic=practice.clinic,
        file_kind="bookings",
        column="Procedure",
        value="Phase II",
        meaning="2ND",
        by=None,
        at=AT,
    )
    assert take(practice, odd).applied
    assert [p.procedure.code for p in Case.objects.get().procedures.all()] == ["2ND"]


def test_several_procedures_in_one_cell_make_one_case(practice):
    assert take(practice, ROW.replace("Ext + socket graft", "Extraction, CT graft")).applied
    assert {p.procedure.code for p in Case.objects.get().procedures.all()} == {"XTR", "CTG"}


@pytest.mark.parametrize(
    ("old", "new", "column", "words"),
    [
        ("30/11/2026", "31/11/2026", "Appt date", "no 31 November"),
        ("30/11/2026", "11/2026", "Appt date", "a day is needed"),
        ("08:45", "", "Start", "time is missing"),
        (";90;", ";3;", "Dur (min)", "5 or more"),
        (";90;", ";1000;", "Dur (min)", "Nobody operates"),
        ("P-0458", "", "Chart #", "must not be empty"),
        ("#4", "#33", "Teeth", "no such tooth"),
        ("13/10/1976", "someday", "Born", "not a date"),
    ],
)
def test_a_faulty_row_is_named_and_nothing_is_taken(practice, old, new, column, words):
    good = ROW.replace("P-0458", "P-0001").replace("Skelbeck, Benno;13/10/1976", ";")
    report = take(practice, good, ROW.replace(old, new))
    problem = next(p for p in report.problems if p.column == column)
    assert problem.row == 3
    assert words in problem.reason
    assert not Case.objects.exists()


def test_teeth_follow_the_clinic_unless_the_file_plainly_does_not(practice):
    plain = ROW.replace("#4", "14")
    assert take(practice, plain, meanings=Meanings()).applied
    assert Case.objects.get().sites.get().tooth == "14"
    report = take(practice, ROW.replace("P-0458", "P-0459"), meanings=Meanings())
    assert "“#4” was read as 15, the upper right second premolar" in report.notices[0].reason
    Clinic.objects.filter(pk=practice.clinic.pk).update(tooth_notation="universal")
    practice.clinic.refresh_from_db()
    take(practice, plain.replace("P-0458", "P-0460"), meanings=Meanings())
    assert Case.objects.get(patient__chart_number="P-0460").sites.get().tooth == "26"


def test_a_chart_of_another_person_is_a_problem_and_a_changed_name_a_notice(practice):
    take(practice, ROW)
    later = ROW.replace("30/11", "14/12")
    stranger = later.replace("Skelbeck, Benno;13/10/1976", "Jarrowby, Jessamy;24/12/1956")
    assert "belongs to another person" in take(practice, stranger).problems[0].reason
    married = take(practice, later.replace("Skelbeck, Benno", "Larkmead, Benno"))
    assert married.applied
    assert "Is it the same person?" in married.notices[0].reason
    assert Patient.objects.get(chart_number="P-0458").name == "Skelbeck, Benno"


def test_double_booking_and_closed_days_are_said(practice):
    second = ROW.replace("P-0458", "P-0459").replace("08:45", "09:30")
    sunday = ROW.replace("30/11", "29/11").replace("P-0458", "P-0460")
    report = take(practice, ROW, second, sunday)
    said = [notice.reason for notice in report.notices]
    assert said.count("Booked twice at once: row 2 lasts until 10:15.") == 2
    assert "Skellowick Road is closed on that day: 1 booking, this one first." in said
    assert report.applied


def test_procedures_that_are_not_set_up_are_a_problem(cast):
    report = take(cast, ROW)
    assert "Take in the bills of materials first" in report.problems[0].reason


def test_the_command_checks_refuses_and_takes(practice, tmp_path, capsys):
    where = ("import_bookings", str(CSV), "--clinic", "A", "--today", "2026-11-24", "--format", "json")
    with pytest.raises(CommandError) as refused:
        call_command(*where)
    assert refused.value.returncode == 1
    assert len(json.loads(capsys.readouterr().out)["problems"]) == 14
    call_command(*where, "--accept-good", "--check")
    assert not Case.objects.exists()
    (tmp_path / "m.json").write_text('{"Procedure": {"Extraction": "skip", "Botox": "skip"}}')
    call_command(*where, "--accept-good", "--mapping", str(tmp_path / "m.json"))
    assert not Case.objects.filter(procedures__procedure__code="XTR", on=dt.date(2026, 12, 1)).exists()
