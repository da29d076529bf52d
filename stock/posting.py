"""The one way into the ledger: entries, balances and the hash chain, written together or not at all.

Every writer first locks the chain heads of the clinics it touches, in order of clinic, so writers of one
clinic queue and nobody waits in a circle; then the lots whose units exist only once, in order of lot.
Quantities are read after the locks. The other verbs of stock call ``post``; importers and the demo call
``post_many``, the same path for many postings at once.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import islice

from django.db import IntegrityError, transaction
from django.utils import timezone

from practice import audit
from practice.models import Clinic
from practice.refusals import Refusal
from stock.chain import Link, row_hash
from stock.models import Balance, ChainHead, Entry, Item, Lot, Place

# Postings worked on at once: enough to make the queries few, few enough to keep the memory small.
CHUNK = 1000
LONGEST_KEY = 90  # characters; the entries after a posting's first append "/2", "/3" to the key
LONGEST_NOTE, LONGEST_SOURCE = 200, 80  # characters


class NotEnough(Refusal):
    """Less lies at the place than is to be taken."""

    def __init__(self, *, lot: Lot, place: Place, wanted: int, there: int):
        self.lot, self.place, self.wanted, self.there = lot, place, wanted, there
        have = f"Only {there}" if there else "None"
        super().__init__(
            f"{have} of {lot} {'is' if there < 2 else 'are'} at {place}, but {wanted} "
            f"{'is' if wanted == 1 else 'are'} to be taken. Take another lot, or count the place."
        )


class UnitTwice(Refusal):
    """A unit that exists only once would be in two places."""

    def __init__(self, *, lot: Lot, place: Place, elsewhere: Sequence[Place]):
        self.lot, self.place, self.elsewhere = lot, place, elsewhere
        where = ", ".join(f"{found} ({found.clinic})" for found in elsewhere) or f"{place} ({place.clinic})"
        super().__init__(
            f"{lot} exists only once and already lies at {where}. Read the label again; if it is right, "
            "correct the earlier entry first."
        )


class KeyReused(Refusal):
    """The same idempotency key came with something else."""

    def __init__(self, *, key: str):
        self.key = key
        super().__init__(
            f"Something else was already recorded under “{key}”, so nothing was written. Reload the page, "
            "check what is recorded, and enter it again if it is missing."
        )


class BadMoment(Refusal):
    """Something is recorded before it happened."""

    def __init__(self, *, at: dt.datetime, recorded_at: dt.datetime):
        self.at, self.recorded_at = at, recorded_at
        super().__init__(
            f"{at:%Y-%m-%d %H:%M} lies after {recorded_at:%Y-%m-%d %H:%M}, when it is recorded. "
            "Give the moment at which it really happened."
        )


class WrongQuantity(Refusal):
    """The quantity is not a whole number of at least one."""

    def __init__(self, *, quantity: object):
        self.quantity = quantity
        super().__init__(f"“{quantity}” is not a quantity. Give a whole number of units, at least 1.")


class TooLong(Refusal):
    """A text does not fit its column."""

    def __init__(self, *, what: str, text: str, longest: int):
        self.what, self.text, self.longest = what, text, longest
        super().__init__(f"The {what} has {len(text)} characters; {longest} fit. Shorten it.")


@dataclass(frozen=True)
class Movement:
    """One signed movement of one lot at one place; a positive quantity comes in."""

    kind: str
    lot: Lot
    place: Place
    quantity: int
    reason: str = ""
    note: str = ""
    corrects: Entry | None = None


@dataclass(frozen=True)
class Posting:
    """Movements that happen together, by whom (None is the system), when, and why as an opaque label."""

    movements: Sequence[Movement]
    by: object
    at: dt.datetime
    recorded_at: dt.datetime | None = None
    source: str = ""
    key: str | None = None


@dataclass(frozen=True)
class Said:
    """What the audit is to say of a posting; said only when the posting is new."""

    action: str
    subject: str
    facts: dict


def whole(quantity: object) -> int:
    """The quantity itself when it is a whole number of at least 1; raises WrongQuantity."""
    if isinstance(quantity, bool) or not isinstance(quantity, int) or quantity < 1:
        raise WrongQuantity(quantity=quantity)
    return quantity


def lock_heads(clinic_ids: Iterable[int] | None = None) -> dict[int, ChainHead]:
    """Lock the chain heads of these clinics (of all when None), in order; makes those that are missing.

    Within the transaction nobody else then writes to these clinics' stock. Call it before reading a
    quantity or a lot's decision that the change hangs on.
    """
    wanted = sorted(Clinic.objects.values_list("pk", flat=True) if clinic_ids is None else set(clinic_ids))
    heads = ChainHead.objects.select_for_update().filter(clinic_id__in=wanted).order_by("clinic_id")
    found = {head.clinic_id: head for head in heads}
    if len(found) < len(wanted):
        absent = [ChainHead(clinic_id=pk) for pk in wanted if pk not in found]
        ChainHead.objects.bulk_create(absent, ignore_conflicts=True)
        found = {head.clinic_id: head for head in heads.all()}
    return found


def post(
    *,
    movements: Sequence[Movement],
    by,
    at: dt.datetime,
    recorded_at: dt.datetime | None = None,
    source: str = "",
    key: str | None = None,
    said: Said | None = None,
) -> list[Entry]:
    """Write movements that happen together, and what the audit says of them; return their entries.

    Quantities are in stock units. ``recorded_at`` is when it is typed in (None: at the moment itself). The
    same key with the same movements again returns the first entries and changes nothing. Raises
    NotEnough, UnitTwice, KeyReused, BadMoment, TooLong.
    """
    posting = Posting(movements, by, at, recorded_at, source, key)
    try:
        with transaction.atomic():
            writer = _Writer([posting])
            [entries] = writer.write()
            if said is not None and writer.fresh:
                clinic, subject = movements[0].place.clinic, said.subject[:80]
                audit.record(said.action, by=by, at=at, subject=subject, clinic=clinic, **said.facts)
    except IntegrityError:
        # Writers at two clinics do not queue for each other; one key at both meets only in the database.
        if key is not None and Entry.objects.filter(key=key).exists():
            raise KeyReused(key=key)
        raise
    return entries


def post_many(*, postings: Iterable[Posting], progress=None) -> int:
    """Write many postings in one transaction, in their order; return how many entries are new.

    Holds the same as ``post``: chain, balances, nothing negative, units once, keys. One refusal refuses
    all. ``progress(postings_done)`` is called after each chunk. The caller writes the audit.
    """
    stream, done, written = iter(postings), 0, 0
    with transaction.atomic():
        lock_heads()
        while chunk := list(islice(stream, CHUNK)):
            writer = _Writer(chunk)
            writer.write()
            written += len(writer.fresh)
            done += len(chunk)
            if progress is not None:
                progress(done)
    return written


def _keys(posting: Posting) -> list[str | None]:
    """A key for each movement: the posting's own for the first, numbered ones for the others."""
    if posting.key is None:
        return [None] * len(posting.movements)
    return [posting.key, *(f"{posting.key}/{n}" for n in range(2, len(posting.movements) + 1))]


def _content(entry: Entry) -> tuple:
    return (entry.kind, entry.lot_id, entry.place_id, entry.quantity, entry.reason, entry.note, entry.source)


def _asked(posting: Posting) -> list[tuple]:
    return [
        (m.kind, m.lot.pk, m.place.pk, m.quantity, m.reason, m.note, posting.source)
        for m in posting.movements
    ]


def _check_form(posting: Posting) -> None:
    recorded_at = posting.recorded_at or posting.at
    if timezone.is_naive(posting.at) or timezone.is_naive(recorded_at):
        raise ValueError("Moments in the ledger carry their time zone.")
    if posting.at > recorded_at:
        raise BadMoment(at=posting.at, recorded_at=recorded_at)
    texts = [("key", posting.key or "", LONGEST_KEY), ("source", posting.source, LONGEST_SOURCE)]
    texts += [("note", movement.note, LONGEST_NOTE) for movement in posting.movements]
    for what, text, longest in texts:
        if len(text) > longest:
            raise TooLong(what=what, text=text, longest=longest)


class _Writer:
    """One chunk of postings on its way into the ledger, within a transaction."""

    def __init__(self, postings: list[Posting]):
        self.postings = postings
        self.movements = [movement for posting in postings for movement in posting.movements]
        self.fresh: list[Entry] = []
        for posting in postings:
            _check_form(posting)

    def write(self) -> list[list[Entry]]:
        """Lock, read, walk the postings in order, write; return each posting's entries."""
        self.heads = lock_heads(movement.place.clinic_id for movement in self.movements)
        self._read_keys()
        self._read_quantities()
        found = [self._take(posting) for posting in self.postings]
        if self.fresh:
            self._save()
        return found

    def _read_keys(self) -> None:
        wanted = [key for posting in self.postings if posting.key for key in _keys(posting)]
        # One number further, to notice a first posting that had more movements than this one.
        wanted += [f"{p.key}/{len(p.movements) + 1}" for p in self.postings if p.key]
        rows = Entry.objects.filter(key__in=wanted) if wanted else ()
        self.by_key: dict[str, Entry] = {entry.key: entry for entry in rows}

    def _read_quantities(self) -> None:
        lots = {movement.lot.pk for movement in self.movements}
        units = Lot.objects.filter(pk__in=lots, item__tracking__in=Item.UNIT_TRACKING)
        # Writers at different clinics meet only at a lot; where it is one unit, they queue for it.
        locked = units.select_for_update(of=("self",)).order_by("pk").only("pk")
        self.units = {lot.pk for lot in locked}
        self.places: dict[int, dict[int, int]] = defaultdict(dict)
        rows = Balance.objects.filter(lot_id__in=lots).values_list("lot_id", "place_id", "quantity")
        for lot_id, place_id, quantity in rows.iterator():
            self.places[lot_id][place_id] = quantity
        self.touched: set[tuple[int, int]] = set()

    def _take(self, posting: Posting) -> list[Entry]:
        keys = _keys(posting)
        earlier = [self.by_key[key] for key in keys if key in self.by_key]
        if earlier:
            longer = f"{posting.key}/{len(keys) + 1}" in self.by_key
            if longer or [_content(entry) for entry in earlier] != _asked(posting):
                raise KeyReused(key=posting.key)
            return earlier
        entries = [self._append(posting, m, key) for m, key in zip(posting.movements, keys, strict=True)]
        self.by_key |= {entry.key: entry for entry in entries if entry.key}
        for movement in posting.movements:
            self._check_unit(movement)
        return entries

    def _append(self, posting: Posting, movement: Movement, key: str | None) -> Entry:
        lot, place = movement.lot, movement.place
        there = self.places[lot.pk].get(place.pk, 0)
        if there + movement.quantity < 0:
            raise NotEnough(lot=lot, place=place, wanted=-movement.quantity, there=there)
        self.places[lot.pk][place.pk] = there + movement.quantity
        self.touched.add((lot.pk, place.pk))
        head = self.heads[place.clinic_id]
        link = Link(
            previous_hash=head.row_hash,
            clinic_id=place.clinic_id,
            sequence=head.sequence + 1,
            kind=str(movement.kind),
            lot_id=lot.pk,
            place_id=place.pk,
            quantity=movement.quantity,
            source=posting.source,
            reason=str(movement.reason),
            note=movement.note,
            by_id=posting.by.pk if posting.by is not None else None,
            at=posting.at,
            recorded_at=posting.recorded_at or posting.at,
            key=key,
            corrects_id=movement.corrects.pk if movement.corrects else None,
        )
        entry = Entry(**link._asdict(), row_hash=row_hash(link))
        head.sequence, head.row_hash = entry.sequence, entry.row_hash
        self.fresh.append(entry)
        return entry

    def _check_unit(self, movement: Movement) -> None:
        lot_id = movement.lot.pk
        if lot_id in self.units and sum(self.places[lot_id].values()) > 1:
            others = [pk for pk, there in self.places[lot_id].items() if there and pk != movement.place.pk]
            elsewhere = Place.objects.filter(pk__in=others).select_related("clinic")
            raise UnitTwice(lot=movement.lot, place=movement.place, elsewhere=list(elsewhere))

    def _save(self) -> None:
        Entry.objects.bulk_create(self.fresh, batch_size=CHUNK)
        balances = [
            Balance(lot_id=lot_id, place_id=place_id, quantity=self.places[lot_id][place_id])
            for lot_id, place_id in sorted(self.touched)
        ]
        Balance.objects.bulk_create(
            balances,
            batch_size=CHUNK,
            update_conflicts=True,
            unique_fields=["lot", "place"],
            update_fields=["quantity"],
        )
        ChainHead.objects.bulk_update(self.heads.values(), ["sequence", "row_hash"])
