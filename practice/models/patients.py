"""Patients: the least the planner needs to know of them."""

from django.db import models

from practice.encryption import EncryptedTextField
from practice.models.organisation import Practice


class Patient(models.Model):
    """A patient by chart number; the name, where it is kept at all, is encrypted at rest."""

    clinic_path = "practice__clinics"

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="patients")
    chart_number = models.CharField(max_length=24)
    name = EncryptedTextField(blank=True, default="")
    name_index = models.CharField(max_length=64, blank=True, default="", db_index=True)
    born_in = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Birth year")
    declines_human = models.BooleanField("declines human tissue", default=False)
    declines_porcine = models.BooleanField("declines porcine material", default=False)
    declines_bovine = models.BooleanField("declines bovine material", default=False)

    class Meta:
        ordering = ["chart_number"]
        constraints = [
            models.UniqueConstraint(fields=["practice", "chart_number"], name="patient_chart_number_once"),
            models.CheckConstraint(
                condition=models.Q(born_in__isnull=True) | models.Q(born_in__gte=1890, born_in__lte=2200),
                name="patient_born_in_plausible",
            ),
        ]

    def __str__(self):
        return self.chart_number

    @property
    def declined_origins(self) -> frozenset[str]:
        """Origins the patient declines, as words of the catalogue: human, porcine, bovine."""
        flags = {
            "human": self.declines_human,
            "porcine": self.declines_porcine,
            "bovine": self.declines_bovine,
        }
        return frozenset(origin for origin, declined in flags.items() if declined)
