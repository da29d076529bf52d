"""ISBT 128 reading against published numbers, messages and dates.

Sources stand in each row of the fixture: ICCBBA ST-001 v6.2.2, ST-012 v1.4.0 and ST-017 v1.0.0, the FDA's
table of UDI formats and IMDRF/UDI WG/N48 FINAL:2019.
"""

import json
from datetime import date, datetime
from pathlib import Path

import pytest
from stdnum.iso7064 import mod_37_2

from stock.scanning import ISBT_128, check_digits, read

TODAY = date(2026, 11, 24)
FIXTURE = Path(__file__).parents[2] / "fixtures" / "reference" / "udi_carriers.json"
ROWS = [row for row in json.loads(FIXTURE.read_text(encoding="utf-8")) if row["id"].startswith("isbt")]


def rows(given):
    """The fixture's rows that have a certain input."""
    chosen = [row for row in ROWS if given in row["input"]]
    assert chosen, given
    return [pytest.param(row["input"], row["expected"], id=row["id"]) for row in chosen]


def test_every_row_of_the_fixture_belongs_to_a_test_below():
    used = [*rows("din"), *rows("string"), *rows("payload"), *rows("cyyjjj"), *rows("structure")]
    assert len(used) == len(ROWS) == 15


@pytest.mark.parametrize(("given", "expected"), rows("din"))
def test_check_characters_of_donation_numbers(given, expected):
    din, check = given["din"], expected["check_character"]
    assert check_digits.isbt_character(din) == check
    assert mod_37_2.is_valid(din + check)
    # The form printed for typing is known by its check character alone.
    typed = f"{din[:5]} {din[5:7]} {din[7:]}"
    assert read(f"{typed} {check}", today=TODAY).donation == din
    assert read(f"{typed} 00 {check}", today=TODAY).donation == din
    other = "A" if check != "A" else "B"
    assert read(f"{typed} {other}", today=TODAY).standard == "unknown"


# Source: ST-001 prints the worked sum for G1234 17 654321: the check character has the value 10.
def test_the_worked_example_of_the_standard():
    assert check_digits.isbt_value("G123417654321") == 10


@pytest.mark.parametrize(("given", "expected"), rows("payload"))
def test_the_check_of_a_model_number(given, expected):
    assert f"{check_digits.isbt_value(given['payload']):02d}" == expected["checksum_2_digits"]


@pytest.mark.parametrize(("given", "expected"), rows("string"))
def test_published_messages(given, expected):
    label = read(given["string"], today=TODAY)
    assert label.standard == ISBT_128
    assert (not label.problems) is expected.get("valid", True), label.problems
    for key, name in (("din", "donation"), ("di", "product"), ("serial", "serial"), ("lot", "lot")):
        if key in expected:
            assert getattr(label, name) == expected[key]
    for key, name in (("expiry", "expiry"), ("manufactured", "made_on")):
        if key in expected:
            assert getattr(label, name) == date.fromisoformat(expected[key])
    if "structures" in expected:
        assert [mark + data for mark, data in label.fields[1:]] == expected["structures"]
    if "din_flags" in expected:
        assert ("=", expected["din"] + expected["din_flags"]) in label.fields


@pytest.mark.parametrize(("given", "expected"), rows("cyyjjj"))
def test_published_dates(given, expected):
    assert read(f"=>{given['cyyjjj']}", today=TODAY).expiry == date.fromisoformat(expected["date"])
    assert read(f"=}}{given['cyyjjj']}", today=TODAY).made_on == date.fromisoformat(expected["date"])


@pytest.mark.parametrize(("given", "expected"), rows("structure"))
def test_published_moments(given, expected):
    label = read(given["structure"], today=TODAY)
    moment = datetime.fromisoformat(expected["expiry"])
    assert (label.expiry, label.expiry_time) == (moment.date(), moment.time())


# Source: ST-001: flags 70 are 60 plus the check 10 of this number; 71 cannot be.
def test_flags_that_carry_a_check_are_checked():
    assert not read("=G12341765432170", today=TODAY).problems
    label = read("=G12341765432171", today=TODAY)
    assert label.donation is None
    assert "70 would be right" in label.problems[0]


# Source: ST-012/ST-017 examples: a compound message of a divided tissue, ending in the single European code.
def test_a_divided_tissue_with_its_european_code():
    text = "=+05000=Z54991712345600=%T300=<T0416003&>0183652359&,4PL001499Z549917123456A00T041600320181231"
    label = read(text, today=TODAY)
    assert label.problems == ()
    assert (label.donation, label.product, label.division) == ("Z549917123456", "T0416", "003")
    assert label.expiry == date(2018, 12, 31)


@pytest.mark.parametrize("prefix", ["", "SEC:", "SEC: "])
def test_the_european_code_as_printed(prefix):
    label = read(f"{prefix}PL001499Z549917123456 A00T041600320171231", today=TODAY)
    assert label.standard == ISBT_128
    assert (label.donation, label.product, label.division) == ("Z549917123456", "T0416", "003")
    assert label.expiry == date(2017, 12, 31)
    assert read("PL001499Z549917123456A00T041600300000000", today=TODAY).expiry is None
