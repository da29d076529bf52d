"""Putting right what was entered: a reversing entry, or a count that differs from the ledger."""

import datetime as dt

from django.db import transaction

from practice import audit
from practice.refusals import Refusal
from stock.models import Balance, Entry, Lot, Place
from stock.order_progress import settle_source
from stock.posting import Movement, Said, lock_heads, post

CORRECT = audit.action("entry.correct", "corrected an entry of {subject} ({kind}, {quantity}): {note}")
COUNT = audit.action(
    "stock.count", "counted {counted} of {subject} at {place} where {expected} were recorded"
)

# Entries that come in pairs, one out and one in, and are undone in pairs.
_PARTNERS = {
    Entry.Kind.MOVE_OUT: (Entry.Kind.MOVE_IN,),
    Entry.Kind.MOVE_IN: (Entry.Kind.MOVE_OUT, Entry.Kind.LEND),
    Entry.Kind.LEND: (Entry.Kind.MOVE_IN,),
    Entry.Kind.PUT_BACK: (Entry.Kind.PUT_BACK,),
}


class AlreadyCorrected(Refusal):
    """An entry is reversed at most once, and a reversal never."""

    def __init__(self, *, entry: Entry):
        self.entry = entry
        what = "is itself a correction" if entry.corrects_id else "was already corrected"
        super().__init__(f"Entry #{entry.sequence} {what}. Record what really happened as a new entry.")


class NoteMissing(Refusal):
    """Nobody said why."""

    def __init__(self, *, what: str):
        super().__init__(f"Say in a few words why {what}.")


class WrongCount(Refusal):
    """A count is a whole number, zero or more."""

    def __init__(self, *, counted: object):
        self.counted = counted
        super().__init__(f"“{counted}” is not a count. Give a whole number of units, 0 or more.")


def _legs(entry: Entry) -> list[Entry]:
    """The entry and, for a movement between two places, its other half; incoming half first.

    Reversing the incoming half first finds out whether the units still lie there.
    """
    if entry.kind not in _PARTNERS:
        return [entry]
    others = Entry.objects.filter(
        kind__in=_PARTNERS[entry.kind],
        lot_id=entry.lot_id,
        quantity=-entry.quantity,
        at=entry.at,
        recorded_at=entry.recorded_at,
        source=entry.source,
        corrects=None,
        corrections=None,
    ).select_related("lot__item", "place__clinic")
    leaves = entry.quantity < 0

    def distance(other: Entry) -> tuple[int, bool]:
        # The incoming half is written right after the outgoing one.
        return abs(other.pk - entry.pk), (other.pk < entry.pk) == leaves

    near = sorted(others, key=distance)[:1]
    return sorted([entry, *near], key=lambda leg: -leg.quantity)


@transaction.atomic
def correct(
    *,
    entry: Entry,
    by,
    at: dt.datetime,
    note: str,
    recorded_at: dt.datetime | None = None,
    key: str | None = None,
) -> list[Entry]:
    """Reverse an entry (both halves of a move) with entries that point at it; returns the new entries.

    An entry can be corrected once. Raises AlreadyCorrected, NoteMissing, NotEnough, UnitTwice.
    """
    if not note.strip():
        raise NoteMissing(what="the entry was wrong")
    legs = _legs(entry)
    lock_heads(leg.clinic_id for leg in legs)
    repeated = key is not None and Entry.objects.filter(key=key).exists()
    corrected = Entry.objects.filter(corrects__in=[leg.pk for leg in legs]).exists()
    if not repeated and (entry.corrects_id is not None or corrected):
        raise AlreadyCorrected(entry=entry)
    facts = {"kind": entry.get_kind_display(), "quantity": entry.quantity, "note": note}
    entries = post(
        movements=[
            Movement(leg.kind, leg.lot, leg.place, -leg.quantity, Entry.Reason.MISTAKE, note, corrects=leg)
            for leg in legs
        ],
        by=by,
        at=at,
        recorded_at=recorded_at,
        source=entry.source,
        key=key,
        said=Said(CORRECT, str(entry.lot), facts),
    )
    settle_source(source=entry.source, at=at)
    return entries


@transaction.atomic
def correct_count(
    *,
    lot: Lot,
    place: Place,
    counted: int,
    by,
    at: dt.datetime,
    note: str = "",
    recorded_at: dt.datetime | None = None,
    source: str = "count",
    key: str | None = None,
) -> list[Entry]:
    """Make the ledger agree with what was counted; returns no entry when it already does.

    For human tissue a difference is an incident: it needs a note. Raises WrongCount, NoteMissing, UnitTwice.
    """
    if isinstance(counted, bool) or not isinstance(counted, int) or counted < 0:
        raise WrongCount(counted=counted)
    lock_heads([place.clinic_id])
    if key is not None and (earlier := list(Entry.objects.filter(key=key))):
        return earlier
    row = Balance.objects.filter(lot=lot, place=place).first()
    expected = row.quantity if row else 0
    if counted == expected:
        return []
    if lot.item.human_tissue and not note.strip():
        raise NoteMissing(what="human tissue is missing or over: what was found, and whom you told")
    facts = {"counted": counted, "expected": expected, "place": str(place)}
    reason = Entry.Reason.MISCOUNT
    return post(
        movements=[Movement(Entry.Kind.COUNT, lot, place, counted - expected, reason, note)],
        by=by,
        at=at,
        recorded_at=recorded_at,
        source=source,
        key=key,
        said=Said(COUNT, str(lot), facts),
    )
