"""The appointment book of the demo practice: who comes when, drawn day by day with what follows from it."""

import datetime as dt
import math
import random
from collections import defaultdict
from dataclasses import dataclass

from kits.demo import mixes
from kits.demo.cast import ASSISTANTS, CLINICS, PATIENTS
from kits.demo.days import ONE_DAY, DemoDays
from kits.demo.drafting import Origins, Visit, draft_plan
from kits.procedure_facts import facts_of

OPENS, LAST_SURGERY, LAST_VISIT = 8 * 60 + 30, 15 * 60 + 30, 16 * 60 + 30  # minutes after midnight
STEP = 15  # minutes between possible starts
CANCELLED_SHARE, LATE_SHARE = 0.06, 0.40
SURGEONS_ROOMS = {"A": ("A1", "A2", "A3"), "B": ("B1",)}
VISIT_ROOM = {"A": "A4", "B": "B2"}
LEAD_MEAN_DAYS = 24


@dataclass(frozen=True)
class InPlace:
    """An implant that a patient has."""

    clinic: str
    patient: int
    tooth: str
    connection: str
    since: dt.date


class Diary:
    """Draws the visits of each day in order; what was done decides what follows."""

    def __init__(self, days: DemoDays, seed: int, declines: list[frozenset[str]], origins: Origins):
        self.days = days
        self.rng = random.Random(f"{seed}:diary:{days.today}")
        self.declines, self.origins = declines, origins
        self.waiting: dict[tuple[str, dt.date], list[Visit]] = defaultdict(list)
        self.in_place: list[InPlace] = []
        self.sockets: dict[str, list[tuple[dt.date, int, tuple[str, ...]]]] = defaultdict(list)
        self.kept_free: set[tuple[str, dt.date]] = set()
        self._seed_implants()

    def _seed_implants(self) -> None:
        for number in range(160):
            clinic = "A" if number % 3 else "B"
            tooth = self.rng.choice(mixes.TEETH["lower molar"] + mixes.TEETH["upper premolar"])
            connection = "CW" if tooth in mixes.TEETH["lower molar"] else "CR"
            since = self.days.run_up - ONE_DAY * self.rng.randrange(60, 1500)
            self.in_place.append(InPlace(clinic, self._someone(clinic), tooth, connection, since))

    def _someone(self, clinic: str) -> int:
        """A patient; two of three belong to Skellowick Road."""
        number = self.rng.randrange(1, PATIENTS + 1)
        return number if (number % 3 == 0) == (clinic == "B") else self._someone(clinic)

    def keep_free_of_surgery(self, clinic: str, day: dt.date) -> None:
        """Leave a day of a clinic to surgery that is booked by hand."""
        self.kept_free.add((clinic, day))

    def plant(self, visit: Visit) -> None:
        """Put a visit that was drafted elsewhere into the book; its day has to be open."""
        self._staffed(visit)
        self.waiting[visit.clinic, visit.on].append(visit)

    def _staffed(self, visit: Visit) -> None:
        clinician, assistant = visit.clinician, visit.assistant
        self._staff(visit)
        visit.clinician, visit.assistant = clinician or visit.clinician, assistant or visit.assistant
        visit.booked_on = visit.booked_on or visit.on - ONE_DAY * 20

    def visits_on(self, day: dt.date) -> list[Visit]:
        """Everything booked for a day at both clinics, with room and start; what does not fit waits a day."""
        found = []
        for clinic, _, _ in CLINICS:
            if self.days.is_open(clinic, day):
                due = self.waiting.pop((clinic, day), [])
                if (clinic, day) in self.kept_free:
                    for visit in [each for each in due if not each.is_visit]:
                        due.remove(visit)
                        self._wait(visit, day + ONE_DAY)
                else:
                    due += self._arrivals(clinic, day)
                due += self._maintenance(clinic, day)
                found += self._seat(clinic, day, [v for v in due if v.booked_on <= self.days.today])
        return found

    def _count(self, weekly: float, clinic: str, day: dt.date) -> int:
        """Poisson arrivals of one day from a weekly rate (Knuth's product of uniforms)."""
        open_days = 5 if clinic == "A" else 3
        limit, product, number = math.exp(-weekly * self.days.busyness(day) / open_days), self.rng.random(), 0
        while product > limit:
            product *= self.rng.random()
            number += 1
        return number

    def _arrivals(self, clinic: str, day: dt.date) -> list[Visit]:
        found = []
        for code, (weekly, share_b) in mixes.SURGERY.items():
            share = share_b if clinic == "B" else 1 - share_b
            for _ in range(self._count(weekly * share, clinic, day)):
                found.append(self._surgery(code, clinic, day))
        return found

    def _surgery(self, code: str, clinic: str, day: dt.date) -> Visit:
        visit = Visit(code, clinic, day, self._someone(clinic))
        if code in ("DEL", "DELG"):
            self._into_healed_socket(visit)
        elif code in ("PIR", "IRM"):
            self._at_implant(visit)
        self._staff(visit)
        lead = 2 + int(self.rng.expovariate(1 / LEAD_MEAN_DAYS))
        visit.booked_on = day - ONE_DAY * min(lead, 120)
        draft_plan(self.rng, visit, self.declines[visit.patient], self.origins)
        self._maybe_cancel(visit)
        return visit

    def _maybe_cancel(self, visit: Visit) -> None:
        if visit.on <= self.days.today and self.rng.random() < CANCELLED_SHARE:
            visit.cancelled = "late" if self.rng.random() < LATE_SHARE else "early"

    def _into_healed_socket(self, visit: Visit) -> None:
        """Half of the implants go where a tooth was taken out four to six months before."""
        first, last = mixes.SOCKET_HEALS_DAYS
        sockets = self.sockets[visit.clinic]
        while sockets and (visit.on - sockets[0][0]).days > last:
            sockets.pop(0)
        if sockets and (visit.on - sockets[0][0]).days >= first and self.rng.random() < 0.5:
            _, visit.patient, visit.teeth = sockets.pop(0)

    def _at_implant(self, visit: Visit) -> None:
        """Choose a patient with an implant in place for what is done to one."""
        old = [
            each
            for each in self.in_place
            if each.clinic == visit.clinic and (visit.on - each.since).days > 150
        ]
        each = self.rng.choice(old)
        visit.patient, visit.teeth = each.patient, (each.tooth,)
        visit.connections = {each.tooth: each.connection}

    def _staff(self, visit: Visit) -> None:
        assistants = ASSISTANTS[visit.clinic]
        visit.assistant = self.rng.choice(assistants)
        if visit.is_visit:
            restorative = visit.procedure in ("V-IMP", "V-DLV", "V-MNT")
            visit.clinician = "lindqvarn" if restorative else ""
        elif visit.clinic == "B":
            visit.clinician = "okwendale"
        elif visit.procedure in mixes.LONG_CASES:
            visit.clinician = "tessamore"
        elif visit.procedure in ("XTR", "2ND", "DEL") and self.rng.random() < 0.25:
            visit.clinician = "lindqvarn"
        elif visit.on.weekday() in (1, 3) and self.rng.random() < 0.35:
            # Tuesdays and Thursdays, when Eddlestoke Green is closed.
            visit.clinician = "okwendale"
        else:
            visit.clinician = "tessamore"
        visit.minutes = facts_of(visit.procedure).minutes

    def _maintenance(self, clinic: str, day: dt.date) -> list[Visit]:
        code, weekly, share_b = mixes.MAINTENANCE
        found = []
        for _ in range(self._count(weekly * (share_b if clinic == "B" else 1 - share_b), clinic, day)):
            visit = Visit(code, clinic, day, 0)
            self._at_implant(visit)
            self._staff(visit)
            visit.booked_on = day - ONE_DAY * self.rng.randrange(3, 60)
            found.append(visit)
        return found

    def _seat(self, clinic: str, day: dt.date, due: list[Visit]) -> list[Visit]:
        """Give each visit a room and a start; what finds none waits for the next open day."""
        free: dict[str, int] = defaultdict(lambda: OPENS)
        seated = []
        surgeries = [visit for visit in due if not visit.is_visit]
        for visit in sorted(surgeries, key=lambda v: -v.minutes) + [v for v in due if v.is_visit]:
            rooms = (VISIT_ROOM[clinic],) if visit.is_visit else SURGEONS_ROOMS[clinic]
            room = min(rooms, key=lambda name: free[name])
            start = max(free[room], free[visit.clinician] if visit.clinician else OPENS)
            start = -(-start // STEP) * STEP
            if start > (LAST_VISIT if visit.is_visit else LAST_SURGERY) or len(seated) >= 40:
                self._wait(visit, day + ONE_DAY)
                continue
            visit.on, visit.room, visit.start_minute = day, room, start
            free[room] = start + visit.minutes
            if visit.clinician and not visit.is_visit:
                free[visit.clinician] = start + visit.minutes
            seated.append(visit)
        return sorted(seated, key=lambda v: (v.start_minute, v.room))

    def _wait(self, visit: Visit, day: dt.date) -> None:
        visit.on = self.days.open_from(visit.clinic, day)
        self.waiting[visit.clinic, visit.on].append(visit)

    def done(self, visit: Visit, *, lasting_membrane: bool = False) -> None:
        """Book what follows from a visit that took place. ``lasting_membrane``: it has to come out again."""
        if visit.cancelled:
            return
        for code, share, first, last in mixes.FOLLOW_UPS.get(visit.procedure, ()):
            if self.rng.random() < share:
                self._follow(visit, code, first, last)
        if lasting_membrane and not visit.forgets_removal:
            self._follow(visit, "V-MBR", *mixes.MEMBRANE_OUT_DAYS)
        if visit.procedure in ("SKG", "GBRX"):
            self.sockets[visit.clinic].append((visit.on, visit.patient, visit.teeth))
        self._follow_implants(visit)

    def _follow_implants(self, visit: Visit) -> None:
        if visit.implants:
            placed = {tooth: mixes.connection_of(code) for tooth, code in visit.implants.items()}
            self.in_place += [
                InPlace(visit.clinic, visit.patient, tooth, connection, visit.on)
                for tooth, connection in placed.items()
            ]
            covered = self.rng.random() < mixes.UNCOVERED[visit.procedure]
            self._follow(visit, "2ND" if covered else "V-IMP", *mixes.HEALING_DAYS[visit.procedure], placed)
        elif visit.procedure == "2ND":
            self._follow(visit, "V-IMP", 14, 21, visit.connections)
        elif visit.procedure == "V-IMP":
            self._follow(visit, "V-DLV", 14, 21, visit.connections)
        elif visit.procedure == "V-DLV":
            self._follow(visit, "V-MNT", 178, 190, visit.connections)

    def _follow(self, visit: Visit, code: str, first: int, last: int, connections=None) -> None:
        day = visit.on + ONE_DAY * self.rng.randint(first, last)
        later = Visit(code, visit.clinic, day, visit.patient, visit.teeth)
        later.connections = dict(connections or {})
        self._staff(later)
        later.booked_on = max(visit.on, day - ONE_DAY * 60)
        if code == "2ND":
            draft_plan(self.rng, later, self.declines[visit.patient], self.origins)
            self._maybe_cancel(later)
        self._wait(later, day)
