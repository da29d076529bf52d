"""The tray as rows: begun once, kept in step with the plan until surgery, never losing what lies on it."""

import datetime as dt

from django.db import transaction

from kits.case_lines import tray_drafts
from kits.case_loading import requirements_of, with_plans
from kits.models import Case, TrayLine
from practice import audit
from practice.refusals import Refusal
from stock.models import Place
from stock.places import ensure_place

BEGIN = audit.action("case.set-out", "began setting out {subject}: {lines} lines")


class WrongState(Refusal):
    """The case is in another state than the verb needs."""

    def __init__(self, case: Case, doing: str) -> None:
        self.case = case
        super().__init__(f"{case} is {case.get_state_display()}, so it is too late to {doing}.")


class TakeOffFirst(Refusal):
    """The plan asks for another item where the old one already lies on the tray."""

    def __init__(self, line: TrayLine) -> None:
        self.line = line
        super().__init__(
            f"{line.description} already lies on the tray of {line.case}. Take it off, then change the plan."
        )


class NoRoom(Refusal):
    """A tray stands in a room, and the case has none yet."""

    def __init__(self, case: Case) -> None:
        super().__init__(f"{case} has no room yet. Say in which room it is, then set out its tray there.")


def locked(case: Case) -> Case:
    """The case's row, locked until the transaction ends, so that two people cannot act on it at once."""
    return (
        Case.objects.select_for_update(of=("self",))
        .select_related("clinic", "room", "patient")
        .get(pk=case.pk)
    )


def loaded(case: Case) -> Case:
    """The case with its whole plan."""
    return with_plans(Case.objects.filter(pk=case.pk)).get()


def source_of(case: Case) -> str:
    """The label under which the ledger keeps what happens for a case."""
    return f"case:{case.code}"


def tray_place(case: Case, *, by, at: dt.datetime) -> Place:
    """Where the tray of a case stands: the tray place of its room. Raises NoRoom."""
    if case.room is None:
        raise NoRoom(case)
    name = f"Tray {case.room.code}"
    return ensure_place(clinic=case.clinic, name=name, kind=Place.Kind.TRAY, by=by, at=at)


@transaction.atomic
def begin(*, case: Case, by, at: dt.datetime) -> Case:
    """Begin setting out: fix the lines of the tray. A case already being set out stays as it is.

    Raises WrongState for a closed or cancelled case or one in surgery, NoRoom.
    """
    case = locked(case)
    if case.state == Case.State.SET_OUT:
        return case
    if case.state != Case.State.BOOKED:
        raise WrongState(case, "set out its tray")
    tray_place(case, by=by, at=at)
    drafts = tray_drafts(case, requirements_of([loaded(case)])[case.pk])
    TrayLine.objects.bulk_create(drafts)
    Case.objects.filter(pk=case.pk).update(state=Case.State.SET_OUT, changed_at=at)
    case.state, case.changed_at = Case.State.SET_OUT, at
    audit.record(BEGIN, by=by, at=at, subject=case.code, clinic=case.clinic, lines=len(drafts))
    return case


@transaction.atomic
def keep_in_step(*, case: Case) -> None:
    """Bring a tray that is being set out into step with a changed plan.

    Lines that hold units or were ticked stay, even if nothing asks for them any more: a person puts them
    back. Lines of a tray in surgery are never touched. Raises TakeOffFirst.
    """
    case = locked(case)
    if case.state != Case.State.SET_OUT:
        return
    drafts = {line.key: line for line in tray_drafts(case, requirements_of([loaded(case)])[case.pk])}
    present = {line.key: line for line in case.tray_lines.prefetch_related("units")}
    gone = []
    for key, line in present.items():
        draft = drafts.get(key)
        held = line.ready_at is not None or any(unit.outcome != "put-back" for unit in line.units.all())
        if line.added or (held and draft is None):
            continue
        if draft is None or draft.item != line.item:
            if held:
                raise TakeOffFirst(line)
            gone.append(line.pk)
        else:
            _follow(line, draft)
            drafts.pop(key)
    TrayLine.objects.filter(pk__in=gone).delete()
    last = max((line.position for line in present.values()), default=0)
    for number, draft in enumerate(drafts.values(), start=1):
        draft.position = last + number
        draft.save()


def _follow(line: TrayLine, draft: TrayLine) -> None:
    """Take over what the plan may have changed on a line of the same item."""
    fields = ("description", "quantity", "certain", "chance", "set_out", "checkpoint", "note")
    for name in fields:
        setattr(line, name, getattr(draft, name))
    line.save(update_fields=fields)
