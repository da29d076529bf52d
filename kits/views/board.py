"""The day as cards by room: status, the one thing to do next, what to fetch, what is left to finish."""

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.urls import reverse

from kits.models import Case, Procedure
from kits.pick_values import CANNOT_START, DONE, THIN, PickLine, PickList
from kits.promises import procedures_in_words
from kits.trace import STAYS
from kits.views.words import name_and_rest, teeth_shown
from practice.models import Clinic

State = Case.State
# More single things than this are summed up by place. Unit: lines of the list.
LONGEST_FETCH = 6
_NOON = dt.time(12)
_DECIDE = "Decide the plan"


@dataclass(frozen=True)
class Card:
    """One case of the day: ``shape`` and ``word`` of its status, why, and the one thing to do next."""

    case: Case
    procedures: str
    teeth: list[dict[str, str]]
    meta: str
    shape: str
    word: str
    why: str
    kind: str
    action_url: str = ""
    action_label: str = ""
    done: int = 0
    total: int = 0

    @property
    def is_pressing(self) -> bool:
        """Whether its step is the one to take now: the next tray, or a decision that holds the case up."""
        return self.kind == "is-next" or self.action_label == _DECIDE


@dataclass(frozen=True)
class Column:
    """A room with its cases in order of start; ``people``: who operates there, where it is one person."""

    name: str
    people: str
    cards: list[Card]

    @property
    def is_visits(self) -> bool:
        """Whether only visits take place there, so that a row each says enough."""
        kinds = {booked.procedure.kind for card in self.cards for booked in card.case.procedures.all()}
        return kinds == {Procedure.Kind.VISIT}


def columns(
    cases: Sequence[Case], lists: dict[int, PickList], elsewhere: dict[int, list[tuple[str, int]]]
) -> list[Column]:
    """Cases by room. ``elsewhere``: by item id, other clinics and the units they have free."""
    rooms: dict[str, list[Case]] = defaultdict(list)
    for case in sorted(cases, key=lambda case: (case.starts_at, case.pk)):
        rooms[f"Room {case.room}" if case.room else "No room yet"].append(case)
    following = _following(cases, lists)

    def column(name: str) -> Column:
        people = list(dict.fromkeys(str(case.clinician) for case in rooms[name] if case.clinician))
        cards = [
            _card(case, lists.get(case.pk), elsewhere, case.pk == following, len(people) > 1)
            for case in rooms[name]
        ]
        return Column(name, people[0] if len(people) == 1 else "", cards)

    return [column(name) for name in sorted(rooms, key=lambda name: (name == "No room yet", name))]


def _following(cases: Sequence[Case], lists: dict[int, PickList]) -> int | None:
    """The case to set out now: the earliest one that is not set out in full and can go ahead."""
    waiting = [
        case
        for case in cases
        if case.state in (State.BOOKED, State.SET_OUT)
        and case.pk in lists
        and lists[case.pk].done < lists[case.pk].total
        and lists[case.pk].readiness.word != CANNOT_START
    ]
    return min(waiting, key=lambda case: (case.starts_at, case.pk)).pk if waiting else None


def _card(case: Case, pick: PickList | None, elsewhere: dict, is_next: bool, with_person: bool) -> Card:
    shape, word, why, kind = _status(case, pick, elsewhere)
    url, label = _next_step(case, pick)
    return Card(
        case=case,
        procedures=procedures_in_words(case),
        teeth=teeth_shown(case),
        meta=_meta(case, with_person),
        shape=shape,
        word=word,
        why=why,
        kind="is-next" if is_next else kind,
        action_url=url,
        action_label=label,
        done=pick.done if pick and case.state != State.IN_SURGERY else 0,
        total=pick.total if pick else 0,
    )


def _meta(case: Case, with_person: bool) -> str:
    sizes = [
        f"{site.implant.diameter_mm:.1f} × {site.implant.length_mm.normalize():f}"
        for site in case.sites.all()
        if site.implant is not None and site.implant.diameter_mm and site.implant.length_mm
    ]
    person = [str(case.clinician)] if with_person and case.clinician else []
    return " · ".join([case.patient.chart_number, *dict.fromkeys(sizes), f"{case.minutes} min", *person])


def _status(case: Case, pick: PickList | None, elsewhere: dict) -> tuple[str, str, str, str]:
    if case.state == State.CLOSED:
        return "done", "Closed", "", "is-over"
    if case.state == State.IN_SURGERY:
        return "waiting", "In surgery", "", ""
    if pick is None:
        return "waiting", case.get_state_display().capitalize(), "", "is-over"
    if case.state == State.SET_OUT and pick.done == pick.total:
        return "done", "Set out", "", "is-over"
    why = "" if pick.readiness.word not in (THIN, CANNOT_START) else pick.readiness.sentence
    why = " ".join(part for part in (why, _who_has(pick.readiness.line, elsewhere)) if part)
    if pick.readiness.word == CANNOT_START:
        return "stop", "Cannot start", why, "is-stop"
    if pick.readiness.word == THIN:
        return "thin", "Thin reserve", why, ""
    return "ready", "Ready", "", ""


def _who_has(line: PickLine | None, elsewhere: dict) -> str:
    """Which other clinic has what the case is short of."""
    if line is None or not line.short or line.item is None:
        return ""
    found = elsewhere.get(line.item.pk, [])
    return " ".join(f"{clinic} has {units}." for clinic, units in found if units > 0)


def _next_step(case: Case, pick: PickList | None) -> tuple[str, str]:
    if case.state == State.CLOSED:
        return "", ""
    if case.state == State.IN_SURGERY:
        return reverse("case_close", args=[case.code]), "Account for it"
    if pick is None:
        return "", ""
    if any(line.blocking or (line.undecided and line.choose_one_group) for line in pick.decide):
        return reverse("case", args=[case.code]), _DECIDE
    if case.state == State.SET_OUT and pick.done == pick.total:
        return reverse("pick_list", args=[case.code]), "To the tray"
    return reverse("pick_list", args=[case.code]), "Set out tray" if pick.done == 0 else "Go on"


def day_sentence(cases: Sequence[Case], lists: dict[int, PickList]) -> str:
    """The day in one or two sentences a colleague would say."""
    rooms = {case.room_id for case in cases if case.room_id}
    first = f"{_counted(len(cases), 'case')} in {_counted(len(rooms), 'room')}." if rooms else ""
    first = first or f"{_counted(len(cases), 'case')}."
    states = Counter(case.state for case in cases)
    ready = sum(pick.case.state == State.SET_OUT and pick.done == pick.total for pick in lists.values())
    stuck = sum(
        pick.readiness.word == CANNOT_START
        for pick in lists.values()
        if pick.case.state in (State.BOOKED, State.SET_OUT)
    )
    parts = []
    if states[State.CLOSED]:
        parts.append(f"{_counted(states[State.CLOSED], 'case')} closed")
    if ready:
        parts.append(f"{_counted(ready, 'tray')} set out")
    if stuck:
        parts.append(f"{_counted(stuck, 'case')} cannot start yet")
    rest = "; ".join(parts)
    return f"{first} {rest[:1].upper()}{rest[1:]}.".strip() if rest else first


def _counted(number: int, noun: str) -> str:
    words = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine")
    said = words[number].lower() if number < len(words) else str(number)
    return f"{said} {noun}{'' if number == 1 else 's'}" if number != 1 else f"one {noun}"


def capital(sentence: str) -> str:
    """The sentence with a capital first letter."""
    return sentence[:1].upper() + sentence[1:]


@dataclass(frozen=True)
class Todo:
    """One thing to do: the word to lead with, the rest, and where."""

    lead: str
    rest: str
    url: str = ""


def to_fetch(lists: Iterable[PickList], clinic: Clinic) -> tuple[str, list[Todo]]:
    """What to fetch from outside the rooms, and the time by which: before noon if any case starts then."""
    zone = ZoneInfo(clinic.time_zone)
    waiting = [
        pick for pick in lists if pick.case.state in (State.BOOKED, State.SET_OUT) and pick.done < pick.total
    ]
    starts = [pick.case.starts_at.astimezone(zone).time() for pick in waiting]
    morning = [pick for pick, at in zip(waiting, starts, strict=True) if at < _NOON]
    chosen = morning or waiting
    if not chosen:
        return "", []
    first = min(pick.case.starts_at for pick in chosen).astimezone(zone)
    return f"Before {first:%H:%M}" if len(chosen) == 1 else "To fetch", _fetches(chosen)


def _fetches(lists: Sequence[PickList]) -> list[Todo]:
    single, by_place = [], Counter()
    for pick in lists:
        room = f"to {pick.case.room}" if pick.case.room else f"for {pick.case.code}"
        for line in pick.wanted:
            for part in line.parts if line.state != DONE else ():
                if part.place.kind == part.place.Kind.CART:
                    continue
                by_place[str(part.place)] += 1
                if line.must_scan or line.item.category in STAYS:
                    single.append(_fetch(line, part, room, pick.case))
    summed = [
        Todo(f"{_counted(count, 'line').capitalize()}", f"in all from the {place.lower()}")
        for place, count in by_place.most_common()
    ]
    return single[:LONGEST_FETCH] + summed


def _fetch(line: PickLine, part: Any, room: str, case: Case) -> Todo:
    name, _ = name_and_rest(line.description)
    number = f", {part.lot.shown}" if part.lot.shown != "no lot" else ""
    rest = f"from the {str(part.place).lower()} {room}{number}"
    return Todo(name, rest, reverse("pick_list", args=[case.code]))


def to_finish(unclosed: Iterable[Case], pending: dict[int, int], tissue: int, today: dt.date) -> list[Todo]:
    """What is left over from surgery: cases of earlier days still open, units unaccounted, tissue cards."""
    found = []
    for case in unclosed:
        when = "yesterday" if case.on == today - dt.timedelta(days=1) else f"{case.on.day} {case.on:%B}"
        if case.state == State.BOOKED:
            url = reverse("case", args=[case.code])
            found.append(Todo(f"{case.code} of {when}", "was never set out: move it or cancel it", url))
        else:
            left = f"{_counted(pending.get(case.pk, 0), 'unit')} unaccounted for"
            url = reverse("case_close", args=[case.code])
            found.append(Todo(f"Close {case.code} of {when}", left, url))
    if tissue:
        found.append(
            Todo("Tissue usage cards", f"{_counted(tissue, 'unit')} used on the last day of surgery")
        )
    return found
