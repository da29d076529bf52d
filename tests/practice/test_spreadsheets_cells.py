"""Single cells: text, dates, times, spans, numbers and packs.

Sources: ISO 8601 calendar dates; the Gregorian leap-year rule; GS1 General Specifications (AI 17, day 00
means the last day of the month) for months alone. The ways of writing are common practice in
practice-management exports.
"""

import calendar
from datetime import date, datetime, time, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from practice.spreadsheets import (
    UnreadableCell,
    find_day_first,
    find_decimal,
    read_date,
    read_days,
    read_pack,
    read_quantity,
    read_text,
    read_time,
    read_whole,
    shown,
)

DAYS = st.dates(min_value=date(1900, 1, 1), max_value=date(2199, 12, 31))


@pytest.mark.parametrize(
    ("cell", "day"),
    [
        (date(2026, 11, 30), date(2026, 11, 30)),
        (datetime(2026, 11, 30, 8, 5), date(2026, 11, 30)),
        ("2026-11-30", date(2026, 11, 30)),
        ("2026-11-30T08:00:00Z", date(2026, 11, 30)),
        ("2026/11/30 08:00", date(2026, 11, 30)),
        ("20261130", date(2026, 11, 30)),
        ("30/11/2026", date(2026, 11, 30)),
        (" 30.11.2026 ", date(2026, 11, 30)),
        ("30-11-2026 14:30", date(2026, 11, 30)),
        ("11/30/2026 2:30 PM", date(2026, 11, 30)),
        ("05/05/2027", date(2027, 5, 5)),
        ("30 Nov 2026", date(2026, 11, 30)),
        ("1st December 2026", date(2026, 12, 1)),
        ("30-Nov-2026", date(2026, 11, 30)),
        ("Sept 3, 2026", date(2026, 9, 3)),
        ("29/02/2028", date(2028, 2, 29)),
        ("09/2029", date(2029, 9, 30)),
        ("02/2028", date(2028, 2, 29)),
        ("2/2100", date(2100, 2, 28)),
        ("2029-09", date(2029, 9, 30)),
        ("Feb 2029", date(2029, 2, 28)),
    ],
)
def test_dates_read(cell, day):
    assert read_date(cell) == day


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("05/06/2027", "two different days"),
        ("31/02/2027", "no 31 February 2027"),
        ("29/02/2027", "no 29 February 2027"),
        ("31/11/2026", "no 31 November 2026"),
        ("13/13/2026", "no month 13"),
        ("2026-00-10", "no month 0"),
        ("13/2029", "no month 13"),
        ("00/2029", "no month 0"),
        ("30/11/26", "two figures"),
        ("0202-11-30", "out of reach"),
        ("30 Brumaire 2026", "not the name of a month"),
        ("soon", "not a date"),
        ("30/11-2026", "not a date"),
        ("", "missing"),
        (None, "missing"),
        (46356.0, "plain number"),
        ("46356", "not a date"),
        (True, "plain number"),
    ],
)
def test_dates_refused_with_the_reason(cell, words):
    with pytest.raises(UnreadableCell, match=words) as refusal:
        read_date(cell)
    assert refusal.value.value == shown(cell)


def test_a_declared_order_settles_an_ambiguous_day_and_is_never_turned_round():
    assert read_date("05/06/2027", day_first=True) == date(2027, 6, 5)
    assert read_date("05/06/2027", day_first=False) == date(2027, 5, 6)
    with pytest.raises(UnreadableCell, match="no month 30"):
        read_date("11/30/2026", day_first=True)


def test_a_month_is_refused_where_a_day_is_needed():
    with pytest.raises(UnreadableCell, match="a day is needed"):
        read_date("09/2029", allow_month=False)


def test_two_figure_years_need_a_declared_century():
    assert read_date("30/11/26", century=2000) == date(2026, 11, 30)


@given(DAYS)
def test_every_day_survives_each_way_of_writing(day):
    assert read_date(day.isoformat()) == day
    assert read_date(day.strftime("%d/%m/") + f"{day.year}", day_first=True) == day
    assert read_date(day.strftime("%m.%d.") + f"{day.year}", day_first=False) == day
    assert read_date(f"{day.day} {calendar.month_name[day.month]} {day.year}") == day


@given(DAYS)
def test_a_month_alone_means_the_day_before_the_next_month(day):
    end = read_date(f"{day.month:02}/{day.year}")
    assert (end.year, end.month) == (day.year, day.month)
    assert (end + timedelta(days=1)).day == 1


@given(st.one_of(st.text(), st.floats(), st.integers(), st.booleans(), st.none(), st.datetimes(), st.times()))
def test_no_cell_whatever_does_anything_but_read_or_refuse(cell):
    for read in (read_text, read_date, read_time, read_days, read_quantity, read_whole, read_pack):
        try:
            read(cell)
        except UnreadableCell as refusal:
            assert refusal.reason.endswith(".")


def test_the_order_of_a_column_is_found_by_what_can_only_be_a_day():
    assert find_day_first(["05/06/2027", "30/11/2026", "soon", date(2026, 1, 1)]) is True
    assert find_day_first(["05/06/2027", "11/30/2026"]) is False
    assert find_day_first(["05/06/2027", "2026-11-30"]) is None
    assert find_day_first(["30/11/2026", "11/30/2026"]) is None


@pytest.mark.parametrize(
    ("cell", "clock"),
    [
        (time(8, 0), time(8)),
        (datetime(2026, 11, 30, 8, 5), time(8, 5)),
        ("08:00", time(8)),
        ("8.30", time(8, 30)),
        ("14h15", time(14, 15)),
        ("12:05 am", time(0, 5)),
        ("12:05 PM", time(12, 5)),
        ("1:15 p.m.", time(13, 15)),
        ("23:59:59", time(23, 59)),
    ],
)
def test_times_read(cell, clock):
    assert read_time(cell) == clock


@pytest.mark.parametrize(
    "cell", ["25:10", "24:00", "8:60", "13:00 PM", "0:10 AM", "8", "noon", "", None, 0.5]
)
def test_times_refused(cell):
    with pytest.raises(UnreadableCell):
        read_time(cell)


@pytest.mark.parametrize(
    ("cell", "days"),
    [
        ("1 week", 7),
        ("3 days", 3),
        ("2 wks", 14),
        ("1.5 weeks", 11),
        ("2-3 days", 3),
        ("2 to 3 weeks", 21),
        ("48 h", 2),
        ("25 hours", 2),
        ("5 working days", 7),
        ("3 business days", 5),
        ("1 month", 31),
        ("next day", 1),
        ("5", 5),
        (5.0, 5),
        (0, 0),
    ],
)
def test_lead_times_read_never_sooner_than_meant(cell, days):
    assert read_days(cell) == days


@pytest.mark.parametrize(
    "cell", ["soon", "-3 days", "3 moons", "", None, True, date(2026, 1, 1), float("nan")]
)
def test_lead_times_refused(cell):
    with pytest.raises(UnreadableCell):
        read_days(cell)


@pytest.mark.parametrize(
    ("cell", "number"),
    [
        (98.17, "98.17"),
        (21.0, "21"),
        ("1", "1"),
        ("€ 159,51", "159.51"),
        ("159,51 EUR", "159.51"),
        ("£1,234.50", "1234.50"),
        ("1.234,50", "1234.50"),
        ("1'234.50", "1234.50"),
        ("1 234,50", "1234.50"),
        ("1\u00a0234,50", "1234.50"),
        ("1,234,567", "1234567"),
        ("0,125", "0.125"),
        ("0.125", "0.125"),
        (",5", "0.5"),
        ("12.3456", "12.3456"),
        ("-2", "-2"),
        ("\u22122", "-2"),
        ("(12)", "-12"),
        ("12-", "-12"),
        ("+7", "7"),
    ],
)
def test_numbers_read(cell, number):
    assert read_quantity(cell) == Decimal(number)


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("1,234", "thousands or decimals"),
        ("1.234", "thousands or decimals"),
        ("12,34,56", "not grouped"),
        ("1,23.456,7", "not grouped"),
        ("5 boxes", "not a number"),
        ("09/2029", "not a number"),
        ("1E5", "not a number"),
        ("twelve", "not a number"),
        ("", "missing"),
        (None, "missing"),
        (True, "not a number"),
        (date(2026, 1, 1), "not a number"),
        (float("inf"), "written out"),
    ],
)
def test_numbers_refused_with_the_reason(cell, words):
    with pytest.raises(UnreadableCell, match=words):
        read_quantity(cell)


def test_a_declared_decimal_mark_settles_what_one_mark_means():
    assert read_quantity("1,234", decimal=".") == 1234
    assert read_quantity("1,234", decimal=",") == Decimal("1.234")
    with pytest.raises(UnreadableCell, match="“,” marks decimals"):
        read_quantity("159.51", decimal=",")
    with pytest.raises(ValueError, match="decimal mark"):
        read_quantity("1", decimal=";")


@given(st.decimals(min_value=-(10**9), max_value=10**9, places=2))
def test_every_price_survives_both_ways_of_marking_decimals(price):
    english = f"{price:,.2f}"
    european = english.translate(str.maketrans(",.", ".,"))
    assert read_quantity(english) == price == read_quantity(european)


def test_the_decimal_mark_of_a_column_is_found_by_what_can_only_be_one():
    assert find_decimal(["1.234", "159,51", 98.17, "each"]) == ","
    assert find_decimal(["1,234", "1,234.50"]) == "."
    assert find_decimal(["1,234,567"]) == "."
    assert find_decimal(["1,234", "12"]) is None
    assert find_decimal(["159,51", "159.51"]) is None


def test_whole_numbers_refuse_fractions_and_too_little():
    assert read_whole("1,234", decimal=".") == 1234
    with pytest.raises(UnreadableCell, match="whole number"):
        read_whole(2.5)
    with pytest.raises(UnreadableCell, match="0 or more"):
        read_whole(-2.0, least=0)


@pytest.mark.parametrize(
    ("cell", "size"),
    [
        ("Box/50", 50),
        ("each", 1),
        ("EA", 1),
        ("pack of 10", 10),
        ("Box 12", 12),
        ("50/box", 50),
        ("10 per pack", 10),
        ("12 pcs", 12),
        ("4 x 12", 48),
        ("case 4 x 12", 48),
        ("12", 12),
        (12.0, 12),
    ],
)
def test_packs_read(cell, size):
    assert read_pack(cell) == size


@pytest.mark.parametrize("cell", ["box", "Box/0", "0", "", None, 2.5, -1, "1000000", "dozen or so"])
def test_packs_refused(cell):
    with pytest.raises(UnreadableCell):
        read_pack(cell)


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        ("000123", "000123"),
        (" L21236 ", "L21236"),
        (123.0, "123"),
        (9012345678901.0, "9012345678901"),
        (0.1, "0.1"),
        (1e-7, "0.0000001"),
        ('="000123"', "000123"),
        ("'=1+1", "=1+1"),
        ("'tis", "'tis"),
        ("12E4", "12E4"),
        ("A\u00a0B", "A B"),
        ("Cafe\u0301", "Caf\u00e9"),
        (date(2026, 11, 30), "2026-11-30"),
        (datetime(2026, 11, 30), "2026-11-30"),
        (None, ""),
    ],
)
def test_text_keeps_what_was_written(cell, text):
    assert read_text(cell) == text


@pytest.mark.parametrize("cell", [9.012345678901234e15, "4.01234E+12", "4,01E+11", float("nan")])
def test_text_whose_digits_were_lost_is_refused(cell):
    with pytest.raises(UnreadableCell):
        read_text(cell)


@given(st.integers(min_value=0, max_value=10**15 - 1))
def test_a_number_cell_of_a_code_reads_as_its_digits(code):
    assert read_text(float(code)) == str(code)
