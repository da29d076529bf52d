"""Patients: the list, what stands at which tooth, record and card; the scan that leads anywhere."""

import csv
import io

import pytest

from kits import closing
from kits.chairside import start_surgery
from kits.models import TrayUnit
from practice.models import Patient, Practice
from practice.patients import register
from stock.models import ItemCode
from tests.builders import NOW
from tests.kits.builders_kits import TOMORROW
from tests.kits.builders_pages import stop_clock, text_of, url

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def still(monkeypatch):
    stop_clock(monkeypatch)


@pytest.fixture
def client(sign_in, stocked):
    return sign_in(stocked.cast.clinician)


@pytest.fixture
def placed(stocked):
    """A closed case with an implant at 46 and everything else put back or used."""
    by = stocked.cast.assistant
    case = stocked.plan(stocked.case("DEL", teeth=("46",)), "IMP-CR-43-100")
    case = start_surgery(case=stocked.fill_tray(case), by=by, at=NOW)
    unit = TrayUnit.objects.get(line__case=case, lot__item__code="IMP-CR-43-100")
    closing.record(unit=unit, outcome="used", quantity=1, by=by, at=NOW)
    closing.settle_rest(case=case, by=by, at=NOW)
    closing.close(case=case, by=by, at=NOW)
    unit.refresh_from_db()
    return unit


def charts(answer):
    return [row.record.chart_number for row in answer.context["table"].rows]


def test_patients_are_found_by_chart_or_whole_name(client, stocked):
    facts = {"practice": stocked.cast.practice, "by": None, "at": NOW}
    register(chart_number="P-7001", name="Orla Vennick", born_in=1961, **facts)
    assert charts(client.get(url("patients", q="7001"))) == ["P-7001"]
    assert charts(client.get(url("patients", q="orla  VENNICK"))) == ["P-7001"]
    # A name is encrypted, so a part of it finds nothing.
    assert charts(client.get(url("patients", q="Venn"))) == []
    assert charts(client.get(url("patients", declines="human"))) == []


def test_the_list_tells_last_and_next_surgery_and_is_saved(client, stocked, placed):
    stocked.case("V-SRM", teeth=("46",), hour=16)
    answer = client.get(url("patients"))
    record = next(iter(answer.context["table"].rows)).record
    assert (record.last_on, record.next_on, record.case_count) == (TOMORROW, TOMORROW, 2)
    rows = list(
        csv.DictReader(io.StringIO(client.get(url("patients", export="csv")).content.decode("utf-8-sig")))
    )
    assert rows[0]["Chart"] == "P-0001" and rows[0]["Cases"] == "2"


def test_queries_of_the_list_do_not_grow(client, stocked, django_assert_max_num_queries):
    with django_assert_max_num_queries(15):
        client.get(url("patients"))
    for number in range(19):
        register(practice=stocked.cast.practice, chart_number=f"P-80{number:02}", by=None, at=NOW)
    with django_assert_max_num_queries(15):
        assert len(charts(client.get(url("patients")))) == 20


def test_the_implant_stands_at_its_tooth_with_serial_and_expiry(client, stocked, placed):
    page = text_of(client.get(url("patient", "P-0001")))
    assert "lower right first molar" in page and placed.lot.serial in page
    assert f"to {placed.lot.expires_on.day} " in page and "Dr A. Tessamore" in page
    assert "Surface disinfectant wipes" not in page
    assert "Surface disinfectant wipes" in text_of(client.get(url("patient", "P-0001", everything=1)))


def test_the_materials_are_saved_as_a_file(client, stocked, placed):
    patient, address = placed.lot, url("patient", stocked.cast.patient.chart_number)
    page = text_of(client.get(address))
    assert "?export=csv" in page and "compare it with the label in the chart" in page
    rows = list(
        csv.DictReader(io.StringIO(client.get(address, {"export": "csv"}).content.decode("utf-8-sig")))
    )
    [row] = [row for row in rows if row["Serial or unit"] == patient.serial]
    assert (row["Chart"], row["Lot"]) == (stocked.cast.patient.chart_number, patient.lot_number)
    assert row["Tooth (FDI)"] and row["Expiry"] == patient.expires_on.isoformat()
    everything = client.get(address, {"export": "csv", "everything": "1"}).content.decode()
    assert len(everything.splitlines()) > 1 + len(rows)


def test_a_patient_who_declines_nothing_accepts_every_origin(client, stocked):
    address = url("patient", stocked.cast.patient.chart_number)
    Patient.objects.filter(pk=stocked.cast.patient.pk).update(consent_asked_on=NOW.date())
    assert "Accepts human, porcine and bovine material." in text_of(client.get(address))
    type(stocked.cast.patient).objects.filter(pk=stocked.cast.patient.pk).update(declines_human=True)
    assert "Declines human material." in text_of(client.get(address))


def test_record_and_card_hold_what_a_reader_elsewhere_needs(client, placed):
    """Patient, date, device, its number and where it was placed: the least a card tells (common practice,
    after the implant card of Regulation (EU) 2017/745, Article 18; named from memory)."""
    for name in ("patient_record", "patient_card"):
        page = text_of(client.get(url(name, "P-0001")))
        for fact in ("P-0001", placed.lot.serial, "46", "4.3 x 10 mm", "13 May 2026"):
            assert fact in page, (name, fact)


def test_a_patient_without_material_has_no_card_yet(client, stocked):
    assert "No implant is recorded" in text_of(client.get(url("patient_card", "P-0001")))
    assert "Nothing is recorded yet" in text_of(client.get(url("patient", "P-0001")))


# The scan field of every page


def led_to(client, code):
    return client.get(url("scan", code=code)).get("Location", "")


def test_a_scan_leads_to_the_case_the_patient_the_lot_or_the_item(client, stocked, placed):
    case = stocked.case("SKG", teeth=("11",), hour=17)
    assert led_to(client, case.code.lower()) == url("pick_list", case.code)
    assert led_to(client, placed.line.case.code) == url("case", placed.line.case.code)
    assert led_to(client, "p-0001") == url("patient", "P-0001")
    assert led_to(client, placed.lot.serial) == url("find_lot", q=placed.lot.serial)
    assert led_to(client, "MEM-RC-2030") == url("item", "MEM-RC-2030")
    assert led_to(client, "") == url("today")


def test_a_label_leads_to_its_lot_and_a_bare_code_to_its_item(client, stocked):
    """GS1 element strings with application identifiers 01, 10, 17 (GS1 General Specifications, section 3)."""
    ItemCode.objects.update_or_create(item=stocked.items["MEM-RC-2030"], value="02999000104314")
    stocked.stock("MEM-RC-2030", number="00420")
    label = "01029990001043141727063010 00420".replace(" ", "")
    assert led_to(client, label) == url("find_lot", q=label)
    assert led_to(client, "0102999000104314") == url("item", "MEM-RC-2030")


def test_what_nobody_knows_is_said_in_words(client):
    answer = client.get(url("scan", code="<b>zz</b>"))
    assert answer.status_code == 404
    assert "Nothing here is called that" in text_of(answer) and "<b>zz" not in text_of(answer)


def test_a_case_of_another_clinic_is_not_led_to(client, stocked):
    case = stocked.case("SKG")
    client.force_login(stocked.cast.other_assistant, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get(url("scan", code=case.code)).status_code == 404


# Consent

NOT_ASKED = "onsent to human and animal material not asked yet"


def test_what_nobody_asked_is_not_shown_as_accepted(client, stocked):
    case = stocked.case("SKG", teeth=("46",))
    for page in (url("patient", "P-0001"), url("patient_record", "P-0001"), url("pick_list", case.code)):
        text = text_of(client.get(page))
        assert NOT_ASKED in text and "accepts human" not in text, page
    assert "not asked yet" in text_of(client.get(url("patients")))


def test_an_answer_is_kept_and_said_everywhere(client, stocked):
    answer = client.post(url("patient_consent", "P-0001"), {"declines_porcine": "on"}, follow=True)
    assert "Declines porcine material" in text_of(answer) and NOT_ASKED not in text_of(answer)
    patient = Patient.objects.get(chart_number="P-0001")
    assert (patient.declined_origins, patient.consent_asked_on) == ({"porcine"}, NOW.date())
    client.post(url("patient_consent", "P-0001"))
    assert "Accepts human, porcine and bovine material" in text_of(client.get(url("patient", "P-0001")))


def test_an_answer_stands_even_if_the_tray_holds_what_is_declined(client, stocked):
    case = stocked.fill_tray(stocked.case("SKG", teeth=("46",)))
    held = [unit for unit in TrayUnit.objects.filter(line__case=case) if "porcine" in unit.lot.item.origins]
    assert held
    page = text_of(client.post(url("patient_consent", "P-0001"), {"declines_porcine": "on"}, follow=True))
    assert Patient.objects.get(chart_number="P-0001").declines_porcine
    assert f"{case.code}: " in page
    assert TrayUnit.objects.filter(pk__in=[unit.pk for unit in held]).count() == len(held)


def test_who_may_record_an_answer(client, sign_in, stocked):
    address = url("patient_consent", "P-0001")
    assert client.get(address).status_code == 405
    client.logout()
    assert client.post(address)["Location"].startswith("/sign-in/")
    assert sign_in(stocked.cast.stranger).post(address).status_code == 403
    reader = sign_in(stocked.cast.reader)
    assert reader.post(address).status_code == 403
    assert address not in text_of(reader.get(url("patient", "P-0001")))
    other = Practice.objects.create(name="Another practice", short_name="Another")
    Patient.objects.create(practice=other, chart_number="X-1")
    assert sign_in(stocked.cast.assistant).post(url("patient_consent", "X-1")).status_code == 404
    assert not Patient.objects.filter(consent_asked_on__isnull=False).exists()
