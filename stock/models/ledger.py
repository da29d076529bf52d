"""The ledger: append-only entries, the only record of quantity.

``Balance`` repeats the sums so that they can be locked and can never go below zero; ``verify_ledger``
rebuilds it. ``ChainHead`` holds the newest hash of each clinic's chain.
"""

import datetime as dt

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from practice.constraints import one_of
from practice.models import Clinic
from stock.models.lots import Lot, Place

# A whole working day: what is recorded the same evening is not late, the next afternoon is.
LATE_AFTER = dt.timedelta(hours=24)


class EntryKind(models.TextChoices):
    """Choices of ``Entry.Kind``."""

    OPENING = "opening", "opening stock"
    RECEIVE = "receive", "received"
    MOVE_OUT = "move-out", "moved out"
    MOVE_IN = "move-in", "moved in"
    USE = "use", "used"
    WASTE = "waste", "wasted"
    PUT_BACK = "put-back", "put back sealed"
    COUNT = "count-correction", "count corrected"
    RETURN = "return", "returned to the supplier"
    LEND = "lend", "lent"
    BORROW = "borrow", "borrowed"


class EntryReason(models.TextChoices):
    """Choices of ``Entry.Reason``."""

    NONE = "", "no reason needed"
    NOT_USED = "not-used", "opened, not used"
    DROPPED = "dropped", "dropped or contaminated"
    WRONG_SIZE = "wrong-size", "wrong size opened"
    NOT_FIRM = "not-firm", "did not sit firmly, larger one placed"
    EXPIRED = "expired", "expired on the shelf"
    DAMAGED = "damaged", "package damaged"
    LEFTOVER = "leftover", "leftover of a single-patient item"
    TEMPERATURE = "temperature", "temperature out of range"
    RECALL = "recall", "recalled"
    CANCELLED = "cancelled", "case cancelled after opening"
    REMAKE = "remake", "lab remake"
    MISCOUNT = "miscount", "count differs"
    MISTAKE = "mistake", "entered by mistake"


class Entry(models.Model):
    """One signed movement of one lot at one place. Never changed or deleted: corrections are new entries."""

    clinic_path = "clinic"

    Kind = EntryKind

    Reason = EntryReason

    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="entries")
    sequence = models.PositiveBigIntegerField()
    kind = models.CharField(max_length=18, choices=Kind)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="entries")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="entries")
    quantity = models.IntegerField()
    # Who or what caused it, in the words of the caller: "case:C-0042", "order:PO-0007", "import:stock".
    source = models.CharField(max_length=80, blank=True, db_index=True)
    reason = models.CharField(max_length=12, choices=Reason, default=Reason.NONE, blank=True)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField(db_index=True)
    recorded_at = models.DateTimeField()
    key = models.CharField(max_length=100, null=True, blank=True, unique=True)
    corrects = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrections"
    )
    previous_hash = models.CharField(max_length=64)
    row_hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "entries"
        constraints = [
            one_of("kind", EntryKind, name="entry_kind_known"),
            one_of("reason", EntryReason, name="entry_reason_known"),
            models.UniqueConstraint(fields=["clinic", "sequence"], name="entry_sequence_once_per_clinic"),
            models.CheckConstraint(condition=~Q(quantity=0), name="entry_quantity_not_zero"),
            models.CheckConstraint(
                condition=Q(kind__in=["opening", "receive", "move-in", "borrow"], quantity__gt=0)
                | Q(kind__in=["move-out", "use", "waste", "return", "lend"], quantity__lt=0)
                | Q(kind__in=["put-back", "count-correction"])
                | Q(corrects__isnull=False),
                name="entry_sign_fits_kind",
            ),
            models.CheckConstraint(
                condition=~Q(kind="waste") | ~Q(reason="") | Q(corrects__isnull=False),
                name="entry_waste_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(recorded_at__gte=F("at")), name="entry_recorded_after_it_happened"
            ),
            models.UniqueConstraint(fields=["corrects"], name="entry_corrected_once"),
        ]
        indexes = [models.Index(fields=["lot", "place"], name="entry_lot_place")]

    def __str__(self):
        return f"#{self.sequence} {self.kind} {self.quantity:+d} {self.lot}"

    @property
    def is_late(self) -> bool:
        """Whether it was typed in more than LATE_AFTER after it happened; pages flag such entries."""
        return self.recorded_at - self.at > LATE_AFTER


class Balance(models.Model):
    """How many units of a lot lie at a place; the sum of its entries, held for locking and speed."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="balances")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="balances")
    quantity = models.IntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["lot", "place"], name="balance_once_per_lot_and_place"),
            models.CheckConstraint(condition=Q(quantity__gte=0), name="balance_never_negative"),
        ]

    def __str__(self):
        return f"{self.quantity} of {self.lot} at {self.place}"


class ChainHead(models.Model):
    """The newest entry's number and hash in a clinic's chain; locking it makes writers queue."""

    clinic = models.OneToOneField(Clinic, on_delete=models.PROTECT, related_name="chain_head")
    sequence = models.PositiveBigIntegerField(default=0)
    row_hash = models.CharField(max_length=64, default="")

    def __str__(self):
        return f"{self.clinic} #{self.sequence}"
