"""Which case each booking of a file is: by its id, by chart and moment, never one case for two bookings.

Works on rows already read; nothing is asked of the database here but what ``known_cases`` fetches once.
"""

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from kits.booking_meanings import Understood
from kits.booking_rows import Booked
from kits.models import Case, FileBooking
from practice.models import Clinic

# Cases of the last month are still known by their ids, so that a late export does not book them again.
KNOWN_FOR_DAYS = 31
LONGEST_ID = 120  # characters

Place = tuple[str, dt.datetime]


@dataclass(frozen=True)
class Named:
    """A booking with its identity. ``has_own_id`` is False where chart, day and procedures stand for it."""

    identity: str
    has_own_id: bool
    booking: Understood

    @property
    def place(self) -> Place:
        """Chart and moment: nobody is operated on twice at once."""
        return self.booking.booked.chart, self.booking.booked.starts_at

    @property
    def moment(self) -> tuple:
        """Chart, moment and procedures: the same booking whatever a file calls it."""
        return (*self.place, frozenset(self.booking.codes))


@dataclass
class KnownCases:
    """Cases that are there already: by every id a file gave them, and by where and what they are."""

    by_identity: dict[str, Case] = field(default_factory=dict)
    by_moment: dict[tuple, Case] = field(default_factory=dict)
    by_place: dict[Place, list[Case]] = field(default_factory=lambda: defaultdict(list))
    said: dict[str, FileBooking] = field(default_factory=dict)
    names: dict[int, list[FileBooking]] = field(default_factory=lambda: defaultdict(list))

    def heard(self, named: Named) -> bool:
        """Whether a file said just this under this id when it was last read."""
        last, codes, teeth = self.said.get(named.identity), named.booking.codes, named.booking.teeth
        return last is not None and (last.procedures, last.teeth) == (" ".join(codes), " ".join(teeth))

    def has_own_id(self, case: Case) -> bool:
        """Whether some file knows the case by an id of its own."""
        return any(not is_derived(name.identity, case) for name in self.names[case.pk])

    def last_said(self, named: Named, case: Case) -> FileBooking | None:
        """What the same file said of the case before: under this id, or under an earlier derived one."""
        if named.identity in self.said:
            return self.said[named.identity]
        if named.has_own_id:
            return None
        earlier = [name for name in self.names[case.pk] if is_derived(name.identity, case)]
        return max(earlier, key=lambda name: (name.read_at, name.pk), default=None)


@dataclass
class Matches:
    """Case of each booking (by position; missing where there is none) and of each cancellation."""

    booked: dict[int, Case] = field(default_factory=dict)
    gone: dict[int, Case] = field(default_factory=dict)


def is_derived(identity: str, case: Case) -> bool:
    """Whether an id was made of chart, day and procedures for want of one in the file."""
    return identity.startswith(f"{case.patient.chart_number}|")


def identity_of(booked: Booked, codes: Sequence[str], seen: Counter[str]) -> tuple[str, bool]:
    """The id of the file, or chart, day and procedures; a second such visit that day gets a number."""
    if booked.identity:
        return booked.identity[:LONGEST_ID], True
    base = f"{booked.chart}|{booked.starts_at.date().isoformat()}|{'+'.join(codes)}"
    seen[base] += 1
    return (base if seen[base] == 1 else f"{base}|{seen[base]}")[:LONGEST_ID], False


def known_cases(clinic: Clinic, today: dt.date) -> KnownCases:
    """Everything a file may speak of, in four queries."""
    known = KnownCases()
    since = today - dt.timedelta(days=KNOWN_FOR_DAYS)
    cases = {
        case.pk: case
        for case in Case.objects.filter(clinic=clinic, on__gte=since)
        .select_related("clinic", "patient", "room", "clinician")
        .prefetch_related("procedures__procedure", "sites")
    }
    for case in cases.values():
        if case.external_id:
            known.by_identity[case.external_id] = case
        if case.on >= today and case.state != Case.State.CANCELLED:
            codes = frozenset(each.procedure.code for each in case.procedures.all())
            place = (case.patient.chart_number, case.starts_at)
            known.by_moment[(*place, codes)] = case
            known.by_place[place].append(case)
    for found in FileBooking.objects.filter(clinic=clinic, case__in=cases):
        known.by_identity[found.identity] = cases[found.case_id]
        known.said[found.identity] = found
        known.names[found.case_id].append(found)
    return known


def match(bookings: Sequence[Named], gone: Sequence[Booked], known: KnownCases) -> Matches:
    """Lead every booking and cancellation to its case, the surest ways first; a case is taken once.

    1. by the file's own id; 2. by chart, moment and procedures; 3. by an id made of chart, day and
    procedures; 4. cancellations, by id or by chart and moment; 5. by chart and moment alone, where one
    booking and one case stand there: the same visit with other procedures.
    """
    found, taken = Matches(), set[int]()

    def lead(numbers: Iterable[int], to: dict[int, Case], find: Callable[[int], Case | None]) -> None:
        for number in numbers:
            case = None if number in to else find(number)
            if case is not None and case.pk not in taken:
                taken.add(case.pk)
                to[number] = case

    every = range(len(bookings))
    own = [number for number in every if bookings[number].has_own_id]
    lead(own, found.booked, lambda n: known.by_identity.get(bookings[n].identity))
    lead(every, found.booked, lambda n: known.by_moment.get(bookings[n].moment))
    lead(every, found.booked, lambda n: known.by_identity.get(bookings[n].identity))
    lead(range(len(gone)), found.gone, lambda n: _gone(gone[n], known, taken))
    crowd = Counter(bookings[n].place for n in every if n not in found.booked)
    alone = [n for n in every if crowd[bookings[n].place] == 1]
    lead(alone, found.booked, lambda n: _there(bookings[n], known, taken))
    return found


def _gone(booked: Booked, known: KnownCases, taken: set[int]) -> Case | None:
    """The case of a booking that is off: by its id, else the open one at that chart and moment."""
    case = known.by_identity.get(booked.identity[:LONGEST_ID]) if booked.identity else None
    if case is not None:
        return case
    return _only_open(known.by_place.get((booked.chart, booked.starts_at), []), taken)


def _there(named: Named, known: KnownCases, taken: set[int]) -> Case | None:
    """The one open case at that chart and moment, unless both have ids of their own that differ."""
    case = _only_open(known.by_place.get(named.place, []), taken)
    if case is not None and named.has_own_id and known.has_own_id(case):
        return None
    return case


def _only_open(cases: Iterable[Case], taken: set[int]) -> Case | None:
    left = [case for case in cases if case.pk not in taken and case.state in Case.OPEN]
    return left[0] if len(left) == 1 else None
