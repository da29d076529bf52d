"""From bytes to grids of cells: what kind of file it is, its encoding and its separator. Pure."""

import csv
import io
import re
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from typing import TypeVar

from openpyxl import load_workbook
from python_calamine import CalamineError, CalamineWorkbook, SheetVisibleEnum

LARGEST_FILE = 20 * 1024 * 1024  # bytes; a year of a practice's bookings is under one megabyte
LARGEST_UNPACKED = 200 * 1024 * 1024  # bytes; guards against an archive made to fill the memory
MOST_ROWS = 200_000
DELIMITERS = (";", ",", "\t", "|")

ZIP_START, OLD_OFFICE_START = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
# A cell whose formula failed; the fast reader shows it as empty, which would hide the fault.
FAULTY_CELL = re.compile(rb'<c [^>]*\bt="e"')
MARKS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))


Thing = TypeVar("Thing")


class UnreadableFile(ValueError):
    """A file that is no table this program can open; the sentence says why and what to do."""

    def __init__(self, filename: str, reason: str) -> None:
        self.filename, self.reason = filename, reason
        super().__init__(f"“{filename}” cannot be read: {reason}")


@dataclass(frozen=True)
class Grid:
    """A table as it lies in the file: the first row is row 1, blank rows included."""

    sheet: str
    encoding: str
    delimiter: str
    rows: tuple[tuple[object, ...], ...] = field(repr=False)


def decode(data: bytes, *, filename: str, encoding: str | None = None) -> tuple[str, str]:
    """Return the text and the encoding used: byte-order mark, else strict UTF-8, else Windows-1252.

    Encodings are not guessed by statistics, which is wrong on short files; whoever knows better names one.
    Raises `UnreadableFile` if no way fits or the bytes are no text.
    """
    marked = next(((mark, name) for mark, name in MARKS if data.startswith(mark)), None)
    body, tries = (data[len(marked[0]) :], (marked[1],)) if marked else (data, ("utf-8", "cp1252"))
    for name in (encoding,) if encoding and not marked else tries:
        try:
            text = body.decode(name)
        except UnicodeDecodeError:
            continue
        except LookupError:
            raise UnreadableFile(filename, f"there is no encoding called “{name}”.")
        if "\0" in text:
            break
        return text, name
    raise UnreadableFile(filename, "it is not text in a known encoding; save it as CSV (UTF-8) or XLSX.")


def grids(data: bytes, *, filename: str, encoding: str | None = None) -> list[Grid]:
    """Return every way a file can be laid out as a table, for the caller to choose by its header.

    A workbook (XLSX, XLS or ODS, told by its first bytes, not by its name) gives one grid per visible sheet;
    text gives one per separator that occurs in it. Workbook cells are numbers, texts, days, moments or times.

    Raises `UnreadableFile` for empty, too large, damaged or protected files.
    """
    if len(data) > LARGEST_FILE:
        raise UnreadableFile(filename, f"it is larger than {LARGEST_FILE // 1024**2} megabytes.")
    if not data.strip():
        raise UnreadableFile(filename, "it is empty.")
    if data.startswith((ZIP_START, OLD_OFFICE_START)):
        return list(_workbook_grids(data, filename))
    text, name = decode(data, filename=filename, encoding=encoding)
    return list(_text_grids(text, name, filename))


def _text_grids(text: str, encoding: str, filename: str) -> Iterator[Grid]:
    present = [delimiter for delimiter in DELIMITERS if delimiter in text] or [","]
    kept = 0
    for delimiter in present:
        # Without `strict`, a stray quotation mark in a free-text column does not stop the whole file.
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        try:
            rows = tuple(tuple(row) for row in reader)
        except csv.Error:
            continue
        _refuse_too_many_rows(len(rows), filename)
        kept += 1
        yield Grid("", encoding, delimiter, rows)
    if not kept:
        raise UnreadableFile(filename, "its quotation marks do not pair up.")


def _workbook_grids(data: bytes, filename: str) -> Iterator[Grid]:
    faulty = False
    if data.startswith(ZIP_START):
        _refuse_swollen_archive(data, filename)
        faulty = _holds_faulty_cells(data)
    workbook = _opened(partial(CalamineWorkbook.from_filelike, io.BytesIO(data)), filename)
    for meta in workbook.sheets_metadata:
        if meta.visible != SheetVisibleEnum.Visible:
            continue
        sheet = _opened(partial(workbook.get_sheet_by_name, meta.name), filename)
        _refuse_too_many_rows(sheet.total_height, filename)
        rows: list[list[object]] = [[*row] for row in sheet.to_python(skip_empty_area=False)]
        if faulty:
            _show_faults(data, meta.name, rows)
        yield Grid(meta.name, "", "", tuple(map(tuple, rows)))


def _holds_faulty_cells(data: bytes) -> bool:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        sheets = [name for name in archive.namelist() if name.startswith("xl/worksheets/")]
        return any(FAULTY_CELL.search(archive.read(name)) for name in sheets)


def _show_faults(data: bytes, sheet: str, rows: list[list[object]]) -> None:
    """Put what the spreadsheet shows for a failed formula (`#DIV/0!`) back into its cells."""
    workbook = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    for number, cells in enumerate(workbook[sheet].iter_rows()):
        for place, cell in enumerate(cells):
            if cell.data_type == "e" and number < len(rows):
                rows[number] += [""] * (place + 1 - len(rows[number]))
                rows[number][place] = cell.value
    workbook.close()


def _opened(opening: Callable[[], Thing], filename: str) -> Thing:
    try:
        return opening()
    except CalamineError as error:
        raise UnreadableFile(filename, f"the workbook is damaged or protected by a password ({error}).")


def _refuse_swollen_archive(data: bytes, filename: str) -> None:
    try:
        unpacked = sum(part.file_size for part in zipfile.ZipFile(io.BytesIO(data)).infolist())
    except zipfile.BadZipFile:
        raise UnreadableFile(filename, "the workbook is damaged; open it, save it again and retry.")
    if unpacked > LARGEST_UNPACKED:
        raise UnreadableFile(filename, f"it unpacks to more than {LARGEST_UNPACKED // 1024**2} megabytes.")


def _refuse_too_many_rows(found: int, filename: str) -> None:
    if found > MOST_ROWS:
        raise UnreadableFile(filename, f"it has {found} rows; {MOST_ROWS} are read at most.")
