"""Background tasks: one planning run per clinic, so that one clinic's failure never stops another's."""

import datetime as dt
import logging

from celery import shared_task

from kits.replanning import ensure_fresh
from practice import clock
from practice.models import Clinic

log = logging.getLogger(__name__)


class SomeClinicsNotPlanned(Exception):
    """Some clinics could not be planned; the others were. Carries the failures by clinic."""

    def __init__(self, failures: dict[str, Exception]):
        self.failures = failures
        reasons = "; ".join(f"{clinic}: {failure}" for clinic, failure in failures.items())
        super().__init__(f"Not planned, while all other clinics were: {reasons}")


@shared_task
def plan_clinic(clinic_id: int, today: str | None = None) -> bool:
    """Bring one clinic's plan up to date; True if it was worked out anew. `today` is an ISO date."""
    clinic = Clinic.objects.get(pk=clinic_id)
    on = dt.date.fromisoformat(today) if today else clock.today(clinic=clinic)
    return ensure_fresh(clinic=clinic, today=on, at=clock.now())


@shared_task
def plan_all_clinics(today: str | None = None) -> int:
    """Send one task per clinic to the workers (or run each here without workers); returns how many.

    Every clinic gets its turn; raises SomeClinicsNotPlanned afterwards if any failed.
    """
    failures: dict[str, Exception] = {}
    clinics = list(Clinic.objects.all())
    for clinic in clinics:
        try:
            plan_clinic.delay(clinic.pk, today)
        except Exception as failure:
            log.exception("%s could not be planned", clinic)
            failures[clinic.name] = failure
    if failures:
        raise SomeClinicsNotPlanned(failures)
    return len(clinics)
