"""The lines of a case: its requirements before setting out begins, its tray afterwards, one shape for both.

Once setting out has begun the tray is fixed; the requirements still tell what has been found since.
"""

from collections.abc import Iterable, Mapping

from django.db.models import Prefetch

from kits.group_choices import led_by_tray
from kits.models import Case, TrayLine, TrayUnit
from kits.pick_values import PickLine
from kits.requirements import LAB, SET, STOCK, Requirement
from kits.tray_fitness import unfit_of, unfit_sentence


def lines_of(needed: Mapping[int, list[Requirement]]) -> dict[int, list[PickLine]]:
    """Lines by case id, of cases with these requirements; two queries."""
    trays: dict[int, list[TrayLine]] = {}
    units = TrayUnit.objects.select_related("lot__item", "place", "tray", "site")
    begun = TrayLine.objects.filter(case__in=list(needed)).select_related(
        "item", "finding", "site", "case__patient"
    )
    for line in begun.prefetch_related(Prefetch("units", queryset=units)):
        trays.setdefault(line.case_id, []).append(line)
    return {pk: _of_case(lines, trays.get(pk)) for pk, lines in needed.items()}


def _of_case(needed: list[Requirement], tray: list[TrayLine] | None) -> list[PickLine]:
    if tray is None:
        return [_from_requirement(requirement) for requirement in needed]
    by_key = {requirement.key: requirement for requirement in needed}
    covered = {
        line.substitutes_id
        for line in tray
        if line.substitutes_id and any(unit.outcome != "put-back" for unit in line.units.all())
    }
    lines = [_from_tray(line, by_key.get(line.key), line.pk in covered) for line in tray]
    on_tray = {line.key for line in tray}
    # What was never put on the tray, because nobody has decided it, is still there to be decided.
    return led_by_tray(lines + [_from_requirement(line) for line in needed if line.key not in on_tray])


def _from_requirement(requirement: Requirement) -> PickLine:
    return PickLine(
        key=requirement.key,
        item=requirement.item,
        description=requirement.description,
        quantity=requirement.quantity,
        kind=requirement.kind,
        site_id=requirement.site_id,
        tooth=requirement.tooth,
        set_out=requirement.set_out,
        checkpoint=requirement.checkpoint,
        finding=requirement.finding if requirement.finding_code else None,
        known=requirement.known,
        choose_one_group=requirement.choose_one_group,
        chance=requirement.chance,
        certain=requirement.certain,
        undecided=requirement.undecided,
        unresolved=requirement.unresolved,
        blocking=requirement.blocking,
        note=requirement.note,
        must_scan=requirement.must_scan,
        instead_of=requirement.instead_of,
    )


def _from_tray(line: TrayLine, requirement: Requirement | None, covered: bool) -> PickLine:
    case = line.case
    units = [unit for unit in line.units.all() if unit.outcome != TrayUnit.Outcome.PUT_BACK]
    unfit = unfit_of(units, on=case.on, declined=case.patient.declined_origins)
    said = tuple(unfit_sentence(unit, why) for unit, why in unfit)
    units = [unit for unit in units if unit not in {each for each, _ in unfit}]
    return PickLine(
        key=line.key,
        item=line.item,
        description=line.description,
        # What a substitute stands in for is no longer asked for.
        quantity=sum(unit.quantity for unit in units) if covered else line.quantity,
        kind=kind_of(line),
        line=line,
        site_id=line.site_id,
        tooth=line.site.tooth if line.site else "",
        set_out=line.set_out,
        checkpoint=line.checkpoint,
        finding=line.finding,
        known=requirement.known if requirement else None,
        choose_one_group=line.choose_one_group,
        chance=requirement.chance if requirement else line.chance,
        certain=line.certain,
        unresolved=requirement.unresolved if requirement and line.item is None else "",
        blocking=requirement.blocking if requirement and line.item is None else False,
        note=" ".join([*said, line.note]).strip(),
        unfit=said,
        must_scan=must_scan(line),
        added=line.added,
        is_ready=line.ready_at is not None,
        units=tuple(units),
        instead_of=requirement.instead_of if requirement else (),
    )


def kind_of(line: TrayLine) -> str:
    """Whether a tray line is stock, a reusable set, or work made for the case."""
    if line.item is not None and line.item.is_set:
        return SET
    if line.item is not None and line.item.tracking == "case-id":
        return LAB
    return STOCK


def must_scan(line: TrayLine) -> bool:
    """Whether the line's units have to be scanned: serial-numbered units and human tissue."""
    return line.item is not None and (line.item.is_unit_tracked or line.item.human_tissue)


def tray_drafts(case: Case, needed: Iterable[Requirement]) -> list[TrayLine]:
    """The tray of a case as unsaved rows: everything decided that exists, or that somebody has to choose."""
    decided = [
        line
        for line in needed
        if not line.undecided and line.is_needed and (line.item is not None or line.blocking)
    ]
    return [
        TrayLine(
            case=case,
            position=position,
            key=line.key,
            item=line.item,
            description=line.description[:200],
            site_id=line.site_id,
            quantity=line.quantity,
            certain=line.certain,
            chance=line.chance,
            set_out=line.set_out,
            checkpoint=line.checkpoint,
            finding=line.finding if line.finding_code else None,
            choose_one_group=line.choose_one_group,
            note=line.note[:255],
        )
        for position, line in enumerate(decided, start=1)
    ]
