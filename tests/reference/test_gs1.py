"""GS1 reading against published check digits, element strings, dates and rules.

Sources stand in each row of the fixture: GS1 member organisations' check-digit pages, the tests of biip and
python-stdnum, the GS1 syntax dictionary and engine, the tests of a general barcode writer, and the FDA's
table of UDI formats. The century rule is that of GS1 General Specifications 7.12.
"""

import json
from datetime import date
from pathlib import Path

import pytest
from biip.gs1_application_identifiers import GS1ApplicationIdentifier

from stock.scanning import GS1, check_digits, dates, read
from stock.scanning.gs1_elements import shape

TODAY = date(2026, 11, 24)
FIXTURE = Path(__file__).parents[2] / "fixtures" / "reference" / "gs1.json"
ROWS = json.loads(FIXTURE.read_text(encoding="utf-8"))
ITEM = "(01)07032069804988"


def rows(*, given, expected=None):
    """The fixture's rows that have a certain input and, if named, a certain expectation."""
    chosen = [
        row for row in ROWS if given in row["input"] and (expected is None or expected in row["expected"])
    ]
    assert chosen, given
    return [pytest.param(row["input"], row["expected"], id=row["id"]) for row in chosen]


def test_every_row_of_the_fixture_belongs_to_a_test_below():
    used = {"payload", "key", "gtin", "yy", "yymmdd", "raw", "hri", "ais", "ai"}
    assert [row["id"] for row in ROWS if not used & set(row["input"])] == []
    assert len(ROWS) == 74


@pytest.mark.parametrize(("given", "expected"), rows(given="payload"))
def test_check_digits(given, expected):
    assert check_digits.gs1_digit(given["payload"]) == str(expected["check_digit"])


@pytest.mark.parametrize(("given", "expected"), rows(given="key"))
def test_whole_numbers(given, expected):
    key = given["key"]
    assert check_digits.gs1_digit(key[:-1]) == str(expected["correct_check_digit"])
    assert check_digits.gs1_is_right(key) is expected["valid"]
    label = read(f"(00){key}" if given["kind"] == "SSCC" else f"(01){key.zfill(14)}", today=TODAY)
    assert label.standard == GS1
    assert bool(label.problems) is not expected["valid"]
    if given["kind"] != "SSCC":
        assert label.gtin == (key.zfill(14) if expected["valid"] else None)


@pytest.mark.parametrize(("given", "expected"), rows(given="gtin"))
def test_short_item_numbers_are_filled_up_to_fourteen_digits(given, expected):
    assert read(given["gtin"], today=TODAY).gtin == expected["as_gtin_14"]


@pytest.mark.parametrize(("given", "expected"), rows(given="yy"))
def test_the_century_window(given, expected):
    today = date(given["reference_year"], 6, 15)
    assert dates.full_year(int(given["yy"]), today=today) == expected["year"]
    label = read(f"{ITEM}(17){given['yy']}0115", today=today)
    assert label.expiry == date(expected["year"], 1, 15)


# Computed from the same rule for a year before 2000 (standards table 1.4).
@pytest.mark.parametrize(("yy", "year"), [(49, 1949), (1, 2001)])
def test_the_century_window_seen_from_1998(yy, year):
    assert dates.full_year(yy, today=date(1998, 6, 15)) == year


@pytest.mark.parametrize(("given", "expected"), rows(given="yymmdd", expected="date"))
def test_day_00_is_the_last_day_of_the_month_and_is_told(given, expected):
    label = read(f"{ITEM}(17){given['yymmdd']}", today=date(given["reference_year"], 1, 1))
    assert label.expiry == date.fromisoformat(expected["date"])
    assert any("last day of the month" in warning for warning in label.warnings)
    assert not label.problems


@pytest.mark.parametrize(("given", "expected"), rows(given="yymmdd", expected="why"))
def test_impossible_dates_are_problems(given, expected):
    label = read(f"{ITEM}(17){given['yymmdd']}", today=date(given["reference_year"], 1, 1))
    assert label.expiry is None
    assert label.gtin == "07032069804988"
    assert any("impossible" in problem for problem in label.problems)


# Further bad dates of standards table 1.4, from the same published tests.
@pytest.mark.parametrize("digits", ["990229", "131313", "200010", "000000"])
def test_more_impossible_dates(digits):
    assert read(f"{ITEM}(17){digits}", today=TODAY).problems


@pytest.mark.parametrize("prefix", ["", "]C1", "]d2", "\x1d"])
@pytest.mark.parametrize(("given", "expected"), rows(given="raw", expected="elements"))
def test_published_element_strings(given, expected, prefix):
    label = read(prefix + given["raw"], today=TODAY)
    assert label.standard == GS1
    assert [list(pair) for pair in label.fields] == expected["elements"]
    assert not label.problems


@pytest.mark.parametrize("prefix", ["", "]C1"])
@pytest.mark.parametrize(("given", "expected"), rows(given="raw", expected="valid"))
def test_published_faulty_element_strings(given, expected, prefix):
    assert expected["valid"] is False
    label = read(prefix + given["raw"], today=TODAY)
    assert label.standard == GS1
    assert label.problems


@pytest.mark.parametrize(("given", "expected"), rows(given="hri"))
def test_published_bracketed_strings(given, expected):
    label = read(given["hri"], today=TODAY)
    assert label.standard == GS1
    assert (not label.problems) is expected["valid"], label.problems


@pytest.mark.parametrize(("given", "expected"), rows(given="ais"))
def test_published_rules_of_association(given, expected):
    values = {"01": "07032069804988", "02": "95012345678903", "37": "4"}
    text = "".join(f"({ai}){values[ai]}" for ai in given["ais"])
    assert (not read(text, today=TODAY).problems) is expected["valid"]


@pytest.mark.parametrize(("given", "expected"), rows(given="ai"))
def test_the_identifier_table_agrees_with_the_syntax_dictionary(given, expected):
    for ai in given["ai"]:
        entry = GS1ApplicationIdentifier.extract(ai)
        assert entry.separator_required is expected[ai]["separator_needed_unless_last"], ai
        limits, layout = shape(ai), expected[ai]["format"]
        parts = [part.removeprefix("N").removeprefix("X") for part in layout.split("+")]
        assert limits.longest == sum(int(part.removeprefix("..")) for part in parts), ai
        assert limits.digits_only is ("X" not in layout), ai
        assert (limits.shortest == limits.longest) is (".." not in layout), ai


# Source: FDA, UDI formats by issuing agency, v1.3 of 27 January 2017, GS1 example.
def test_the_published_device_label_is_read_whole():
    label = read("(01)51022222233336(11)141231(17)150707(10)A213B1(21)1234", today=TODAY)
    assert (label.gtin, label.lot, label.serial) == ("51022222233336", "A213B1", "1234")
    assert (label.made_on, label.expiry) == (date(2014, 12, 31), date(2015, 7, 7))
    assert label.is_sound
    assert label.warnings == ()
