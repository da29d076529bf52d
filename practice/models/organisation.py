"""The practice, its clinics, rooms, closures and policy."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from practice.constraints import one_of


class Practice(models.Model):
    """The business that owns the clinics; one row in most installations."""

    name = models.CharField(max_length=120, unique=True)
    short_name = models.CharField(max_length=40)

    def __str__(self):
        return self.name


class ClinicNotation(models.TextChoices):
    """Choices of ``Clinic.Notation``."""

    FDI = "fdi", "FDI (ISO 3950)"
    UNIVERSAL = "universal", "Universal"


class Clinic(models.Model):
    """One address where surgery is done and stock is kept."""

    Notation = ClinicNotation

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="clinics")
    name = models.CharField(max_length=80, unique=True)
    code = models.CharField(max_length=12, unique=True)
    time_zone = models.CharField(max_length=40, default="Europe/London")
    currency = models.CharField(max_length=3, default="GBP")
    tooth_notation = models.CharField(max_length=10, choices=Notation, default=Notation.FDI)
    # Seven characters, Monday first, "1" when the clinic operates that weekday.
    open_weekdays = models.CharField(max_length=7, default="1111100")

    class Meta:
        ordering = ["id"]
        constraints = [
            one_of("tooth_notation", ClinicNotation, name="clinic_tooth_notation_known"),
            models.CheckConstraint(
                condition=models.Q(open_weekdays__regex=r"^[01]{7}$"), name="clinic_open_weekdays_seven_flags"
            ),
        ]

    def __str__(self):
        return self.name


class RoomKind(models.TextChoices):
    """Choices of ``Room.Kind``."""

    SURGICAL = "surgical", "Surgical"
    RESTORATIVE = "restorative", "Restorative"


class Room(models.Model):
    """A room with a chair."""

    clinic_path = "clinic"

    Kind = RoomKind

    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="rooms")
    code = models.CharField(max_length=12)
    kind = models.CharField(max_length=12, choices=Kind, default=Kind.SURGICAL)

    class Meta:
        ordering = ["clinic_id", "code"]
        constraints = [
            one_of("kind", RoomKind, name="room_kind_known"),
            models.UniqueConstraint(fields=["clinic", "code"], name="room_code_once_per_clinic"),
        ]

    def __str__(self):
        return self.code


class Closure(models.Model):
    """Days on which a clinic does not operate, both ends included."""

    clinic_path = "clinic"

    clinic = models.ForeignKey(Clinic, on_delete=models.CASCADE, related_name="closures")
    starts_on = models.DateField()
    ends_on = models.DateField()
    reason = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["starts_on"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_on__gte=models.F("starts_on")), name="closure_ends_after_start"
            ),
        ]

    def __str__(self):
        return f"{self.clinic} {self.starts_on} to {self.ends_on}"


def share(default: float) -> models.FloatField:
    """A chance between 0 and 1 that the practice may edit."""
    return models.FloatField(default=default, validators=[MinValueValidator(0.5), MaxValueValidator(0.9999)])


class Policy(models.Model):
    """What a clinic has decided for itself; every figure is a setting, not a constant of the trade."""

    clinic_path = "clinic"

    clinic = models.OneToOneField(Clinic, on_delete=models.CASCADE, related_name="policy")
    # Service targets by criticality: the accepted chance of being short is one minus the target.
    target_cannot_start = share(0.995)
    target_substitute = share(0.975)
    target_convenience = share(0.90)
    review_days = models.PositiveSmallIntegerField(default=7)
    safety_days = models.PositiveSmallIntegerField(default=0)
    waste_limit = models.FloatField(default=0.10)
    approval_limit = models.DecimalField(max_digits=10, decimal_places=2, default=5000)
    retention_years = models.PositiveSmallIntegerField(default=30)
    plan_days = models.PositiveSmallIntegerField(default=180)

    class Meta:
        verbose_name_plural = "policies"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(target_cannot_start__gt=0, target_cannot_start__lt=1)
                & models.Q(target_substitute__gt=0, target_substitute__lt=1)
                & models.Q(target_convenience__gt=0, target_convenience__lt=1),
                name="policy_targets_between_0_and_1",
            ),
        ]

    def __str__(self):
        return f"Policy of {self.clinic}"
