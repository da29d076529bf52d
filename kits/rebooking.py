"""A booked case that its file now books otherwise, and the ids under which files know a case."""

import datetime as dt
from collections.abc import Iterable, Sequence

from django.db import transaction

from kits.models import BomVersion, Case, CaseProcedure, FileBooking, Procedure
from kits.scheduling import NoProcedure, add_sites, published_versions
from kits.tray import WrongState, locked
from practice import audit
from practice.refusals import Refusal
from practice.teeth import show_teeth

REBOOK = audit.action("case.rebook", "planned {subject} anew: {what}")
RECOGNISE = audit.action("case.recognise", "linked {subject} to the booking {identity} of a file")


class TrayBegun(Refusal):
    """The plan would change under a tray that is already being set out."""

    def __init__(self, case: Case, what: str) -> None:
        self.case = case
        super().__init__(
            f"{case} is already {case.get_state_display()}, so its plan was not changed ({what}). Cancel it "
            "on its page, which puts its tray back, and book it anew; or undo the change in the calendar."
        )


@transaction.atomic
def rebook(*, case: Case, procedures: Sequence[Procedure], teeth: Iterable[str], by, at: dt.datetime) -> Case:
    """Plan a booked case for these procedures and teeth (FDI) instead of those it has.

    What stays the same keeps everything: a procedure its bill, a tooth its implant, measures, choices and
    findings. A procedure that comes new brings the bill published now. Saying what is planned already
    changes nothing. Raises TrayBegun while the tray is set out, WrongState after that, NoProcedure,
    NothingPublished, UnknownTooth.
    """
    if not procedures:
        raise NoProcedure()
    case = locked(case)
    wanted, teeth = list(dict.fromkeys(procedures)), list(dict.fromkeys(teeth))
    what = "; ".join(_changes(case, wanted, teeth))
    if not what:
        return case
    if case.state == Case.State.SET_OUT:
        raise TrayBegun(case, what)
    if case.state != Case.State.BOOKED:
        raise WrongState(case, "change its plan")
    _replace_procedures(case, wanted, published_versions(wanted))
    case.sites.exclude(tooth__in=teeth).delete()
    there = set(case.sites.values_list("tooth", flat=True))
    add_sites(case, [tooth for tooth in teeth if tooth not in there])
    Case.objects.filter(pk=case.pk).update(changed_at=at)
    audit.record(REBOOK, by=by, at=at, subject=case.code, clinic=case.clinic, what=what)
    return case


def _changes(case: Case, procedures: Sequence[Procedure], teeth: Sequence[str]) -> list[str]:
    """What would change, in words; empty when nothing would."""
    said = []
    before = list(case.procedures.values_list("procedure__code", flat=True))
    after = [procedure.code for procedure in procedures]
    if set(before) != set(after):
        said.append(f"{', '.join(before)} → {', '.join(after)}")
    had = list(case.sites.values_list("tooth", flat=True))
    if set(had) != set(teeth):
        said.append(teeth_words(had, teeth, case.clinic.tooth_notation))
    return said


def teeth_words(before: Sequence[str], after: Sequence[str], notation: str) -> str:
    """A change of teeth (FDI) in the clinic's own numbers: "teeth 15 → 15, 16"."""
    shown = [show_teeth(sorted(teeth), notation) if teeth else "none" for teeth in (before, after)]
    return f"teeth {' → '.join(shown)}"


def _replace_procedures(case: Case, wanted: list[Procedure], versions: dict[int, BomVersion]) -> None:
    """Drop the procedures that are booked no more and add the new ones; the others keep their bill."""
    case.procedures.exclude(procedure__in=wanted).delete()
    there = set(case.procedures.values_list("procedure_id", flat=True))
    CaseProcedure.objects.bulk_create(
        CaseProcedure(case=case, procedure=procedure, version=versions[procedure.pk])
        for procedure in wanted
        if procedure.pk not in there
    )


@transaction.atomic
def recognise(
    *, case: Case, identity: str, procedures: Iterable[str], teeth: Iterable[str], by, at: dt.datetime
) -> FileBooking:
    """Keep that a file knows the case by this id, and the codes and teeth (FDI) it gave it last.

    An id that led to another case leads here from now on.
    """
    said = {"procedures": " ".join(procedures), "teeth": " ".join(teeth), "read_at": at}
    key = {"clinic": case.clinic, "identity": identity}
    found, made = FileBooking.objects.update_or_create(**key, defaults={"case": case, **said})
    if made and identity != case.external_id:
        audit.record(RECOGNISE, by=by, at=at, subject=case.code, clinic=case.clinic, identity=identity)
    return found
