"""The one door through which objects reach a view: strangers get 404, roles that may not get 403."""

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404

from practice import access
from practice.models import Clinic, Patient, Practice, Role, Room, User
from practice.roles import NEEDS, allows
from stock.models import Item, Place
from tests import builders


def fresh(person):
    """The person as a new request sees them: roles are kept on the user object for one request."""
    return User.objects.get(pk=person.pk)


def test_a_member_reaches_what_is_at_their_clinic(cast):
    assert access.fetch(cast.assistant, Room, pk=cast.room.pk) == cast.room
    assert access.fetch(cast.assistant, Place, need="handle_stock", pk=cast.cart.pk) == cast.cart


@pytest.mark.parametrize("model", [Room, Place])
def test_what_is_at_another_clinic_does_not_exist_for_them(cast, model):
    there = cast.other_room if model is Room else cast.other_stockroom
    with pytest.raises(Http404, match="within your reach"):
        access.fetch(cast.assistant, model, pk=there.pk)
    assert there not in access.visible(cast.assistant, model)
    assert there in access.visible(cast.manager, model)


def test_a_stranger_reaches_nothing_not_even_the_catalogue(cast):
    for model in (Room, Place, Item, Patient):
        assert not access.visible(cast.stranger, model).exists()
    with pytest.raises(Http404):
        access.fetch(cast.stranger, Item, pk=cast.implant.pk)


def test_a_role_that_may_not_is_told_so_in_a_sentence(cast):
    with pytest.raises(PermissionDenied, match="does not allow you to move stock"):
        access.fetch(cast.reader, Place, need="handle_stock", pk=cast.cart.pk)
    with pytest.raises(PermissionDenied, match="A reader may not set out a tray at Skellowick Road"):
        access.require(cast.reader, cast.clinic, "set_out")
    with pytest.raises(PermissionDenied, match="A person without a role here"):
        access.require(cast.assistant, cast.other_clinic, "see")


def test_the_catalogue_is_for_everybody_with_a_role(cast):
    assert access.fetch(cast.reader, Item, pk=cast.implant.pk) == cast.implant


def test_patients_belong_to_the_practice_and_not_to_another(cast):
    elsewhere = Practice.objects.create(name="Another practice", short_name="Another")
    theirs = builders.patient(elsewhere, chart_number="P-0001")
    assert access.fetch(cast.reader, Patient, pk=cast.patient.pk) == cast.patient
    with pytest.raises(Http404):
        access.fetch(cast.reader, Patient, pk=theirs.pk)


def test_a_patient_of_two_clinics_is_listed_once(cast):
    assert list(access.visible(cast.manager, Patient)) == [cast.patient]


def test_a_role_counts_only_at_its_clinic(cast):
    Role.objects.create(user=cast.assistant, clinic=cast.other_clinic, kind="reader")
    person = fresh(cast.assistant)
    assert access.fetch(person, Place, pk=cast.other_stockroom.pk) == cast.other_stockroom
    with pytest.raises(PermissionDenied):
        access.fetch(person, Place, need="handle_stock", pk=cast.other_stockroom.pk)
    assert list(access.clinics(person, need="handle_stock")) == [cast.clinic]
    assert list(access.clinics(person)) == [cast.clinic, cast.other_clinic]


def test_roles_are_read_once_per_request(cast, django_assert_num_queries):
    person = fresh(cast.manager)
    with django_assert_num_queries(1):
        for need in NEEDS:
            access.may(person, cast.clinic, need)


def test_every_need_is_somebodys_and_readers_only_see():
    for need in NEEDS:
        assert any(allows(kind, need) for kind in Role.Kind.values), need
    assert [need for need in NEEDS if allows("reader", need)] == ["see"]
    with pytest.raises(KeyError):
        allows("reader", "fly")


def test_nobody_may_without_a_clinic(cast):
    assert not access.may(cast.manager, None, "see")
    assert not access.clinics(cast.stranger).exists()
    assert Clinic.objects.count() == 2
