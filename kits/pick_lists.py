"""The pick list of a case, a day, or everything that is coming up."""

import datetime as dt

from kits.laying_out import laid_out
from kits.models import Case
from kits.pick_values import PickList
from kits.promises import Book, Promised, book_of, procedures_in_words, promised, promises
from kits.readiness import readiness
from kits.tray import WrongState
from practice.models import Clinic


def day_pick_lists(*, clinic: Clinic, on: dt.date, today: dt.date) -> list[PickList]:
    """Pick lists of every case of a clinic's day, in order of start; a fixed number of queries.

    Stock is promised to every open case up to that day first, so that nobody is promised a unit twice.
    """
    found = promised(clinic=clinic, through=max(on, today), today=today, on=on)
    return [_list(case, found) for case in found.cases]


def pick_list(*, case: Case, today: dt.date) -> PickList:
    """The pick list of one case, with the units left over by every earlier case. A closed case has no list.

    Raises WrongState.
    """
    book = book_of(clinic=case.clinic, through=max(case.on, today), until=case.starts_at)
    return pick_list_in(book, case=case, today=today)


def pick_list_in(book: Book, *, case: Case, today: dt.date) -> PickList:
    """The pick list of a case of the book. Raises WrongState for one that is not in it."""
    for known in book.cases:
        if known.pk == case.pk:
            return _list(known, promises(book, of=[known], today=today))
    raise WrongState(case, "set out its tray")


def readiness_by_case(*, clinic: Clinic, through: dt.date, today: dt.date) -> dict[int, PickList]:
    """Pick lists by case id of every open case up to a day: for a board or a calendar of readiness."""
    found = promised(clinic=clinic, through=through, today=today)
    return {case.pk: _list(case, found) for case in found.cases}


def _list(case: Case, found: Promised) -> PickList:
    lines = found.lines[case.pk]
    ready = readiness(lines, on=case.on, terms=found.terms)
    return laid_out(case=case, procedures=procedures_in_words(case), readiness=ready, lines=lines)
