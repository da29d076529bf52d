"""The practice itself: clinics, rooms, places, people with roles and preference cards, patients."""

import datetime as dt
import random
from dataclasses import dataclass, field

from django.contrib.auth.hashers import make_password

from kits.demo import cast
from kits.demo.days import DemoDays
from kits.models import Preference
from practice.encryption import blind_index
from practice.models import Clinic, Closure, Patient, Policy, Practice, Role, Room, User
from stock.models import Item, Place
from stock.places import ensure_place


@dataclass
class Cast:
    """Rows of the practice by their codes and names."""

    practice: Practice
    clinics: dict[str, Clinic] = field(default_factory=dict)
    rooms: dict[str, Room] = field(default_factory=dict)
    people: dict[str, User] = field(default_factory=dict)
    places: dict[tuple[str, str], Place] = field(default_factory=dict)
    patients: list[Patient] = field(default_factory=list)

    @property
    def manager(self) -> User:
        """The office manager."""
        return self.people["marrowick"]

    def accepting(self, number: int) -> int:
        """The first patient, by number, from this one on who declines nothing."""
        while self.patients[number - 1].declined_origins:
            number += 1
        return number

    def place(self, clinic: str, name: str) -> Place:
        """A place of a clinic by its name."""
        return self.places[clinic, name]


def found_practice(days: DemoDays, *, at: dt.datetime, seed: int) -> Cast:
    """Create the practice with everything but its catalogue; ``at`` is when it was set up."""
    found = Cast(Practice.objects.create(name=cast.PRACTICE, short_name=cast.SHORT_NAME))
    for code, name, weekdays in cast.CLINICS:
        clinic = Clinic.objects.create(practice=found.practice, code=code, name=name, open_weekdays=weekdays)
        found.clinics[code] = clinic
        Policy.objects.create(clinic=clinic)
        Closure.objects.bulk_create(
            Closure(clinic=clinic, starts_on=first, ends_on=last, reason=reason)
            for first, last, reason in days.closures(code)
        )
        for room, kind in cast.ROOMS[code]:
            found.rooms[room] = Room.objects.create(clinic=clinic, code=room, kind=kind)
        _places(found, code, at)
    _people(found)
    found.patients = _patients(found.practice, seed, days.today.year, at.date())
    return found


def _places(found: Cast, code: str, at: dt.datetime) -> None:
    kind = Place.Kind
    kinds = [(cast.STOCKROOM, kind.STOCKROOM), (cast.FRIDGE, kind.FRIDGE)]
    kinds += [(f"Cart {room}", kind.CART) for room, _ in cast.ROOMS[code]]
    kinds += [(f"Tray {room}", kind.TRAY) for room, _ in cast.ROOMS[code]]
    kinds += [(cast.QUARANTINE, kind.QUARANTINE), (cast.LOAN, kind.LOAN), (cast.TRANSIT, kind.TRANSIT)]
    for name, of_kind in kinds:
        place = ensure_place(clinic=found.clinics[code], name=name, kind=of_kind, by=None, at=at)
        found.places[code, name] = place


def _people(found: Cast) -> None:
    # Hashed once: the hash is slow on purpose, and all demo people share one password.
    password = make_password(cast.PASSWORD)
    for username, name, roles in cast.PEOPLE:
        user = User.objects.create(username=username, display_name=name, password=password)
        found.people[username] = user
        Role.objects.bulk_create(
            Role(user=user, clinic=found.clinics[code], kind=kind) for code, kind in roles.items()
        )


def deal_preference_cards(found: Cast) -> None:
    """Give everyone their preference card; the catalogue has to be there."""
    codes = {code for card in cast.PREFERENCES.values() for code in card.values()}
    items = Item.objects.in_bulk(codes, field_name="code")
    Preference.objects.bulk_create(
        Preference(user=found.people[username], slot=slot, item=items[code])
        for username, card in cast.PREFERENCES.items()
        for slot, code in card.items()
    )


def _patients(practice: Practice, seed: int, year: int, asked_on: dt.date) -> list[Patient]:
    """Patients P-0001 and on; the name is made of syllables and stands for nobody."""
    rng = random.Random(f"{seed}:patients")
    drafts = []
    for number in range(1, cast.PATIENTS + 1):
        name = (
            f"{chr(65 + rng.randrange(26))}. {rng.choice(cast.SURNAME_STARTS)}{rng.choice(cast.SURNAME_ENDS)}"
        )
        age = min(94, max(21, round(rng.gauss(58, 13))))
        flags = {flag: rng.random() < share for flag, share in cast.DECLINES}
        drafts.append(
            Patient(
                practice=practice,
                chart_number=f"P-{number:04d}",
                name=name,
                name_index=blind_index(name),
                born_in=year - age,
                consent_asked_on=asked_on,
                **flags,
            )
        )
    return Patient.objects.bulk_create(drafts, batch_size=500)
