"""HIBC reading against published codes and check characters.

Sources stand in each row of the fixture: examples of ANSI/HIBC as carried in the tests of general barcode
writers, IMDRF/UDI WG/N48 FINAL:2019, the FDA's table of UDI formats, and the tests of a UDI reader.
"""

import json
import re
from datetime import date, datetime
from pathlib import Path

import pytest

from stock.scanning import HIBC, check_digits, read

TODAY = date(2026, 11, 24)
FIXTURE = Path(__file__).parents[2] / "fixtures" / "reference" / "udi_carriers.json"
ROWS = [row for row in json.loads(FIXTURE.read_text(encoding="utf-8")) if row["id"].startswith("hibc")]
PRIMARY = "+A99912345/"


def rows(*, given, expected=None):
    """The fixture's rows that have a certain input and, if named, a certain expectation."""
    chosen = [
        row for row in ROWS if given in row["input"] and (expected is None or expected in row["expected"])
    ]
    assert chosen, given
    return [pytest.param(row["input"], row["expected"], id=row["id"]) for row in chosen]


def closed(data):
    """A code with its check character, for strings the fixture gives without one."""
    return data + check_digits.hibc_character(data)


def test_every_row_of_the_fixture_belongs_to_a_test_below():
    used = [
        len(rows(given="data", expected="check_character")),
        len(rows(given="data", expected="valid")),
        len(rows(given="full", expected="valid")),
        len(rows(given="segment")),
    ]
    assert sum(used) == len(ROWS) == 31


@pytest.mark.parametrize(("given", "expected"), rows(given="data", expected="check_character"))
def test_check_characters(given, expected):
    assert check_digits.hibc_character(given["data"]) == expected["check_character"]
    assert closed(given["data"]) == expected["full"]


@pytest.mark.parametrize(("given", "expected"), rows(given="data", expected="check_character"))
def test_published_codes_pass_and_every_other_ending_fails(given, expected):
    readable = re.match(r"\+[A-Z$]", given["data"])
    label = read(expected["full"], today=TODAY)
    if readable:
        assert label.standard == HIBC
        assert label.problems == ()
    for character in check_digits.HIBC_ALPHABET.replace(expected["check_character"], ""):
        other = read(given["data"] + character, today=TODAY)
        assert not other.is_sound
        assert other.product is other.lot is other.serial is None


@pytest.mark.parametrize(("given", "expected"), rows(given="data", expected="valid"))
def test_published_faulty_codes_are_refused(given, expected):
    assert expected["valid"] is False
    label = read(given["data"], today=TODAY)
    assert label.standard == HIBC
    assert label.problems


def test_a_letter_for_the_packing_is_refused_even_with_the_right_check():
    label = read(closed("+A123BJC5D6E7A"), today=TODAY)
    assert label.product is None
    assert "packing" in label.problems[0]


@pytest.mark.parametrize(("given", "expected"), rows(given="full", expected="valid"))
def test_published_whole_codes(given, expected):
    label = read(given["full"], today=TODAY)
    assert (not label.problems) is expected["valid"]
    if expected["valid"]:
        assert label.serial == expected["serial"]
    else:
        assert f"“{expected['correct_check_character']}” would be right" in label.problems[0]


@pytest.mark.parametrize(("given", "expected"), rows(given="segment"))
def test_published_secondary_parts(given, expected):
    label = read(closed(PRIMARY + given["segment"].removeprefix("/")), today=TODAY)
    assert label.problems == ()
    assert label.product == "A99912345"
    assert label.lot == expected.get("lot")
    assert label.serial == expected.get("serial")
    assert label.quantity == expected.get("quantity")
    assert label.made_on == (
        date.fromisoformat(expected["manufactured"]) if "manufactured" in expected else None
    )
    day, _, hour = expected.get("expiry", "").partition("T")
    assert label.expiry == (date.fromisoformat(day) if day else None)
    assert label.expiry_time == (datetime.strptime(hour, "%H").time() if hour else None)


# Source: FDA, UDI formats by issuing agency, v1.3 (27 January 2017), HIBCC example; its serial holds a blank.
def test_the_published_device_label_is_read_whole():
    text = "+H123PARTNO1234567890120/$$420020216LOT123456789012345/SXYZ4567890123 45678/16D20130202C"
    label = read(text, today=TODAY)
    assert label.product == "H123PARTNO1234567890120"
    assert label.lot == "LOT123456789012345"
    assert label.serial == "XYZ4567890123 45678"
    assert (label.expiry, label.made_on) == (date(2020, 2, 2), date(2013, 2, 2))
    assert label.expiry_time.hour == 16
    assert label.is_sound


# Source: the EUDAMED help page on Basic UDI-DI: such a number identifies a model and is never on a label.
def test_a_model_number_is_refused():
    text = "++A999MODELIDENTIFIER11S8"
    label = read(closed(text), today=TODAY)
    assert label.problems
    assert label.product is None
