"""Publishing bills of materials: a version replaces the one before; cases keep the one they have."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction

from kits.models import BomLine, BomVersion, Finding, Procedure, ProcedureFinding
from practice import audit
from practice.refusals import Refusal
from stock.models import Item

PUBLISH = audit.action("procedure.publish", "published version {number} of {subject} with {lines} lines")


class EmptyBill(Refusal):
    """A version without lines would set out an empty tray."""

    def __init__(self, procedure: Procedure) -> None:
        super().__init__(f"{procedure} needs at least one line; add what it needs and publish again.")


@dataclass(frozen=True)
class LineDraft:
    """One line to publish: either ``item`` or ``slot`` is filled; quantity in the item's stock unit."""

    item: Item | None
    slot: str
    description: str
    basis: str
    quantity: Decimal
    unit: str
    certain: bool
    probability: Decimal
    finding: Finding | None
    choose_one_group: str
    set_out: str
    module: str = ""
    notes: str = ""


@transaction.atomic
def publish(
    *, procedure: Procedure, lines: Sequence[LineDraft], digest: str, by, at: dt.datetime
) -> BomVersion:
    """Publish a new version of a procedure's bill and retire the one before; raises EmptyBill."""
    if not lines:
        raise EmptyBill(procedure)
    Procedure.objects.select_for_update().get(pk=procedure.pk)
    newest = procedure.versions.order_by("-number").first()
    procedure.versions.filter(state=BomVersion.State.PUBLISHED).update(state=BomVersion.State.RETIRED)
    version = BomVersion.objects.create(
        procedure=procedure,
        number=newest.number + 1 if newest else 1,
        state=BomVersion.State.PUBLISHED,
        created_at=at,
        digest=digest,
    )
    BomLine.objects.bulk_create(
        BomLine(version=version, position=position, **vars(line))
        for position, line in enumerate(lines, start=1)
    )
    _write_chances(procedure, lines)
    audit.record(PUBLISH, by=by, at=at, subject=procedure.code, number=version.number, lines=len(lines))
    return version


def chances(lines: Sequence[LineDraft]) -> dict[Finding, float]:
    """Chance of each finding in one procedure: the largest chance of the lines that hang on it.

    The lines of one finding open on one draw, so the widest of them is the finding itself. The absence of
    another finding has what that one leaves, and the members of a choose-one group share theirs out.
    """
    found: dict[Finding, float] = {}
    for line in lines:
        if line.finding is not None:
            found[line.finding] = max(found.get(line.finding, 0.0), float(line.probability))
    grouped: dict[tuple[Finding, str], float] = {}
    for line in lines:
        if line.finding is not None and line.choose_one_group:
            key = (line.finding, line.choose_one_group)
            grouped[key] = grouped.get(key, 0.0) + float(line.probability)
    for (finding, _), total in grouped.items():
        found[finding] = min(1.0, max(found[finding], total))
    for finding in list(found):
        if finding.complement_of in found:
            found[finding] = 1.0 - found[finding.complement_of]
    return found


def _write_chances(procedure: Procedure, lines: Sequence[LineDraft]) -> None:
    found = chances(lines)
    ProcedureFinding.objects.filter(procedure=procedure).exclude(finding__in=found).delete()
    ProcedureFinding.objects.bulk_create(
        [
            ProcedureFinding(procedure=procedure, finding=finding, chance=chance)
            for finding, chance in found.items()
        ],
        update_conflicts=True,
        unique_fields=["procedure", "finding"],
        update_fields=["chance"],
    )
