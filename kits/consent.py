"""What a patient declines, carried on to the trays that are being set out."""

import datetime as dt

from django.db import transaction

from kits.models import Case
from kits.tray import TakeOffFirst, keep_in_step
from practice.models import Patient
from practice.patients import set_consent


@transaction.atomic
def record_consent(*, patient: Patient, on: dt.date, by, at: dt.datetime, **declines: bool) -> list[str]:
    """Record what the patient declines, and bring the trays being set out into step with it.

    declines: declines_human, declines_porcine and declines_bovine. Returns a sentence for each tray that
    still holds what the patient declines: the answer stands, and a person takes the unit off.
    """
    set_consent(patient=patient, on=on, by=by, at=at, **declines)
    left = []
    for case in Case.objects.filter(patient=patient, state=Case.State.SET_OUT).order_by("pk"):
        try:
            keep_in_step(case=case)
        except TakeOffFirst as refusal:
            left.append(f"{case.code}: {refusal}")
    return left
