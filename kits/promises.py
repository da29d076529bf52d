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
from kits.group_choices import group_of, led_by_stock
from kits.models import Case
from kits.pick_values import Part, PickLine
from kits.ready_terms import Terms
from kits.replanning import calendar_of
from kits.requirements import Requirement
from practice.models import Clinic, Policy
from stock import plan_supply
from stock.allocation import allocate
from stock.models import Item, Lot, Place
from stock.queries import receipts_due, stock_units
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
    """Open cases of a clinic in order of start, and their lines with what is promised to each, by case id.

    ``terms``: what it takes to judge what is short.
    """

    cases: tuple[Case, ...]
    lines: dict[int, list[PickLine]]
    terms: Terms


def open_cases(*, clinic: Clinic, through: dt.date) -> QuerySet[Case]:
    """Cases of a clinic that still need material, up to a day; overdue ones count, they hold stock too."""
    found = Case.objects.filter(clinic=clinic).open().filter(on__lte=through)
    return with_plans(found.order_by("starts_at", "pk"))


def book_of(
    *, clinic: Clinic, through: dt.date, until: dt.datetime | None = None, unread: Case | None = None
) -> Book:
    """The book up to a day, or to a moment of it: what starts later takes nothing from what starts before.

    ``unread``: a case whose tray is about to change; its lines are missing until they are ``read_again``.
    """
    found = open_cases(clinic=clinic, through=through)
    cases = tuple(found.filter(starts_at__lte=until) if until is not None else found)
    needed = requirements_of(cases)
    read = {pk: lines for pk, lines in needed.items() if unread is None or pk != unread.pk}
    return Book(clinic, cases, needed, lines_of(read))


def promised(*, clinic: Clinic, through: dt.date, today: dt.date, on: dt.date | None = None) -> Promised:
    """Promise the clinic's stock to its open cases up to a day; the number of queries is fixed.

    With ``on`` only the cases of that day come back; all earlier ones are still served before them.
    """
    book = book_of(clinic=clinic, through=through)
    return promises(book, of=[case for case in book.cases if on is None or case.on == on], today=today)


def promises(book: Book, *, of: Sequence[Case], today: dt.date) -> Promised:
    """Promise stock to these cases of a book, after what earlier cases need of the same; eight queries.

    What orders on their way bring counts from its day on, after what lies there.
    """
    lines = {case.pk: book.lines[case.pk] for case in of}
    asked = _with_groups(
        {line.item.pk for mine in lines.values() for line in mine if line.needs_stock}, book.lines.values()
    )
    room = {line.item.pk for mine in lines.values() for line in mine if _in_room(line)}
    terms = terms_of(clinic=book.clinic, today=today, items=asked)
    stock = stock_units(clinic=book.clinic, items=asked | room)
    given = allocate(
        _needs(book.cases, book.lines, asked), [*stock, *_on_their_way(book.clinic, terms, asked)]
    )
    # Room stock and alternatives are promised to nobody; the list only says where to reach for them.
    lying = _by_item(stock)
    for case in of:
        for line in lines[case.pk]:
            if _in_room(line) or (line.instead_of and line.needs_stock and not _has_any(given, case, line)):
                given[case.pk, line.key] = _nearest(line, case, lying[line.item.pk])
    mine = {(pk, line.key): given.get((pk, line.key)) for pk, of_case in lines.items() for line in of_case}
    lots, places = _named(filter(None, mine.values()))
    found = {
        pk: led_by_stock([_with(line, mine[pk, line.key], lots, places) for line in of_case])
        for pk, of_case in lines.items()
    }
    return Promised(tuple(of), found, terms)


def terms_of(*, clinic: Clinic, today: dt.date, items: Iterable[int]) -> Terms:
    """What readiness of the clinic's later days hangs on, for these items; four queries."""
    policy = Policy.objects.filter(clinic=clinic).first() or Policy(clinic=clinic)
    return Terms(
        today=today,
        calendar=calendar_of(clinic),
        targets={
            Item.Criticality.CANNOT_START: policy.target_cannot_start,
            Item.Criticality.SUBSTITUTE: policy.target_substitute,
            Item.Criticality.CONVENIENCE: policy.target_convenience,
        },
        sellers=plan_supply.sellers(items=items),
        leads_seen=plan_supply.lead_days_seen(today=today),
    )


def _on_their_way(clinic: Clinic, terms: Terms, items: set[int]) -> list[StockUnit]:
    """Units of open orders as stock, from the day on which they can be counted on; one query."""
    return [
        StockUnit(0, due.item_id, 0, due.quantity, due.last_usable_on, available_on=day, receipt=due)
        for due in receipts_due(clinic=clinic, today=terms.today)
        if due.item_id in items and (day := terms.counted_on(due)) is not None
    ]


def _with_groups(items: set[int], books: Iterable[list[PickLine]]) -> set[int]:
    """These items and all that share a group with one of them, whose promises hang on each other."""
    groups = []
    for lines in books:
        in_groups = {group_of(line) for line in lines if line.instead_of}
        for group in in_groups:
            members = {line.item.pk for line in lines if line.needs_stock and group_of(line) == group}
            groups.append(members)
    found, before = set(items), set[int]()
    while found != before:
        before = set(found)
        for members in groups:
            if members & found:
                found |= members
    return found


def _needs(cases: Sequence[Case], lines: dict[int, list[PickLine]], items: set[int]) -> list[Need]:
    """What the cases ask for of these items; alternatives come after what they stand in for."""
    needs = []
    for case in cases:
        asking = [line for line in lines[case.pk] if line.needs_stock and line.item.pk in items]
        keys = {line.key for line in asking}
        needs += [
            _need(case, line)
            for line in sorted(asking, key=lambda line: len(line.instead_of))
            # Where one of the group lies on the tray already, its alternatives ask for nothing.
            if keys.issuperset(line.instead_of)
        ]
    return needs


def _has_any(given: dict[Hashable, Allotment], case: Case, line: PickLine) -> bool:
    allotment = given.get((case.pk, line.key))
    return allotment is not None and bool(allotment.parts or allotment.coming or allotment.short)


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
        unless=tuple((case.pk, key) for key in line.instead_of),
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
        coming=given.coming,
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
    items = _with_groups({lot.item_id}, [book.lines[other.pk] for other in earlier])
    needs = _needs(earlier, book.lines, items)
    if not needs:
        return None
    # Orders on their way are left out: what they bring makes no unit in the hand less promised.
    stock = stock_units(clinic=case.clinic, items=items)
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
