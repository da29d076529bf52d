"""Registering patients: once, filled in later, never overwritten, refused in words."""

import pytest

from practice.models import AuditEntry, Patient
from practice.patients import BadPatient, register, set_consent
from tests.builders import NOW


@pytest.fixture
def facts(cast):
    return {"practice": cast.practice, "by": cast.assistant, "at": NOW}


def test_a_chart_number_is_one_patient(facts):
    first = register(chart_number=" P-0458 ", **facts)
    assert register(chart_number="P-0458", **facts) == first
    assert AuditEntry.objects.count() == 1


def test_what_is_missing_is_filled_in_and_what_is_there_stays(facts):
    register(chart_number="P-0458", **facts)
    register(chart_number="P-0458", name="Skelbeck,  Benno", born_in=1976, **facts)
    register(chart_number="P-0458", name="Somebody Else", born_in=1950, **facts)
    patient = Patient.objects.get(chart_number="P-0458")
    assert (patient.name, patient.born_in) == ("Skelbeck, Benno", 1976)
    entries = AuditEntry.objects.filter(action="patient.complete")
    assert [entry.facts["what"] for entry in entries] == ["name and birth year"]
    assert "Skelbeck" not in str([entry.facts for entry in AuditEntry.objects.all()])


@pytest.mark.parametrize(("chart", "born"), [("", 1976), ("9" * 25, 1976), ("P-1", 1889), ("P-1", 2027)])
def test_impossible_facts_are_refused(facts, chart, born):
    before = Patient.objects.count()
    with pytest.raises(BadPatient):
        register(chart_number=chart, born_in=born, **facts)
    assert Patient.objects.count() == before


def test_nobody_accepts_anything_before_being_asked(facts):
    patient = register(chart_number="P-0458", **facts)
    assert patient.consent == "consent to human and animal material not asked yet"
    answer = {"declines_human": False, "declines_porcine": True, "declines_bovine": True}
    asked = {"on": NOW.date(), "by": facts["by"], "at": NOW}
    set_consent(patient=patient, **answer, **asked)
    patient.refresh_from_db()
    assert patient.consent == "declines bovine and porcine material"
    assert patient.declined_origins == {"bovine", "porcine"} and patient.consent_asked_on == NOW.date()
    set_consent(patient=patient, **dict.fromkeys(answer, False), **asked)
    patient.refresh_from_db()
    assert patient.consent == "accepts human, porcine and bovine material"
    said = [
        entry.facts["said"] for entry in AuditEntry.objects.filter(action="patient.consent").order_by("pk")
    ]
    assert said == ["declines bovine and porcine material", "accepts human, porcine and bovine material"]
