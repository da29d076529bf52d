"""Whole files: encodings, separators, headers under title lines, totals; and the files we write.

The three files in `fixtures/imports` are invented exports with the faults that real ones have. Oracles:
Python's own csv and codecs, and openpyxl reading what calamine reads and what we wrote.
"""

import codecs
import csv
import io
import zipfile
from datetime import UTC, date, datetime, time
from decimal import Decimal
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook

from practice.spreadsheets import (
    NoHeaderRow,
    UnreadableFile,
    Wanted,
    find_day_first,
    read_date,
    read_days,
    read_pack,
    read_quantity,
    read_sheet,
    read_text,
    read_time,
    read_whole,
    write_csv,
    write_xlsx,
)
from practice.spreadsheets.files import LARGEST_FILE

IMPORTS = Path(__file__).parents[2] / "fixtures" / "imports"

BOOKINGS = (
    Wanted("on", ("Appt date", "Date")),
    Wanted("start", ("Time",)),
    Wanted("minutes", ("Dur (min)",), required=False),
    Wanted("chart", ("Chart #", "Chart no")),
    Wanted("procedure"),
    Wanted("teeth", ("Tooth",)),
)
COUNTED = (
    Wanted("code", ("Item code",)),
    Wanted("place", ("Where",)),
    Wanted("lot", ("Lot no.", "Batch")),
    Wanted("serial", ("Serial / tissue id",), required=False),
    Wanted("expires_on", ("Expiry",)),
    Wanted("quantity", ("Qty counted",)),
)
PRICES = (
    Wanted("code", ("Art. no.",)),
    Wanted("pack"),
    Wanted("price", ("Price per pack",)),
    Wanted("minimum", ("MOQ",)),
    Wanted("lead_days", ("Lead time",)),
)
TWO = (Wanted("code", ("Item",)), Wanted("quantity", ("Qty",)))


def read(name, wanted, **rules):
    return read_sheet((IMPORTS / name).read_bytes(), filename=name, wanted=wanted, **rules)


def table(text, *, wanted=TWO, **rules):
    data = text.encode() if isinstance(text, str) else text
    return read_sheet(data, filename="table.csv", wanted=wanted, **rules)


def workbook(*sheets):
    book = Workbook()
    book.remove(book.active)
    for name, rows, hidden in sheets:
        sheet = book.create_sheet(name)
        sheet.sheet_state = "hidden" if hidden else "visible"
        for row in rows:
            sheet.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def test_bookings_are_read_under_their_title_lines():
    sheet = read("bookings.csv", BOOKINGS)
    assert (sheet.encoding, sheet.delimiter, sheet.header_row) == ("utf-8", ";", 4)
    assert sheet.title_lines == ("Appointment list", "Skellowick Road  printed 24/11/2026 17:05")
    assert sheet.columns["chart"] == "Chart #"
    assert sheet.unmatched == ("Chair", "Provider", "Patient", "Born", "Status", "Notes")
    assert sheet.rows[0].number == 5
    assert sheet.rows[0]["teeth"] == "#4"
    assert sheet.rows[0].unnamed["Provider"] == "Dr Tessamore"
    assert sheet.blank_rows == 1


def test_no_row_of_the_bookings_is_lost():
    text = (IMPORTS / "bookings.csv").read_bytes().decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=";"))
    filled = [number for number, row in enumerate(rows, start=1) if any(row)]
    sheet = read("bookings.csv", BOOKINGS)
    assert [row.number for row in sheet] == [number for number in filled if number > 4]


def test_the_faults_of_the_bookings_are_named_by_row_column_value_and_reason():
    sheet = read("bookings.csv", BOOKINGS)
    assert find_day_first(sheet.column_values("on")) is True
    problems = []
    for row in sheet:
        sheet.take(row, "on", partial(read_date, day_first=True, allow_month=False), problems)
        sheet.take(row, "start", read_time, problems)
        assert sheet.take(row, "minutes", partial(read_whole, least=1), problems) in range(30, 91)
    assert [(each.row, each.column, each.value) for each in problems] == [
        (47, "Appt date", "31/02/2027"),
        (63, "Start", "25:10"),
    ]
    assert problems[0].reason == "There is no 31 February 2027."


def test_the_stock_count_agrees_with_another_reader_and_names_its_faults():
    sheet = read("stock_count.xlsx", COUNTED)
    other = load_workbook(IMPORTS / "stock_count.xlsx")["Count"]
    problems = []
    for row in sheet:
        cells = [other.cell(row.number, place).value for place in range(1, 10)]
        assert row["code"] == cells[0]
        assert sheet.take(row, "lot", read_text, problems) == cells[3]
        expires_on = sheet.take(row, "expires_on", read_date, problems)
        if isinstance(cells[5], datetime):
            assert expires_on == cells[5].date()
        quantity = sheet.take(row, "quantity", partial(read_whole, least=0), problems)
        assert quantity in (int(cells[6]), None)
    assert [(each.row, each.column, each.value) for each in problems] == [
        (171, "Qty counted", "-2"),
        (172, "Expiry", "soon"),
    ]
    assert [row.number for row in sheet.totals] == [173]
    assert sheet.sheet == "Count"
    assert len(sheet.rows) == other.max_row - 5


def test_the_price_list_reads_money_packs_and_lead_times_whole():
    sheet, problems = read("price_list.xlsx", PRICES), []
    read_rows = {
        row["code"]: (
            sheet.take(row, "pack", read_pack, problems),
            sheet.take(row, "price", partial(read_quantity, decimal=","), problems),
            sheet.take(row, "minimum", read_whole, problems),
            sheet.take(row, "lead_days", read_days, problems),
        )
        for row in sheet
    }
    assert problems == []
    assert len(read_rows) == 96
    assert read_rows["GRF-XB-050"] == (1, Decimal("98.17"), 1, 3)
    assert read_rows["GRF-XB-400"] == (1, Decimal("388.36"), 1, 3)
    assert read_rows["PRF-TUB"] == (50, Decimal("159.28"), 1, 7)


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_separator_is_the_one_that_names_the_columns(delimiter):
    rows = [["Item", "Qty", "Note"], ["A-1", "2", "one, two; three|four\tfive"], ["A-2", "3", ""]]
    buffer = io.StringIO()
    csv.writer(buffer, delimiter=delimiter).writerows(rows)
    sheet = table(buffer.getvalue())
    assert sheet.delimiter == delimiter
    assert [row["code"] for row in sheet] == ["A-1", "A-2"]
    assert sheet.rows[0].unnamed["Note"] == rows[1][2]


@pytest.mark.parametrize(
    ("encoded", "name"),
    [
        ("Item;Qty\nnaïve – €;1\n".encode("utf-8-sig"), "utf-8"),
        ("Item;Qty\nnaïve – €;1\n".encode(), "utf-8"),
        ("Item;Qty\nnaïve – €;1\n".encode("cp1252"), "cp1252"),
        (codecs.BOM_UTF16_LE + "Item;Qty\nnaïve – €;1\n".encode("utf-16-le"), "utf-16-le"),
        (codecs.BOM_UTF16_BE + "Item;Qty\nnaïve – €;1\n".encode("utf-16-be"), "utf-16-be"),
    ],
)
def test_encodings_are_told_by_mark_then_utf8_then_windows(encoded, name):
    sheet = table(encoded)
    assert sheet.encoding == name
    assert sheet.rows[0]["code"] == "naïve – €"


def test_a_named_encoding_is_obeyed():
    assert table("Item;Qty\nnaïve;1\n".encode("cp850"), encoding="cp850").rows[0]["code"] == "naïve"
    with pytest.raises(UnreadableFile, match="no encoding called “klingon”"):
        table("Item;Qty\n", encoding="klingon")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b" \n ", "empty"),
        (b"Item;Qty\n\x00\x01;2\n", "not text"),
        (b"\x81\x8d\x8f\x90\x9d", "not text"),
        (b"PK\x03\x04 no workbook", "damaged"),
        (b"\xd0\xcf\x11\xe0 no workbook", "damaged"),
        (b"a" * (LARGEST_FILE + 1), "larger than 20 megabytes"),
    ],
)
def test_files_that_are_no_table_are_refused_in_words(data, words):
    with pytest.raises(UnreadableFile, match=words):
        table(data)


def test_an_archive_made_to_fill_the_memory_is_refused_unopened():
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * (201 * 1024**2))
    with pytest.raises(UnreadableFile, match="unpacks to more than 200 megabytes"):
        table(buffer.getvalue())


def test_a_missing_column_is_said_with_the_closest_row():
    with pytest.raises(NoHeaderRow) as refusal:
        table("A list\n\nItem;Amount\nA-1;2\n")
    assert refusal.value.missing == ("quantity",)
    assert refusal.value.row == 3
    assert "Item, Amount" in str(refusal.value)


def test_a_mapping_names_a_column_before_any_synonym():
    sheet = table("Item;Amount;Qty\nA-1;2;9\n", mapping={"amount": "quantity"})
    assert sheet.rows[0]["quantity"] == "2"
    assert [(each.row, each.column) for each in sheet.problems] == [(1, "Qty")]


def test_totals_repeated_headers_and_short_rows():
    sheet = table("Item;Qty\nA-1;2\nItem;Qty\nTotal knee;3\nTotals:;5\nGrand total;5\nA-2\n;;\n")
    assert [(row.number, row["code"], row["quantity"]) for row in sheet] == [
        (2, "A-1", "2"),
        (4, "Total knee", "3"),
        (7, "A-2", ""),
    ]
    assert [row.number for row in sheet.totals] == [5, 6]
    assert sheet.blank_rows == 1


def test_a_quoted_line_break_does_not_shift_the_row_number():
    sheet = table('Item;Qty;Note\nA-1;2;"two\nlines"\nA-2;3;\n')
    assert [row.number for row in sheet] == [2, 3]
    assert sheet.rows[0].unnamed["Note"] == "two\nlines"


def test_the_sheet_with_the_columns_is_found_and_hidden_ones_are_not():
    data = workbook(
        ("Cover", [["Welcome"]], False),
        ("Old", [["Item", "Qty"], ["OLD", 1]], True),
        ("Now", [[], ["Item", "Qty"], ["NEW", 2]], False),
    )
    sheet = table(data)
    assert (sheet.sheet, sheet.rows[0]["code"], sheet.rows[0].number) == ("Now", "NEW", 3)


def test_an_optional_empty_cell_is_no_problem_and_a_needed_one_is():
    sheet, problems = table("Item;Qty\nA-1;\n"), []
    assert sheet.take(sheet.rows[0], "quantity", read_whole, problems, optional=True) is None
    assert problems == []
    assert sheet.take(sheet.rows[0], "quantity", read_whole, problems) is None
    assert [(each.row, each.column, each.value) for each in problems] == [(2, "Qty", "")]


@pytest.mark.parametrize("fault", ["#DIV/0!", "#N/A", "#REF!"])
def test_a_failed_formula_is_a_problem_and_not_an_empty_cell(fault):
    book = Workbook()
    for row in (["Item", "Qty"], ["A-1", 2], ["A-2", fault], [fault, 3]):
        book.active.append(row)
    for place in ("B3", "A4"):
        book.active[place].data_type = "e"
    buffer = io.BytesIO()
    book.save(buffer)
    sheet, problems = table(buffer.getvalue()), []
    for row in sheet:
        sheet.take(row, "code", read_text, problems)
        sheet.take(row, "quantity", read_whole, problems, optional=True)
    assert [(each.row, each.column, each.value) for each in problems] == [
        (3, "Qty", fault),
        (4, "Item", fault),
    ]
    assert problems[1].reason == "The formula in this cell failed; mend it in the spreadsheet."


FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx"]


@pytest.mark.parametrize("text", FORMULAS)
def test_text_that_would_run_as_a_formula_is_written_as_text(text):
    # The six beginnings are those of OWASP's page on CSV injection (from memory).
    cells = list(csv.reader(io.StringIO(write_csv(["H"], [[text]]).decode("utf-8-sig"), newline="")))
    assert cells[1][0][0] == "'"
    cell = load_workbook(io.BytesIO(write_xlsx(["H"], [[text]]))).active["A2"]
    assert cell.data_type == "s"
    assert cell.quotePrefix


def test_numbers_and_dates_stay_numbers_and_dates():
    moment = datetime(2026, 11, 30, 8, 5, tzinfo=UTC)
    row = [-2, Decimal("159.51"), date(2028, 2, 29), moment, time(8), None, True, "000123"]
    names = ["a", "b", "c", "d", "e", "f", "g", "h"]
    first = load_workbook(io.BytesIO(write_xlsx(names, [row], title="A/B: stock"))).active
    values = [cell.value for cell in first[2]]
    assert values[:3] == [-2, 159.51, datetime(2028, 2, 29)]
    assert values[3:] == [datetime(2026, 11, 30, 8, 5), time(8), None, True, "000123"]
    assert first["C2"].number_format == "yyyy-mm-dd"
    assert (first.title, first.freeze_panes) == ("A B  stock", "A2")
    line = write_csv(names, [row]).decode("utf-8-sig").splitlines()[1]
    assert line.startswith("-2,159.51,2028-02-29,2026-11-30 08:05")


def test_a_scanned_separator_is_shown_by_its_picture():
    cell = load_workbook(io.BytesIO(write_xlsx(["Scan"], [["10LOT\x1d21SER"]]))).active["A2"]
    assert cell.value == "10LOT\u241d21SER"


CELLS = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), min_size=1, max_size=12
).filter(lambda text: read_text(text) == text.strip() == text and not text.startswith("'"))


@given(st.lists(st.tuples(CELLS, st.integers(0, 10**6)), min_size=1, max_size=6))
def test_what_we_write_we_read_back(rows):
    rows = [(f"X{text}", number) for text, number in rows] + [("-1", 1), ("=A1", 2)]
    for data in (write_csv(["Item", "Qty"], rows), write_xlsx(["Item", "Qty"], rows)):
        sheet = table(data)
        assert [(read_text(row["code"]), read_whole(row["quantity"])) for row in sheet] == rows
