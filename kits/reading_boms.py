"""Reading the bill of materials file into lines, each with a sentence of how it was understood. Pure.

The columns are those of the trade's own file: procedure_code, procedure, item_code, item, basis, qty, unit,
certain_or_reserve, probability, finding, choose_one_group, pull, module, notes. An ``item_code`` that opens
with ``SLOT:`` is filled in when a case is planned. No Django in here.
"""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import astuple, dataclass
from decimal import Decimal
from functools import partial

from kits.finding_words import words_for
from practice.spreadsheets import Problem, Row, Sheet, UnreadableCell, Wanted, read_quantity, read_sheet
from practice.spreadsheets.text import shown

SLOT_MARK = "SLOT:"
BASES = ("case", "site", "implant", "graft", "arch")
SET_OUTS = ("open", "sealed until checkpoint", "sealed on trolley", "room stock")

WANTED = (
    Wanted("procedure_code"),
    Wanted("procedure"),
    Wanted("item_code"),
    Wanted("item", required=False),
    Wanted("basis"),
    Wanted("qty", headers=("quantity",)),
    Wanted("unit"),
    Wanted("certain_or_reserve"),
    Wanted("probability"),
    Wanted("finding"),
    Wanted("choose_one_group", required=False),
    Wanted("pull"),
    Wanted("module", required=False),
    Wanted("notes", required=False),
)


@dataclass(frozen=True)
class ReadLine:
    """One line of a bill as it stands in the file; ``row`` is its row number there."""

    row: int
    procedure_code: str
    procedure: str
    item_code: str
    slot: str
    description: str
    basis: str
    quantity: Decimal
    unit: str
    certain: bool
    probability: Decimal
    finding: str
    choose_one_group: str
    set_out: str
    module: str
    notes: str

    @property
    def understood(self) -> str:
        """The line as a sentence, so that a person can check how it was read."""
        what = f"the slot {self.slot}" if self.slot else self.item_code
        parts = [f"{self.procedure_code}: {_plain(self.quantity)} {self.unit} of {what} per {self.basis}"]
        share = f"{_plain(self.probability * 100)} in 100"
        if self.finding == "PLAN":
            parts.append(f"where planned ({share} cases)")
        elif self.finding:
            parts.append(f"{words_for(self.finding)[0].condition.lower()} ({share})")
        elif self.probability < 1:
            parts.append(f"used in {share} cases, always laid ready")
        if self.choose_one_group:
            parts.append(f"one of the group {self.choose_one_group}")
        return ", ".join([*parts, self.set_out]) + "."


@dataclass(frozen=True)
class BomFile:
    """What a file of bills holds: good lines in file order, problems, and one digest per procedure."""

    read: int
    lines: tuple[ReadLine, ...]
    problems: tuple[Problem, ...]

    def by_procedure(self) -> dict[str, list[ReadLine]]:
        """Lines by procedure code, in the order of the file."""
        found: dict[str, list[ReadLine]] = {}
        for line in self.lines:
            found.setdefault(line.procedure_code, []).append(line)
        return found


def digest(lines: Sequence[ReadLine]) -> str:
    """SHA-256 over the lines of one procedure, their row numbers left out: the identity of a version."""
    text = "\n".join("\x1f".join(str(value) for value in astuple(line)[1:]) for line in lines)
    return hashlib.sha256(text.encode()).hexdigest()


def read_boms(data: bytes, *, filename: str, known_items: frozenset[str]) -> BomFile:
    """Read a file of bills. ``known_items``: item codes of the catalogue; any other is a problem.

    Raises UnreadableFile or NoHeaderRow when the file as a whole makes no sense.
    """
    sheet = read_sheet(data, filename=filename, wanted=WANTED)
    problems = list(sheet.problems)
    lines = []
    for row in sheet:
        line = _read_line(sheet, row, problems, known_items)
        if line is not None:
            lines.append(line)
    problems += _overfull_groups(sheet, lines)
    return BomFile(len(sheet.rows), tuple(lines), tuple(problems))


def _read_line(
    sheet: Sheet, row: Row, problems: list[Problem], known_items: frozenset[str]
) -> ReadLine | None:
    before = len(problems)
    quantity = sheet.take(row, "qty", partial(read_quantity, decimal="."), problems)
    probability = sheet.take(row, "probability", partial(read_quantity, decimal="."), problems)
    basis = sheet.take(row, "basis", partial(_one_of, BASES), problems)
    set_out = sheet.take(row, "pull", partial(_one_of, SET_OUTS), problems)
    kind = sheet.take(row, "certain_or_reserve", partial(_one_of, ("certain", "reserve")), problems)
    problems += _row_problems(sheet, row, kind, known_items)
    if quantity is not None and quantity <= 0:
        problems.append(sheet.problem(row, "qty", "The quantity must be above zero."))
    if probability is not None and not 0 < probability <= 1:
        problems.append(sheet.problem(row, "probability", "A probability lies above 0 and is at most 1."))
    if len(problems) > before or quantity is None or probability is None or basis is None or set_out is None:
        return None
    return _line(row, kind == "certain", quantity, probability, basis, set_out)


def _row_problems(sheet: Sheet, row: Row, kind: str | None, known_items: frozenset[str]) -> Iterator[Problem]:
    """What is wrong with the cells that need no reading."""
    code = shown(row["item_code"])
    if not shown(row["procedure_code"]):
        yield sheet.problem(row, "procedure_code", "The procedure code is missing.")
    if not code.startswith(SLOT_MARK) and code not in known_items:
        reason = f"“{code}” is not in the catalogue; import the catalogue first."
        yield sheet.problem(row, "item_code", reason)
    if kind == "reserve" and not shown(row["finding"]):
        yield sheet.problem(row, "finding", "A reserve line needs the finding that opens it.")


def _line(
    row: Row, certain: bool, quantity: Decimal, probability: Decimal, basis: str, set_out: str
) -> ReadLine:
    code = shown(row["item_code"])
    slot = code.removeprefix(SLOT_MARK) if code.startswith(SLOT_MARK) else ""
    return ReadLine(
        row=row.number,
        procedure_code=shown(row["procedure_code"]),
        procedure=shown(row["procedure"]),
        item_code="" if slot else code,
        slot=slot,
        description=shown(row["item"]) or code,
        basis=basis,
        quantity=quantity.normalize(),
        unit=shown(row["unit"]),
        certain=certain,
        probability=probability.normalize(),
        finding=shown(row["finding"]),
        choose_one_group=shown(row["choose_one_group"]),
        set_out=set_out,
        module=shown(row["module"]),
        notes=shown(row["notes"]),
    )


def _one_of(allowed: Sequence[str], value: object) -> str:
    text = shown(value).lower()
    if text not in allowed:
        raise UnreadableCell(value, f"This must be one of: {', '.join(allowed)}.")
    return text


def _overfull_groups(sheet: Sheet, lines: Sequence[ReadLine]) -> list[Problem]:
    """Problems of choose-one groups whose members' chances add up to more than 1: they exclude each other."""
    sums: dict[tuple[str, str], Decimal] = {}
    problems = []
    for line in lines:
        if line.choose_one_group:
            key = (line.procedure_code, line.choose_one_group)
            sums[key] = sums.get(key, Decimal(0)) + line.probability
            if sums[key] > 1:
                problems.append(
                    Problem(
                        line.row,
                        sheet.columns["probability"],
                        _plain(line.probability),
                        f"The group {line.choose_one_group} adds up to {_plain(sums[key])}, above 1.",
                    )
                )
    return problems


def _plain(number: Decimal) -> str:
    return format(number.normalize(), "f")
