"""From the bytes of a practice's export to rows with named columns. Pure.

A file is read as it is: title lines above the header, any of four separators, a byte-order mark or none,
blank rows, repeated headers and totals rows. Nothing is guessed about cells here; `dates`, `numbers` and
`text` read those one by one.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from practice.spreadsheets.files import Grid, grids
from practice.spreadsheets.text import UnreadableCell, is_blank, shown

# How far down a header may stand: letterheads of printed exports rarely pass a dozen lines (common practice).
DEEPEST_HEADER = 40
Value = TypeVar("Value")
TOTALS = re.compile(
    r"(?:grand |sub-?)?(?:totals?|sum)(?: (?:of )?[a-z]*(?:s|value|amount|price|counted|quantity))?[\s:.\d]*",
    re.IGNORECASE,
)


class NoHeaderRow(ValueError):
    """No row of the file names the needed columns; carries what was looked for and the closest row."""

    def __init__(self, filename: str, missing: Sequence[str], closest: Sequence[str], row: int) -> None:
        self.filename, self.missing, self.closest, self.row = filename, tuple(missing), tuple(closest), row
        found = f" The closest is row {row}: {', '.join(closest)}." if closest else ""
        super().__init__(f"“{filename}” has no row that names the columns {', '.join(missing)}.{found}")


@dataclass(frozen=True)
class Problem:
    """One cell that could not be taken, said so that a person can find and mend it.

    `row` is the number their own program shows beside the row; `column` the header as they wrote it.
    """

    row: int
    column: str
    value: str
    reason: str


@dataclass(frozen=True)
class Wanted:
    """A column to find: our name, the headers it may go by, and whether the file is useless without it."""

    name: str
    headers: tuple[str, ...] = ()
    required: bool = True

    def answers_to(self, header: str) -> bool:
        """Return whether a header, written in any case and punctuation, names this column."""
        return plain_header(header) in {plain_header(known) for known in (self.name, *self.headers)}


@dataclass(frozen=True)
class Row:
    """One row of data: its number in the person's program and its cells by our column names."""

    number: int
    cells: Mapping[str, object]
    unnamed: Mapping[str, object]

    def __getitem__(self, name: str) -> object:
        """Return the cell of a wanted column, or "" where the file has no such column."""
        return self.cells.get(name, "")


@dataclass(frozen=True)
class Sheet:
    """What was found in a file.

    `header` holds every header as written, `columns` which of them each wanted column was found under,
    `unmatched` the headers nobody asked for (their cells are in `Row.unnamed`). `totals` and `title_lines`
    are what was left out of `rows`, and `problems` what was odd about the file as a whole.
    """

    filename: str
    sheet: str
    encoding: str
    delimiter: str
    title_lines: tuple[str, ...]
    header_row: int
    header: tuple[str, ...]
    columns: Mapping[str, str]
    unmatched: tuple[str, ...]
    rows: tuple[Row, ...]
    totals: tuple[Row, ...]
    blank_rows: int
    problems: tuple[Problem, ...]

    def __iter__(self) -> Iterator[Row]:
        """Walk the data rows in file order."""
        return iter(self.rows)

    def column_values(self, name: str) -> list[object]:
        """Return the filled cells of one wanted column, for `find_day_first` and `find_decimal`."""
        return [row[name] for row in self.rows if not is_blank(row[name])]

    def take(
        self,
        row: Row,
        name: str,
        read: Callable[[object], Value],
        problems: list[Problem],
        *,
        optional: bool = False,
    ) -> Value | None:
        """Read one cell; on an unreadable one add the problem to `problems` and return None.

        `read` is a cell reader with its rules bound, such as `partial(read_date, day_first=True)`. With
        `optional`, an empty cell is None without a problem.
        """
        value = row[name]
        if optional and is_blank(value):
            return None
        try:
            return read(value)
        except UnreadableCell as refusal:
            problems.append(self.problem(row, name, refusal.reason))
            return None

    def problem(self, row: Row, name: str, reason: str) -> Problem:
        """Return the problem of one cell, under the header as it is written in the file."""
        return Problem(row.number, self.columns.get(name, name), shown(row[name]), reason)


def read_sheet(
    data: bytes,
    *,
    filename: str,
    wanted: Sequence[Wanted],
    mapping: Mapping[str, str] | None = None,
    encoding: str | None = None,
) -> Sheet:
    """Return the rows of a spreadsheet file under the names of the wanted columns.

    `data` is the whole file (CSV, TSV, semicolons, bars, XLSX, XLS, ODS) and `filename` only names it in
    sentences. `mapping` says by header which column is meant, before any synonym ("Art." -> "item_code").
    Separator, sheet and header row are those that name the most wanted columns; rows above are title lines.

    Raises `UnreadableFile` or `NoHeaderRow`; the first matching column wins where two headers name one
    column, and the other is reported in `problems`.
    """
    best = None
    for grid in grids(data, filename=filename, encoding=encoding):
        for index, cells in enumerate(grid.rows[:DEEPEST_HEADER]):
            found = _columns(cells, wanted, mapping or {})
            if best is None or len(found) > len(best[2]):
                best = (grid, index, found)
    grid, index, found = best if best else (Grid("", "", "", ()), 0, {})
    missing = [column.name for column in wanted if column.required and column.name not in found]
    if missing or not found:
        closest = [shown(cell) for cell in grid.rows[index] if not is_blank(cell)] if found else []
        raise NoHeaderRow(filename, missing or [column.name for column in wanted], closest, index + 1)
    return _sheet(filename, grid, index, found, wanted, mapping or {})


def _columns(cells: Sequence[object], wanted: Sequence[Wanted], mapping: Mapping[str, str]) -> dict[str, int]:
    """Return the place of each wanted column in a would-be header row; the first match wins."""
    found: dict[str, int] = {}
    for place, cell in enumerate(cells):
        name = _column_named(cell, wanted, mapping)
        if name and name not in found:
            found[name] = place
    return found


def _column_named(cell: object, wanted: Sequence[Wanted], mapping: Mapping[str, str]) -> str | None:
    if not isinstance(cell, str) or is_blank(cell):
        return None
    header = plain_header(cell)
    chosen = {plain_header(known): name for known, name in mapping.items()}.get(header)
    if chosen is not None:
        return chosen if any(column.name == chosen for column in wanted) else None
    return next((column.name for column in wanted if column.answers_to(cell)), None)


def _sheet(
    filename: str,
    grid: Grid,
    index: int,
    found: Mapping[str, int],
    wanted: Sequence[Wanted],
    mapping: Mapping[str, str],
) -> Sheet:
    header = tuple(shown(cell) for cell in grid.rows[index])
    unnamed = {place: text for place, text in enumerate(header) if text and place not in set(found.values())}
    rows: list[Row] = []
    totals: list[Row] = []
    blank_rows = 0
    for number, cells in enumerate(grid.rows[index + 1 :], start=index + 2):
        if all(map(is_blank, cells)):
            blank_rows += 1
        elif tuple(map(shown, cells)) != header:  # printed exports repeat the header on every page
            row = _row(number, cells, found, unnamed)
            (totals if _is_totals(cells) else rows).append(row)
    return Sheet(
        filename=filename,
        sheet=grid.sheet,
        encoding=grid.encoding,
        delimiter=grid.delimiter,
        title_lines=tuple(filter(None, (_line(cells) for cells in grid.rows[:index]))),
        header_row=index + 1,
        header=header,
        columns={name: header[place] for name, place in found.items()},
        unmatched=tuple(unnamed.values()),
        rows=tuple(rows),
        totals=tuple(totals),
        blank_rows=blank_rows,
        problems=tuple(_doubled(index + 1, header, found, wanted, mapping)),
    )


def _row(number: int, cells: Sequence[object], found: Mapping[str, int], unnamed: Mapping[int, str]) -> Row:
    def cell(place: int) -> object:
        return cells[place] if place < len(cells) else ""

    return Row(
        number,
        {name: cell(place) for name, place in found.items()},
        {text: cell(place) for place, text in unnamed.items() if not is_blank(cell(place))},
    )


def _line(cells: Sequence[object]) -> str:
    return "  ".join(shown(cell) for cell in cells if not is_blank(cell))


def _is_totals(cells: Sequence[object]) -> bool:
    """Return whether a row sums up others: it opens with such a word and holds nothing else but numbers."""
    filled = [cell for cell in cells if not is_blank(cell)]
    if not TOTALS.fullmatch(shown(filled[0])):
        return False
    return all(not isinstance(cell, str) or not re.search("[A-Za-z]", cell) for cell in filled[1:])


def _doubled(
    row: int,
    header: Sequence[str],
    found: Mapping[str, int],
    wanted: Sequence[Wanted],
    mapping: Mapping[str, str],
) -> Iterator[Problem]:
    for place, text in enumerate(header):
        name = _column_named(text, wanted, mapping)
        if name and found[name] != place:
            used = header[found[name]]
            yield Problem(
                row, text, text, f"“{used}” is already taken for the same thing; this column is not used."
            )


def plain_header(header: str) -> str:
    """Return a header in lower case, only its letters, digits, `#` and `%`: `Lot no.` is `LOT_NO`."""
    return re.sub(r"[^\w#%]+|_", "", header.casefold())
