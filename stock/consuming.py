"""Units leave for good or for a while: used, wasted, returned, lent; and what is borrowed comes in."""

import datetime as dt

from practice import audit
from practice.refusals import Refusal
from stock.models import Entry, Lot, Place
from stock.posting import Movement, Said, post, whole

USE = audit.action("stock.use", "used {quantity} of {subject} from {place}")
WASTE = audit.action("stock.waste", "wasted {quantity} of {subject} from {place}: {reason}")
RETURN = audit.action("stock.return", "returned {quantity} of {subject} from {place} to the supplier")
LEND = audit.action("stock.lend", "lent {quantity} of {subject} from {place} to {partner}")
BORROW = audit.action("stock.borrow", "borrowed {quantity} of {subject} from {partner} into {place}")


class ReasonMissing(Refusal):
    """Waste without a reason, or with one that is not on the list."""

    def __init__(self, *, reason: str):
        self.reason = reason
        words = ", ".join(label for value, label in Entry.Reason.choices if value)
        start = f"“{reason}” is not a reason for waste." if reason else "Say why it is wasted."
        super().__init__(f"{start} Choose one of: {words}.")


class NotALoanPlace(Refusal):
    """Lent units are kept in view at a place for loans, not at an ordinary one."""

    def __init__(self, *, place: Place):
        self.place = place
        super().__init__(f"{place} is not a place for lent goods. Choose the clinic's place for loans.")


class PartnerMissing(Refusal):
    """Nobody was named who borrows or lends."""

    def __init__(self):
        super().__init__("Name the clinic that lends or borrows, so that it can be given back.")


def _leave(
    kind: str, action: str, *, lot, place, quantity, reason="", note="", facts=None, **rest
) -> list[Entry]:
    """Post units of a lot out of a place and say so in the audit."""
    whole(quantity)
    said = Said(action, str(lot), {"quantity": quantity, "place": str(place)} | (facts or {}))
    return post(movements=[Movement(kind, lot, place, -quantity, reason, note)], said=said, **rest)


def use(
    *,
    lot: Lot,
    place: Place,
    quantity: int,
    by,
    at: dt.datetime,
    recorded_at: dt.datetime | None = None,
    source: str = "",
    key: str | None = None,
    note: str = "",
) -> list[Entry]:
    """Record that units were used. Raises WrongQuantity, NotEnough, KeyReused, BadMoment.

    It never asks whether the lot is held or expired: what was used must be found again in a recall. The
    refusal of such a lot belongs where it is picked.
    """
    rest = {"by": by, "at": at, "recorded_at": recorded_at, "source": source, "key": key}
    return _leave(Entry.Kind.USE, USE, lot=lot, place=place, quantity=quantity, note=note, **rest)


def waste(
    *,
    lot: Lot,
    place: Place,
    quantity: int,
    reason: str,
    by,
    at: dt.datetime,
    recorded_at: dt.datetime | None = None,
    source: str = "",
    key: str | None = None,
    note: str = "",
) -> list[Entry]:
    """Record waste, for one of Entry.Reason. Raises ReasonMissing and what ``use`` raises."""
    if not reason or reason not in Entry.Reason.values:
        raise ReasonMissing(reason=reason)
    rest = {"by": by, "at": at, "recorded_at": recorded_at, "source": source, "key": key}
    return _leave(
        Entry.Kind.WASTE,
        WASTE,
        lot=lot,
        place=place,
        quantity=quantity,
        reason=reason,
        note=note,
        facts={"reason": str(Entry.Reason(reason).label)},
        **rest,
    )


def return_to_supplier(
    *,
    lot: Lot,
    place: Place,
    quantity: int,
    by,
    at: dt.datetime,
    recorded_at: dt.datetime | None = None,
    source: str = "",
    key: str | None = None,
    note: str = "",
) -> list[Entry]:
    """Send sealed units back to the supplier (or give borrowed ones back). Raises what ``use`` raises."""
    rest = {"by": by, "at": at, "recorded_at": recorded_at, "source": source, "key": key}
    return _leave(Entry.Kind.RETURN, RETURN, lot=lot, place=place, quantity=quantity, note=note, **rest)


def lend(
    *,
    lot: Lot,
    place: Place,
    loan_place: Place,
    quantity: int,
    partner: str,
    by,
    at: dt.datetime,
    recorded_at: dt.datetime | None = None,
    source: str = "",
    key: str | None = None,
    note: str = "",
) -> list[Entry]:
    """Lend units to a partner clinic; they stay in view at the place for loans, so that a recall finds them.

    They come back with ``moving.move`` from that place. Raises NotALoanPlace, PartnerMissing and what
    ``use`` raises.
    """
    whole(quantity)
    if loan_place.kind != Place.Kind.LOAN:
        raise NotALoanPlace(place=loan_place)
    if not partner.strip():
        raise PartnerMissing()
    note = note or f"to {partner}"
    facts = {"quantity": quantity, "place": str(place), "partner": partner}
    return post(
        movements=[
            Movement(Entry.Kind.LEND, lot, place, -quantity, note=note),
            Movement(Entry.Kind.MOVE_IN, lot, loan_place, quantity, note=note),
        ],
        by=by,
        at=at,
        recorded_at=recorded_at,
        source=source,
        key=key,
        said=Said(LEND, str(lot), facts),
    )


def borrow(
    *,
    lot: Lot,
    place: Place,
    quantity: int,
    partner: str,
    by,
    at: dt.datetime,
    recorded_at: dt.datetime | None = None,
    source: str = "",
    key: str | None = None,
    note: str = "",
) -> list[Entry]:
    """Take in units borrowed from a partner clinic. Raises WrongQuantity, PartnerMissing, UnitTwice."""
    whole(quantity)
    if not partner.strip():
        raise PartnerMissing()
    facts = {"quantity": quantity, "place": str(place), "partner": partner}
    return post(
        movements=[Movement(Entry.Kind.BORROW, lot, place, quantity, note=note or f"from {partner}")],
        by=by,
        at=at,
        recorded_at=recorded_at,
        source=source,
        key=key,
        said=Said(BORROW, str(lot), facts),
    )
