"""The purchase order as a workbook, read back with openpyxl and, as a second reader, calamine."""

import datetime as dt
import io
from decimal import Decimal

import pytest
from openpyxl import load_workbook
from python_calamine import CalamineWorkbook

from stock.ordering import approve, cancel, make_orders, purchase_order_workbook, send
from tests.builders import NOW


@pytest.fixture
def order(cast):
    """Two membranes and three dozen sutures."""
    choices = [(cast.membrane.suppliers.get(), 2, ""), (cast.suture.suppliers.get(), 3, "")]
    [made] = make_orders(clinic=cast.clinic, choices=choices, by=cast.manager, at=NOW)
    return made


@pytest.fixture
def sent(cast, order):
    approve(order=order, by=cast.manager, at=NOW)
    approve(order=order, by=cast.second_manager, at=NOW)
    return send(order=order, by=cast.manager, at=NOW)


def rows(order):
    workbook = CalamineWorkbook.from_filelike(io.BytesIO(purchase_order_workbook(order)))
    return [row for row in workbook.get_sheet_by_index(0).to_python() if any(row)]


def test_who_orders_what_from_whom(cast, sent):
    written = rows(sent)
    assert written[0][0] == "Purchase order PO-00001"
    facts = {row[0]: row[1] for row in written[1:8]}
    assert facts == {
        "To": "Brambleforth Surgical Supply",
        "": "orders@brambleforth.example",
        "From": "Thackerfold Implant & Oral Surgery",
        "Deliver to": "Skellowick Road",
        "Date": dt.date(2026, 5, 12),
        "Approved by": "Q. Marrowick, L. Vantresk",
        "Currency": "GBP",
    }


def test_lines_and_total(cast, sent):
    table = rows(sent)[8:12]
    assert table == [
        ["Your code", "Item", "Our code", "Packs", "Units a pack", "Units", "Price a pack", "Price"],
        ["MEM-RC-2030", cast.membrane.name, "MEM-RC-2030", 2, 1, 2, 145.0, 290.0],
        ["SUT-PT4", cast.suture.name, "SUT-PT4", 3, 12, 36, 138.0, 414.0],
        ["", "", "", "", "", "", "Total", 704.0],
    ]


def test_a_draft_says_that_it_is_none(cast, order):
    assert rows(order)[0][0] == "NOT AN ORDER YET: draft of purchase order PO-00001"
    cancel(order=order, by=cast.manager, at=NOW)
    assert rows(order)[0][0] == "CANCELLED: purchase order PO-00001"


@pytest.mark.parametrize("text", ["=1+1", "+44 20", "-2", "@SUM(A1)", "\t=1", '=HYPERLINK("x")'])
def test_nothing_in_it_runs(cast, sent, text):
    """A cell that a spreadsheet program would calculate (formula injection, as OWASP describes it)."""
    sold = cast.membrane.suppliers.get()
    sold.supplier_code = text
    sold.save()
    cast.membrane.name = text
    cast.membrane.save()
    cast.general.name = text
    cast.general.save()
    sent.refresh_from_db()
    sheet = load_workbook(io.BytesIO(purchase_order_workbook(sent))).active
    cells = [cell for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert [cell.value for cell in cells].count(text) == 3
    assert all(cell.data_type != "f" for cell in cells)
    assert all(cell.quotePrefix for cell in cells if cell.value == text)


def test_control_characters_do_not_break_the_file(cast, sent):
    cast.membrane.name = "Membrane\x1d with a separator\x02"
    cast.membrane.save()
    assert rows(sent)[9][1] == "Membrane  with a separator "


def test_money_is_written_as_numbers_with_two_places(cast, sent):
    sheet = load_workbook(io.BytesIO(purchase_order_workbook(sent))).active
    total = next(cell for row in sheet.iter_rows() for cell in row if cell.value == 704)
    assert total.number_format == "#,##0.00"
    assert Decimal(str(total.value)) == Decimal("704")
