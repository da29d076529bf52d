"""Units change their place: shelf to tray, clinic to clinic, into quarantine, and back sealed."""

import datetime as dt

from django.db import transaction

from practice import audit
from practice.refusals import Refusal
from stock.models import Entry, Lot, Place
from stock.posting import Movement, Said, lock_heads, post, whole

MOVE = audit.action("stock.move", "moved {quantity} of {subject} from {origin} to {place}")
PUT_BACK = audit.action("stock.put-back", "put {quantity} of {subject} back sealed from {origin} to {place}")


class SamePlace(Refusal):
    """Nothing would move."""

    def __init__(self, *, place: Place):
        self.place = place
        super().__init__(f"The units already lie at {place}. Choose another place.")


class NotUsable(Refusal):
    """A held or recalled lot would come within reach of a surgery."""

    def __init__(self, *, lot: Lot, place: Place):
        self.lot, self.place = lot, place
        reason = f" ({lot.decision_reason})" if lot.decision_reason else ""
        super().__init__(
            f"{lot} is {lot.get_decision_display()}{reason} and may not go to {place}. Put it into "
            "quarantine, and take another lot."
        )


def _check_decision(lot: Lot, from_place: Place, to_place: Place) -> None:
    """Refuse to bring a held or recalled lot onto a tray, or out of quarantine within reach."""
    lot.refresh_from_db(fields=["decision", "decision_reason"])
    leaves = from_place.kind == Place.Kind.QUARANTINE and to_place.kind in Place.PRESENT
    if lot.decision and (to_place.kind == Place.Kind.TRAY or leaves):
        raise NotUsable(lot=lot, place=to_place)


@transaction.atomic
def move(
    *,
    lot: Lot,
    from_place: Place,
    to_place: Place,
    quantity: int,
    by,
    at: dt.datetime,
    recorded_at: dt.datetime | None = None,
    source: str = "",
    key: str | None = None,
    note: str = "",
) -> list[Entry]:
    """Move units of a lot; both places may belong to different clinics. Returns the two entries.

    Raises WrongQuantity, SamePlace, NotUsable, NotEnough, KeyReused.
    """
    whole(quantity)
    if from_place.pk == to_place.pk:
        raise SamePlace(place=to_place)
    # A hold locks the same heads, so the decision read here stands until this move is written.
    lock_heads([from_place.clinic_id, to_place.clinic_id])
    if not (key is not None and Entry.objects.filter(key=key).exists()):
        _check_decision(lot, from_place, to_place)
    facts = {"quantity": quantity, "origin": str(from_place), "place": str(to_place)}
    return post(
        movements=[
            Movement(Entry.Kind.MOVE_OUT, lot, from_place, -quantity, note=note),
            Movement(Entry.Kind.MOVE_IN, lot, to_place, quantity, note=note),
        ],
        by=by,
        at=at,
        recorded_at=recorded_at,
        source=source,
        key=key,
        said=Said(MOVE, str(lot), facts),
    )


def put_back(
    *,
    lot: Lot,
    tray: Place,
    place: Place,
    quantity: int,
    by,
    at: dt.datetime,
    recorded_at: dt.datetime | None = None,
    source: str = "",
    key: str | None = None,
    note: str = "",
) -> list[Entry]:
    """Put sealed units back from a tray to the place they came from. Returns the two entries.

    Whether they are sealed is the caller's to know: what was opened never comes back. Raises WrongQuantity,
    SamePlace, NotEnough, KeyReused.
    """
    whole(quantity)
    if tray.pk == place.pk:
        raise SamePlace(place=place)
    facts = {"quantity": quantity, "origin": str(tray), "place": str(place)}
    return post(
        movements=[
            Movement(Entry.Kind.PUT_BACK, lot, tray, -quantity, note=note),
            Movement(Entry.Kind.PUT_BACK, lot, place, quantity, note=note),
        ],
        by=by,
        at=at,
        recorded_at=recorded_at,
        source=source,
        key=key,
        said=Said(PUT_BACK, str(lot), facts),
    )
