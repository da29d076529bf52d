"""Opening a practice on an empty installation, and further clinics later."""

import datetime as dt
from collections.abc import Sequence

from django.contrib.contenttypes.models import ContentType
from django.db import transaction

from practice import audit
from practice.models import Clinic, Policy, Practice, Role, User
from practice.organising import NameTaken, check_time_zone, make_room
from practice.people import add_person
from practice.refusals import Refusal

FOUND = audit.action("practice.found", "opened the practice {subject}")
OPEN_CLINIC = audit.action("clinic.open", "opened the clinic {subject}")

SHORT_NAME = Practice._meta.get_field("short_name").max_length


class AlreadyFounded(Refusal):
    """Somebody can sign in already."""

    def __init__(self) -> None:
        super().__init__(
            "This practice is already set up. Sign in, or ask an administrator of the practice for a sign-in."
        )


def is_founded() -> bool:
    """Whether anyone was ever able to sign in here; from then on no stranger can set anything up."""
    return User.objects.exists()


@transaction.atomic
def found_practice(
    *,
    name: str,
    clinic_name: str,
    rooms: Sequence[str],
    time_zone: str,
    currency: str,
    tooth_notation: str,
    username: str,
    display_name: str,
    password: str,
    by,
    at: dt.datetime,
) -> User:
    """Make the practice, its first clinic with rooms, and the administrator who sets up the rest.

    Possible once, before anyone can sign in. Raises AlreadyFounded, NameTaken, BadTimeZone, WeakPassword.
    """
    # A row that every migrated database has: two first visitors wait here for each other.
    ContentType.objects.select_for_update().get(app_label="practice", model="practice")
    if is_founded():
        raise AlreadyFounded()
    name = name.strip()
    if Practice.objects.filter(name=name).exists():
        raise NameTaken(f"A practice called {name} is already kept here. Choose a different name.")
    practice = Practice.objects.create(name=name, short_name=_short(name))
    audit.record(FOUND, by=by, at=at, subject=practice.short_name)
    clinic = open_clinic(
        practice=practice,
        name=clinic_name,
        rooms=rooms,
        time_zone=time_zone,
        currency=currency,
        tooth_notation=tooth_notation,
        by=by,
        at=at,
    )
    who = {"username": username, "display_name": display_name, "password": password}
    return add_person(**who, clinic=clinic, kind=Role.Kind.ADMINISTRATOR, by=by, at=at)


@transaction.atomic
def open_clinic(
    *,
    practice: Practice,
    name: str,
    rooms: Sequence[str],
    time_zone: str,
    currency: str,
    tooth_notation: str,
    by,
    at: dt.datetime,
) -> Clinic:
    """Add a clinic with its rooms and the usual policy; whoever opens it administers it.

    Open on Monday to Friday until someone says otherwise. Raises NameTaken, BadTimeZone.
    """
    name = name.strip()
    check_time_zone(time_zone)
    if Clinic.objects.filter(name=name).exists():
        raise NameTaken(f"Another clinic is called {name}. Choose a different name.")
    clinic = Clinic.objects.create(
        practice=practice,
        name=name,
        code=_next_code(),
        time_zone=time_zone,
        currency=currency,
        tooth_notation=tooth_notation,
    )
    Policy.objects.create(clinic=clinic)
    audit.record(OPEN_CLINIC, by=by, at=at, subject=str(clinic), clinic=clinic)
    for code in dict.fromkeys(room.strip() for room in rooms):
        make_room(clinic=clinic, code=code, kind="surgical", by=by, at=at)
    if by is not None:
        Role.objects.create(user=by, clinic=clinic, kind=Role.Kind.ADMINISTRATOR)
    return clinic


def _short(name: str) -> str:
    """The name where room is scarce: whole words, as many as fit."""
    short = name[: SHORT_NAME + 1].rsplit(" ", 1)[0] if len(name) > SHORT_NAME else name
    return short[:SHORT_NAME]


def _next_code() -> str:
    """The first free code in the order A, B, … Z, C27, C28, …; commands take it as well as the name."""
    taken = set(Clinic.objects.values_list("code", flat=True))
    letters = (chr(number) for number in range(ord("A"), ord("Z") + 1))
    numbers = (f"C{number}" for number in range(27, len(taken) + 28))
    return next(code for code in (*letters, *numbers) if code not in taken)
