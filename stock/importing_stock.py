"""Bringing in a stock count: each counted lot becomes an opening entry of the ledger where it was found.

A row is known by clinic, item, lot, serial and place, not by its number, so the same count read again changes
nothing. A place nobody has set up yet is made and said so; an expired lot is taken in where it lies and said.
"""

import datetime as dt
import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from zoneinfo import ZoneInfo

from practice.importing import SKIP, Change, Options, Report, Step, settle, text_of, with_remembered
from practice.models import Clinic
from practice.spreadsheets import (
    Problem,
    Row,
    Sheet,
    UnreadableCell,
    Wanted,
    find_day_first,
    find_decimal,
    read_date,
    read_sheet,
    read_text,
    read_whole,
    shown,
)
from stock.models import Entry, Item, Lot, Place
from stock.places import ensure_place
from stock.receiving import ensure_lot, open_stock

FILE_KIND = "stock"
SOURCE = "import:stock count"

COLUMNS = (
    Wanted("item_code", ("Item code", "code", "item", "SKU", "Art. no.", "Article number", "Ref")),
    Wanted("place", ("Where", "location", "shelf", "bin", "stored at"), required=False),
    Wanted("lot", ("Lot no.", "lot number", "batch", "batch no.", "charge"), required=False),
    Wanted(
        "serial",
        ("Serial / tissue id", "serial", "serial no.", "serial number", "tissue id", "unit id"),
        required=False,
    ),
    Wanted("donor", ("Donor", "donor id", "donation number"), required=False),
    Wanted("expires_on", ("Expiry", "expiry date", "exp", "exp. date", "use by", "expires"), required=False),
    Wanted("quantity", ("Qty counted", "qty", "counted", "on hand", "count", "in stock", "stock")),
    Wanted("unit", ("UOM", "units"), required=False),
    Wanted("remark", ("notes", "comment", "note"), required=False),
)
ISO_DAY = re.compile(r"\b(\d{4}-\d{2}-\d{2})\b")
# "HM-DON-0312-02" is the second unit of donor HM-DON-0312.
UNIT_OF_DONOR = re.compile(r"(.*\bDON-?\d+)[-/]\d+", re.IGNORECASE)
KINDS_BY_WORD = (
    (re.compile(r"fridge|refrig|cold", re.IGNORECASE), Place.Kind.FRIDGE),
    (re.compile(r"quarantine|blocked", re.IGNORECASE), Place.Kind.QUARANTINE),
    (re.compile(r"cart|trolley|room|drawer|chair", re.IGNORECASE), Place.Kind.CART),
)
STORE_WORDS = frozenset(
    {"store", "stores", "storeroom", "stockroom", "stock room", "store room", "main store"}
)


@dataclass(frozen=True)
class Counted:
    """One row of a count, read: so many units of a lot at a place."""

    row: int
    item: Item
    place: str
    lot_number: str
    serial: str
    donor_id: str
    expires_on: dt.date | None
    quantity: int

    def key(self, clinic: Clinic) -> str:
        """What makes this row the same row in a later file (short enough for an idempotency key)."""
        # Goods without a lot number are told apart by their expiry.
        lot = self.lot_number or f"exp {self.expires_on}"
        identity = (clinic.code, self.item.code, lot, self.serial, self.place.casefold())
        return "count:" + hashlib.sha256("\x1f".join(identity).encode()).hexdigest()[:48]


@dataclass
class _Reading:
    """The file while it is read: rules that hold for all rows, and what was found so far."""

    sheet: Sheet
    clinic: Clinic
    options: Options
    report: Report
    items: dict[str, Item]
    places: dict[str, Place]
    read_expiry: Callable[[object], dt.date]
    decimal: str | None
    seen: dict[str, int] = field(default_factory=dict)
    new_places: dict[str, str] = field(default_factory=dict)

    def header(self, name: str) -> str:
        return self.sheet.columns.get(name, name)


def import_stock(data: bytes, *, filename: str, clinic: Clinic, options: Options) -> Report:
    """Take in a stock count of one clinic; see the module. Raises UnreadableFile or NoHeaderRow."""
    meanings = with_remembered(options.meanings, clinic=clinic, file_kind=FILE_KIND)
    sheet = read_sheet(
        data, filename=filename, wanted=COLUMNS, mapping=meanings.columns, encoding=meanings.encoding
    )
    report = Report(
        filename,
        read=len(sheet.rows) + len(sheet.totals),
        skipped=len(sheet.totals),
        notices=list(sheet.problems),
    )
    report.notices += [
        Problem(row.number, "", shown(next(iter(row.cells.values()))), "A totals row; left out.")
        for row in sheet.totals
    ]
    reading = _reading(sheet, clinic, Options(**{**vars(options), "meanings": meanings}), report)
    counted = [found for row in sheet if (found := _read_row(reading, row)) is not None]
    _note_uncounted(reading, counted)
    known = dict(
        Entry.objects.filter(key__in=[c.key(clinic) for c in counted]).values_list("key", "quantity")
    )
    at = _counted_at(sheet, clinic, options)
    steps = [step for c in counted if (step := _step(reading, c, known, at)) is not None]
    return settle(report, _place_steps(reading) + steps, options=options, clinic=clinic, subject=filename)


def _note_uncounted(reading: _Reading, counted: list[Counted]) -> None:
    """Say how many kept items this clinic has never had, in the file or before: they count as none."""
    had = set(Entry.objects.filter(clinic=reading.clinic).values_list("lot__item_id", flat=True).distinct())
    had |= {found.item.pk for found in counted}
    kept = Item.objects.active().stocked().exclude(supply_mode=Item.Supply.PER_CASE)
    missing = sorted(item.code for item in kept if item.pk not in had)
    if counted and missing:
        some = f"{', '.join(missing[:6])}{' and others' if len(missing) > 6 else ''}"
        sentence = (
            f"So many items of the catalogue are in no count of {reading.clinic}: {some}. They count as none "
            "here, so what cases need of them will show as short."
        )
        reading.report.notices.append(Problem(0, reading.header("item_code"), str(len(missing)), sentence))


def _reading(sheet: Sheet, clinic: Clinic, options: Options, report: Report) -> _Reading:
    meanings = options.meanings
    expiries = sheet.column_values("expires_on")
    day_first = find_day_first(expiries) if meanings.day_first is None else meanings.day_first
    return _Reading(
        sheet=sheet,
        clinic=clinic,
        options=options,
        report=report,
        items={item.code.casefold(): item for item in Item.objects.all()},
        places={place.name.casefold(): place for place in Place.objects.filter(clinic=clinic)},
        read_expiry=partial(read_date, day_first=day_first, century=2000),
        decimal=meanings.decimal or find_decimal(sheet.column_values("quantity")),
    )


def _counted_at(sheet: Sheet, clinic: Clinic, options: Options) -> dt.datetime:
    """When it was counted: noon of the day in the title lines, where that is not to come; else now."""
    days = [dt.date.fromisoformat(day) for line in sheet.title_lines for day in _days(line)]
    past = [day for day in days if day < options.today]
    if not past:
        return options.at
    return min(dt.datetime.combine(max(past), dt.time(12), tzinfo=ZoneInfo(clinic.time_zone)), options.at)


def _days(line: str) -> list[str]:
    found = []
    for text in ISO_DAY.findall(line):
        try:
            read_date(text)
        except UnreadableCell:
            continue
        found.append(text)
    return found


def _read_row(reading: _Reading, row: Row) -> Counted | None:
    """The row as a count, or None after its problems were reported or it was skipped on purpose."""
    sheet, report = reading.sheet, reading.report
    problems: list[Problem] = []
    code = sheet.take(row, "item_code", read_text, problems) or ""
    meaning = reading.options.meanings.of(code, "item_code", reading.header("item_code"))
    if meaning == SKIP:
        report.skipped += 1
        return None
    item = reading.items.get((meaning or code).casefold())
    if item is None:
        problems.append(sheet.problem(row, "item_code", "The catalogue has no such item."))
        report.leave_unmapped(reading.header("item_code"), code) if code else None
    texts = {name: sheet.take(row, name, read_text, problems) or "" for name in ("lot", "serial", "donor")}
    quantity = sheet.take(row, "quantity", partial(read_whole, decimal=reading.decimal, least=0), problems)
    expires_on = sheet.take(row, "expires_on", reading.read_expiry, problems, optional=True)
    place = _place_of(reading, row, problems)
    if item is not None:
        problems += _misfits(sheet, row, item, texts, quantity)
    if problems:
        report.problems += problems
        return None
    if quantity == 0:
        report.skipped += 1
        return None
    found = Counted(
        row.number,
        item,
        place,
        texts["lot"],
        texts["serial"] if item.is_unit_tracked else "",
        _donor(item, texts),
        expires_on,
        quantity,
    )
    return found if _is_first(reading, row, found) else None


def _donor(item: Item, texts: dict) -> str:
    if item.tracking != Item.Tracking.DONOR:
        return ""
    unit = UNIT_OF_DONOR.fullmatch(texts["serial"])
    return texts["donor"] or (unit[1] if unit else texts["serial"])


def _misfits(sheet: Sheet, row: Row, item: Item, texts: dict, quantity: int | None) -> list[Problem]:
    """What the catalogue says this item needs and the row does not give."""
    found = []
    if item.is_set:
        found.append(sheet.problem(row, "item_code", "Instrument sets are not counted as stock."))
    if item.is_unit_tracked:
        if not texts["serial"]:
            found.append(
                sheet.problem(row, "serial", "Each piece is followed by its own number; write it here.")
            )
        if quantity is not None and quantity > 1:
            found.append(sheet.problem(row, "quantity", "Each piece has its own number and its own row."))
    if item.tracking == Item.Tracking.LOT and not texts["lot"]:
        found.append(sheet.problem(row, "lot", "The lot number is missing; without it no recall finds this."))
    unit = text_of(row, "unit").casefold().rstrip(".")
    if unit and unit.rstrip("s") != item.stock_unit.casefold().rstrip("s"):
        found.append(
            sheet.problem(row, "unit", f"This item is kept by the {item.stock_unit}; count it in those.")
        )
    for name, field_name in (("lot", "lot_number"), ("serial", "serial"), ("donor", "donor_id")):
        most = Lot._meta.get_field(field_name).max_length
        if len(texts[name]) > most:
            found.append(sheet.problem(row, name, f"This is longer than {most} characters."))
    return found


def _place_of(reading: _Reading, row: Row, problems: list[Problem]) -> str:
    """The name of the place a row means: known, declared, or to be made."""
    said = text_of(row, "place")
    meanings = reading.options.meanings
    name = meanings.of(said, "place", reading.header("place")) or said
    stores = [place for place in reading.places.values() if place.kind == Place.Kind.STOCKROOM]
    known = reading.places.get(name.casefold())
    if known is None and len(stores) == 1 and (not name or name.casefold() in STORE_WORDS):
        known = stores[0]
    if known is not None:
        if known.name != said:
            reading.report.understand(reading.header("place"), said or "(empty)", known.name)
        return known.name
    most = Place._meta.get_field("name").max_length
    if not name or len(name) > most:
        problems.append(
            reading.sheet.problem(row, "place", f"Say where it lies, in at most {most} characters.")
        )
        return ""
    return reading.new_places.setdefault(name.casefold(), name)


def _is_first(reading: _Reading, row: Row, found: Counted) -> bool:
    """Whether no earlier row counts the same; a repeated unit or lot is reported."""
    key = found.key(reading.clinic)
    unit = f"unit:{found.item.code}:{found.serial}" if found.serial else key
    earlier = reading.seen.setdefault(unit, row.number)
    if earlier == row.number:
        return True
    column, reason = (
        ("serial", f"Row {earlier} counts the same piece; it can only lie in one place.")
        if found.serial
        else ("lot", f"Row {earlier} counts this lot at the same place; add the two up.")
    )
    reading.report.problems.append(reading.sheet.problem(row, column, reason))
    return False


def _step(reading: _Reading, found: Counted, known: dict[str, int], at: dt.datetime) -> Step | None:
    report, key = reading.report, found.key(reading.clinic)
    column = reading.header("quantity")
    if key in known:
        if known[key] != found.quantity:
            report.problems.append(
                Problem(
                    found.row,
                    column,
                    str(found.quantity),
                    f"This lot was opened with {known[key]} here. Correct the count on the item's page; "
                    "opening stock is taken in once.",
                )
            )
        else:
            report.unchanged += 1
        return None
    if found.expires_on is not None and found.expires_on < reading.options.today:
        report.notices.append(
            Problem(
                found.row,
                reading.header("expires_on"),
                found.expires_on.isoformat(),
                f"Expired; taken in at {found.place}, where it was counted, and never suggested. "
                "Write it off or move it to quarantine.",
            )
        )
    report.accepted += 1
    report.changes.append(
        Change(
            found.row,
            "opening stock",
            f"{found.quantity} × {found.item.code}",
            f"{found.serial or found.lot_number or 'no lot'} at {found.place}",
        )
    )
    take = partial(_open, found, clinic=reading.clinic, key=key, at=at, options=reading.options)
    return Step(found.row, column, str(found.quantity), take)


def _open(found: Counted, *, clinic: Clinic, key: str, at: dt.datetime, options: Options) -> None:
    lot = ensure_lot(
        item=found.item,
        lot_number=found.lot_number,
        serial=found.serial,
        donor_id=found.donor_id,
        expires_on=found.expires_on,
    )
    place = Place.objects.get(clinic=clinic, name=found.place)
    open_stock(
        lot=lot,
        place=place,
        quantity=found.quantity,
        by=options.by,
        at=at,
        recorded_at=options.at,
        source=SOURCE,
        key=key,
    )


def _place_steps(reading: _Reading) -> list[Step]:
    """Make the places that the count names and nobody has set up, and say so."""
    steps = []
    column = reading.header("place")
    for name in reading.new_places.values():
        kind = next((kind for words, kind in KINDS_BY_WORD if words.search(name)), Place.Kind.STOCKROOM)
        reading.report.notices.append(
            Problem(0, column, name, f"There is no such place yet; it is made as: {kind.label.lower()}.")
        )
        facts = {"clinic": reading.clinic, "by": reading.options.by, "at": reading.options.at}
        steps.append(Step(0, column, name, partial(ensure_place, name=name, kind=kind, **facts)))
    return steps
