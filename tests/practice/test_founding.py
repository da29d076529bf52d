"""A practice starts: the first visit, the command, further clinics; and the door that closes behind them."""

import io
import json
import threading

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse

from practice.founding import AlreadyFounded, found_practice, open_clinic
from practice.models import AuditEntry, Clinic, Policy, Practice, Role, Room, User
from practice.organising import BadTimeZone, NameTaken
from practice.people import WeakPassword
from tests.builders import NOW, PASSWORD

GIVEN = {
    "name": "Quillenshaw Oral Surgery",
    "clinic_name": "Skellowick Road",
    "rooms": "A1, A2;  A1",
    "tooth_notation": "universal",
    "currency": "eur",
    "time_zone": "Europe/Dublin",
    "display_name": "T. Ostrewold",
    "username": "ostrewold",
    "password": PASSWORD,
    "password_again": PASSWORD,
}


def found(**other):
    facts = {key: value for key, value in GIVEN.items() if key != "password_again"}
    return found_practice(**(facts | {"rooms": ["A1", "A2"], "by": None, "at": NOW} | other))


def test_an_empty_installation_leads_from_anywhere_to_the_first_page(db, client):
    answer = client.get(reverse("set_up"), follow=True)
    assert answer.redirect_chain[-1][0] == reverse("start")
    body = answer.content.decode()
    assert body.count("<h1") == 1
    assert "Nobody can sign in here yet" in body


def test_the_first_page_sets_everything_up_and_signs_in(db, client):
    answer = client.post(reverse("start"), GIVEN, follow=True)
    assert answer.redirect_chain[-1][0] == reverse("set_up")
    assert "Do this next" in answer.content.decode()
    clinic = Clinic.objects.get()
    assert (clinic.practice.name, clinic.name, clinic.code) == (GIVEN["name"], "Skellowick Road", "A")
    assert (clinic.currency, clinic.time_zone, clinic.tooth_notation) == ("EUR", "Europe/Dublin", "universal")
    assert [room.code for room in Room.objects.all()] == ["A1", "A2"]
    assert Policy.objects.get().clinic == clinic
    role = Role.objects.get()
    assert (role.user.username, role.kind, role.clinic) == ("ostrewold", Role.Kind.ADMINISTRATOR, clinic)
    assert role.user.check_password(PASSWORD)
    assert not role.user.is_superuser
    actions = set(AuditEntry.objects.values_list("action", flat=True))
    assert actions == {"practice.found", "clinic.open", "room.make", "person.add"}


def test_the_page_is_closed_for_ever_once_anyone_can_sign_in(cast, sign_in):
    before = User.objects.count(), Clinic.objects.count()
    User.objects.update(is_active=False)
    for method in ("get", "post"):
        answer = getattr(Client(), method)(reverse("start"), GIVEN)
        assert (answer.status_code, answer["Location"]) == (302, reverse("sign_in"))
    assert Client().get(reverse("sign_in")).status_code == 200
    assert (User.objects.count(), Clinic.objects.count()) == before
    with pytest.raises(AlreadyFounded, match="already set up"):
        found()


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"password_again": "another-harbour-9"}, "The two passwords differ"),
        ({"password": "password12", "password_again": "password12"}, "too common"),
        ({"time_zone": "Europe/Atlantis"}, "There is no time zone “Europe/Atlantis”"),
        ({"time_zone": "Europe"}, "There is no time zone “Europe”"),
        ({"currency": "12"}, "three letters of the currency"),
        ({"rooms": " , "}, "Name each room"),
        ({"rooms": "The large room on the left"}, "12 characters at most"),
        ({"name": ""}, "This field is required"),
        ({"username": "with space"}, "valid “slug”"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_made(db, client, wrong, words):
    answer = client.post(reverse("start"), GIVEN | wrong)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Practice.objects.exists()
    assert not User.objects.exists()
    assert not AuditEntry.objects.exists()


def test_the_verb_refuses_by_name(db):
    with pytest.raises(WeakPassword):
        found(password="short")
    with pytest.raises(BadTimeZone):
        found(time_zone="")
    Practice.objects.create(name=GIVEN["name"], short_name="Q")
    with pytest.raises(NameTaken):
        found()
    assert found(
        name="Another Practice With A Rather Long Name Indeed"
    ).roles.get().clinic.practice.short_name == ("Another Practice With A Rather Long Name")


@pytest.mark.django_db(transaction=True)
def test_two_first_visitors_make_one_practice(settings):
    """Both post at once on connections of their own; the lock lets one of them found it."""
    outcomes, ready = [], threading.Barrier(2)

    def visit(number):
        try:
            ready.wait(timeout=10)
            with transaction.atomic():
                found(username=f"visitor-{number}", name=f"Practice {number}", clinic_name=f"Clinic {number}")
            outcomes.append("founded")
        except AlreadyFounded:
            outcomes.append("refused")
        finally:
            connection.close()

    threads = [threading.Thread(target=visit, args=(number,)) for number in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert sorted(outcomes) == ["founded", "refused"]
    assert (Practice.objects.count(), User.objects.count()) == (1, 1)


def start_practice(*more, password=PASSWORD, monkeypatch=None):
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{password}\n"))
    call_command(
        "start_practice",
        *("--name", GIVEN["name"], "--clinic", "Skellowick Road", "--rooms", "A1,A2"),
        *("--administrator", "ostrewold", "--password-stdin", *more),
    )


def test_the_command_does_the_same_once(db, capsys, monkeypatch):
    start_practice("--format", "json", "--teeth", "universal", monkeypatch=monkeypatch)
    assert json.loads(capsys.readouterr().out) == {"administrator": "ostrewold", "clinic": "Skellowick Road"}
    assert Clinic.objects.get().tooth_notation == "universal"
    assert User.objects.get().check_password(PASSWORD)
    with pytest.raises(CommandError) as refused:
        start_practice(monkeypatch=monkeypatch)
    assert refused.value.returncode == 1


def test_the_command_asks_for_the_password_twice(db, monkeypatch):
    answers = iter([PASSWORD, "another-harbour-9"])
    monkeypatch.setattr("getpass.getpass", lambda prompt: next(answers))
    with pytest.raises(CommandError, match="The two passwords differ") as refused:
        call_command(
            "start_practice",
            name="Q",
            clinic="C",
            rooms="A1",
            administrator="ostrewold",
            password_stdin=False,
        )
    assert refused.value.returncode == 2
    assert not User.objects.exists()


def test_an_administrator_opens_another_clinic_and_works_there(cast, sign_in):
    client = sign_in(cast.administrator)
    given = {key: GIVEN[key] for key in ("clinic_name", "rooms", "tooth_notation", "currency", "time_zone")}
    assert client.post(reverse("clinic_open"), given).status_code == 422, "that name is taken"
    answer = client.post(reverse("clinic_open"), given | {"clinic_name": "Oxtarn Lane"}, follow=True)
    clinic = Clinic.objects.get(name="Oxtarn Lane")
    assert answer.context["clinic"] == clinic
    assert (clinic.code, clinic.practice) == ("C", cast.practice)
    assert list(Role.objects.filter(clinic=clinic).values_list("user", "kind")) == [
        (cast.administrator.pk, "administrator")
    ]


@pytest.mark.parametrize("who", ["assistant", "manager", "clinician", "reader"])
def test_only_administrators_open_clinics(cast, sign_in, who):
    assert sign_in(getattr(cast, who)).get(reverse("clinic_open")).status_code == 403


def test_codes_of_clinics_go_on_after_the_alphabet(cast):
    facts = {"practice": cast.practice, "rooms": [], "time_zone": "Europe/London", "currency": "GBP"}
    facts |= {"tooth_notation": "fdi", "by": None, "at": NOW}
    codes = [open_clinic(name=f"Clinic {number}", **facts).code for number in range(26)]
    assert codes[:2] == ["C", "D"]
    assert codes[23:] == ["Z", "C27", "C28"]


def test_set_up_leads_a_new_clinic_and_leaves_an_old_one_alone(cast, sign_in):
    """The cast has rooms, people, items and prices; bills of materials come next."""
    page = sign_in(cast.administrator).get(reverse("set_up"))
    assert [step.is_done for step in page.context["steps"]] == [True, True, True, False, False, True, False]
    assert page.context["next_step"].title == "Bills of materials"
