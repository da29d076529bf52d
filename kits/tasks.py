"""Background tasks: one planning run per clinic, so that one clinic's failure never stops another's."""

import datetime as dt

from celery import shared_task

from kits.replanning import ensure_fresh
from practice import clock
from practice.models import Clinic


@shared_task
def plan_clinic(clinic_id: int, today: str | None = None) -> bool:
    """Bring one clinic's plan up to date; True if it was worked out anew. `today` is an ISO date."""
    clinic = Clinic.objects.get(pk=clinic_id)
    on = dt.date.fromisoformat(today) if today else clock.today(clinic=clinic)
    return ensure_fresh(clinic=clinic, today=on, at=clock.now())


@shared_task
def plan_all_clinics(today: str | None = None) -> int:
    """Send one task per clinic to the workers; returns how many were sent."""
    ids = list(Clinic.objects.values_list("pk", flat=True))
    for clinic_id in ids:
        plan_clinic.delay(clinic_id, today)
    return len(ids)
