"""From the lines of one case to the distribution of what it uses, item by item, exactly.

How lines hang together
- A line without a finding is certain; with `chance` below 1 it is the share of cases planned that
  way, decided for that line alone.
- A finding is one draw per instance: one uniform number U for the finding at one tooth site or
  implant (or for the case, where `instance` is None). The finding is there when U is below its
  chance. Its lines are nested on that draw: a line of chance 0.03 opens only together with the line
  of chance 0.30 on the same finding.
- The complement of a finding ("walls intact" of "facial plate missing") shares its draw.
- Lines of one `choose_one` group at one instance exclude each other. Members on the same finding
  share it out among themselves. Members on different findings make those findings exclude each
  other there, as when the wider implant goes in or the shorter one, never both. Members without a
  finding are chosen only where no member with a finding was opened.
- A line of the case (`instance` None) on a finding that is judged at instances opens once if the
  finding is there at any of them: one blade raises the flap, however many plates are missing.
- Units add up: a wider implant that replaces a planned one is used as well as the planned one.
- A part of a unit (0.3 of a shared cartridge) is the chance that this case opens the next one.

How findings are given
`findings` maps a finding's code, or the pair (code, instance), which is looked up first, to True or
False once it is known, to the chance believed now, or to a `FindingChance`. A finding left out keeps
the chance its lines were planned with. When the chance believed now differs from the planned one,
the nested lines keep their share: planned 0.30 with a line of 0.03, believed 0.60, gives that line 0.06.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from itertools import product
from math import floor

import numpy as np

from kits.draws import (
    COMPLEMENTS,
    ROUNDING,
    Beliefs,
    Draw,
    FindingChance,
    Findings,
    Instance,
    UseLine,
    WrongFinding,
    within,
)
from stock.planning import pmf
from stock.planning.pmf import Distribution

__all__ = [
    "COMPLEMENTS",
    "FindingChance",
    "Findings",
    "UnclearGroup",
    "UseLine",
    "WrongFinding",
    "WrongLine",
    "case_requirement",
    "case_use",
]

Group = Sequence[UseLine]
Opened = dict[frozenset[int], Distribution]
"""Units used so far, split by which lines of the case have been opened so far; all together add up to 1."""


class WrongLine(ValueError):
    """A line of a case has a quantity or a chance that cannot be."""


class UnclearGroup(ValueError):
    """A choose-one group cannot be read: its shares exceed 1, or its members sit at mixed instances."""


def case_use(
    lines: Iterable[UseLine], findings: Findings, *, complements: Mapping[str, str] = COMPLEMENTS
) -> dict[Hashable, Distribution]:
    """Return for every item of a case the distribution of units used (cell u = chance of u units).

    lines: every line of the case. findings: what is known or believed; see the module's docstring.
    complements: code -> the finding it is the opposite of.
    Raises WrongLine, WrongFinding or UnclearGroup for input that cannot be.
    """
    case = _Case(lines, findings, complements)
    return {item: case.use_of(item) for item in case.items}


def case_requirement(
    lines: Iterable[UseLine], findings: Findings, *, complements: Mapping[str, str] = COMPLEMENTS
) -> dict[Hashable, int]:
    """Return for every item of a case the units that must lie in reach when it starts.

    That is the most the case can use: every certain unit and every reserve that can be needed at
    the same time. Members that exclude each other count once, each item at its own most; parts of a
    unit count as a whole one; lines of a finding known to be absent do not count.
    """
    return {item: len(use) - 1 for item, use in case_use(lines, findings, complements=complements).items()}


class _Case:
    """The lines of one case, sorted by what they hang on."""

    def __init__(self, lines: Iterable[UseLine], findings: Findings, complements: Mapping[str, str]) -> None:
        given = list(lines)
        for line in given:
            if not (0 <= line.quantity < np.inf and 0 <= line.chance <= 1):
                raise WrongLine(
                    f"A line of {line.item!r} has the quantity {line.quantity} and the chance {line.chance}."
                )
        self.items = list(dict.fromkeys(line.item for line in given))
        self._lines = [line for line in given if line.chance > 0 and line.quantity > 0]
        self._groups: dict[tuple[str, Instance], list[UseLine]] = {}
        for line in self._lines:
            if line.choose_one:
                self._groups.setdefault((line.choose_one, line.instance), []).append(line)
        beliefs = Beliefs(self._lines, findings, complements)
        self._draws: list[dict[Instance, Draw]] = []
        for codes in _linked(self._lines, self._groups.values(), complements):
            instances = beliefs.instances(codes)
            self._check_groups(codes, instances)
            self._draws.append({instance: Draw(codes, instance, beliefs) for instance in instances})

    def _check_groups(self, codes: Sequence[str], instances: Sequence[Instance]) -> None:
        """Refuse a group of the case on a finding that is judged at instances."""
        for (name, at), members in self._groups.items():
            if at not in instances and any(line.finding in codes for line in members):
                raise UnclearGroup(
                    f"The group {name} belongs to the case, but its finding is judged at {instances[0]!r}."
                )

    def use_of(self, item: Hashable) -> Distribution:
        """Return the distribution of the units of one item."""
        parts = [
            pmf.thin(_units(line), line.chance)
            for line in self._lines
            if line.item == item and not line.finding and not line.choose_one
        ]
        parts += [
            _chosen(item, [(line, line.chance) for line in members])
            for members in self._groups.values()
            if not any(line.finding for line in members)
        ]
        parts += [self._hanging(item, draws) for draws in self._draws]
        return pmf.trim(pmf.convolve_all(parts))

    def _hanging(self, item: Hashable, draws: Mapping[Instance, Draw]) -> Distribution:
        """Return the units of an item that hang on findings told apart by the same draws."""
        codes = next(iter(draws.values())).spans
        mine = [line for line in self._lines if line.item == item and line.finding in codes]
        if not mine and not any(
            line.item == item and line.choose_one and not line.finding for line in self._lines
        ):
            return pmf.point(0)
        anywhere = [line for line in mine if line.instance not in draws and not line.choose_one]
        opened: Opened = {frozenset(): pmf.point(0)}
        for instance, draw in draws.items():
            here = [line for line in mine if line.instance == instance and not line.choose_one]
            groups = [
                members
                for (_, at), members in self._groups.items()
                if at == instance and any(line.finding in codes for line in members)
            ]
            opened = _joined(opened, _at_instance(item, draw, here, anywhere, groups))
        total = np.zeros(1)
        for lines, units in opened.items():
            more = pmf.convolve_all(_units(anywhere[index]) for index in lines)
            total = _added(total, np.convolve(units, more))
        return pmf.checked(total)


def _linked(
    lines: Iterable[UseLine], groups: Iterable[Group], complements: Mapping[str, str]
) -> list[list[str]]:
    """Return the finding codes in sets that share a draw: complements, and members of one group."""
    codes = list(dict.fromkeys(line.finding for line in lines if line.finding))
    links = [{code, complements[code]} for code in codes if code in complements]
    links += [{line.finding for line in members if line.finding} for members in groups]
    sets: list[set[str]] = [{code} for code in codes]
    for link in links:
        touched = [codes for codes in sets if codes & link]
        sets = [codes for codes in sets if not codes & link]
        if touched:
            sets.append(set().union(*touched, link))
    originals = set(complements.values())
    return [sorted(found, key=lambda code: (code not in originals, code)) for found in sets]


def _at_instance(item: Hashable, draw: Draw, here: Group, anywhere: Group, groups: Iterable[Group]) -> Opened:
    """Return the units of an item used at one instance, split by the lines of the case opened there."""
    ends = [end for line in [*here, *anywhere] for end in draw.span(line)]
    groups = list(groups)
    outcomes: Opened = {}
    for middle, length in draw.stretches(ends):
        opened = frozenset(index for index, line in enumerate(anywhere) if within(draw.span(line), middle))
        parts = [_units(line) for line in here if within(draw.span(line), middle)]
        parts += [_chosen(item, _shares(draw, members, middle)) for members in groups]
        units = length * pmf.convolve_all(parts)
        outcomes[opened] = _added(outcomes.get(opened, np.zeros(1)), units)
    return outcomes


def _shares(draw: Draw, members: Group, middle: float) -> list[tuple[UseLine, float]]:
    """Return the chance of each member of a group, given where the draw fell."""
    bound = [line for line in members if line.finding]
    shares = [(line, draw.share(line)) for line in bound if within(draw.spans[str(line.finding)], middle)]
    left = 1 - sum(share for _, share in shares)
    planned_left = 1 - sum(line.chance for line in bound)
    free = [line for line in members if not line.finding]
    if left > ROUNDING and planned_left > ROUNDING:
        shares += [(line, left * line.chance / planned_left) for line in free]
    return shares


def _chosen(item: Hashable, shares: Sequence[tuple[UseLine, float]]) -> Distribution:
    """Return the units of an item when at most one of the lines is opened, with the chances given."""
    rest = 1 - sum(share for _, share in shares)
    if rest < -pmf.MASS_TOLERANCE:
        name = shares[0][0].choose_one
        raise UnclearGroup(f"The members of the group {name} have shares that exceed 1 together.")
    mine = [(line, share) for line, share in shares if line.item == item]
    weights = [share for _, share in mine]
    others = 1 - sum(weights)
    parts = [_units(line) for line, _ in mine]
    if others > ROUNDING:
        return pmf.mixture([*weights, others], [*parts, pmf.point(0)])
    return pmf.mixture(weights, parts)


ROUNDED_PART = 9
"""Decimals kept of a part of a unit (no unit): finer parts are rounding of the quantity given."""


def _units(line: UseLine) -> Distribution:
    """Return the units an opened line uses: its whole units, and its part as a chance of one more."""
    whole = floor(line.quantity)
    part = round(line.quantity - whole, ROUNDED_PART)
    return pmf.shift(np.array([1 - part, part]) if part else pmf.point(0), whole)


def _joined(one: Opened, other: Opened) -> Opened:
    """Return the outcomes of two instances together: opened at either, units added."""
    joined: Opened = {}
    for (opened, units), (more_opened, more_units) in product(one.items(), other.items()):
        both = opened | more_opened
        joined[both] = _added(joined.get(both, np.zeros(1)), np.convolve(units, more_units))
    return joined


def _added(one: Distribution, other: Distribution) -> Distribution:
    """Return two parts of a distribution added cell by cell."""
    total = np.zeros(max(len(one), len(other)))
    total[: len(one)] += one
    total[: len(other)] += other
    return total
