"""Tables out: CSV and XLSX that open the same everywhere and run nothing. Pure.

A text cell that begins with `=`, `+`, `-`, `@`, a tab or a carriage return can be run as a formula by the
program that opens the file (CSV injection, described by OWASP; named from memory). In CSV such a cell gets an
apostrophe before it, which `read_text` takes off again; in XLSX it is stored as text with the quote-prefix
mark.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time
from decimal import Decimal

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet._write_only import WriteOnlyWorksheet

from practice.spreadsheets.text import shown

RUNS_AS_FORMULA = ("=", "+", "-", "@", "\t", "\r")
# XML cannot hold these; scanned codes carry them (a GS1 separator is 29).
CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
CONTROL_PICTURES = 0x2400
NARROWEST, WIDEST = 8, 60  # characters
LONGEST_SHEET_NAME = 31  # characters; the file format's limit
FORMATS: tuple[tuple[type, str], ...] = (
    (datetime, "yyyy-mm-dd hh:mm"),
    (date, "yyyy-mm-dd"),
    (time, "hh:mm"),
)


def write_csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """Return a CSV file (RFC 4180, UTF-8 with a byte-order mark): ISO dates, a point for decimals."""
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    for row in (header, *rows):
        writer.writerow([_csv_cell(value) for value in row])
    return buffer.getvalue().encode("utf-8-sig")


def _csv_cell(value: object) -> str:
    if isinstance(value, str):
        return "'" + value if value.startswith(RUNS_AS_FORMULA) else value
    return format(value, "f") if isinstance(value, Decimal) else shown(value)


def write_xlsx(header: Sequence[str], rows: Iterable[Sequence[object]], *, title: str = "Sheet") -> bytes:
    """Return an XLSX file with one sheet: real dates, times and numbers, a bold header that stays in view.

    Moments are written as they read on the wall, their time zone dropped, since the format knows none.
    Control characters of scanned codes are shown by their pictures (GS as `␝`).
    """
    table = [list(row) for row in rows]
    workbook = Workbook(write_only=True)
    sheet = workbook.create_sheet(re.sub(r"[\[\]:*?/\\]", " ", title)[:LONGEST_SHEET_NAME] or "Sheet")
    sheet.freeze_panes = "A2"
    for place, name in enumerate(header):
        longest = max([len(name), *(len(shown(row[place])) for row in table if place < len(row))])
        width = min(max(longest + 2, NARROWEST), WIDEST)
        sheet.column_dimensions[get_column_letter(place + 1)].width = width
    sheet.append([_header_cell(sheet, name) for name in header])
    for row in table:
        sheet.append([_xlsx_cell(sheet, value) for value in row])
    buffer = io.BytesIO()
    workbook.save(buffer)
    return buffer.getvalue()


def _header_cell(sheet: WriteOnlyWorksheet, name: str) -> WriteOnlyCell:
    cell = _xlsx_cell(sheet, name)
    cell.font = Font(bold=True)
    return cell


def _xlsx_cell(sheet: WriteOnlyWorksheet, value: object) -> WriteOnlyCell:
    if isinstance(value, str):
        text = CONTROL.sub(lambda match: chr(CONTROL_PICTURES + ord(match[0])), value)
        cell = WriteOnlyCell(sheet, value=text)
        cell.data_type = "s"
        cell.quotePrefix = text.startswith(RUNS_AS_FORMULA)
        return cell
    if isinstance(value, (datetime, time)):
        value = value.replace(tzinfo=None)
    if value is not None and not isinstance(value, (bool, int, float, Decimal, date, time)):
        value = str(value)
    cell = WriteOnlyCell(sheet, value=value)
    wanted = next((style for kind, style in FORMATS if isinstance(value, kind)), None)
    if wanted:
        cell.number_format = wanted
    return cell
