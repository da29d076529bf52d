"""People and roles: the verbs and their pages, each rung of the ladder."""

import pytest
from django.urls import reverse

from practice import people
from practice.models import AuditEntry, Role, User
from tests.builders import NOW, PASSWORD, user

STRONG = "seven-silver-spoons"


def facts(cast):
    return {"by": cast.administrator, "at": NOW}


def test_a_person_is_added_with_a_role_and_can_sign_in(cast, client):
    person = people.add_person(
        username="saldovane",
        display_name="R. Saldovane",
        password=STRONG,
        clinic=cast.clinic,
        kind="assistant",
        **facts(cast),
    )
    assert person.check_password(STRONG)
    assert person.roles.get().kind == "assistant"
    entry = AuditEntry.objects.get()
    assert (entry.action, entry.subject, entry.clinic) == ("person.add", "saldovane", cast.clinic)
    assert STRONG not in str(entry.facts)


@pytest.mark.parametrize(
    ("username", "password", "refusal", "words"),
    [
        ("PELLISTER", STRONG, people.NameTaken, "Choose another name"),
        ("saldovane", "short", people.WeakPassword, "at least 10 characters"),
        ("saldovane", "password123", people.WeakPassword, "too common"),
    ],
)
def test_a_person_is_refused_in_words(cast, username, password, refusal, words):
    with pytest.raises(refusal, match=words):
        people.add_person(
            username=username,
            display_name="X",
            password=password,
            clinic=cast.clinic,
            kind="reader",
            **facts(cast),
        )
    assert not AuditEntry.objects.exists()


def test_a_role_is_set_once_changed_and_taken_away(cast):
    given = {"user": cast.stranger, "clinic": cast.clinic, **facts(cast)}
    people.set_role(kind="reader", **given)
    people.set_role(kind="reader", **given)
    assert AuditEntry.objects.count() == 1
    people.set_role(kind="manager", **given)
    assert Role.objects.get(user=cast.stranger).kind == "manager"
    people.drop_role(**given)
    people.drop_role(**given)
    assert not Role.objects.filter(user=cast.stranger).exists()
    assert [e.action for e in AuditEntry.objects.order_by("id")] == [
        "person.set-role",
        "person.set-role",
        "person.drop-role",
    ]


def test_the_last_administrator_stays(cast):
    given = {"user": cast.administrator, "clinic": cast.clinic, **facts(cast)}
    with pytest.raises(people.LastAdministrator, match="Make somebody else administrator first"):
        people.set_role(kind="reader", **given)
    with pytest.raises(people.LastAdministrator):
        people.drop_role(**given)
    people.set_role(user=cast.manager, clinic=cast.clinic, kind="administrator", **facts(cast))
    people.drop_role(**given)
    with pytest.raises(people.LastAdministrator):
        people.drop_role(user=cast.manager, clinic=cast.clinic, **facts(cast))


def test_a_closed_sign_in_does_not_count_as_administrator(cast):
    people.set_role(user=cast.stranger, clinic=cast.clinic, kind="administrator", **facts(cast))
    User.objects.filter(pk=cast.stranger.pk).update(is_active=False)
    with pytest.raises(people.LastAdministrator):
        people.drop_role(user=cast.administrator, clinic=cast.clinic, **facts(cast))


def test_a_sign_in_is_closed_and_opened_again_and_never_ones_own(cast):
    people.deactivate(user=cast.assistant, **facts(cast))
    people.deactivate(user=cast.assistant, **facts(cast))
    assert not User.objects.get(pk=cast.assistant.pk).is_active
    people.reactivate(user=cast.assistant, **facts(cast))
    assert AuditEntry.objects.count() == 2
    with pytest.raises(people.NotYourself):
        people.deactivate(user=cast.administrator, **facts(cast))


def test_an_administrator_of_one_clinic_does_not_reach_into_another(cast):
    here = user("local", administrator=cast.clinic)
    for verb in (people.deactivate, people.reactivate, people.unlock):
        with pytest.raises(people.NotYours, match="Eddlestoke Green, which you do not set up"):
            verb(user=cast.manager, by=here, at=NOW)
    with pytest.raises(people.NotYours):
        people.set_password(user=cast.administrator, password=STRONG, by=here, at=NOW)
    people.set_password(user=cast.assistant, password=STRONG, by=here, at=NOW)
    assert User.objects.get(pk=cast.assistant.pk).check_password(STRONG)


def test_the_list_shows_everybody_with_few_queries(cast, sign_in, django_assert_max_num_queries):
    client = sign_in(cast.administrator)
    with django_assert_max_num_queries(10):
        body = client.get(reverse("people")).content.decode()
    assert "J. Pellister" in body
    assert "no role here" in body
    for number in range(20):
        user(f"person{number}", reader=cast.clinic)
    with django_assert_max_num_queries(10):
        client.get(reverse("people"))


def test_the_pages_add_and_change_a_person(cast, sign_in):
    client = sign_in(cast.administrator)
    data = {"username": "saldovane", "display_name": "R. Saldovane", "kind": "assistant", "password": STRONG}
    assert client.post(reverse("person_add"), data)["Location"] == reverse("people")
    person = User.objects.get(username="saldovane")
    url = {"user_id": person.pk}
    client.post(reverse("person_role", kwargs=url), {"kind": "reader"})
    assert person.roles.get().kind == "reader"
    client.post(reverse("person_role", kwargs=url), {"kind": ""})
    assert not person.roles.exists()
    client.post(reverse("person_password", kwargs=url), {"password": "another-long-phrase"})
    person.refresh_from_db()
    assert person.check_password("another-long-phrase")
    client.post(reverse("person_sign_in", kwargs=url))
    person.refresh_from_db()
    assert not person.is_active
    assert "Closed" in client.get(reverse("person", kwargs=url)).content.decode()
    client.post(reverse("person_sign_in", kwargs=url), {"open": "yes"})
    person.refresh_from_db()
    assert person.is_active


def test_a_refusal_is_shown_in_words_and_changes_nothing(cast, sign_in):
    client = sign_in(cast.administrator)
    data = {"username": "pellister", "display_name": "X", "kind": "reader", "password": STRONG}
    answer = client.post(reverse("person_add"), data)
    assert answer.status_code == 422
    assert "Somebody already signs in as pellister" in answer.content.decode()
    url = reverse("person_role", kwargs={"user_id": cast.administrator.pk})
    body = client.post(url, {"kind": "reader"}, follow=True).content.decode()
    assert "is the last administrator of Skellowick Road" in body
    assert Role.objects.get(user=cast.administrator, clinic=cast.clinic).kind == "administrator"
    assert "Choose one of the roles" in client.post(url, {"kind": "king"}, follow=True).content.decode()


PAGES = ("people", "person_add", "set_up", "clinic_settings", "policy", "audit")


@pytest.mark.parametrize("name", PAGES)
def test_only_administrators_set_up(cast, sign_in, client, name):
    url = reverse(name)
    assert reverse("sign_in") in client.get(url)["Location"]
    for person in (cast.assistant, cast.manager, cast.clinician, cast.reader, cast.stranger):
        assert sign_in(person).get(url).status_code == 403, person
    assert sign_in(cast.administrator).get(url).status_code == 200


@pytest.mark.parametrize("name", ["person_role", "person_sign_in", "person_unlock", "person_password"])
def test_changes_are_posts_of_administrators(cast, sign_in, name):
    url = reverse(name, kwargs={"user_id": cast.assistant.pk})
    assert sign_in(cast.administrator).get(url).status_code == 405
    assert sign_in(cast.manager).post(url).status_code == 403
    missing = reverse(name, kwargs={"user_id": 999_999})
    data = {"kind": "reader", "password": PASSWORD}
    assert sign_in(cast.administrator).post(missing, data).status_code == 404
