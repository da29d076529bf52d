"""Pick lists as rows: for JSON, CSV and XLSX, and as text. The PDF is drawn in ``pick_pdf``."""

from collections.abc import Iterable, Iterator, Sequence
from zoneinfo import ZoneInfo

from kits.pick_values import PickLine, PickList
from kits.requirements import OPEN, ROOM
from practice.spreadsheets import write_csv, write_xlsx
from practice.teeth import show_teeth

HEADER = (
    "Case",
    "Start",
    "Room",
    "Patient",
    "Procedures",
    "Readiness",
    "Item",
    "Name",
    "Quantity",
    "How",
    "If",
    "When",
    "Tooth",
    "Lot",
    "Expiry",
    "Place",
    "Short",
    "Note",
)


def how(line: PickLine) -> str:
    """How a line is laid out: "open", "sealed" or "room stock"."""
    if line.set_out == OPEN:
        return "open"
    return "room stock" if line.set_out == ROOM else "sealed"


def listed(found: PickList) -> list[PickLine]:
    """Lines of a sheet in the order they are laid out: sets, open, pouches, room stock, open questions."""
    pouches = [line for pouch in found.pouches for line in pouch.lines]
    shown = [*found.sets, *found.open, *pouches, *found.room]
    return shown + [line for line in found.decide if line not in shown]


def where(line: PickLine) -> list[tuple]:
    """(lot shown, expiry, place, quantity) of what lies on the tray and of what is to be fetched."""
    units = [(unit.lot, unit.tray, unit.quantity) for unit in line.units]
    parts = [(part.lot, part.place, part.quantity) for part in line.parts]
    return [(lot.shown, lot.expires_on, str(place), quantity) for lot, place, quantity in units + parts]


def still_coming(line: PickLine) -> list[tuple]:
    """The same of what is on order, which has no lot yet: when it comes and with which order."""
    if not line.coming or not line.left:
        return []
    return [("", None, line.order_words, sum(one.quantity for one in line.coming))]


def starts(found: PickList) -> str:
    """The start in the clinic's own time, hours and minutes."""
    zone = ZoneInfo(found.case.clinic.time_zone)
    return f"{found.case.starts_at.astimezone(zone):%H:%M}"


def teeth(found: PickList) -> str:
    """The teeth of a case in the numbering its clinic reads."""
    return show_teeth([site.tooth for site in found.case.sites.all()], found.case.clinic.tooth_notation)


def as_json(found: PickList) -> dict:
    """One case in the shape scripts rely on; more fields may come."""
    case = found.case
    return {
        "case": case.code,
        "start": starts(found),
        "room": str(case.room or ""),
        "patient": case.patient.chart_number,
        "procedures": found.procedures,
        "teeth": [site.tooth for site in case.sites.all()],
        "readiness": found.readiness.word,
        "reason": found.readiness.sentence,
        "lines": [_line_json(line) for line in listed(found)],
    }


def _line_json(line: PickLine) -> dict:
    places = where(line)
    first = places[0] if places else ("", None, "", 0)
    return {
        "item": line.item.code if line.item is not None else "",
        "name": line.description,
        "quantity": line.quantity,
        "how": how(line),
        "finding": line.finding.condition if line.finding is not None else "",
        "chance": round(line.chance, 4),
        "checkpoint": line.checkpoint,
        "tooth": line.tooth,
        "lot": first[0],
        "expiry": first[1].isoformat() if first[1] else None,
        "place": first[2],
        "short": line.short,
        "on_order": [
            {
                "order": one.receipt.order_number,
                "due": one.available_on.isoformat(),
                "quantity": one.quantity,
            }
            for one in line.coming
        ],
        "state": line.state,
        "question": line.unresolved or (line.note if line.undecided else ""),
        "lots": [
            {
                "lot": lot,
                "expiry": expiry.isoformat() if expiry else None,
                "place": place,
                "quantity": quantity,
            }
            for lot, expiry, place, quantity in places
        ],
    }


def rows(lists: Iterable[PickList]) -> Iterator[tuple]:
    """One row for each lot of each line, under HEADER."""
    for found in lists:
        case = found.case
        about = (
            case.code,
            starts(found),
            str(case.room or ""),
            case.patient.chart_number,
            found.procedures,
            found.readiness.word,
        )
        for line in listed(found):
            lots = where(line) + still_coming(line)
            for lot, expiry, place, quantity in lots or [("", None, "", line.quantity)]:
                yield (
                    *about,
                    line.item.code if line.item is not None else "",
                    line.description,
                    quantity,
                    how(line),
                    line.finding.condition if line.finding is not None else "",
                    line.checkpoint,
                    line.tooth,
                    lot,
                    expiry,
                    place,
                    line.short or "",
                    line.unresolved or line.note,
                )


def to_csv(lists: Sequence[PickList]) -> bytes:
    """Pick lists as CSV."""
    return write_csv(HEADER, rows(lists))


def to_xlsx(lists: Sequence[PickList]) -> bytes:
    """Pick lists as a workbook."""
    return write_xlsx(HEADER, rows(lists), title="Pick list")


def to_text(lists: Sequence[PickList]) -> str:
    """Pick lists as text for a terminal."""
    blocks = []
    for found in lists:
        case = found.case
        blocks.append(
            f"{case.code}  {starts(found)}  {case.room or 'no room'}  {case.patient}  "
            f"{found.procedures}  {teeth(found)}\n"
            f"  {found.readiness.word.upper()}: {found.readiness.sentence}"
        )
        blocks += [f"  {text}" for text in _text_lines(found)]
    return "\n".join(blocks)


def _text_lines(found: PickList) -> Iterator[str]:
    yield from _section("Sets", found.sets)
    yield from _section("Open at set-up", found.open)
    for pouch in found.pouches:
        chance = f" ({round(pouch.chance * 100)} in 100)" if pouch.chance is not None else ""
        yield from _section(f"Sealed. {pouch.heading}{chance}", pouch.lines)
    yield from _section("Room stock, written down when used", found.room)
    for text in found.questions:
        yield f"To decide: {text}"


def _section(title: str, lines: Sequence[PickLine]) -> Iterator[str]:
    if lines:
        yield title
    for line in lines:
        lots = "; ".join(f"{lot} {place}".strip() for lot, _, place, _ in where(line) + still_coming(line))
        short = f"  SHORT {line.short}" if line.short else ""
        mark = "x" if line.state == "done" else " "
        name = line.item.code if line.item is not None else "?"
        yield f"  [{mark}] {line.quantity:>2} {name:<14} {line.description[:56]:<56} {lots}{short}"
