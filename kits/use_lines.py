"""From a case's requirements to the lines that its use and its reserve are worked out from. Pure.

Requirements say what lies ready; here each becomes a ``UseLine`` with what it hangs on, less what has
already been used, wasted or put back. Sets and work made for one case are no stock and are left out.
"""

from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from kits.explosion import FindingChance, Findings, UseLine, case_requirement, case_use
from kits.requirements import STOCK, Requirement
from stock.planning import pmf
from stock.planning.pmf import Distribution


@dataclass(frozen=True)
class Settled:
    """What has become of the units of a case's tray so far, by the key of the requirement.

    done: units used, wasted or put back; opened: units opened and not yet accounted for; instead: sealed
    units of another item that lie there in place of the one asked for, as (item, units).
    extra: opened units that no requirement asked for, or of another item than it asked for.
    """

    done: Mapping[str, int] = field(default_factory=dict)
    opened: Mapping[str, int] = field(default_factory=dict)
    instead: Mapping[str, Sequence[tuple[int, float]]] = field(default_factory=dict)
    extra: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class CaseLines:
    """Lines of one case: all that it may use, and those of them that must lie ready when it starts.

    Of a group of which one is used by preference only the suggested member has to lie ready.
    """

    may_use: tuple[UseLine, ...]
    must_lie: tuple[UseLine, ...]
    findings: Findings

    def use(self) -> dict[Hashable, Distribution]:
        """Distribution of the units still to be used, by item."""
        sure: dict[Hashable, int] = {}
        unsure = {line.item for line in self.may_use if not _is_sure(line)}
        for line in self.may_use:
            if line.item not in unsure:
                sure[line.item] = sure.get(line.item, 0) + int(line.quantity)
        # Most lines of a case are used for certain: only the others need the sums over findings.
        rest = [line for line in self.may_use if line.item in unsure]
        found = {item: units for item, units in case_use(rest, self.findings).items() if len(units) > 1}
        return found | {item: pmf.point(units) for item, units in sure.items() if units}

    def requirement(self, use: Mapping[Hashable, Distribution]) -> dict[Hashable, int]:
        """Units that must still lie ready, by item: the most that can be used of what is decided.

        use: the answer of ``use``, which holds it already for items whose lines are all decided.
        """
        decided = set(self.must_lie)
        open_items = {line.item for line in self.may_use if line not in decided}
        found = {item: len(units) - 1 for item, units in use.items() if item not in open_items}
        lines = [line for line in self.must_lie if line.item in open_items]
        return found | {
            item: units for item, units in case_requirement(lines, self.findings).items() if units
        }


def _is_sure(line: UseLine) -> bool:
    return (
        line.finding is None
        and line.choose_one is None
        and line.chance == 1
        and float(line.quantity).is_integer()
    )


def lines_of(
    requirements: Iterable[Requirement],
    *,
    probability_of: Mapping[int, float],
    settled: Settled | None = None,
) -> CaseLines:
    """The lines of one case.

    probability_of: by id of the bill line, the chance the bill states: lines of one finding are nested
    by it, also once the finding is known. settled: what the tray has seen so far.
    """
    settled = settled or Settled()
    given = [line for line in requirements if line.kind == STOCK and line.item is not None]
    members = Counter((line.choose_one_group, line.site_id) for line in given if line.is_needed)
    may_use: list[UseLine] = []
    must_lie: list[UseLine] = []
    for line in given:
        alone = bool(line.choose_one_group) and members[line.choose_one_group, line.site_id] == 1
        for found in _lines(line, alone, probability_of, settled):
            may_use.append(found)
            if not (line.undecided or line.instead_of) or found.chance == 1:
                must_lie.append(found)
    extra = [UseLine(item=item, quantity=units) for item, units in settled.extra]
    return CaseLines((*may_use, *extra), (*must_lie, *extra), _findings(given))


def _findings(lines: Sequence[Requirement]) -> dict[Hashable, bool | float | FindingChance]:
    """What is known of the findings: at each place, or for the case where no place has a line on it."""
    known = [line for line in lines if line.finding_code and line.known is not None]
    at_sites = {line.finding_code for line in lines if line.site_id is not None}
    found: dict[Hashable, bool | float | FindingChance] = {}
    for line in known:
        if line.site_id is not None:
            found[line.finding_code, line.site_id] = bool(line.known)
        elif line.finding_code not in at_sites:
            found[line.finding_code] = bool(line.known)
    return found


def _lines(
    line: Requirement, alone: bool, probability_of: Mapping[int, float], settled: Settled
) -> Iterable[UseLine]:
    """One requirement as what is opened already and will be used, and what is left of it sealed."""
    opened = settled.opened.get(line.key, 0)
    if opened:
        yield UseLine(item=line.item.pk, quantity=opened)
    left = float(line.use_quantity) - opened - settled.done.get(line.key, 0)
    if not line.is_needed or left <= 0:
        return
    chosen = alone and line.known is True
    planned = line.chance if chosen or line.known is None else probability_of.get(line.line_id, line.chance)
    # What stands in for an item replaces it whole: two small vials for a large one.
    for item, units in settled.instead.get(line.key) or [(line.item.pk, left)]:
        yield UseLine(
            item=item,
            quantity=units,
            chance=planned,
            finding=None if chosen else line.finding_code or None,
            instance=line.site_id,
            choose_one=None if alone else line.choose_one_group or None,
        )
