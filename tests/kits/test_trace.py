"""Which lot went into this patient, which patients got this lot; and the two commands that print."""

import io
import json

import pytest
import zxingcpp
from django.core.management import CommandError, call_command
from PIL import Image

from kits import closing, trace
from kits.pick_pdf import modules
from tests import builders
from tests.builders import NOW, TODAY
from tests.kits.builders_kits import TOMORROW

pytestmark = pytest.mark.django_db


@pytest.fixture
def grafted(kits):
    """A closed implant case with a graft unit at 36, and a sibling of the same donor in stock."""
    case = kits.plan(kits.case("DELG", teeth=("36",)), "IMP-CR-43-100")
    graft = kits.stock("GRF-AL-050", donor_id="HM-DON-0231")
    kits.stock("GRF-AL-100", donor_id="HM-DON-0231")
    implant, sheet = kits.stock("IMP-CR-43-100"), kits.stock("MEM-RC-2030", number="L-SHEET")
    gown = kits.stock("PPE-GWN", 5)
    for lot in (graft, implant, sheet, gown):
        answer = kits.scan(case, lot.serial or lot.lot_number)
        assert answer.ok, answer
        closing.record(unit=answer.unit, outcome="used", quantity=1, by=kits.cast.assistant, at=NOW)
    closing.settle_rest(case=case, by=None, at=NOW)
    closing.close(case=case, by=None, at=NOW)
    return kits, case, graft


def test_patients_of_a_lot(grafted):
    kits, case, graft = grafted
    [given] = trace.patients_of(lots=[graft])
    assert (given.patient, given.case, given.tooth) == (kits.cast.patient, case, "36")
    assert trace.patients_of(lots=[graft], clinics=[kits.cast.other_clinic]) == []


def test_materials_of_a_patient_by_tooth(grafted):
    kits, case, graft = grafted
    found = trace.by_tooth(trace.materials_of(patient=kits.cast.patient))
    assert {given.lot.item.code for given in found["36"]} == {"GRF-AL-050", "IMP-CR-43-100", "MEM-RC-2030"}
    everything = trace.materials_of(patient=kits.cast.patient, everything=True)
    assert "PPE-GWN" in {given.lot.item.code for given in everything}
    assert trace.materials_of(patient=builders.patient(kits.cast.practice)) == []


def test_what_lies_on_a_tray_is_found(kits):
    case = kits.case("SKG")
    graft = kits.stock("GRF-AL-050")
    kits.scan(case, graft.serial)
    [unit] = trace.on_trays(lots=[graft])
    assert unit.line.case == case
    assert trace.patients_of(lots=[graft]) == []


def run(*arguments):
    out = io.StringIO()
    call_command(*map(str, arguments), stdout=out, stderr=io.StringIO())
    return out.getvalue()


def test_the_trace_command_in_both_directions(grafted):
    kits, case, graft = grafted
    shape = json.loads(run("trace", "--serial", graft.serial, "--format", "json"))
    assert set(shape) == {"lots", "where", "movements", "patients", "siblings"}
    [row] = shape["patients"]
    assert (row["patient"], row["case"], row["on"]) == ("P-0001", case.code, TOMORROW.isoformat())
    assert (row["tooth_sites"], row["item"], row["clinician"]) == (["36"], "GRF-AL-050", "Dr A. Tessamore")
    assert [entry["kind"] for entry in shape["movements"]] == ["opening", "move-out", "move-in", "use"]
    assert [sibling["item"] for sibling in shape["siblings"]] == ["GRF-AL-100"]
    donor = json.loads(run("trace", "--donor", "HM-DON-0231", "--format", "json"))
    assert len(donor["lots"]) == 2 and len(donor["patients"]) == 1
    patient = json.loads(run("trace", "--patient", "p-0001", "--format", "json"))
    assert {row["item"] for row in patient["patients"]} >= {"GRF-AL-050", "IMP-CR-43-100", "PPE-GWN"}
    assert "L-SHEET" in run("trace", "--lot", "l-sheet")


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("--lot", "NOPE"), 1, "was ever recorded"),
        (("--patient", "P-9999"), 1, "no patient"),
        (("--set", "SET-BAS-01"), 1, "no record of instrument sets"),
        (("--load", "ST-1/7"), 1, "no record of steriliser loads"),
    ],
)
def test_the_trace_command_refuses_in_words(kits, arguments, code, words):
    with pytest.raises(CommandError, match=words) as refused:
        run("trace", *arguments)
    assert refused.value.returncode == code


def test_the_pick_list_command(stocked, tmp_path):
    case = stocked.case("SKG", teeth=("11",))
    shape = json.loads(run("pick_list", "--today", TODAY, "--format", "json"))
    assert (shape["clinic"], shape["on"]) == ("Skellowick Road", TOMORROW.isoformat())
    [found] = shape["cases"]
    assert set(found) >= {"case", "start", "room", "patient", "procedures", "readiness", "lines"}
    # Ten o'clock in universal time is eleven in a London summer.
    assert (found["case"], found["start"], found["readiness"]) == (case.code, "11:00", "ready")
    line = next(line for line in found["lines"] if line["item"] == "MEM-RC-2030")
    assert set(line) >= {
        "item",
        "quantity",
        "how",
        "finding",
        "checkpoint",
        "lot",
        "expiry",
        "place",
        "short",
    }
    assert (line["how"], line["finding"], line["place"], line["short"]) == (
        "sealed",
        "If the facial plate is missing",
        "Stockroom",
        0,
    )
    assert {line["how"] for line in found["lines"]} == {"open", "sealed", "room stock"}
    text = run("pick_list", "--case", case.code, "--today", TODAY)
    assert "READY" in text and "Open at set-up" in text
    for name, start in (("day.csv", b"\xef\xbb\xbfCase"), ("day.xlsx", b"PK"), ("day.pdf", b"%PDF-")):
        run("pick_list", "--today", TODAY, "--out", tmp_path / name)
        assert (tmp_path / name).read_bytes().startswith(start)


def test_the_same_day_gives_the_same_sheet(stocked, tmp_path):
    stocked.case("SKG", teeth=("11",))
    for name in ("one.pdf", "two.pdf"):
        run("pick_list", "--today", TODAY, "--out", tmp_path / name)
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("--case", "C-99999"), 1, "no case"),
        (("--clinic", "Nowhere"), 2, "no clinic"),
        (("--out", "sheet.doc"), 2, "cannot be written"),
        (("--today", "2026-05-12"), 1, "No surgery is booked"),
    ],
)
def test_the_pick_list_command_refuses_in_words(kits, arguments, code, words):
    with pytest.raises(CommandError, match=words) as refused:
        run("pick_list", *arguments)
    assert refused.value.returncode == code


def test_the_code_on_the_sheet_reads_back():
    # Read with the decoder of a general library, drawn four pixels to a module as a printer would.
    squares = modules("C-00042")
    image = Image.new("L", (len(squares) + 4, len(squares) + 4), 255)
    for row, line in enumerate(squares):
        for column, dark in enumerate(line):
            image.putpixel((column + 2, row + 2), 0 if dark else 255)
    [found] = zxingcpp.read_barcodes(image.resize((image.width * 4, image.height * 4), Image.NEAREST))
    assert found.text == "C-00042"
