"""What a case needs: its bill, its plan and the catalogue turned into lines with an item each.

One requirement is one bill line at one place (the case, a tooth site, an implant, a segment, an arch). The
pick list, the tray, readiness and the demand all start from here, so that they cannot disagree.
Pure: it reads the lines it is given and asks no database.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cached_property
from math import ceil
from typing import Any

from kits.families import Families
from kits.group_choices import suggested
from kits.plans import Plan, SitePlan, arches, segments, sinuses
from kits.procedure_facts import SINUS, checkpoint_for, facts_of
from kits.slot_answers import Asked, Filled, Missing
from kits.slots import fill

STOCK, SET, LAB = "stock", "set", "lab"
OPEN, CHECKPOINT, TROLLEY, ROOM = "open", "sealed until checkpoint", "sealed on trolley", "room stock"
_BASE_LEVELS = ("BASE-V", "BASE-S1", "BASE-S2", "BASE-S3")
# Lines that come with a printed guide follow the one question whether the case is guided.
_GUIDED = frozenset({"LAB-GDE", "SET-GDK"})


@dataclass(frozen=True)
class Requirement:
    """One line a case needs.

    ``quantity``: whole units that must lie within reach. ``use_quantity``: units used when it is used; less
    than one for a part of a shared container. ``certain``: does not hang on a finding. ``chance``: that it is
    used (of a choose-one member: that it is the one). ``known``: the finding is already known to be there
    (True) or absent (False). ``undecided``: an option of the plan nobody has decided; it blocks nothing.
    ``unresolved``: the sentence to show where there is no item; ``blocking``: the case cannot start with it.
    ``instead_of``: keys of the members of its group that it is an alternative to (see ``group_choices``).
    ``kind``: "stock" (from the ledger), "set" (reusable, ticked by a person), "lab" (made for this case).
    """

    key: str
    line_id: int
    procedure_code: str
    item: Any
    slot: str
    description: str
    site_id: int | None
    tooth: str
    quantity: int
    use_quantity: Decimal
    certain: bool
    chance: float
    set_out: str
    checkpoint: str = ""
    finding: Any = None
    known: bool | None = None
    choose_one_group: str = ""
    undecided: bool = False
    unresolved: str = ""
    blocking: bool = False
    note: str = ""
    kind: str = STOCK
    instead_of: tuple[str, ...] = ()

    @property
    def item_code(self) -> str:
        """Code of the item, or "" where none is chosen."""
        return self.item.code if self.item is not None else ""

    @property
    def finding_code(self) -> str:
        """Code of the finding that opens it, or ""."""
        return self.finding.code if self.finding is not None and not self.finding.is_planned else ""

    @property
    def is_needed(self) -> bool:
        """Whether it still has to lie ready: a finding known to be absent frees its lines."""
        return self.known is not False

    @property
    def must_scan(self) -> bool:
        """Whether a person has to scan it: implants, other serial-numbered units, and human tissue."""
        return self.item is not None and (self.item.is_unit_tracked or self.item.human_tissue)


def of_case(plan: Plan, bills: Sequence[tuple[str, Iterable[Any]]], families: Families) -> list[Requirement]:
    """Requirements of a case in bill order.

    ``bills``: (procedure code, bill lines) of each procedure. The base set-up of several procedures in one
    case comes once, at the highest level any of them asks for. Keys are unique within the case and stay the
    same while the bill version and the sites stay the same.
    """
    listed = [(code, list(lines)) for code, lines in bills]
    base = _base_of(listed)
    found: list[Requirement] = []
    for code, lines in listed:
        bill = _Bill(code, tuple(lines), plan, families)
        for line in lines:
            if line.module.startswith("BASE-") and (code, line.module) != base:
                continue
            for sites in _places(line.basis, code, plan):
                found += _at(line, sites, bill)
    return suggested(found, usual=plan.clinician_prefers, sealed=TROLLEY)


@dataclass(frozen=True)
class _Bill:
    """One procedure's lines with what they are read against."""

    code: str
    lines: tuple[Any, ...]
    plan: Plan
    families: Families

    def group_chance(self, line: Any) -> float:
        """Chance that any member of a line's choose-one group is used: its members' chances together."""
        siblings = (
            float(other.probability)
            for other in self.lines
            if other.choose_one_group == line.choose_one_group and other.finding_id == line.finding_id
        )
        return min(1.0, sum(siblings))

    @cached_property
    def plans_implants(self) -> bool:
        """Whether placing implants is an option of the plan here, not part of every such case."""
        return any(
            line.slot == "IMPLANT_PLANNED" and line.finding is not None and line.finding.is_planned
            for line in self.lines
        )


def _base_of(bills: Sequence[tuple[str, list[Any]]]) -> tuple[str, str] | None:
    """The one (procedure, base module) whose set-up lines count: the highest level, the first of equals."""
    levels = [
        (_BASE_LEVELS.index(line.module) if line.module in _BASE_LEVELS else -1, -place, code, line.module)
        for place, (code, lines) in enumerate(bills)
        for line in lines
        if line.module.startswith("BASE-")
    ]
    return max(levels)[2:] if levels else None


def _places(basis: str, code: str, plan: Plan) -> list[tuple[SitePlan, ...]]:
    """The places a line is needed at, as the sites each covers; a case without a tooth has one nameless."""
    sites = plan.sites or (SitePlan(None, ""),)
    if basis == "case":
        return [sites]
    if basis == "arch":
        return arches(sites)
    if facts_of(code).site_is == SINUS and basis == "site":
        return sinuses(sites)
    if basis == "graft":
        return segments(sites)
    return [(site,) for site in sites]


def _at(line: Any, sites: tuple[SitePlan, ...], bill: _Bill) -> list[Requirement]:
    """The requirements of one line at one place, after the plan's own decisions."""
    # A line of the case as a whole belongs to no site, even where the case has only one.
    site = None if line.basis == "case" else sites[0]
    decided = _decide(_bare(line, bill.code, site, bill.plan), line, site, bill)
    if decided is None:
        return []
    if line.item is not None:
        answers: tuple[Filled, ...] = (_fixed(line, site, bill.plan),)
    else:
        answers = fill(Asked(line.slot, bill.code, bill.plan, sites, bill.families))
    return [_with(decided, answer, number) for number, answer in enumerate(answers)]


def _bare(line: Any, code: str, site: SitePlan | None, plan: Plan) -> Requirement:
    finding = line.finding
    sealed_until = line.set_out == CHECKPOINT
    return Requirement(
        key=f"{code}.{line.position}/{site.tooth or '?' if site else 'case'}",
        line_id=line.pk,
        procedure_code=code,
        item=None,
        slot=line.slot,
        description=line.description,
        site_id=site.id if site else None,
        tooth=site.tooth if site else "",
        quantity=max(1, ceil(line.quantity)),
        use_quantity=line.quantity,
        certain=line.certain,
        chance=float(line.probability),
        set_out=line.set_out,
        checkpoint=checkpoint_for(code, _material(line)) if sealed_until else "",
        finding=finding,
        known=_known(finding, site, plan),
        choose_one_group=line.choose_one_group,
        note=line.notes,
    )


def _decide(bare: Requirement, line: Any, site: SitePlan | None, bill: _Bill) -> Requirement | None:
    """Apply what a person decided: a member of a group, or an option of the plan. None drops the line."""
    decided = bare
    if line.choose_one_group:
        chosen = [item for item, _ in bill.plan.chosen(f"group:{line.choose_one_group}", bare.site_id)]
        if chosen:
            return _chosen(bare, line, chosen, bill)
        preferred = bill.plan.clinician_prefers.get(f"group:{line.choose_one_group}")
        if preferred is not None and line.item is not None and preferred.code == line.item.code:
            decided = replace(bare, note=_joined(f"{bill.plan.clinician}'s usual", bare.note))
    if line.finding is not None and line.finding.is_planned:
        return _plan_option(decided, line, site, bill)
    if bill.plans_implants and line.slot.startswith("IMPLANT_STANDBY"):
        # Neighbouring sizes stand by only where an implant is placed at all.
        answer = _implant_answer(site, bill.plan)
        return None if answer is False else replace(decided, undecided=answer is None)
    return replace(decided, chance=1.0) if decided.known is True else decided


def _chosen(bare: Requirement, line: Any, chosen: list[Any], bill: _Bill) -> Requirement | None:
    """The one member of a group that a person chose; the others are not needed."""
    if line.item is None or line.item.code not in {item.code for item in chosen if item is not None}:
        return None
    on_finding = line.finding is not None and not line.finding.is_planned and bare.known is not True
    chance = bill.group_chance(line) if on_finding else 1.0
    return replace(bare, chance=chance, note=_joined("chosen for this case", bare.note))


def _plan_option(bare: Requirement, line: Any, site: SitePlan | None, bill: _Bill) -> Requirement | None:
    """A line that hangs on the plan: decided by a person, by the sites, or still open."""
    code = line.item.code if line.item is not None else line.slot
    answer = _answer(code, line, site, bill.plan)
    if answer is False:
        return None
    if answer is True:
        return replace(bare, chance=bare.chance if bare.choose_one_group else 1.0)
    share = f"as in {round(bare.chance * 100)} of 100 such cases"
    open_note = f"one of a group, {share}" if bare.choose_one_group else f"only if planned, {share}"
    return replace(bare, undecided=True, note=_joined(open_note, bare.note))


def _answer(code: str, line: Any, site: SitePlan | None, plan: Plan) -> bool | None:
    chosen = plan.chosen(f"plan:{code}", site.id if site else None)
    if chosen:
        return any(quantity > 0 for _, quantity in chosen)
    if code in _GUIDED:
        return plan.guided
    if line.slot == "IMPLANT_PLANNED":
        return _implant_answer(site, plan)
    return None


def _implant_answer(site: SitePlan | None, plan: Plan) -> bool | None:
    """Whether an optional implant goes into a site: yes if planned there, no if only elsewhere."""
    if site is not None and site.implant is not None:
        return True
    said = plan.chosen("plan:IMPLANT_PLANNED", site.id if site else None)
    if said:
        return any(quantity > 0 for _, quantity in said)
    return False if any(other.implant is not None for other in plan.sites) else None


def _fixed(line: Any, site: SitePlan | None, plan: Plan) -> Filled:
    """The line's own item, unless a person chose another for it or the patient declines it."""
    chosen = plan.chosen(f"item:{line.item.code}", site.id if site else None)
    item = next((item for item, _ in chosen if item is not None), line.item)
    declined = plan.declines(item)
    if not declined:
        return Filled(item, note="" if item is line.item else f"instead of {line.item.name}")
    words = " and ".join(sorted(declined))
    sentence = f"{plan.patient} declines {words} material: {item.name} is not for this case."
    if line.choose_one_group or line.set_out == ROOM:
        return Filled(None, unresolved=sentence)
    return Missing(f"{sentence} Choose another with the clinician.")


def _with(decided: Requirement, answer: Filled, number: int) -> Requirement:
    item = answer.item
    kind = STOCK
    if item is not None and item.is_set:
        kind = SET
    elif item is not None and item.tracking == "case-id":
        kind = LAB
    blocking = answer.blocking and not decided.undecided and decided.set_out != ROOM and decided.is_needed
    return replace(
        decided,
        key=decided.key if number == 0 else f"{decided.key}+{number}",
        item=item,
        description=item.name if item is not None else decided.description,
        quantity=decided.quantity * answer.quantity,
        use_quantity=decided.use_quantity * answer.quantity,
        unresolved=answer.unresolved,
        blocking=blocking,
        note=_joined(answer.note, decided.note),
        kind=kind,
    )


def _known(finding: Any, site: SitePlan | None, plan: Plan) -> bool | None:
    """What is known of a finding at a site, else for the case; a complement is turned round."""
    if finding is None or finding.is_planned:
        return None
    states = _states(finding.code, site, plan)
    if states is None and finding.complement_of is not None:
        other = _states(finding.complement_of.code, site, plan)
        return None if other is None else not other
    return states


def _states(code: str, site: SitePlan | None, plan: Plan) -> bool | None:
    if site is not None and (code, site.id) in plan.known:
        return plan.known[code, site.id]
    if (code, None) in plan.known:
        return plan.known[code, None]
    if site is not None:
        return None
    # A line of the whole case opens if the finding is there at any site; it is free once absent at all.
    seen = [plan.known[code, place.id] for place in plan.sites if (code, place.id) in plan.known]
    if any(seen):
        return True
    return False if seen and len(seen) == len(plan.sites) else None


def _material(line: Any) -> str:
    """Kind of material of a line, for its checkpoint."""
    words = line.slot or (line.item.substitution_group if line.item is not None else "")
    for start, material in (("IMPLANT", "implant"), ("GRAFT", "graft"), ("MEM", "membrane"), ("MUA", "part")):
        if words.startswith(start):
            return material
    return ""


def _joined(first: str, second: str) -> str:
    return "; ".join(part for part in (first, second) if part)
