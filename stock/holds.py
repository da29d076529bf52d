"""Human decisions about a lot: hold it, mark it as recalled, release it again."""

import datetime as dt

from django.db import transaction

from practice import audit
from practice.refusals import Refusal
from stock.models import Lot
from stock.posting import lock_heads

HOLD = audit.action("lot.hold", "held {subject}: {reason}")
RECALL = audit.action("lot.recall", "marked {subject} as recalled: {reason}")
RELEASE = audit.action("lot.release", "released {subject}: {reason}")

LONGEST_REASON = 160  # characters


class WhyMissing(Refusal):
    """A decision about a lot needs its reason."""

    def __init__(self, *, lot: Lot, verb: str):
        self.lot = lot
        super().__init__(f"Say in up to {LONGEST_REASON} characters why {lot} is {verb}.")


class AlreadyDecided(Refusal):
    """The lot's present decision does not allow this one."""

    def __init__(self, *, lot: Lot, verb: str):
        self.lot, self.verb = lot, verb
        now = lot.get_decision_display() if lot.decision else "neither held nor recalled"
        super().__init__(f"{lot} is {now}, so it cannot be {verb}. Look at the lot again.")


def _decide(lot: Lot, *, leaves: list[str], to: str, action: str, verb: str, reason: str, by, at) -> Lot:
    """Move the lot from one of the decisions it may leave to another; the row itself guards the change."""
    reason = reason.strip()
    if not reason or len(reason) > LONGEST_REASON:
        raise WhyMissing(lot=lot, verb=verb)
    with transaction.atomic():
        # A lot may lie at every clinic; nobody may be moving it onto a tray while it is being held.
        lock_heads()
        kept = reason if to else ""
        changed = Lot.objects.filter(pk=lot.pk, decision__in=leaves).update(decision=to, decision_reason=kept)
        lot.refresh_from_db(fields=["decision", "decision_reason"])
        if not changed:
            raise AlreadyDecided(lot=lot, verb=verb)
        audit.record(action, by=by, at=at, subject=str(lot)[:80], reason=reason)
    return lot


def hold(*, lot: Lot, reason: str, by, at: dt.datetime) -> Lot:
    """Hold a lot: nothing of it goes onto a tray until it is released. Raises WhyMissing, AlreadyDecided."""
    decision = Lot.Decision
    return _decide(
        lot, leaves=[decision.NONE], to=decision.HELD, action=HOLD, verb="held", reason=reason, by=by, at=at
    )


def recall(*, lot: Lot, reason: str, by, at: dt.datetime) -> Lot:
    """Mark a lot as recalled by its maker or bank, held before or not. Raises WhyMissing, AlreadyDecided."""
    decision = Lot.Decision
    leaves = [decision.NONE, decision.HELD]
    return _decide(
        lot, leaves=leaves, to=decision.RECALLED, action=RECALL, verb="recalled", reason=reason, by=by, at=at
    )


def release(*, lot: Lot, by, at: dt.datetime, reason: str) -> Lot:
    """Release a held or recalled lot. Raises WhyMissing, AlreadyDecided."""
    decision = Lot.Decision
    leaves = [decision.HELD, decision.RECALLED]
    return _decide(
        lot, leaves=leaves, to=decision.NONE, action=RELEASE, verb="released", reason=reason, by=by, at=at
    )
