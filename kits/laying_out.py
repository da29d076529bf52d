"""From the lines of a case to its blocks and pouches, in the order they are laid out. Values only."""

from collections.abc import Iterable, Sequence
from typing import Any

from kits.pick_values import PickLine, PickList, Pouch, Readiness
from kits.requirements import CHECKPOINT, OPEN, SET


def laid_out(*, case: Any, procedures: str, readiness: Readiness, lines: Sequence[PickLine]) -> PickList:
    """Sort lines into sets, open at set-up, sealed pouches, room stock, and what is still to be decided."""
    decided = [line for line in lines if not line.undecided and (line.item is not None or line.blocking)]
    on_tray = [line for line in decided if not line.is_room_stock]
    return PickList(
        case=case,
        procedures=procedures,
        readiness=readiness,
        lines=tuple(lines),
        sets=tuple(line for line in on_tray if line.kind == SET and line.set_out == OPEN),
        open=tuple(line for line in on_tray if line.kind != SET and line.set_out == OPEN),
        pouches=tuple(_pouches([line for line in on_tray if line.set_out != OPEN])),
        room=tuple(line for line in decided if line.is_room_stock),
        decide=tuple(line for line in lines if line.undecided or line.unresolved),
    )


def _pouches(lines: Iterable[PickLine]) -> list[Pouch]:
    """Sealed lines by what opens them: checkpoints first, then findings, the likeliest first."""
    lines = list(lines)
    sites = {line.site_id for line in lines if line.site_id is not None}
    groups: dict[tuple, list[PickLine]] = {}
    for line in lines:
        groups.setdefault(_pouch_key(line, one_site=len(sites) < 2), []).append(line)
    pouches = [_pouch(lines, several=len(sites) > 1) for lines in groups.values()]
    return sorted(pouches, key=lambda pouch: (pouch.finding is not None, -(pouch.chance or 0)))


def _pouch_key(line: PickLine, *, one_site: bool) -> tuple:
    """What keeps lines together; with one site, what the whole case needs goes into that site's pouch."""
    if line.finding is None or line.set_out == CHECKPOINT:
        return ("checkpoint", line.checkpoint)
    return ("finding", line.finding.pk, None if one_site else line.site_id)


def _pouch(lines: list[PickLine], *, several: bool) -> Pouch:
    first = next((line for line in lines if line.site_id is not None), lines[0])
    if first.finding is None or first.set_out == CHECKPOINT:
        heading = first.checkpoint or "On the clinician's word"
        # A group with alternatives: one of its lines is opened, never all of them together.
        choose_one = any(line.instead_of for line in lines)
        return Pouch(heading=heading, lines=tuple(lines), choose_one=choose_one, opened=_all_opened(lines))
    lines = sorted(lines, key=lambda line: -line.chance)
    groups = {line.choose_one_group for line in lines}
    choose_one = len(lines) > 1 and len(groups) == 1 and groups != {""}
    heading = first.finding.condition
    if several and first.tooth:
        heading = f"{heading} at {first.tooth}"
    if choose_one:
        heading = f"{heading}: one of these"
    chance = sum(line.chance for line in lines) if choose_one else max(line.chance for line in lines)
    return Pouch(
        heading=heading,
        lines=tuple(lines),
        finding=first.finding,
        site_id=first.site_id,
        tooth=first.tooth,
        chance=min(1.0, chance),
        choose_one=choose_one,
        opened=first.known is True,
    )


def _all_opened(lines: list[PickLine]) -> bool:
    units = [unit for line in lines for unit in line.units]
    return bool(units) and all(unit.opened_at is not None or unit.outcome for unit in units)
