"""Reading any practice's spreadsheets into rows, and writing our own. Pure: no Django, no clock.

`files` turns bytes into grids, `sheets` finds header and rows, `text`, `numbers` and `dates` read single
cells, and `writing` makes CSV and XLSX. Inside, `sheets` uses `files`, and everything uses `text`.
"""

from practice.spreadsheets.dates import find_day_first, read_date, read_days, read_time
from practice.spreadsheets.files import UnreadableFile
from practice.spreadsheets.numbers import find_decimal, read_pack, read_quantity, read_whole
from practice.spreadsheets.sheets import NoHeaderRow, Problem, Row, Sheet, Wanted, read_sheet
from practice.spreadsheets.text import UnreadableCell, is_blank, read_text, shown
from practice.spreadsheets.writing import write_csv, write_xlsx

__all__ = [
    "NoHeaderRow",
    "Problem",
    "Row",
    "Sheet",
    "UnreadableCell",
    "UnreadableFile",
    "Wanted",
    "find_day_first",
    "find_decimal",
    "is_blank",
    "read_date",
    "read_days",
    "read_pack",
    "read_quantity",
    "read_sheet",
    "read_text",
    "read_time",
    "read_whole",
    "shown",
    "write_csv",
    "write_xlsx",
]
