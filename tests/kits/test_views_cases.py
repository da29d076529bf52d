"""The list of cases, the page of a case with its plan, and booking by hand."""

import csv
import io

import openpyxl
import pytest

from kits import picking
from kits.models import Case, CaseFinding, Finding, PlanChoice
from practice.models import AuditEntry, Patient
from tests.builders import TODAY
from tests.kits.builders_kits import TOMORROW
from tests.kits.builders_pages import stop_clock, text_of, url

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def still(monkeypatch):
    stop_clock(monkeypatch)


@pytest.fixture
def client(sign_in, stocked):
    return sign_in(stocked.cast.assistant)


def codes(answer):
    return [row.record.code for row in answer.context["table"].rows]


# The list


def test_the_list_starts_today_and_is_filtered(client, stocked):
    past = stocked.case("XTR", on=TODAY.replace(day=2))
    skg = stocked.case("SKG", teeth=("12",))
    srm = stocked.case("V-SRM", teeth=("13",), hour=15, clinician=stocked.cast.manager)
    assert codes(client.get(url("cases"))) == [skg.code, srm.code]
    assert codes(client.get(url("cases", state="open"))) == [past.code, skg.code, srm.code]
    assert codes(client.get(url("cases", q=srm.code.lower()))) == [srm.code]
    assert codes(client.get(url("cases", procedure=stocked.procedures["SKG"].pk))) == [skg.code]
    assert codes(client.get(url("cases", clinician=stocked.cast.clinician.pk))) == [past.code, skg.code]
    assert codes(client.get(url("cases", until=TODAY))) == [past.code]
    assert codes(client.get(url("cases", state="closed"))) == []


def test_the_list_is_saved_as_a_file(client, stocked):
    case = stocked.case("SKG", teeth=("11", "21"))
    answer = client.get(url("cases", export="csv"))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert rows[0]["Case"] == case.code and rows[0]["Teeth"] == "11, 21" and rows[0]["Time"] == "11:00"
    book = openpyxl.load_workbook(io.BytesIO(client.get(url("cases", export="xlsx")).content))
    assert [cell.value for cell in book.active[2]][:2] == [case.code, book.active["B2"].value]
    assert book.active["B2"].value.date() == TOMORROW


def test_cases_of_the_other_clinic_are_not_listed(client, stocked):
    stocked.case("SKG", clinic=stocked.cast.other_clinic, room=stocked.cast.other_room)
    assert codes(client.get(url("cases", state="open"))) == []


def test_queries_of_the_list_do_not_grow(client, stocked, django_assert_max_num_queries):
    stocked.case("SKG")
    with django_assert_max_num_queries(20):
        client.get(url("cases"))
    for number in range(19):
        stocked.case("SKG", teeth=("12", "13"), hour=6 + number % 12)
    with django_assert_max_num_queries(20):
        assert len(codes(client.get(url("cases")))) == 20


# The plan


@pytest.fixture
def case(stocked):
    return stocked.case("DEL", teeth=("46",))


def test_the_page_says_what_is_missing(client, case):
    page = text_of(client.get(url("case", case.code)))
    assert "Choose the implant for 46." in page and "lower right first molar" in page
    assert "booked C-00001" in page


def test_an_implant_is_planned_and_its_neighbours_are_shown_with_reasons(client, stocked, case):
    site, implant = case.sites.get(), stocked.items["IMP-CR-43-100"]
    data = {"site": site.pk, "tooth": "46", "implant": implant.pk, "longest_safe_mm": "11"}
    answer = client.post(url("case_site", case.code), data, follow=True)
    site.refresh_from_db()
    assert site.implant == implant and site.longest_safe_mm == 11
    page = text_of(answer)
    assert "Stands by" in page and "longer than the safe length of 11 mm" in page
    assert AuditEntry.objects.filter(action="case.plan-site", subject=case.code).exists()


def test_a_field_left_empty_is_cleared_and_one_not_shown_stays(client, stocked, case):
    site, implant = case.sites.get(), stocked.items["IMP-CR-43-100"]
    data = {"site": site.pk, "tooth": "46", "implant": implant.pk, "longest_safe_mm": "11", "graft_cc": "0.4"}
    client.post(url("case_site", case.code), data)
    client.post(url("case_site", case.code), {"site": site.pk, "tooth": "46", "longest_safe_mm": ""})
    site.refresh_from_db()
    assert (site.implant, site.longest_safe_mm, str(site.graft_cc)) == (implant, None, "0.40")
    client.post(url("case_site", case.code), {"tooth": "46", "implant": ""})  # the short form adds, no more
    site.refresh_from_db()
    assert site.implant == implant
    client.post(url("case_site", case.code), {"site": site.pk, "tooth": "46", "implant": ""})
    site.refresh_from_db()
    assert site.implant is None and "Choose the implant for 46." in text_of(
        client.get(url("case", case.code))
    )


def test_a_tooth_is_added_as_the_clinic_numbers_it(client, stocked, case):
    type(stocked.cast.clinic).objects.filter(pk=stocked.cast.clinic.pk).update(tooth_notation="universal")
    client.post(url("case_site", case.code), {"tooth": "30"})  # 46 is there already
    client.post(url("case_site", case.code), {"tooth": "19"})
    # Universal 19 is FDI 36 (HL7 dental data exchange crosswalk, as in tests/reference/test_teeth.py).
    assert [site.tooth for site in case.sites.all()] == ["46", "36"]


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        ({"tooth": "99"}, "cannot be read as a tooth"),
        ({"tooth": "14, 15"}, "one tooth at a time"),
        ({"tooth": "14", "longest_safe_mm": "-3"}, "greater than or equal"),
    ],
)
def test_a_site_that_makes_no_sense_is_refused(client, case, data, fault):
    site = {"site": case.sites.get().pk} if "longest_safe_mm" in data else {}
    answer = client.post(url("case_site", case.code), data | site)
    assert answer.status_code == 422 and fault in text_of(answer)
    assert case.sites.count() == 1


def test_the_whole_plan_is_kept(client, stocked, case):
    data = {"graft_material": "SY", "membrane_class": "PT", "guided": "0", "note": "left side first"}
    client.post(url("case_plan", case.code), data)
    case.refresh_from_db()
    assert (case.graft_material, case.membrane_class, case.guided) == ("SY", "PT", False)
    wrong = client.post(url("case_plan", case.code), {"graft_material": "gold"})
    assert wrong.status_code == 422


def test_an_option_of_the_plan_is_decided_once_and_may_be_turned(client, stocked):
    case = stocked.case("SKG")
    tubes = stocked.items["PRF-TUB"]
    data = {"subject": "plan:PRF-TUB", "item": tubes.pk, "answer": "yes"}
    assert "PRF-TUB" not in {line.item.code for line in wanted(case)}
    client.post(url("case_choose", case.code), data)
    assert "PRF-TUB" in {line.item.code for line in wanted(case)}
    client.post(url("case_choose", case.code), data | {"answer": "no"})
    assert PlanChoice.objects.get().quantity == 0
    assert "PRF-TUB" not in {line.item.code for line in wanted(case)}


def wanted(case):
    fresh = Case.objects.get(pk=case.pk)
    return [line for line in picking.pick_list(case=fresh, today=TODAY).wanted if line.item is not None]


def test_only_what_is_open_can_be_decided(client, case):
    answer = client.post(url("case_choose", case.code), {"subject": "plan:NONSENSE"})
    assert answer.status_code == 404 and not PlanChoice.objects.exists()


def test_what_the_patient_declines_is_said_and_another_is_chosen(client, stocked):
    Patient.objects.filter(pk=stocked.cast.patient.pk).update(declines_porcine=True)
    case = stocked.plan(stocked.case("IMM", teeth=("14",)), "IMP-CR-43-100")
    answer = client.get(url("case", case.code))
    assert "Against the patient" in text_of(answer)
    missing = next(one for one in answer.context["missing"] if one["options"])
    data = {"subject": missing["subject"], "item": missing["options"][0]["pk"], "site": missing["site_id"]}
    client.post(url("case_choose", case.code), data)
    left = client.get(url("case", case.code)).context["missing"]
    assert missing["sentence"] not in [one["sentence"] for one in left]


def test_what_imaging_shows_is_known_before_surgery(client, stocked):
    case = stocked.case("SKG")
    finding = Finding.objects.get(code="F-FPM")
    data = {"finding": finding.pk, "site": case.sites.get().pk, "present": "0", "source": "imaging"}
    client.post(url("case_finding", case.code), data)
    found = CaseFinding.objects.get()
    assert (found.present, found.source) == (False, "imaging")
    case.refresh_from_db()
    assert case.state == "booked"
    assert not [line for line in wanted(case) if line.finding == finding]
    assert client.post(url("case_finding", case.code), {"finding": 0}).status_code == 422


def test_the_plan_is_closed_once_surgery_began(client, stocked):
    case = stocked.fill_tray(stocked.case("V-SRM", teeth=("13",)))
    client.post(url("pick_start", case.code))
    answer = client.post(url("case_plan", case.code), {"note": "too late"}, follow=True)
    assert "too late to change its plan" in text_of(answer)


def test_queries_of_the_page_do_not_grow_with_the_teeth(client, stocked, django_assert_max_num_queries):
    one, four = (
        stocked.case("DEL", teeth=("46",)),
        stocked.case("DEL", teeth=("14", "15", "16", "17"), hour=14),
    )
    for case in (stocked.plan(one, "IMP-CR-43-100"), stocked.plan(four, "IMP-CR-43-100")):
        with django_assert_max_num_queries(60):
            client.get(url("case", case.code))


# Booking, moving, cancelling


def booking(stocked, **changed):
    data = {
        "chart_number": "P-9001",
        "procedures": [stocked.procedures["SKG"].pk],
        "teeth": "11 and 21",
        "on": TOMORROW.isoformat(),
        "at": "14:30",
        "room": stocked.cast.room.pk,
        "clinician": stocked.cast.clinician.pk,
    }
    return data | changed


def test_a_case_is_booked_by_hand(client, stocked):
    answer = client.post(url("case_book"), booking(stocked))
    case = Case.objects.get()
    assert answer["Location"] == url("case", case.code)
    assert case.patient.chart_number == "P-9001" and case.minutes == 75
    assert [site.tooth for site in case.sites.all()] == ["11", "21"]
    # Half past two in London in May is half past one in UTC.
    assert (case.starts_at.hour, case.starts_at.minute) == (13, 30)
    again = client.post(url("case_book"), booking(stocked, at="16:00"))
    assert again.status_code == 302 and Patient.objects.filter(chart_number="P-9001").count() == 1


@pytest.mark.parametrize(
    ("changed", "fault"),
    [
        ({"teeth": "99"}, "cannot be read as a tooth"),
        ({"procedures": []}, "required"),
        ({"on": "31/31/2026"}, "valid date"),
        ({"chart_number": ""}, "required"),
    ],
)
def test_a_booking_that_makes_no_sense_is_refused(client, stocked, changed, fault):
    answer = client.post(url("case_book"), booking(stocked, **changed))
    assert answer.status_code == 422 and fault in text_of(answer)
    assert not Case.objects.exists()


def test_a_case_is_moved(client, stocked, case):
    data = {"on": TOMORROW.isoformat(), "at": "08:00", "minutes": "90", "room": stocked.cast.room.pk}
    assert client.post(url("case_move", case.code), data).status_code == 302
    case.refresh_from_db()
    assert (case.starts_at.hour, case.minutes) == (7, 90)
    # Shown is the clinic's own clock (08:00 in London's summer), so that sending it again moves nothing.
    page = text_of(client.get(url("case_move", case.code)))
    assert 'name="at" value="08:00' in page


def test_a_case_is_cancelled_with_a_reason(client, stocked):
    case = stocked.fill_tray(stocked.case("V-SRM", teeth=("13",)))
    before = stocked.at(stocked.cast.tray, "DIS-BIB")
    client.post(url("case_cancel", case.code), {"reason": "patient ill"})
    case.refresh_from_db()
    assert case.state == "cancelled" and before and stocked.at(stocked.cast.tray, "DIS-BIB") == 0
    assert AuditEntry.objects.get(action="case.cancel").facts["reason"] == "patient ill"
    again = client.post(url("case_cancel", case.code), {"reason": "again"}, follow=True)
    assert "too late to cancel" in text_of(again)
