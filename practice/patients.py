"""Registering patients and finding them again by chart number or whole name."""

import datetime as dt

from django.db import transaction

from practice import audit
from practice.encryption import blind_index
from practice.models import Patient, Practice
from practice.refusals import Refusal

REGISTER = audit.action("patient.register", "registered patient {subject}")
COMPLETE = audit.action("patient.complete", "completed the record of patient {subject}: {what}")
CONSENT = audit.action("patient.consent", "recorded that patient {subject} {said} (asked on {on})")
FIRST_YEAR = 1890


class BadPatient(Refusal):
    """Facts that cannot be a patient's."""


@transaction.atomic
def register(
    *,
    practice: Practice,
    chart_number: str,
    name: str = "",
    born_in: int | None = None,
    by,
    at: dt.datetime,
) -> Patient:
    """The patient with this chart number, made when new; what the record did not have is filled in.

    A name or birth year that is already there is never overwritten. Raises BadPatient.
    """
    chart_number, name = chart_number.strip(), " ".join(name.split())
    most = Patient._meta.get_field("chart_number").max_length
    if not chart_number or len(chart_number) > most:
        raise BadPatient(f"A chart number has 1 to {most} characters; “{chart_number}” has not.")
    if born_in is not None and not FIRST_YEAR <= born_in <= at.year:
        raise BadPatient(f"Nobody in treatment was born in {born_in}. Correct the birth year.")
    patient, made = Patient.objects.get_or_create(
        practice=practice,
        chart_number=chart_number,
        defaults={"name": name, "name_index": blind_index(name), "born_in": born_in},
    )
    if made:
        audit.record(REGISTER, by=by, at=at, subject=chart_number)
        return patient
    fresh = {}
    if name and not patient.name:
        fresh |= {"name": name, "name_index": blind_index(name)}
    if born_in is not None and patient.born_in is None:
        fresh["born_in"] = born_in
    if fresh:
        for field, value in fresh.items():
            setattr(patient, field, value)
        patient.save(update_fields=list(fresh))
        what = " and ".join({"name": "name", "born_in": "birth year"}[f] for f in fresh if f != "name_index")
        audit.record(COMPLETE, by=by, at=at, subject=chart_number, what=what)
    return patient


@transaction.atomic
def set_consent(
    *,
    patient: Patient,
    declines_human: bool,
    declines_porcine: bool,
    declines_bovine: bool,
    on: dt.date,
    by,
    at: dt.datetime,
) -> Patient:
    """Record what the patient, asked on this day of the clinic, said about human and animal material.

    Every answer replaces the one before; the audit keeps both.
    """
    patient = Patient.objects.select_for_update().get(pk=patient.pk)
    patient.declines_human = declines_human
    patient.declines_porcine = declines_porcine
    patient.declines_bovine = declines_bovine
    patient.consent_asked_on = on
    patient.save(update_fields=["declines_human", "declines_porcine", "declines_bovine", "consent_asked_on"])
    audit.record(CONSENT, by=by, at=at, subject=patient.chart_number, said=patient.consent, on=on.isoformat())
    return patient


def with_name(queryset, name: str):
    """Patients of a queryset with exactly this name, whatever its case, accents or doubled blanks."""
    return queryset.filter(name_index=blind_index(name)) if name.strip() else queryset.none()
