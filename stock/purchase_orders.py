"""The purchase order as a workbook (XLSX) that a supplier can read and that runs nothing."""

import datetime as dt
import io
from decimal import Decimal
from zoneinfo import ZoneInfo

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from practice.spreadsheets.writing import CONTROL, RUNS_AS_FORMULA
from stock.models import Order

HEADINGS = ("Your code", "Item", "Our code", "Packs", "Units a pack", "Units", "Price a pack", "Price")
WIDTHS = (16, 52, 16, 8, 14, 8, 14, 14)  # characters
MONEY = "#,##0.00"
_LINE = Side(style="thin", color="999999")


def _write(sheet: Worksheet, row: int, column: int, value: object) -> Cell:
    """Write a value; text stays text, so that no cell can run as a formula when the file is opened."""
    cell = sheet.cell(row=row, column=column)
    if isinstance(value, str):
        cell.value = CONTROL.sub(" ", value)
        cell.data_type = "s"
        cell.quotePrefix = value.startswith(RUNS_AS_FORMULA)
    else:
        cell.value = value
    return cell


def _order_day(order: Order) -> dt.date:
    moment = order.sent_at or order.approved_at or order.created_at
    return moment.astimezone(ZoneInfo(order.clinic.time_zone)).date()


def _head(sheet: Worksheet, order: Order) -> int:
    """Write who orders what from whom; return the row of the table's headings."""
    draft = order.state in (Order.State.PROPOSED, Order.State.CANCELLED)
    title = f"{'NOT AN ORDER YET: draft of p' if draft else 'P'}urchase order {order.number}"
    if order.state == Order.State.CANCELLED:
        title = f"CANCELLED: purchase order {order.number}"
    _write(sheet, 1, 1, title).font = Font(bold=True, size=14)
    facts = [
        ("To", order.supplier.name),
        ("", order.supplier.email),
        ("From", order.clinic.practice.name),
        ("Deliver to", order.clinic.name),
        ("Date", _order_day(order)),
        ("Approved by", ", ".join(str(p) for p in (order.approved_by, order.second_approved_by) if p)),
        ("Currency", order.clinic.currency),
    ]
    row = 2
    for label, value in facts:
        if value:
            row += 1
            _write(sheet, row, 1, label).font = Font(bold=True)
            cell = _write(sheet, row, 2, value)
            cell.alignment = Alignment(horizontal="left")
            if isinstance(value, dt.date):
                cell.number_format = "yyyy-mm-dd"
    return row + 2


def _table(sheet: Worksheet, order: Order, row: int) -> None:
    for column, heading in enumerate(HEADINGS, start=1):
        cell = _write(sheet, row, column, heading)
        cell.font = Font(bold=True)
        cell.border = Border(bottom=_LINE)
    sheet.print_title_rows = f"{row}:{row}"
    whole = Decimal(0)
    for line in order.lines.select_related("supplier_item__item"):
        row += 1
        sold, item = line.supplier_item, line.supplier_item.item
        values = (sold.supplier_code, item.name, item.code, line.packs, line.pack_size, line.units)
        for column, value in enumerate((*values, line.pack_price, line.price), start=1):
            cell = _write(sheet, row, column, value)
            cell.alignment = Alignment(wrap_text=column == 2, vertical="top")
            if isinstance(value, Decimal):
                cell.number_format = MONEY
        whole += line.price
    row += 1
    for column, value in ((7, "Total"), (8, whole)):
        cell = _write(sheet, row, column, value)
        cell.font, cell.border = Font(bold=True), Border(top=_LINE)
    sheet.cell(row=row, column=8).number_format = MONEY
    _write(
        sheet,
        row + 2,
        1,
        "Prices as known to us, freight and tax left out. Tell us before you send if one differs.",
    )


def purchase_order_workbook(order: Order) -> bytes:
    """The order as an XLSX file: supplier, practice and clinic, number, date, lines, total.

    An order that is not approved says in its title that it is not an order yet.
    """
    workbook = Workbook()
    sheet = workbook.active
    sheet.title = order.number
    for column, width in enumerate(WIDTHS, start=1):
        sheet.column_dimensions[get_column_letter(column)].width = width
    _table(sheet, order, _head(sheet, order))
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    buffer = io.BytesIO()
    workbook.save(buffer)
    return buffer.getvalue()
