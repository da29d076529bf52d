"""Signing in: the ladder, the lock-out, the time-out, headers, and the clinic one works at."""

import time

import pytest
from axes.models import AccessAttempt
from django.conf import settings
from django.test import Client
from django.urls import reverse

from practice import clock, people
from practice.models import AuditEntry
from tests.builders import PASSWORD


def enter(client, username, password, address="10.0.0.1", **more):
    data = {"username": username, "password": password, **more}
    return client.post(reverse("sign_in"), data, REMOTE_ADDR=address)


def test_the_page_has_labels_one_heading_and_asks_for_nothing_else(cast, client):
    body = client.get(reverse("sign_in")).content.decode()
    assert body.count("<h1") == 1
    assert 'for="id_username"' in body
    assert 'for="id_password"' in body
    assert 'autocomplete="current-password"' in body


def test_the_right_password_signs_in_and_goes_where_one_wanted(cast, client):
    answer = enter(client, "pellister", PASSWORD, next="/imports/")
    assert (answer.status_code, answer["Location"]) == (302, "/imports/")
    assert client.session["_auth_user_id"] == str(cast.assistant.pk)


@pytest.mark.parametrize(
    "wanted", ["https://elsewhere.example/", "//elsewhere.example", "javascript:alert(1)"]
)
def test_one_is_never_sent_elsewhere(cast, client, wanted):
    assert enter(client, "pellister", PASSWORD, next=wanted)["Location"] == reverse("today")


def test_a_wrong_password_is_refused_in_words_that_tell_no_more(cast, client):
    wrong = enter(client, "pellister", "wrong-password")
    unknown = enter(client, "nobody-here", "wrong-password")
    sentence = "Name and password do not fit together."
    assert (wrong.status_code, unknown.status_code) == (401, 401)
    assert sentence in wrong.content.decode()
    assert sentence in unknown.content.decode()
    assert "_auth_user_id" not in client.session


def test_a_closed_sign_in_does_not_open(cast, client):
    people.deactivate(user=cast.assistant, by=cast.administrator, at=clock.now())
    assert enter(client, "pellister", PASSWORD).status_code == 401


def lock(client, username="pellister", address="10.0.0.1"):
    for _ in range(settings.AXES_FAILURE_LIMIT):
        answer = enter(client, username, "wrong-password", address)
    return answer


def test_too_many_tries_lock_that_person_at_that_address_only(cast, client):
    answer = lock(client)
    assert answer.status_code == 429
    assert "Wait 15 minutes" in answer.content.decode()
    assert answer["Retry-After"] == "900"
    # Even the right password is refused now; a colleague and another address are not.
    assert enter(client, "pellister", PASSWORD).status_code == 429
    assert enter(Client(), "marrowick", PASSWORD).status_code == 302
    assert enter(Client(), "pellister", PASSWORD, "10.0.0.2").status_code == 302


def test_an_administrator_unlocks_and_it_is_written_down(cast, client, sign_in):
    lock(client)
    assert people.locked_names(at=clock.now()) == {"pellister"}
    sign_in(cast.administrator).post(reverse("person_unlock", kwargs={"user_id": cast.assistant.pk}))
    assert people.locked_names(at=clock.now()) == set()
    assert AuditEntry.objects.filter(action="person.unlock", subject="pellister").count() == 1
    assert enter(Client(), "pellister", PASSWORD).status_code == 302


def test_signing_in_forgets_earlier_tries(cast, client):
    for _ in range(settings.AXES_FAILURE_LIMIT - 1):
        enter(client, "pellister", "wrong-password")
    enter(client, "pellister", PASSWORD)
    assert not AccessAttempt.objects.filter(username="pellister").exists()


def test_signing_out_is_a_post(cast, sign_in):
    client = sign_in(cast.assistant)
    assert client.get(reverse("sign_out")).status_code == 405
    assert client.post(reverse("sign_out"))["Location"] == reverse("sign_in")
    assert "_auth_user_id" not in client.session


def test_an_idle_session_ends_before_the_page_is_shown(cast, sign_in):
    client = sign_in(cast.administrator)
    assert client.get(reverse("set_up")).status_code == 200
    session = client.session
    session["touched"] = int(time.time()) - settings.IDLE_MINUTES * 60 - 1
    session.save()
    answer = client.get(reverse("set_up"))
    assert answer.status_code == 302
    assert reverse("sign_in") in answer["Location"]


def test_a_busy_session_goes_on(cast, sign_in):
    client = sign_in(cast.administrator)
    client.get(reverse("set_up"))
    session = client.session
    session["touched"] = int(time.time()) - 120
    session.save()
    assert client.get(reverse("set_up")).status_code == 200
    assert client.session["touched"] >= int(time.time()) - 5


def test_headers_keep_scripts_frames_and_sensors_out(cast, client):
    """The directives are those of the W3C Content Security Policy, level 3."""
    answer = client.get(reverse("sign_in"))
    policy = answer["Content-Security-Policy"]
    for directive in (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "frame-ancestors 'none'",
    ):
        assert directive in policy
    assert "unsafe" not in policy
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
    assert "camera=(self)" in answer["Permissions-Policy"]
    assert "geolocation=()" in answer["Permissions-Policy"]
    cookie = client.cookies["csrftoken"]
    assert cookie["samesite"] == "Lax"


def test_the_session_cookie_is_out_of_reach_of_scripts(cast, client):
    enter(client, "pellister", PASSWORD)
    assert client.cookies["sessionid"]["httponly"]


def test_a_form_without_its_token_is_refused(cast):
    strict = Client(enforce_csrf_checks=True)
    assert enter(strict, "pellister", PASSWORD).status_code == 403


def test_one_works_at_a_clinic_of_ones_own(cast, sign_in):
    client = sign_in(cast.manager)
    client.post(reverse("choose_clinic"), {"clinic": cast.other_clinic.pk, "next": "/imports/"})
    assert client.session["clinic"] == cast.other_clinic.pk
    assert client.get(reverse("imports")).context["clinic"] == cast.other_clinic


def test_nobody_switches_to_a_clinic_without_a_role_there(cast, sign_in):
    client = sign_in(cast.assistant)
    client.post(reverse("choose_clinic"), {"clinic": cast.other_clinic.pk})
    assert "clinic" not in client.session
    session = client.session
    session["clinic"] = cast.other_clinic.pk
    session.save()
    assert client.get(reverse("imports")).context["clinic"] == cast.clinic
    assert client.post(reverse("choose_clinic"), {"clinic": "x"}).status_code == 302


def test_the_own_password_is_changed_and_written_down(cast, sign_in):
    client = sign_in(cast.assistant)
    url = reverse("change_password")
    new = "seven-silver-spoons"
    wrong = {"old_password": "wrong", "new_password1": new, "new_password2": new}
    assert client.post(url, wrong).status_code == 422
    assert client.post(url, wrong | {"old_password": PASSWORD}).status_code == 302
    cast.assistant.refresh_from_db()
    assert cast.assistant.check_password(new)
    assert client.get(url).status_code == 200, "the session that changed it stays signed in"
    assert AuditEntry.objects.get().action == "person.change-password"


def test_a_guessable_password_is_refused(cast, sign_in):
    client = sign_in(cast.assistant)
    data = {"old_password": PASSWORD, "new_password1": "password", "new_password2": "password"}
    answer = client.post(reverse("change_password"), data)
    assert answer.status_code == 422
    assert "at least 10 characters" in answer.content.decode()
