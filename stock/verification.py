"""Re-deriving everything the ledger implies, to show that nobody changed it and nothing drifted.

Entries are streamed clinic by clinic in order of their sequence; memory holds one clinic's balances, never
its entries.
"""

from collections import defaultdict
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass, field

from django.db import connection, transaction
from django.db.models import F, Q, Sum

from practice import append_only
from practice.models import Clinic
from stock.chain import NOTHING_BEFORE, Link, row_hash
from stock.models import Balance, ChainHead, Entry, Item, Lot

# Rows fetched at once, and how often progress is told.
CHUNK = 5000
# A broken database may differ everywhere; nobody reads more than this.
MOST_DIFFERENCES = 1000

_COLUMNS = [*(name for name in Link._fields), "row_hash", "place__clinic_id"]


@dataclass
class Report:
    """What verify_ledger found: rows read, differences as whole sentences, and whether the triggers stand."""

    entries: int = 0
    balances: int = 0
    differences: list[str] = field(default_factory=list)
    triggers: bool = True

    @property
    def is_sound(self) -> bool:
        """Whether nothing differs and every trigger stands."""
        return self.triggers and not self.differences

    def differs(self, sentence: str) -> None:
        """Note one difference."""
        if len(self.differences) < MOST_DIFFERENCES:
            self.differences.append(sentence)


@contextmanager
def _one_moment():
    """Read everything as it was at one moment, while others go on writing."""
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        with connection.cursor() as cursor:
            # atomic() would take SQLite's write lock; a plain BEGIN takes a snapshot and holds nobody up.
            cursor.execute("BEGIN")
            try:
                yield
            finally:
                cursor.execute("ROLLBACK")


def _walk(clinic: Clinic, report: Report, progress: Callable[[int], None]) -> dict[tuple[int, int], int]:
    """Check one clinic's chain link by link; return the balances its entries add up to."""
    sums: dict[tuple[int, int], int] = defaultdict(int)
    expected, before = 1, NOTHING_BEFORE
    rows = Entry.objects.filter(clinic=clinic).order_by("sequence").values_list(*_COLUMNS)
    for row in rows.iterator(chunk_size=CHUNK):
        link, stored, place_clinic = Link(*row[:-2]), row[-2], row[-1]
        name = f"{clinic} entry #{link.sequence}"
        if link.sequence != expected:
            report.differs(f"{clinic} entries #{expected} to #{link.sequence - 1} are missing.")
        if link.previous_hash != before:
            report.differs(f"{name} does not follow the entry before it.")
        if row_hash(link) != stored:
            report.differs(f"{name} was changed after it was written.")
        if place_clinic != clinic.pk:
            report.differs(f"{name} is at a place of another clinic.")
        sums[link.lot_id, link.place_id] += link.quantity
        if sums[link.lot_id, link.place_id] < 0:
            report.differs(f"{name} takes more of lot {link.lot_id} than lay at place {link.place_id}.")
        expected, before = link.sequence + 1, stored
        report.entries += 1
        if report.entries % CHUNK == 0:
            progress(report.entries)
    _check_head(clinic, expected - 1, before, report)
    return sums


def _check_head(clinic: Clinic, sequence: int, newest: str, report: Report) -> None:
    head = ChainHead.objects.filter(clinic=clinic).first()
    recorded = (head.sequence, head.row_hash) if head else (0, NOTHING_BEFORE)
    if recorded != (sequence, newest):
        report.differs(
            f"{clinic} has entries up to #{sequence}, but its chain was last written at #{recorded[0]}."
        )


def _check_balances(clinic: Clinic, sums: dict[tuple[int, int], int], report: Report) -> None:
    rows = Balance.objects.filter(place__clinic=clinic).order_by("pk")
    for lot_id, place_id, recorded in rows.values_list("lot_id", "place_id", "quantity").iterator(CHUNK):
        report.balances += 1
        derived = sums.pop((lot_id, place_id), 0)
        if derived != recorded:
            report.differs(
                f"Lot {lot_id} at place {place_id} is recorded as {recorded}, "
                f"but its entries add up to {derived}."
            )
    for (lot_id, place_id), derived in sums.items():
        if derived:
            report.differs(
                f"Lot {lot_id} at place {place_id} has no balance; its entries add up to {derived}."
            )


def _check_units(report: Report) -> None:
    """Serial-numbered and tissue units lie in one place at most, whatever the clinic."""
    twice = (
        Lot.objects.filter(item__tracking__in=Item.UNIT_TRACKING)
        .annotate(there=Sum("entries__quantity"))
        .filter(there__gt=1)
        .select_related("item")
        .order_by("pk")
    )
    for lot in twice.iterator(CHUNK):
        report.differs(f"{lot} exists only once, but its entries add up to {lot.there}.")


def _check_corrections(report: Report) -> None:
    """A correction is the exact reverse of what it corrects."""
    reverse = Q(quantity=-1 * F("corrects__quantity"), lot=F("corrects__lot"), place=F("corrects__place"))
    wrong = Entry.objects.filter(corrects__isnull=False).exclude(reverse).select_related("clinic")
    for entry in wrong.order_by("pk").iterator(CHUNK):
        report.differs(f"{entry.clinic} entry #{entry.sequence} is not the reverse of what it corrects.")


def verify_ledger(*, progress: Callable[[int], None] = lambda entries: None) -> Report:
    """Re-derive every balance and check chain, gaps, units, corrections and triggers.

    ``progress(entries)`` is called every few thousand entries. Memory grows with one clinic's pairs of lot
    and place, not with the number of entries.
    """
    report = Report()
    with _one_moment():
        for clinic in Clinic.objects.order_by("pk"):
            _check_balances(clinic, _walk(clinic, report, progress), report)
        _check_units(report)
        _check_corrections(report)
    absent = append_only.missing()
    report.triggers = not absent
    for name in absent:
        report.differs(f"The trigger {name} is missing, altered or switched off. Run migrate to restore it.")
    return report
