"""Which units are promised to which case: every open case of a clinic, in order of start, against its stock.

Units on a tray are that case's own and no longer on the shelf, so only what is still to be set out asks.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, replace

from django.db.models import QuerySet

from kits.case_lines import lines_of
from kits.case_loading import requirements_of, with_plans
from kits.models import Case
from kits.pick_values import Part, PickLine
from kits.requirements import Requirement
from practice.models import Clinic
from stock.allocation import allocate
from stock.models import Lot, Place
from stock.queries import stock_units
from stock.values import Allotment, Need, StockUnit
from stock.values import Part as Allotted


@dataclass(frozen=True)
class Book:
    """Open cases of a clinic in order of start, what each needs, and its lines as they stand, by case id."""

    clinic: Clinic
    cases: tuple[Case, ...]
    needed: dict[int, list[Requirement]]
    lines: dict[int, list[PickLine]]

    def read_again(self, case: Case) -> None:
        """Read the tray of one case again, after something came onto it; its plan counts as unchanged."""
        self.lines.update(lines_of({case.pk: self.needed[case.pk]}))
        for known in self.cases:
            if known.pk == case.pk:
                known.state = case.state


@dataclass(frozen=True)
class Promised:
    """Open cases of a clinic in order of start, and their lines with what is promised to each, by case id."""

    cases: tuple[Case, ...]
    lines: dict[int, list[PickLine]]


def open_cases(*, clinic: Clinic, through: dt.date) -> QuerySet[Case]:
    """Cases of a clinic that still need material, up to a day; overdue ones count, they hold stock too."""
    found = Case.objects.filter(clinic=clinic).open().filter(on__lte=through)
    return with_plans(found.order_by("starts_at", "pk"))


def book_of(*, clinic: Clinic, through: dt.date, until: dt.datetime | None = None) -> Book:
    """The book up to a day, or to a moment of it: what starts later takes nothing from what starts before."""
    found = open_cases(clinic=clinic, through=through)
    cases = tuple(found.filter(starts_at__lte=until) if until is not None else found)
    needed = requirements_of(cases)
    return Book(clinic, cases, needed, lines_of(needed))


def promised(*, clinic: Clinic, through: dt.date, on: dt.date | None = None) -> Promised:
    """Promise the clinic's stock to its open cases up to a day; the number of queries is fixed.

    With ``on`` only the cases of that day come back; all earlier ones are still served before them.
    """
    book = book_of(clinic=clinic, through=through)
    return promises(book, of=[case for case in book.cases if on is None or case.on == on])


def promises(book: Book, *, of: Sequence[Case]) -> Promised:
    """Promise stock to these cases of a book, after what earlier cases need of the same; three queries."""
    lines = {case.pk: book.lines[case.pk] for case in of}
    asked = {line.item.pk for mine in lines.values() for line in mine if line.needs_stock}
    needs = [
        _need(case, line)
        for case in book.cases
        for line in book.lines[case.pk]
        if line.needs_stock and line.item.pk in asked
    ]
    room = {line.item.pk for mine in lines.values() for line in mine if _in_room(line)}
    stock = stock_units(clinic=book.clinic, items=asked | room)
    given = allocate(needs, stock)
    # Room stock is promised to nobody; the list only says where to reach for it.
    lying = _by_item(unit for unit in stock if unit.item in room)
    for case in of:
        for line in filter(_in_room, lines[case.pk]):
            given[case.pk, line.key] = _nearest(line, case, lying[line.item.pk])
    mine = {(pk, line.key): given.get((pk, line.key)) for pk, of_case in lines.items() for line in of_case}
    lots, places = _named(filter(None, mine.values()))
    return Promised(
        tuple(of),
        {
            pk: [_with(line, mine[pk, line.key], lots, places) for line in of_case]
            for pk, of_case in lines.items()
        },
    )


def _by_item(stock: Iterable[StockUnit]) -> dict[Hashable, list[StockUnit]]:
    found: dict[Hashable, list[StockUnit]] = defaultdict(list)
    for unit in stock:
        found[unit.item].append(unit)
    return found


def _in_room(line: PickLine) -> bool:
    return line.is_room_stock and line.item is not None and line.left > 0


def _nearest(line: PickLine, case: Case, stock: Iterable[StockUnit]) -> Allotment:
    """The units of room stock that expire soonest among those usable on the day; taken from nobody."""
    usable = [unit for unit in stock if unit.last_usable_on is None or unit.last_usable_on >= case.on]
    if not usable:
        return Allotment()
    first = min(usable, key=lambda unit: (unit.last_usable_on or dt.date.max, unit.lot_id, unit.place_id))
    return Allotment((Allotted(first.lot_id, first.place_id, min(line.left, first.quantity)),))


def _need(case: Case, line: PickLine) -> Need:
    return Need(
        key=(case.pk, line.key),
        item=line.item.pk,
        quantity=line.left,
        on=case.on,
        starts_at=case.starts_at,
        ends_at=case.starts_at + dt.timedelta(minutes=case.minutes),
        # An option taken in part of the cases is still laid ready in each, but it can be shared.
        certain=line.certain and line.chance == 1.0 or line.known is True,
        chance=line.chance,
        case=case.pk,
    )


def _named(allotments: Iterable[Allotment]) -> tuple[dict[int, Lot], dict[int, Place]]:
    parts = [part for allotment in allotments for part in allotment.parts]
    lots = Lot.objects.select_related("item").in_bulk({part.lot_id for part in parts})
    return lots, Place.objects.in_bulk({part.place_id for part in parts})


def _with(
    line: PickLine, given: Allotment | None, lots: dict[int, Lot], places: dict[int, Place]
) -> PickLine:
    if given is None:
        return line
    return replace(
        line,
        parts=tuple(Part(lots[part.lot_id], places[part.place_id], part.quantity) for part in given.parts),
        short=given.short,
        shared=given.shared,
        chance_free=given.chance_free,
    )


def made_short_by(
    *, case: Case, lot: Lot, place: Place, quantity: int, book: Book | None = None
) -> Case | None:
    """The first earlier case that would lack an item if these units went to this case; None if none would.

    The earlier cases are given the stock twice, with and without the units; whoever then gets less of its
    own was promised them. A case that would lack them anyway is not made short. ``book`` holds the cases up
    to this one where they are read already.
    """
    book = book or book_of(clinic=case.clinic, through=case.on, until=case.starts_at)
    ours = (case.starts_at, case.pk)
    earlier = [other for other in book.cases if (other.starts_at, other.pk) < ours]
    needs = [
        _need(other, line)
        for other in earlier
        for line in book.lines[other.pk]
        if line.needs_stock and line.item.pk == lot.item_id
    ]
    if not needs:
        return None
    stock = stock_units(clinic=case.clinic, items=[lot.item_id])
    less = [
        replace(unit, quantity=max(0, unit.quantity - quantity))
        if (unit.lot_id, unit.place_id) == (lot.pk, place.pk)
        else unit
        for unit in stock
    ]
    before, after = allocate(needs, stock), allocate(needs, less)
    for need in sorted(needs, key=lambda need: need.starts_at):
        if _lacking(after[need.key]) > _lacking(before[need.key]):
            return next(other for other in earlier if other.pk == need.case)
    return None


def _lacking(given: Allotment) -> int:
    return given.short + given.shared


def procedures_in_words(case: Case) -> str:
    """The procedures of a case as they are said: short names joined by a comma."""
    return ", ".join(booked.procedure.short_name for booked in case.procedures.all() if booked.done)


def teeth_of(case: Case) -> Sequence[str]:
    """FDI numbers of the case's sites."""
    return [site.tooth for site in case.sites.all()]
