"""HIBC reading: the two codes of a pack, every date layout, quantities, blanks and faults."""

from datetime import date, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stock.scanning import HIBC, UNKNOWN, check_digits, read

TODAY = date(2026, 11, 24)
ITEM = "A999IMP43X100"


def closed(data):
    return data + check_digits.hibc_character(data)


def scan(data):
    return read(closed(data), today=TODAY)


@pytest.mark.parametrize(
    ("part", "expiry", "hour", "quantity", "lot", "serial"),
    [
        ("$LOT7A", None, None, None, "LOT7A", None),
        ("$+SER9", None, None, None, None, "SER9"),
        ("$$0228LOT7A", date(2028, 2, 29), None, None, "LOT7A", None),
        ("$$1226LOT7A", date(2026, 12, 31), None, None, "LOT7A", None),
        ("$$2022928LOT7A", date(2028, 2, 29), None, None, "LOT7A", None),
        ("$$3280229LOT7A", date(2028, 2, 29), None, None, "LOT7A", None),
        ("$$428022914LOT7A", date(2028, 2, 29), time(14), None, "LOT7A", None),
        ("$$528060LOT7A", date(2028, 2, 29), None, None, "LOT7A", None),
        ("$$62806014LOT7A", date(2028, 2, 29), time(14), None, "LOT7A", None),
        ("$$7LOT7A", None, None, None, "LOT7A", None),
        ("$$805LOT7A", None, None, 5, "LOT7A", None),
        ("$$8053280229LOT7A", date(2028, 2, 29), None, 5, "LOT7A", None),
        ("$$80572LOT7A", None, None, 5, "2LOT7A", None),
        ("$$900123528060LOT7A", date(2028, 2, 29), None, 123, "LOT7A", None),
        ("$$+3280229SER9", date(2028, 2, 29), None, None, None, "SER9"),
        ("$$+7SER9", None, None, None, None, "SER9"),
        ("$$3280229", date(2028, 2, 29), None, None, None, None),
        ("$LOT7A/SSER 9/Q25", None, None, 25, "LOT7A", "SER 9"),
        ("$LOT/7A", None, None, None, "LOT/7A", None),
        ("$LOT7A/14D20280229", date(2028, 2, 29), None, None, "LOT7A", None),
    ],
)
def test_the_second_part_in_every_layout(part, expiry, hour, quantity, lot, serial):
    label = scan(f"+{ITEM}/{part}")
    assert label.problems == ()
    assert label.product == ITEM
    assert (label.expiry, label.expiry_time, label.quantity) == (expiry, hour, quantity)
    assert (label.lot, label.serial) == (lot, serial)


def test_the_two_codes_of_a_pack():
    primary = closed(f"+{ITEM}")
    label = read(primary, today=TODAY)
    assert (label.standard, label.product, label.is_sound) == (HIBC, ITEM, True)
    assert label.fields == (("maker", "A999"), ("item", "IMP43X10"), ("packing", "0"))
    second = scan(f"+$$3280229LOT7A{primary[-1]}")
    assert (second.product, second.lot, second.expiry) == (None, "LOT7A", date(2028, 2, 29))
    assert second.fields[-1] == ("link", primary[-1])
    assert "Scan the other code" in second.warnings[0]


def test_the_older_second_code():
    label = scan("+28060LOT7AL")
    assert (label.lot, label.expiry) == ("LOT7A", date(2028, 2, 29))
    assert scan("+28400LOT7AL").problems
    assert scan(f"+28060{'A' * 14}L").problems
    assert read("+28060LOT7AL!", today=TODAY).standard == UNKNOWN


@pytest.mark.parametrize("prefix", ["", "]A0", "]C0", "]d1"])
def test_prefix_line_end_and_stars_are_taken_off(prefix):
    text = closed(f"+{ITEM}/$LOT7A")
    assert read(f"{prefix}{text}\r\n", today=TODAY).lot == "LOT7A"
    assert read(f"*{text}*", today=TODAY).lot == "LOT7A"


def test_a_blank_as_check_character():
    data = next(d for n in range(100) if (d := f"+{ITEM}/$LOT{n}") and check_digits.hibc_character(d) == " ")
    assert read(f"{data} ", today=TODAY).is_sound
    assert read(f"{data}_", today=TODAY).is_sound
    assert "blank at its end" in read(data, today=TODAY).problems[0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (closed(f"+{ITEM}/$LOT7A").lower(), "Caps Lock"),
        (closed(f"+{ITEM}/$$3281329LOT7A"), "there is no month 13"),
        (closed(f"+{ITEM}/$$3280230LOT7A"), "only 29 days"),
        (closed(f"+{ITEM}/$$327AB"), "6 digits are needed"),
        (closed(f"+{ITEM}/$$527366L"), "2027 has no day 366"),
        (closed(f"+{ITEM}/$$428022925L"), "25:00"),
        (closed(f"+{ITEM}/$$8X5LOT"), "not 2 digits"),
        (closed(f"+{ITEM}/$L/14D20280200"), "no day 00"),
        (closed(f"+{ITEM}/$L/Q1234567"), "not a number"),
        (closed(f"+{ITEM}/$+AB/SCD"), "two serial numbers"),
        (closed("+A99/$LOT"), "not an item number"),
        (closed("+/EO523201"), "not of a product"),
        ("+A999", "misread"),
    ],
)
def test_what_is_wrong_is_told(text, words):
    label = read(text, today=TODAY)
    assert label.standard == HIBC
    assert any(words in problem for problem in label.problems), label.problems
    assert all(problem.endswith(".") for problem in label.problems)


def test_a_part_of_unknown_kind_is_told():
    label = scan(f"+{ITEM}/V2027")
    assert label.problems == ()
    assert "no known kind" in label.warnings[0]


def test_a_varying_packing_is_told():
    assert "count them" in scan("+A999IMP43X109").warnings[0]


def test_day_00_and_month_only_are_told():
    for part in ("$$3280200L", "$$0228L"):
        label = scan(f"+{ITEM}/{part}")
        assert label.expiry == date(2028, 2, 29)
        assert "last day of the month" in label.warnings[0]


@given(
    st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789", min_size=1, max_size=18),
    st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-. ", min_size=1, max_size=18),
    st.dates(date(2000, 1, 1), date(2070, 12, 31)),
)
def test_a_built_code_reads_back_and_one_changed_character_is_seen(item, lot, day):
    text = closed(f"+A999{item}0/$$3{day:%y%m%d}{lot}")
    label = read(text, today=TODAY)
    assert (label.product, label.lot, label.expiry) == (f"A999{item}0", lot, day)
    assert label.problems == ()
    swapped = "B" if text[-2] != "B" else "C"
    assert read(text[:-2] + swapped + text[-1], today=TODAY).problems
