"""Taking back what was chosen for a case."""

import datetime as dt

from django.db import transaction

from kits.chairside import OtherCase
from kits.models import Case, CaseSite, PlanChoice
from kits.scheduling import plan_changed, plannable
from practice import audit
from practice.refusals import Refusal

WITHDRAW = audit.action("case.withdraw-choice", "took back for {subject} {place}: {choice} as {what}")


class NothingChosen(Refusal):
    """There is no choice to take back."""

    def __init__(self, case: Case, subject: str) -> None:
        super().__init__(f"Nothing is chosen for {case} as {subject} any more. Load the page again.")


@transaction.atomic
def withdraw_choice(*, case: Case, subject: str, by, at: dt.datetime, site: CaseSite | None = None) -> None:
    """Take back what was chosen for a subject, at a site or for the case as a whole.

    The subject is then open again, or answered by measures, preferences and the rules of the bill. A tray
    being set out follows. Raises WrongState once surgery has begun, OtherCase, TakeOffFirst while what was
    chosen lies on the tray, NothingChosen.
    """
    case = plannable(case)
    if site is not None and site.case_id != case.pk:
        raise OtherCase(case, site)
    chosen = PlanChoice.objects.filter(case=case, site=site, subject=subject).select_related("item")
    found = list(chosen)
    if not found:
        raise NothingChosen(case, subject)
    words = "; ".join(
        choice.item.name if choice.item else "yes" if choice.quantity else "no" for choice in found
    )
    chosen.delete()
    place = f"at {site.tooth}" if site else "as a whole"
    plan_changed(case, WITHDRAW, by=by, at=at, place=place, choice=words, what=subject)
