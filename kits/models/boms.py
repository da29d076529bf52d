"""Bills of materials in versions; a version that a case uses is frozen."""

from django.db import models
from django.db.models import Q

from kits.models.procedures import Finding, Procedure
from practice.constraints import one_of
from stock.models import Item


class BomVersionState(models.TextChoices):
    """Choices of ``BomVersion.State``."""

    DRAFT = "draft", "draft"
    PUBLISHED = "published", "published"
    RETIRED = "retired", "retired"


class BomVersion(models.Model):
    """One version of what a procedure needs."""

    State = BomVersionState

    procedure = models.ForeignKey(Procedure, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    created_at = models.DateTimeField()
    # A digest of the lines as imported: the same file read again makes no new version.
    digest = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ["procedure_id", "-number"]
        constraints = [
            one_of("state", BomVersionState, name="bom_state_known"),
            models.UniqueConstraint(fields=["procedure", "number"], name="bom_number_once_per_procedure"),
            models.UniqueConstraint(
                fields=["procedure"], condition=Q(state="published"), name="bom_one_published_per_procedure"
            ),
        ]

    def __str__(self):
        return f"{self.procedure.code} version {self.number}"


class BomLineBasis(models.TextChoices):
    """Choices of ``BomLine.Basis``."""

    CASE = "case", "per case"
    SITE = "site", "per tooth site"
    IMPLANT = "implant", "per implant"
    GRAFT = "graft", "per graft"
    ARCH = "arch", "per arch"


class BomLineSetOut(models.TextChoices):
    """Choices of ``BomLine.SetOut``."""

    OPEN = "open", "open at set-up"
    CHECKPOINT = "sealed until checkpoint", "sealed until a checkpoint"
    TROLLEY = "sealed on trolley", "sealed on the trolley"
    ROOM = "room stock", "room stock"


class BomLine(models.Model):
    """What a procedure needs of one item, or of whatever fills a slot."""

    Basis = BomLineBasis

    SetOut = BomLineSetOut

    version = models.ForeignKey(BomVersion, on_delete=models.CASCADE, related_name="lines")
    position = models.PositiveSmallIntegerField()
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="bom_lines")
    slot = models.CharField(max_length=30, blank=True)
    description = models.CharField(max_length=200)
    basis = models.CharField(max_length=8, choices=Basis)
    quantity = models.DecimalField(max_digits=7, decimal_places=3)
    unit = models.CharField(max_length=20)
    certain = models.BooleanField()
    probability = models.DecimalField(max_digits=6, decimal_places=4, default=1)
    finding = models.ForeignKey(
        Finding, on_delete=models.PROTECT, null=True, blank=True, related_name="lines"
    )
    choose_one_group = models.CharField(max_length=20, blank=True)
    set_out = models.CharField(max_length=24, choices=SetOut)
    module = models.CharField(max_length=20, blank=True)
    notes = models.CharField(max_length=255, blank=True)

    class Meta:
        ordering = ["version_id", "position"]
        constraints = [
            one_of("basis", BomLineBasis, name="bom_line_basis_known"),
            one_of("set_out", BomLineSetOut, name="bom_line_set_out_known"),
            models.CheckConstraint(
                condition=Q(item__isnull=False, slot="") | (Q(item__isnull=True) & ~Q(slot="")),
                name="bom_line_item_or_slot",
            ),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="bom_line_quantity_positive"),
            models.CheckConstraint(
                condition=Q(probability__gt=0, probability__lte=1), name="bom_line_probability_above_0"
            ),
            models.CheckConstraint(
                condition=Q(certain=True) | Q(finding__isnull=False), name="bom_line_reserve_has_finding"
            ),
            models.UniqueConstraint(fields=["version", "position"], name="bom_line_position_once"),
        ]

    def __str__(self):
        return f"{self.quantity} {self.description}"
