"""What surgery of the past found and used: one draw per finding and site opens all of its lines together."""

import random
from collections import defaultdict
from dataclasses import dataclass, field

from kits.requirements import Requirement


@dataclass
class Outcome:
    """Keys of the lines that were opened, and findings by (code, site id): present or not."""

    opened: set[str] = field(default_factory=set)
    found: dict[tuple[str, int | None], bool] = field(default_factory=dict)


def play(rng: random.Random, lines: list[Requirement], forced: dict[str, bool]) -> Outcome:
    """Draw which lines of a case are used. Findings nest: a rarer line opens only with a commoner one.

    ``forced``: findings (code -> present) that are told, not drawn.
    """
    outcome = Outcome()
    draws = {
        (line.finding_code, line.site_id): 0.0 if forced[line.finding_code] else 1.0
        for line in lines
        if line.finding_code in forced
    }
    groups: dict[tuple[str, int | None], list[Requirement]] = defaultdict(list)
    for line in lines:
        if line.choose_one_group:
            groups[line.choose_one_group, line.site_id].append(line)
        elif not line.finding_code:
            if line.chance >= 1 or rng.random() < line.chance:
                outcome.opened.add(line.key)
        elif _happens(rng, line, lines, draws, outcome):
            outcome.opened.add(line.key)
    for (_, _), members in groups.items():
        _choose_one(rng, members, lines, draws, outcome)
    return outcome


def _draw(rng: random.Random, code: str, site: int | None, lines: list[Requirement], draws) -> float:
    """The one number of a finding at a site; a line of the whole case sees the smallest of its sites."""
    if (code, site) not in draws:
        sites = {line.site_id for line in lines if line.finding_code == code} - {None}
        if site is None and sites:
            draws[code, None] = min(_draw(rng, code, each, lines, draws) for each in sorted(sites))
        else:
            draws[code, site] = rng.random()
    return draws[code, site]


def _happens(rng: random.Random, line: Requirement, lines, draws, outcome: Outcome) -> bool:
    other = line.finding.complement_of
    code = other.code if other is not None else line.finding_code
    number = _draw(rng, code, line.site_id, lines, draws)
    widest = max((each.chance for each in lines if each.finding_code == code), default=line.chance)
    present = number < widest
    outcome.found[code, line.site_id] = present
    if other is not None:
        return not present
    return number < line.chance


def _choose_one(rng: random.Random, members: list[Requirement], lines, draws, outcome: Outcome) -> None:
    """Open one member of a choose-one group; none where its finding is absent or the shares leave room."""
    on_finding = [line for line in members if line.finding_code]
    if on_finding and len(on_finding) == len(members):
        if _happens(rng, members[0], lines, draws, outcome):
            weights = [line.chance for line in members]
            outcome.opened.add(rng.choices(members, weights=weights)[0].key)
        return
    number = rng.random()
    for line in members:
        number -= line.chance
        if number < 0:
            outcome.opened.add(line.key)
            return
