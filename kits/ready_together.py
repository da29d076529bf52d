"""Ordinary supplies that are set out with one touch: what carries no lot, and what waits for reprocessing."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from kits.models import Case, TrayLine
from kits.pick_lists import pick_list_in
from kits.pick_values import DONE, PickLine, PickList
from kits.promises import book_of
from kits.requirements import OPEN, STOCK
from kits.tray import begin, locked
from kits.tray_moves import put_on_tray
from practice.refusals import Refusal

WITHOUT_LOT, REPROCESSING = "without-lot", "reprocessing"
# The category of wraps, pouches, integrators, load labels and wipes in the catalogue.
_REPROCESSING_CATEGORY = "Sterilisation"


class NothingLeft(Refusal):
    """All of the group lies there already, or none of it can be taken."""

    def __init__(self, short: Sequence[PickLine]) -> None:
        names = "; ".join(line.description for line in short)
        super().__init__(
            f"Nothing of it can be set out: {names}. Look on the item's page where more of it lies."
            if short
            else "All of it lies ready already. Go on with the next line."
        )


@dataclass(frozen=True)
class Together:
    """What one touch did: lines set out in full, and lines of which not enough was free."""

    ready: list[PickLine]
    short: list[PickLine]


def is_for_reprocessing(line: PickLine) -> bool:
    """Whether a line is used up when instruments and room are made ready again, not at the patient."""
    return line.item is not None and line.item.category == _REPROCESSING_CATEGORY and line.set_out == OPEN


def is_without_lot(line: PickLine) -> bool:
    """Whether a line is opened at set-up and its units carry no lot or serial that has to be read."""
    item = line.item
    return item is not None and line.set_out == OPEN and line.kind == STOCK and item.tracking == "none"


_GROUPS = {
    WITHOUT_LOT: lambda line: is_without_lot(line) and not is_for_reprocessing(line),
    REPROCESSING: is_for_reprocessing,
}


def left_together(pick: PickList, group: str) -> list[PickLine]:
    """Lines of a group that are still to be set out; raises KeyError for another group."""
    wanted = _GROUPS[group]
    return [
        line
        for line in pick.open
        if line.is_wanted and line.state != DONE and not line.must_scan and wanted(line)
    ]


@transaction.atomic
def set_out_together(*, case: Case, group: str, today: dt.date, by, at: dt.datetime) -> Together:
    """Take the suggested lots of every line of a group onto the tray, beginning it where nobody has.

    ``group``: WITHOUT_LOT or REPROCESSING; ``today``: the clinic's day. A line of which not enough is free
    gets what there is and is named. Raises KeyError for another group, NothingLeft, WrongState, NoRoom and
    the refusals of put_on_tray.
    """
    case = locked(case)
    if case.state == Case.State.BOOKED:
        case = begin(case=case, by=by, at=at)
    # One look at the book serves every line: each was promised its own units in it.
    book = book_of(clinic=case.clinic, through=max(case.on, today), until=case.starts_at)
    asked = left_together(pick_list_in(book, case=case, today=today), group)
    rows = TrayLine.objects.filter(case=case).select_related("item").in_bulk([line.line.pk for line in asked])
    for line in asked:
        row = rows[line.line.pk]
        row.case = case
        said = {"scanned": False, "by": by, "at": at, "book": book}
        for part in line.parts:
            put_on_tray(line=row, lot=part.lot, place=part.place, quantity=part.quantity, **said)
    short = [line for line in asked if sum(part.quantity for part in line.parts) < line.left]
    if not any(line.parts for line in asked):
        raise NothingLeft(short)
    return Together(ready=[line for line in asked if line not in short], short=short)
