"""ISBT 128 reading: single structures, divisions, faults."""

from datetime import date, time

import pytest

from stock.scanning import ISBT_128, UNKNOWN, read

TODAY = date(2026, 11, 24)
# Facility A9999 is the one the standard sets aside for examples.
DONATION = "A999926123456"


def scan(text):
    return read(text, today=TODAY)


def test_tissue_and_blood_number_their_divisions_differently():
    tissue, blood, cells = scan("=<T0416003"), scan("=<E0791V01"), scan("=<S1128V02")
    assert (tissue.product, tissue.division) == ("T0416", "003")
    assert (blood.product, blood.division) == ("E0791", "01")
    assert (cells.product, cells.division) == ("S1128", "02")


@pytest.mark.parametrize(
    ("text", "expiry", "hour"),
    [
        ("=>028060", date(2028, 2, 29), None),
        ("=>999365", date(1999, 12, 31), None),
        ("=>100001", date(2100, 1, 1), None),
        ("&>0280601430", date(2028, 2, 29), time(14, 30)),
        ("=]202802", date(2028, 2, 29), None),
    ],
)
def test_expiry_in_every_layout(text, expiry, hour):
    label = scan(text)
    assert (label.expiry, label.expiry_time, label.problems) == (expiry, hour, ())


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (f"={DONATION}", "needs 15 characters"),
        (f"={DONATION.lower()}00", "Caps Lock"),
        ("=A999926XXXXXX00", "not a donation number"),
        (f"={DONATION}00=A99992612345700", "two donation numbers"),
        ("=>027366", "2027 has no day 366"),
        ("=>02706X", "only digits"),
        ("&>0280602560", "no such time"),
        ("&,1000000000000000000", "empty"),
        ("&,4PL001499", "needs 40 characters"),
        ("&,4PL001499Z549917123456X00T041600320181231", "not a European tissue code"),
        ("PL001499Z549917123456A00T041600320181301", "there is no month 13"),
        ("PL001499Z549917123456A00T041600320181200", "no day 00"),
    ],
)
def test_what_is_wrong_is_told(text, words):
    label = scan(text)
    assert label.standard == ISBT_128
    assert any(words in problem for problem in label.problems), label.problems
    assert all(problem.endswith(".") for problem in label.problems)


def test_a_structure_that_is_not_read_is_told_and_kept():
    label = scan(f"={DONATION}00&(ABC")
    assert label.donation == DONATION
    assert "left out" in label.warnings[0]
    assert ("&(", "ABC") in label.fields


def test_collection_and_donor_are_kept_among_the_fields():
    label = scan(f"={DONATION}00=*026001&*0260011200&}}0260011200")
    assert label.made_on == date(2026, 1, 1)
    assert label.expiry is None
    assert ("=*", "026001") in label.fields


def test_a_code_with_neither_product_nor_donation_asks_for_the_others():
    assert "Scan the other codes" in scan("=>028060").warnings[0]


@pytest.mark.parametrize("prefix", ["", "]C0", "]d1"])
def test_prefix_and_line_end_are_taken_off(prefix):
    assert scan(f"{prefix}={DONATION}00\r\n").donation == DONATION


@pytest.mark.parametrize(
    "text", ["A999926123456", "A9999 26 123456", "A9999 26 123456 *", "T0416003", "PL001499"]
)
def test_text_that_only_resembles_one_is_no_code(text):
    assert scan(text).standard == UNKNOWN
