"""The tray of a case: lines that must lie ready, and the units that were put onto it."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from kits.models.boms import BomLine
from kits.models.cases import Case, CaseSite
from kits.models.procedures import Finding
from practice.constraints import one_of
from stock.models import Entry, Item, Lot, Place


class TrayLine(models.Model):
    """One line of a case's tray, fixed when setting out begins."""

    clinic_path = "case__clinic"

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="tray_lines")
    position = models.PositiveSmallIntegerField()
    # Identity of the requirement within the plan: the bill line, site and instance it came from.
    key = models.CharField(max_length=60)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, related_name="tray_lines")
    description = models.CharField(max_length=200)
    site = models.ForeignKey(
        CaseSite, on_delete=models.SET_NULL, null=True, blank=True, related_name="tray_lines"
    )
    quantity = models.PositiveIntegerField()
    certain = models.BooleanField()
    chance = models.FloatField(default=1.0)
    set_out = models.CharField(max_length=24, choices=BomLine.SetOut)
    checkpoint = models.CharField(max_length=120, blank=True)
    finding = models.ForeignKey(Finding, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    choose_one_group = models.CharField(max_length=20, blank=True)
    # An added line was not in the bill: opened during surgery, or a substitute.
    added = models.BooleanField(default=False)
    substitutes = models.ForeignKey(
        "self", on_delete=models.SET_NULL, null=True, blank=True, related_name="substituted_by"
    )
    # Instrument sets have no lot: a person says they lie ready.
    ready_at = models.DateTimeField(null=True, blank=True)
    ready_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    note = models.CharField(max_length=255, blank=True)
    # Why none was placed, where the plan was certain of it and nothing of the kind was used.
    none_used_because = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["case_id", "position"]
        constraints = [
            one_of("set_out", BomLine.SetOut, name="tray_line_set_out_known"),
            models.UniqueConstraint(fields=["case", "key"], name="tray_line_once_per_requirement"),
            models.CheckConstraint(condition=Q(quantity__gte=1), name="tray_line_quantity_not_zero"),
        ]

    def __str__(self):
        return f"{self.quantity} {self.description} for {self.case}"


class TrayUnitOutcome(models.TextChoices):
    """Choices of ``TrayUnit.Outcome``."""

    PENDING = "", "not accounted for"
    USED = "used", "used"
    WASTED = "wasted", "wasted"
    PUT_BACK = "put-back", "put back sealed"


class TrayUnit(models.Model):
    """Units of one lot on a tray line: where they came from and what became of them."""

    clinic_path = "line__case__clinic"

    Outcome = TrayUnitOutcome

    line = models.ForeignKey(TrayLine, on_delete=models.CASCADE, related_name="units")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="tray_units")
    # Where the units came from, and where they go back to.
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    # Where they lie now.
    tray = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveIntegerField()
    scanned = models.BooleanField(default=False)
    opened_at = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=8, choices=Outcome, default=Outcome.PENDING, blank=True)
    site = models.ForeignKey(CaseSite, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=12, choices=Entry.Reason, default=Entry.Reason.NONE, blank=True)
    note = models.CharField(max_length=200, blank=True)
    # The key of the form that recorded use straight from a place: the same form again records nothing more.
    form_key = models.CharField(max_length=80, blank=True)
    put_on_at = models.DateTimeField()
    put_on_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            one_of("outcome", TrayUnitOutcome, name="tray_unit_outcome_known"),
            one_of("reason", Entry.Reason, name="tray_unit_reason_known"),
            models.CheckConstraint(condition=Q(quantity__gte=1), name="tray_unit_quantity_not_zero"),
            models.UniqueConstraint(
                fields=["form_key", "lot"], condition=~Q(form_key=""), name="tray_unit_once_per_form"
            ),
            models.CheckConstraint(
                condition=~Q(outcome="wasted") | ~Q(reason=""), name="tray_unit_waste_has_reason"
            ),
            models.CheckConstraint(
                condition=~Q(outcome="put-back") | Q(opened_at__isnull=True),
                name="tray_unit_opened_never_put_back",
            ),
        ]

    def __str__(self):
        return f"{self.quantity} × {self.lot} for {self.line.case}"
