"""What the plan was certain of and nobody recorded: asked for at closing, answered with a word why."""

import datetime as dt
from collections.abc import Iterable

from django.db import transaction

from kits.case_lines import must_scan
from kits.models import Case, Procedure, TrayLine, TrayUnit
from kits.tray import WrongState, locked
from practice import audit
from practice.refusals import Refusal

NONE_USED = audit.action("tray.none-used", "said for {subject} that none of {what} was placed: {why}")

Outcome = TrayUnit.Outcome
_LONGEST = 200


class WhyNone(Refusal):
    """A word is needed."""

    def __init__(self, line: TrayLine) -> None:
        super().__init__(f"Say why no {line.description} was placed; a few words are enough.")


def nothing_placed(case: Case, *, done: Iterable[Procedure] | None = None) -> list[TrayLine]:
    """Certain lines of implants and tissue of what was done, of whose kind nothing was used or wasted there.

    ``done``: the procedures really done, by default those of the case marked as done. A line with a word why,
    one that is one of a choice, and one whose unit still lies on the tray is not among them. Another size of
    the same category at the same tooth (or at none said) counts as placed.
    """
    if done is None:
        done = [row.procedure for row in case.procedures.filter(done=True).select_related("procedure")]
    codes = {procedure.code for procedure in done}
    lines = TrayLine.objects.filter(case=case, certain=True, added=False, substitutes=None)
    lines = lines.filter(none_used_because="", choose_one_group="").exclude(item=None)
    units = list(
        TrayUnit.objects.filter(line__case=case).exclude(outcome=Outcome.PUT_BACK).select_related("lot__item")
    )
    waiting = {unit.line_id for unit in units if unit.outcome == Outcome.PENDING}
    placed = {(unit.lot.item.category, unit.site_id) for unit in units if unit.outcome != Outcome.PENDING}
    return [
        line
        for line in lines.select_related("item", "site", "case")
        if must_scan(line)
        and line.key.partition(".")[0] in codes
        and line.pk not in waiting
        and not _placed(line, placed)
    ]


def _placed(line: TrayLine, placed: set[tuple[str, int | None]]) -> bool:
    if line.site_id is None:
        return any(category == line.item.category for category, _ in placed)
    return bool({(line.item.category, line.site_id), (line.item.category, None)} & placed)


@transaction.atomic
def say_none(*, line: TrayLine, why: str, by, at: dt.datetime) -> TrayLine:
    """Keep why none of a line was placed. Raises WhyNone without a word, WrongState outside surgery."""
    case = locked(line.case)
    if case.state != Case.State.IN_SURGERY:
        raise WrongState(case, "say that none was placed")
    why = why.strip()[:_LONGEST]
    if not why:
        raise WhyNone(line)
    line.none_used_because = why
    line.save(update_fields=["none_used_because"])
    facts = {"what": line.description, "why": why}
    audit.record(NONE_USED, by=by, at=at, subject=case.code, clinic=case.clinic, **facts)
    return line
