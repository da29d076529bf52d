"""Changing clinics, rooms, closures and policy: verbs and pages."""

import datetime as dt

import pytest
from django.urls import reverse

from practice import organising
from practice.models import AuditEntry, Clinic, Closure, Policy, Room
from tests.builders import NOW, TODAY

CLINIC = {
    "name": "Skellowick Road",
    "time_zone": "Europe/London",
    "currency": "gbp",
    "tooth_notation": "universal",
    "open_on": ["0", "2", "4"],
}


@pytest.fixture
def facts(cast):
    return {"clinic": cast.clinic, "by": cast.administrator, "at": NOW}


def test_a_clinic_is_changed_and_the_audit_says_from_what_to_what(facts, cast):
    organising.change_clinic(tooth_notation="universal", **facts)
    assert Clinic.objects.get(pk=cast.clinic.pk).tooth_notation == "universal"
    assert AuditEntry.objects.get().facts["what"] == "tooth notation fdi → universal"
    organising.change_clinic(tooth_notation="universal", **facts)
    assert AuditEntry.objects.count() == 1


@pytest.mark.parametrize(
    ("given", "refusal"),
    [
        ({"time_zone": "Mars/Base"}, organising.BadTimeZone),
        ({"open_weekdays": "0000000"}, organising.NeverOpen),
        ({"name": "Eddlestoke Green"}, organising.NameTaken),
    ],
)
def test_a_change_that_cannot_be_is_refused(facts, cast, given, refusal):
    with pytest.raises(refusal):
        organising.change_clinic(**given, **facts)
    assert not AuditEntry.objects.exists()


def test_a_room_is_added_once(facts, cast):
    organising.make_room(code="A2", kind="surgical", **facts)
    with pytest.raises(organising.NameTaken, match="already has a room A2"):
        organising.make_room(code="A2", kind="surgical", **facts)
    assert Room.objects.filter(clinic=cast.clinic, code="A2").count() == 1


def test_a_closure_is_noted_once_and_taken_back(facts, cast):
    week = {"starts_on": TODAY, "ends_on": TODAY + dt.timedelta(days=6), "reason": "stocktaking"}
    closure = organising.close_days(**week, **facts)
    assert organising.close_days(**week, **facts) == closure
    assert AuditEntry.objects.count() == 1
    organising.take_back_closure(closure=closure, by=cast.administrator, at=NOW)
    assert not Closure.objects.exists()
    assert [e.action for e in AuditEntry.objects.order_by("id")] == ["clinic.close", "clinic.reopen"]


@pytest.mark.parametrize("days", [-1, 401])
def test_a_closure_that_never_was_or_never_ends_is_refused(facts, days):
    with pytest.raises(organising.BadClosure):
        organising.close_days(starts_on=TODAY, ends_on=TODAY + dt.timedelta(days=days), reason="", **facts)


def test_policy_is_changed_but_records_are_never_kept_for_less(facts, cast):
    organising.change_policy(approval_limit=900, retention_years=35, **facts)
    assert Policy.objects.get(clinic=cast.clinic).retention_years == 35
    with pytest.raises(organising.RetentionShortened, match="promised for 35 years"):
        organising.change_policy(retention_years=10, **facts)
    assert Policy.objects.get(clinic=cast.clinic).retention_years == 35


def test_the_clinic_page_saves_and_refuses_in_words(cast, sign_in):
    client = sign_in(cast.administrator)
    url = reverse("clinic_settings")
    assert client.post(url, CLINIC).status_code == 302
    clinic = Clinic.objects.get(pk=cast.clinic.pk)
    assert (clinic.open_weekdays, clinic.currency, clinic.tooth_notation) == ("1010100", "GBP", "universal")
    answer = client.post(url, CLINIC | {"open_on": []})
    assert (answer.status_code, "at least one weekday" in answer.content.decode()) == (422, True)
    answer = client.post(url, CLINIC | {"currency": "12"})
    assert "three letters of the currency" in answer.content.decode()
    answer = client.post(url, CLINIC | {"name": "Eddlestoke Green"})
    assert answer.status_code == 422
    assert Clinic.objects.get(pk=cast.clinic.pk).name == "Skellowick Road"


def test_rooms_and_closures_are_added_from_the_page(cast, sign_in):
    client = sign_in(cast.administrator)
    client.post(reverse("room_add"), {"code": "A9", "kind": "restorative"})
    assert Room.objects.get(code="A9").kind == "restorative"
    body = client.post(reverse("room_add"), {"code": "A9", "kind": "surgical"}, follow=True).content.decode()
    assert "already has a room A9" in body
    client.post(
        reverse("closure_add"), {"starts_on": "2026-12-24", "ends_on": "2026-12-31", "reason": "year end"}
    )
    closure = Closure.objects.get()
    assert "24 Dec 2026 to 31 Dec 2026" in client.get(reverse("clinic_settings")).content.decode()
    client.post(reverse("closure_take_back", kwargs={"closure_id": closure.pk}))
    assert not Closure.objects.exists()
    body = client.post(reverse("closure_add"), {"starts_on": "soon"}, follow=True).content.decode()
    assert "Nothing was changed" in body


def test_a_closure_of_another_clinic_is_out_of_reach(cast, sign_in):
    closure = Closure.objects.create(clinic=cast.other_clinic, starts_on=TODAY, ends_on=TODAY)
    url = reverse("closure_take_back", kwargs={"closure_id": closure.pk})
    assert sign_in(cast.assistant).post(url).status_code == 403
    from_elsewhere = sign_in(cast.manager)
    assert from_elsewhere.post(url).status_code == 403
    assert Closure.objects.exists()


def test_the_policy_page_saves_and_refuses_in_words(cast, sign_in):
    client = sign_in(cast.administrator)
    form = client.get(reverse("policy")).context["form"]
    data = {name: form[name].value() for name in form.fields}
    assert client.post(reverse("policy"), data | {"review_days": 14}).status_code == 302
    assert Policy.objects.get(clinic=cast.clinic).review_days == 14
    answer = client.post(reverse("policy"), data | {"retention_years": 5})
    assert (answer.status_code, "promised for 30 years" in answer.content.decode()) == (422, True)
    assert client.post(reverse("policy"), data | {"target_cannot_start": 1.5}).status_code == 422
