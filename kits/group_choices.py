"""Groups of which one member is used, by preference, with nobody having chosen yet: who is suggested. Pure.

Of a group among the lines of every such case (a scan body or an impression post) one member is suggested to
set out: the clinician's usual, else the one with the largest share. The others stay on the list as
alternatives. Once one of them lies on the tray, or the suggested one is short and another is free, that one
takes the place of the suggested one. Groups that the plan decides or that hang on a finding stay as they are.

A member's ``instead_of`` names, by key, the members it would stand in for: none for the suggested one.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeVar

# Whatever has a key and an ``instead_of``: requirements and lines of a pick list.
Member = TypeVar("Member", bound=Any)

UNTIL_CHOSEN = "On the clinician's choice: one of these"


def suggested(lines: Sequence[Member], *, usual: Mapping[str, Any], sealed: str) -> list[Member]:
    """Requirements with one of each such group suggested, the rest as alternatives; all sealed until chosen.

    ``usual``: the clinician's usual items, by "group:" and the group. ``sealed``: how a sealed line is set
    out. Members without an item come last and block nothing: whether they can be had matters only if nothing
    else of the group is there.
    """
    groups: dict[tuple, list[Member]] = defaultdict(list)
    for line in lines:
        if line.choose_one_group and line.certain and line.finding is None and line.chance < 1:
            groups[line.procedure_code, line.choose_one_group, line.site_id].append(line)
    changed: dict[str, Member] = {}
    for members in groups.values():
        if len({member.line_id for member in members}) < 2:
            continue
        # A stable sort: of equal shares the one listed first in the bill.
        preferred = getattr(usual.get(f"group:{members[0].choose_one_group}"), "code", None)
        ranked = sorted(members, key=lambda one: (one.item is None, one.item_code != preferred, -one.chance))
        for place, one in enumerate(ranked):
            changed[one.key] = _sealed(_ranked(one, ranked[:place]), ranked[0], sealed)
    return [changed.get(line.key, line) for line in lines]


def _sealed(line: Member, first: Member, sealed: str) -> Member:
    said = f"instead of {first.description}" if line.instead_of else ""
    return replace(
        line,
        set_out=sealed if line.set_out == "open" else line.set_out,
        checkpoint=line.checkpoint or UNTIL_CHOSEN,
        note="; ".join(part for part in (said, line.note) if part),
        blocking=line.blocking and not line.instead_of,
    )


def _ranked(line: Member, before: Sequence[Member]) -> Member:
    return replace(line, instead_of=tuple(one.key for one in before))


def led_by(lines: Sequence[Member], key: str) -> list[Member]:
    """The lines with this member suggested and the others of its group, in their order, as alternatives."""
    group = group_of(next(line for line in lines if line.key == key))
    members = sorted(
        (line for line in lines if group_of(line) == group),
        key=lambda one: (one.key != key, len(one.instead_of)),
    )
    changed = {one.key: _ranked(one, members[:place]) for place, one in enumerate(members)}
    return [changed.get(line.key, line) for line in lines]


def group_of(line: Member) -> str:
    """Key of the suggested member of a line's group; its own where it stands in for nobody."""
    return line.instead_of[0] if line.instead_of else line.key


def led_by_tray(lines: Sequence[Member]) -> list[Member]:
    """Lines of a pick list, with what lies on the tray taken as the choice."""
    led = list(lines)
    for line in lines:
        if line.instead_of and line.on_tray and not _find(led, group_of(line)).on_tray:
            led = led_by(led, line.key)
    return led


def led_by_stock(lines: Sequence[Member]) -> list[Member]:
    """Lines of a pick list after stock was promised: where the suggested one is short, what is free leads."""
    led = list(lines)
    for line in lines:
        if line.instead_of and line.is_covered and _find(led, group_of(line)).short:
            missing = _find(led, group_of(line))
            led = led_by(led, line.key)
            led[led.index(_find(led, missing.key))] = replace(
                _find(led, missing.key), short=0, parts=(), coming=(), shared=0, note="none is free"
            )
    return led


def _find(lines: Sequence[Member], key: str) -> Member:
    return next(line for line in lines if line.key == key)
