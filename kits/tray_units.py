"""Units on a tray: what may still be done with them."""

from kits.models import TrayUnit
from practice.refusals import Refusal
from stock.models import Entry


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


def sealed_only(unit: TrayUnit) -> None:
    """Raise Opened for a unit that was opened."""
    if unit.opened_at is not None:
        raise Opened(unit)


def decision_key(unit: TrayUnit) -> str:
    """A fresh ledger key for the next decision about a unit; ``decision_entry`` finds its entry again."""
    start = _key_start(unit)
    return f"{start}{Entry.objects.filter(key__startswith=start).count()}"


def decision_entry(unit: TrayUnit) -> Entry | None:
    """The ledger entry of the decision about a unit that stands, or None where all were corrected."""
    entries = Entry.objects.filter(key__startswith=_key_start(unit), corrects=None, corrections=None)
    return entries.select_related("lot__item", "place__clinic").order_by("pk").first()


def _key_start(unit: TrayUnit) -> str:
    return f"tray-unit/{unit.pk}/"
