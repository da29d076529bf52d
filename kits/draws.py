"""What a line of a case hangs on, and the one uniform draw behind each finding.

Pure. `kits.explosion` is the door to it and explains how lines hang together.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

COMPLEMENTS: Mapping[str, str] = {"F-INTACT": "F-FPM"}
"""Finding that is there exactly when the other is not: walls intact, facial plate missing (the
socket has one or the other, by definition of the two findings)."""

ROUNDING = 1e-12
"""Points of the draw from 0 to 1 closer than this are one point (no unit), as 0.3 and 1 - 0.7 are."""

Instance = Hashable | None


class WrongFinding(ValueError):
    """A finding has a chance that cannot be, or findings that exclude each other exceed certainty."""


@dataclass(frozen=True, kw_only=True)
class UseLine:
    """One need of a case, worked out for one instance of its basis.

    item: what is used, any hashable.
    quantity: units for this instance (0.3 = a part of a shared container).
    chance: planned chance that the line is opened, as the bill of materials states it; 1 for certain.
    finding: code of the finding it hangs on, or None.
    instance: the tooth site, implant or graft it belongs to; None for the case as a whole.
    choose_one: name of the group of which at most one member is opened per instance, or None.
    """

    item: Hashable
    quantity: float = 1
    chance: float = 1.0
    finding: str | None = None
    instance: Instance = None
    choose_one: str | None = None


@dataclass(frozen=True, kw_only=True)
class FindingChance:
    """Chance of a finding believed now, and the planned one its lines were written against.

    planned None: the largest chance among its lines, members of one group counted together.
    """

    chance: float
    planned: float | None = None


Findings = Mapping[Hashable, "bool | float | FindingChance"]


class Beliefs:
    """What is planned and what is believed now of every finding of one case."""

    def __init__(self, lines: Sequence[UseLine], findings: Findings, complements: Mapping[str, str]) -> None:
        self._lines, self._findings, self._complements = lines, findings, complements

    def is_complement(self, code: str) -> bool:
        """Say whether a finding is defined as the opposite of another."""
        return code in self._complements

    def instances(self, codes: Sequence[str]) -> list[Instance]:
        """Return where findings are judged: the instances of their lines, else the case."""
        named = [line.instance for line in self._lines if line.finding in codes]
        named += [key[1] for key in self._findings if isinstance(key, tuple) and key[0] in codes]
        return list(dict.fromkeys(instance for instance in named if instance is not None)) or [None]

    def believed(self, code: str, instance: Instance) -> float:
        """Return the chance of a finding believed now."""
        original = self._complements.get(code)
        reverse = next((other for other, of in self._complements.items() if of == code), None)
        for source in [original, code, reverse]:
            given = self._given(source, instance) if source else None
            if given is not None:
                chance = given.chance if isinstance(given, FindingChance) else float(given)
                return chance if source == code else 1 - chance
        return self.planned(code, instance)

    def planned(self, code: str, instance: Instance) -> float:
        """Return the chance of a finding that its lines were written against."""
        original = self._complements.get(code)
        if original:
            opposite = self._stated(original, instance)
            return 1 - opposite if opposite else self._stated(code, instance)
        return self._stated(code, instance)

    def _given(self, code: str, instance: Instance) -> bool | float | FindingChance | None:
        """Return what was given of a finding at an instance, None if nothing."""
        if instance is not None and (code, instance) in self._findings:
            return self._findings[(code, instance)]
        return self._findings.get(code)

    def _stated(self, code: str, instance: Instance) -> float:
        """Return the planned chance given, else the largest chance among the lines, else 0."""
        given = self._given(code, instance)
        if isinstance(given, FindingChance) and given.planned is not None:
            return given.planned
        on = [line for line in self._lines if line.finding == code]
        here = [line for line in on if line.instance in (instance, None)] or on
        together: dict[Hashable, float] = {}
        for place, line in enumerate(here):
            key = (line.choose_one, line.instance) if line.choose_one else place
            together[key] = together.get(key, 0.0) + line.chance
        return min(1.0, max(together.values(), default=0.0))


class Draw:
    """One uniform draw from 0 to 1 that tells apart findings excluding each other at one instance.

    Findings lie side by side from 0 up; a complement reaches down from 1.
    """

    def __init__(self, codes: Sequence[str], instance: Instance, beliefs: Beliefs) -> None:
        self._planned = {code: beliefs.planned(code, instance) for code in codes}
        self._from_top = {code for code in codes if beliefs.is_complement(code)}
        if len(self._from_top) > 1:
            raise WrongFinding(f"{sorted(self._from_top)} are opposites of findings that exclude each other.")
        self.spans: dict[str, tuple[float, float]] = {}
        free_from = 0.0
        for code in codes:
            chance = beliefs.believed(code, instance)
            if not 0 <= chance <= 1:
                raise WrongFinding(f"The chance {chance} of {code} is not between 0 and 1.")
            start = 1 - chance if code in self._from_top else free_from
            end = start + chance
            if end > 1 + ROUNDING:
                raise WrongFinding(
                    f"{code} and the findings it excludes have chances that exceed 1 together."
                )
            if code not in self._from_top:
                free_from = end
            self.spans[code] = (start, min(end, 1.0))

    def share(self, line: UseLine) -> float:
        """Return the chance that a line opens once its finding is there."""
        planned = self._planned[str(line.finding)]
        return min(1.0, line.chance / planned) if planned > 0 else 0.0

    def span(self, line: UseLine) -> tuple[float, float]:
        """Return where on the draw a line outside any group is open; lines of a finding are nested."""
        start, end = self.spans[str(line.finding)]
        length = (end - start) * self.share(line)
        if line.finding in self._from_top:
            return end - length, end
        return start, start + length

    def stretches(self, points: Sequence[float]) -> list[tuple[float, float]]:
        """Cut the draw at its findings' ends and at `points`; return (middle, length) of each stretch."""
        ends = [end for span in self.spans.values() for end in span]
        cuts = [0.0]
        for cut in sorted([*ends, *points]):
            if cut - cuts[-1] > ROUNDING and 1 - cut > ROUNDING:
                cuts.append(cut)
        cuts.append(1.0)
        return [((low + high) / 2, high - low) for low, high in zip(cuts[:-1], cuts[1:], strict=True)]


def within(span: tuple[float, float], point: float) -> bool:
    """Say whether a point of the draw lies in a span."""
    return span[0] < point < span[1]
