"""Which units are promised to which case: every open case of a clinic, in order of start, against its stock.

Units on a tray are that case's own and no longer on the shelf, so only what is still to be set out asks.
"""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from django.db.models import Q, QuerySet

from kits.case_lines import lines_of
from kits.case_loading import with_plans
from kits.models import Case
from kits.pick_values import Part, PickLine
from practice.models import Clinic
from stock.allocation import allocate
from stock.models import Lot, Place
from stock.queries import stock_units
from stock.values import Allotment, Need, StockUnit
from stock.values import Part as Allotted


@dataclass(frozen=True)
class Promised:
    """Open cases of a clinic in order of start, and their lines with what is promised to each, by case id."""

    cases: tuple[Case, ...]
    lines: dict[int, list[PickLine]]


def open_cases(*, clinic: Clinic, through: dt.date) -> QuerySet[Case]:
    """Cases of a clinic that still need material, up to a day; overdue ones count, they hold stock too."""
    found = Case.objects.filter(clinic=clinic).open().filter(on__lte=through)
    return with_plans(found.order_by("starts_at", "pk"))


def promised(*, clinic: Clinic, through: dt.date) -> Promised:
    """Promise the clinic's stock to its open cases up to a day; the number of queries is fixed."""
    cases = list(open_cases(clinic=clinic, through=through))
    lines = lines_of(cases)
    needs = [_need(case, line) for case in cases for line in lines[case.pk] if line.needs_stock]
    room = {line.item.pk for case in cases for line in lines[case.pk] if _in_room(line)}
    stock = stock_units(clinic=clinic, items={need.item for need in needs} | room)
    given = allocate(needs, stock)
    # Room stock is promised to nobody; the list only says where to reach for it.
    for case in cases:
        for line in filter(_in_room, lines[case.pk]):
            given[case.pk, line.key] = _nearest(line, case, stock)
    lots, places = _named(given.values())
    return Promised(
        tuple(cases),
        {
            case.pk: [_with(line, given.get((case.pk, line.key)), lots, places) for line in lines[case.pk]]
            for case in cases
        },
    )


def _in_room(line: PickLine) -> bool:
    return line.is_room_stock and line.item is not None and line.left > 0


def _nearest(line: PickLine, case: Case, stock: Iterable[StockUnit]) -> Allotment:
    """The units of room stock that expire soonest among those usable on the day; taken from nobody."""
    usable = [
        unit
        for unit in stock
        if unit.item == line.item.pk and (unit.last_usable_on is None or unit.last_usable_on >= case.on)
    ]
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


def made_short_by(*, case: Case, lot: Lot, place: Place, quantity: int) -> Case | None:
    """The first earlier case that would lack an item if these units went to this case; None if none would.

    The earlier cases are given the stock twice, with and without the units; whoever then gets less of its
    own was promised them. A case that would lack them anyway is not made short.
    """
    before_us = Q(starts_at__lt=case.starts_at) | Q(starts_at=case.starts_at, pk__lt=case.pk)
    earlier = list(open_cases(clinic=case.clinic, through=case.on).filter(before_us))
    if not earlier:
        return None
    lines = lines_of(earlier)
    needs = [
        _need(other, line)
        for other in earlier
        for line in lines[other.pk]
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
