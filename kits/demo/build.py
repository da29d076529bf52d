"""Building the demo practice whole, in one transaction; and telling whether a database already holds it."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

from django.apps import apps
from django.db import transaction

from kits.demo import cast
from kits.demo.bookings import Bookings
from kits.demo.days import ONE_DAY, DemoDays, moment
from kits.demo.diary import Diary
from kits.demo.history import Past
from kits.demo.people import deal_preference_cards, found_practice
from kits.demo.planted import plant
from kits.demo.stories import Stories
from kits.demo.supplies import bring_in_supplies, origins_of
from kits.demo.surgery_day import SurgeryDay
from kits.demo.writing import Writer
from practice import audit
from practice.models import AuditEntry, Patient, Practice
from practice.refusals import Refusal

BUILT = audit.action("demo.build", "built the demo practice {subject} for {today} from seed {seed}")
# Days played between two writes: enough to make the writes few, few enough to keep the memory small.
DAYS_A_WRITE = 28
# The oldest story is the delivery of the lot that is recalled (unit: weeks).
LEAST_WEEKS = 4


class NotTheDemo(Refusal):
    """The database holds something that is not the demo practice."""

    def __init__(self, names: list[str]) -> None:
        self.names = names
        held = ", ".join(names) or "records of somebody"
        super().__init__(
            f"This database holds {held}, so no demo practice is put into it and nothing is taken away. "
            "Name another database (DATABASE_URL) or another data directory (DATA_DIR) for the demo."
        )


class AddedTo(Refusal):
    """People entered patients of their own into the demo practice."""

    def __init__(self, patients: int) -> None:
        self.patients = patients
        who = "1 patient was" if patients == 1 else f"{patients} patients were"
        super().__init__(
            f"{who} added to the demo practice, so it is not taken away. Serve it as it is with the --today "
            "it was built for, or say --fresh to lose what was added."
        )


class TooShort(Refusal):
    """The stories of the past do not fit into so few weeks."""

    def __init__(self, weeks: int) -> None:
        super().__init__(f"The demo needs at least {LEAST_WEEKS} weeks of history, not {weeks}.")


@dataclass(frozen=True)
class Wish:
    """What demo is asked for: the day it is built for, the seed, and the weeks of history."""

    today: dt.date
    seed: int = 7
    weeks: int = 52

    def __post_init__(self) -> None:
        if self.weeks < LEAST_WEEKS:
            raise TooShort(self.weeks)


def built() -> Wish | None:
    """The demo this database holds; None for an empty database. Raises NotTheDemo for anything else."""
    names = list(Practice.objects.order_by("pk").values_list("name", flat=True))
    said = AuditEntry.objects.filter(action=BUILT, subject=cast.SHORT_NAME).first()
    if said is None:
        if names or any(model.objects.exists() for model in _telling_models()):
            raise NotTheDemo(names)
        return None
    if names != [cast.PRACTICE]:
        raise NotTheDemo([name for name in names if name != cast.PRACTICE])
    facts = said.facts
    return Wish(dt.date.fromisoformat(facts["today"]), facts["seed"], facts["weeks"])


def refuse_if_added_to() -> None:
    """Raise AddedTo when the demo practice has patients that it was not built with."""
    added = Patient.objects.count() - cast.PATIENTS
    if added > 0:
        raise AddedTo(added)


def _telling_models():
    """Tables any of whose rows mean that somebody uses the database."""
    return [apps.get_model("practice", "User"), Patient, apps.get_model("stock", "Item"), AuditEntry]


@transaction.atomic
def build(wish: Wish, *, tell: Callable[[str], None] = lambda words: None) -> dict[str, int]:
    """Build the demo practice into an empty database; returns how much of what there is.

    The same wish gives the same practice. Raises NotTheDemo when the database is not empty.
    """
    if built() is not None:
        raise NotTheDemo([cast.PRACTICE])
    days = DemoDays(wish.today, wish.weeks)
    set_up_at = moment(days.start, 6)
    tell("People, rooms, places and patients")
    found = found_practice(days, at=set_up_at, seed=wish.seed)
    tell("Catalogue and bills of materials")
    supplies = bring_in_supplies(at=set_up_at, today=days.start, by=found.manager)
    deal_preference_cards(found)
    declines = [frozenset(), *(each.declined_origins for each in found.patients)]
    diary = Diary(days, wish.seed, declines, origins_of(supplies))
    past = Past(days, wish.seed, found, supplies, diary)
    writer = Writer(past)
    _run_up(diary)
    plant(past, diary)
    _play(past, writer, tell)
    tell("Today, and the coming five weeks")
    ahead = _look_ahead(Bookings(found, supplies), diary)
    facts = {"today": wish.today.isoformat(), "seed": wish.seed, "weeks": wish.weeks}
    audit.record(BUILT, by=None, at=moment(days.today, 6), subject=cast.SHORT_NAME, **facts)
    return {
        "cases": past.cases,
        "cases of today and ahead": ahead,
        "entries": writer.entries,
        "orders": len(past.buyer.orders),
        "lots": len(writer.lots),
        "borrowed": past.borrowed,
        "transferred": past.transferred,
        "reserves short": past.short,
    }


def _look_ahead(bookings: Bookings, diary: Diary) -> int:
    """Today's surgery, the stories, and what else is booked; returns how many cases."""
    days = diary.days
    for day in (days.surgery_day, days.next_surgery_day):
        diary.keep_free_of_surgery("A", day)
    SurgeryDay(bookings, days).play()
    Stories(bookings, days).tell()
    bookings.ahead(diary)
    return bookings.taken


def _run_up(diary: Diary) -> None:
    """Surgery before the ledger begins; it only brings later visits."""
    day = diary.days.run_up
    while day < diary.days.start:
        for visit in diary.visits_on(day):
            diary.done(visit)
        day += ONE_DAY


def _play(past: Past, writer: Writer, tell: Callable[[str], None]) -> None:
    """The history, up to and without the day the demo is built for."""
    past.open()
    day = past.days.start
    while day < past.days.today:
        past.play_day(day)
        day += ONE_DAY
        if (day - past.days.start).days % DAYS_A_WRITE == 0 or day == past.days.today:
            writer.write()
            tell(f"History up to {day}: {past.cases} cases, {writer.entries} entries")
    writer.write_orders()
