"""What a new clinic does first, in order, and how far it has come."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.urls import reverse

from practice.import_kinds import ImportKind, counted
from practice.models import Clinic, Role, Room


@dataclass(frozen=True)
class FirstStep:
    """One step: where it is done, and how much of it is there in words ("" for nothing)."""

    title: str
    sentence: str
    url: str
    there: str
    is_done: bool


def first_steps(*, clinic: Clinic, kinds: Iterable[ImportKind], today: dt.date) -> list[FirstStep]:
    """Rooms, people, then every kind of file in the order given."""
    rooms = Room.objects.filter(clinic=clinic).count()
    people = Role.objects.filter(clinic=clinic, user__is_active=True).count()
    imports = reverse("imports")
    return [
        FirstStep(
            "Rooms and open days",
            "Rooms as the calendar calls them; the weekdays on which you operate; closures.",
            reverse("clinic_settings"),
            counted(rooms, "room", "rooms"),
            rooms > 0,
        ),
        FirstStep(
            "People",
            "At least an assistant, a clinician and a manager; bookings find clinicians by name.",
            reverse("people"),
            counted(people, "person", "people"),
            people > 1,
        ),
        *(
            FirstStep(kind.title, kind.sentence, f"{imports}#{kind.slug}", there, bool(there))
            for kind, there in standing(clinic=clinic, kinds=kinds, today=today)
        ),
    ]


def standing(*, clinic: Clinic, kinds: Iterable[ImportKind], today: dt.date) -> list[tuple[ImportKind, str]]:
    """Each kind of file with how much of it the clinic has, in words."""
    return [(kind, kind.there(clinic, today)) for kind in kinds]
