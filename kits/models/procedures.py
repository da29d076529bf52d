"""Procedures, the findings that may turn up during them, and what each person prefers."""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from practice.constraints import one_of
from stock.models import Item


class ProcedureKind(models.TextChoices):
    """Choices of ``Procedure.Kind``."""

    SURGERY = "surgery", "surgery"
    VISIT = "visit", "visit"


class Procedure(models.Model):
    """A kind of surgery or visit."""

    Kind = ProcedureKind

    code = models.CharField(max_length=12, unique=True)
    name = models.CharField(max_length=120)
    short_name = models.CharField(max_length=60)
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.SURGERY)
    minutes = models.PositiveSmallIntegerField(default=60)
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering = ["id"]
        constraints = [one_of("kind", ProcedureKind, name="procedure_kind_known")]

    def __str__(self):
        return self.name


class FindingScope(models.TextChoices):
    """Choices of ``Finding.Scope``."""

    CASE = "case", "the whole case"
    SITE = "site", "each tooth site"
    IMPLANT = "implant", "each implant"


class Finding(models.Model):
    """Something learnt only during surgery; all lines that hang on it are opened together."""

    Scope = FindingScope

    code = models.CharField(max_length=16, unique=True)
    name = models.CharField(max_length=120)
    # Words that head its pouch: "If the facial plate is missing".
    condition = models.CharField(max_length=160)
    scope = models.CharField(max_length=8, choices=Scope, default=Scope.SITE)
    # A finding that is simply the absence of another (walls intact = plate not missing).
    complement_of = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="complements"
    )
    # Known when the case is planned, not found in surgery (a guide, a block, a choice of abutment).
    is_planned = models.BooleanField(default=False)

    class Meta:
        ordering = ["id"]
        constraints = [one_of("scope", FindingScope, name="finding_scope_known")]

    def __str__(self):
        return self.name


class ProcedureFinding(models.Model):
    """The planned chance of a finding in one procedure: the largest chance of the lines hanging on it."""

    procedure = models.ForeignKey(Procedure, on_delete=models.CASCADE, related_name="findings")
    finding = models.ForeignKey(Finding, on_delete=models.PROTECT, related_name="in_procedures")
    chance = models.FloatField(validators=[MinValueValidator(0.0), MaxValueValidator(1.0)])

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["procedure", "finding"], name="finding_once_per_procedure"),
            models.CheckConstraint(
                condition=Q(chance__gte=0, chance__lte=1), name="finding_chance_between_0_and_1"
            ),
        ]

    def __str__(self):
        return f"{self.finding} in {self.procedure}: {self.chance:.2f}"


class Preference(models.Model):
    """A person's preference card: what fills a slot when that person works (glove size, suture)."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="preferences")
    slot = models.CharField(max_length=30)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="preferred_by")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "slot"], name="preference_once_per_slot")]

    def __str__(self):
        return f"{self.user}: {self.slot} is {self.item.code}"
