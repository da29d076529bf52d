"""Goods come in: finding or making the lot, opening stock, receipts (against an order or without one)."""

import datetime as dt
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Sum

from practice import audit
from practice.refusals import Refusal
from stock import order_progress
from stock.models import Entry, Item, Lot, OrderLine, Place, Supplier
from stock.posting import Movement, Said, lock_heads, post, whole

OPEN = audit.action("stock.open", "entered {quantity} of {subject} as opening stock at {place}")
RECEIVE = audit.action("stock.receive", "received {quantity} of {subject} into {place}")


class NumberMissing(Refusal):
    """The label's number that makes the lot traceable was not given."""

    def __init__(self, *, item: Item, what: str):
        self.item, self.what = item, what
        super().__init__(f"{item} is tracked by its {what}, which is missing. Read it from the label.")


class LotDiffers(Refusal):
    """The lot is already recorded with other facts."""

    def __init__(self, *, lot: Lot, what: str, recorded: object, given: object):
        self.lot, self.what, self.recorded, self.given = lot, what, recorded, given
        super().__init__(
            f"{lot} is recorded with {what} {recorded}, but {given} was given. Read the label again; "
            "if the record is wrong, hold the lot until it is put right."
        )


class NotStocked(Refusal):
    """Reusable sets have loads, not lots, and are not kept in the ledger."""

    def __init__(self, *, item: Item):
        self.item = item
        super().__init__(f"{item} is a reusable set and is not counted as stock. Record its load instead.")


class WrongPlace(Refusal):
    """Goods cannot arrive at a place of this kind."""

    def __init__(self, *, place: Place):
        self.place = place
        super().__init__(
            f"Goods are not received into {place}. Choose a stockroom, a fridge, a cart or quarantine."
        )


class CheckMissing(Refusal):
    """Human tissue arrived and nobody said whether the package is intact."""

    def __init__(self, *, lot: Lot):
        self.lot = lot
        super().__init__(f"{lot} is human tissue. Look at the package and say whether it is intact.")


class AlreadyUsed(Refusal):
    """A unit that exists only once went into a patient or was discarded; its label cannot arrive again."""

    def __init__(self, *, lot: Lot):
        self.lot = lot
        super().__init__(
            f"{lot} was already used or discarded, so it cannot arrive. Read the number on the pack again; "
            "if it is right, keep the pack apart and tell the supplier."
        )


class MustBeQuarantined(Refusal):
    """Goods arrived damaged, expired or outside their storage range and would go to an ordinary shelf."""

    def __init__(self, *, lot: Lot, why: str):
        self.lot, self.why = lot, why
        super().__init__(f"{lot} {why}. Put it into quarantine and ask the supplier.")


def _identity(
    item: Item, lot_number: str, serial: str, donor_id: str, expires_on: dt.date | None
) -> tuple[str, str, str]:
    """Lot number, serial and donor as they are stored; raises NumberMissing."""
    lot_number, serial, donor_id = lot_number.strip(), serial.strip(), donor_id.strip()
    if item.is_set:
        raise NotStocked(item=item)
    if item.tracking == Item.Tracking.LOT and not lot_number:
        raise NumberMissing(item=item, what="lot number")
    if item.is_unit_tracked and not serial:
        tissue = item.tracking == Item.Tracking.DONOR
        raise NumberMissing(item=item, what="tissue unit code" if tissue else "serial number")
    if item.tracking == Item.Tracking.DONOR:
        # A label that names no donor is traced by its own distinct code.
        donor_id = donor_id or serial
    if item.tracking == Item.Tracking.NONE and not lot_number and expires_on is not None:
        # Untracked goods have no lot, but two dates must not become one.
        lot_number = f"exp {expires_on.isoformat()}"
    return lot_number, serial, donor_id


_WORDS = {
    "lot_number": "lot number",
    "donor_id": "donor",
    "expires_on": "expiry",
    "made_on": "date of make",
}


def _agree(lot: Lot, facts: dict) -> None:
    """Fill in what the lot did not know yet; raises LotDiffers where it knows something else."""
    fresh = []
    for name, given in facts.items():
        recorded = getattr(lot, name)
        if given in (None, "") or recorded == given:
            continue
        if recorded not in (None, ""):
            raise LotDiffers(lot=lot, what=_WORDS[name], recorded=recorded, given=given)
        setattr(lot, name, given)
        fresh.append(name)
    if fresh:
        lot.save(update_fields=fresh)


@transaction.atomic
def ensure_lot(
    *,
    item: Item,
    lot_number: str = "",
    serial: str = "",
    donor_id: str = "",
    expires_on: dt.date | None = None,
    made_on: dt.date | None = None,
    supplier: Supplier | None = None,
    unit_cost: Decimal | None = None,
    label_as_scanned: str = "",
) -> Lot:
    """The lot (or single unit) with these numbers, made when it is new.

    Facts an older row did not have are filled in. Items without tracking have one lot without a number, or
    one for each expiry date ("exp 2027-05-31"). Raises NumberMissing, NotStocked, LotDiffers.
    """
    lot_number, serial, donor_id = _identity(item, lot_number, serial, donor_id, expires_on)
    same = {"serial": serial} if serial else {"lot_number": lot_number, "serial": ""}
    facts = {"lot_number": lot_number, "donor_id": donor_id, "expires_on": expires_on, "made_on": made_on}
    lot, made = Lot.objects.get_or_create(
        item=item,
        **same,
        defaults={
            **facts,
            "supplier": supplier,
            "unit_cost": unit_cost,
            "label_as_scanned": label_as_scanned[:200],
        },
    )
    if not made:
        _agree(lot, facts)
    return lot


def _check_place(place: Place) -> None:
    if place.kind not in (*Place.PICKABLE, Place.Kind.QUARANTINE):
        raise WrongPlace(place=place)


def _fault(lot: Lot, day: dt.date, temperature_c: Decimal | None, package_intact: bool | None) -> str:
    """Why goods that arrive on a day may not go onto a shelf; empty when they may."""
    low, high = lot.item.temperature_min_c, lot.item.temperature_max_c
    if package_intact is False:
        return "arrived in a damaged package"
    if lot.expires_on is not None and lot.expires_on < day:
        return f"arrived after it expired on {lot.expires_on}"
    if temperature_c is not None and (
        (low is not None and temperature_c < low) or (high is not None and temperature_c > high)
    ):
        return f"arrived at {temperature_c} °C, outside {low} to {high} °C"
    return ""


def _check_arrival(
    lot: Lot, place: Place, at: dt.datetime, temperature_c: Decimal | None, package_intact: bool | None
) -> None:
    """Refuse what the receiving check of tissue and cold goods would refuse (common practice)."""
    if lot.item.human_tissue and package_intact is None:
        raise CheckMissing(lot=lot)
    day = at.astimezone(ZoneInfo(place.clinic.time_zone)).date()
    if place.kind != Place.Kind.QUARANTINE and (why := _fault(lot, day, temperature_c, package_intact)):
        raise MustBeQuarantined(lot=lot, why=why)


def open_stock(
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
    """Enter units that lay there when the ledger began. Raises WrongQuantity, UnitTwice, KeyReused."""
    movement = Movement(Entry.Kind.OPENING, lot, place, whole(quantity), note=note)
    return post(
        movements=[movement],
        by=by,
        at=at,
        recorded_at=recorded_at,
        source=source,
        key=key,
        said=Said(OPEN, str(lot), {"quantity": quantity, "place": str(place)}),
    )


@transaction.atomic
def receive(
    *,
    lot: Lot,
    place: Place,
    quantity: int,
    by,
    at: dt.datetime,
    recorded_at: dt.datetime | None = None,
    order_line: OrderLine | None = None,
    temperature_c: Decimal | None = None,
    package_intact: bool | None = None,
    source: str = "",
    key: str | None = None,
    note: str = "",
) -> list[Entry]:
    """Receive units of a lot into a place; ``temperature_c`` is what was measured on arrival.

    With an order line the units are booked on it, the order moves on, and the lot learns its supplier and
    cost. Raises WrongQuantity, WrongPlace, CheckMissing, MustBeQuarantined, UnitTwice, KeyReused, and
    order_progress's NotOnTheLine, TooMany and WrongState. A unit that was used or discarded: AlreadyUsed.
    """
    whole(quantity)
    _check_place(place)
    _check_arrival(lot, place, at, temperature_c, package_intact)
    lock_heads([place.clinic_id])
    repeated = key is not None and Entry.objects.filter(key=key).exists()
    if not repeated:
        _check_unused(lot)
    if order_line is not None:
        source = order_progress.source_of(order_line.order)
        if not repeated:
            order_progress.check_arrival(line=order_line, lot=lot, place=place, units=quantity)
    entries = post(
        movements=[Movement(Entry.Kind.RECEIVE, lot, place, quantity, note=note)],
        by=by,
        at=at,
        recorded_at=recorded_at,
        source=source,
        key=key,
        said=Said(RECEIVE, str(lot), {"quantity": quantity, "place": str(place)}),
    )
    if not repeated:
        _note_arrival(lot, order_line, by=by, at=at, temperature_c=temperature_c, intact=package_intact)
    if order_line is not None:
        order_progress.settle(order=order_line.order, at=at)
    return entries


def _check_unused(lot: Lot) -> None:
    """A serial or tissue unit once used or wasted is never received again, unless that was corrected."""
    gone = lot.entries.filter(kind__in=(Entry.Kind.USE, Entry.Kind.WASTE)).aggregate(units=Sum("quantity"))
    if lot.item.is_unit_tracked and (gone["units"] or 0) < 0:
        raise AlreadyUsed(lot=lot)


def _note_arrival(lot: Lot, line: OrderLine | None, *, by, at, temperature_c, intact) -> None:
    """Write the facts of the first arrival onto the lot; later ones stand in the ledger and the audit."""
    facts = {
        "received_at": at,
        "received_by": by,
        "temperature_c": temperature_c,
        "package_intact": intact,
    }
    if lot.received_at is not None:
        return
    if line is not None:
        facts["supplier"] = line.order.supplier
        facts["unit_cost"] = (line.pack_price / line.pack_size).quantize(Decimal("0.01"))
    for name, value in facts.items():
        setattr(lot, name, value)
    lot.save(update_fields=list(facts))
