"""Units on a tray: what may still be done with them."""

from django.db.models import QuerySet

from kits.models import Case, TrayUnit
from kits.tray import source_of
from practice.refusals import Refusal
from stock.models import Entry, Place

_START = "tray-unit/"


class AlreadyDecided(Refusal):
    """The unit was already used, wasted or put back."""

    def __init__(self, unit: TrayUnit) -> None:
        self.unit = unit
        word = unit.get_outcome_display()
        super().__init__(f"{unit.lot} is already recorded as {word}. Undo that first if it is wrong.")


class Opened(Refusal):
    """What was opened never goes back to the shelf."""

    def __init__(self, unit: TrayUnit) -> None:
        self.unit = unit
        super().__init__(
            f"{unit.lot} was opened, so it cannot be put back. Record it as used, or as wasted with a reason."
        )


def fresh_unit(unit: TrayUnit) -> TrayUnit:
    """The unit as it is now, locked, and still undecided. Raises AlreadyDecided."""
    unit = (
        TrayUnit.objects.select_for_update(of=("self",))
        .select_related("lot__item", "place", "tray", "line__case__clinic", "line__item")
        .get(pk=unit.pk)
    )
    if unit.outcome != TrayUnit.Outcome.PENDING:
        raise AlreadyDecided(unit)
    return unit


def home_of(unit: TrayUnit) -> Place:
    """Where sealed units go from the tray: back where they came from, or into quarantine.

    Into quarantine when the lot was held or recalled meanwhile or is out of date on the day of surgery.
    """
    lot, case = unit.lot, unit.line.case
    outdated = lot.last_usable_on is not None and lot.last_usable_on < case.on
    if not lot.decision and not outdated:
        return unit.place
    quarantine = Place.objects.filter(clinic=case.clinic_id, kind=Place.Kind.QUARANTINE).first()
    return quarantine or unit.place


def sealed_only(unit: TrayUnit) -> None:
    """Raise Opened for a unit that was opened."""
    if unit.opened_at is not None:
        raise Opened(unit)


def decision_key(unit: TrayUnit) -> str:
    """A fresh ledger key for the next decision about a unit; ``decision_entry`` finds its entry again."""
    return f"{_key_start(unit)}{_decisions(unit).count()}"


def decision_entry(unit: TrayUnit) -> Entry | None:
    """The ledger entry of the decision about a unit that stands, or None where all were corrected."""
    entries = _decisions(unit).filter(corrections=None).select_related("lot__item", "place__clinic")
    # Asked here and not of the database: SQLite takes "corrects nothing" for rare and would read all entries.
    return next((entry for entry in entries.order_by("pk") if entry.corrects_id is None), None)


def standing_decisions(case: Case) -> set[int]:
    """Ids of a case's tray units about which a decision stands in the ledger. One query."""
    entries = Entry.objects.filter(source=source_of(case), key__startswith=_START, corrections=None)
    standing = entries.order_by().values_list("key", "corrects_id")
    return {int(key.split("/")[1]) for key, corrects in standing if corrects is None}


def _decisions(unit: TrayUnit) -> QuerySet[Entry]:
    """Every entry about a unit; looked for among those of its case, which are few, never among all."""
    return Entry.objects.filter(source=source_of(unit.line.case), key__startswith=_key_start(unit))


def _key_start(unit: TrayUnit) -> str:
    return f"{_START}{unit.pk}/"
