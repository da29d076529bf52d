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
    # Without a day nobody has asked yet, and three flags that are not set say nothing.
    consent_asked_on = models.DateField(null=True, blank=True, help_text="Day the patient was last asked")

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

    @property
    def consent(self) -> str:
        """What the patient said about human and animal material, in words that fit into a line."""
        if self.declined_origins:
            return f"declines {' and '.join(sorted(self.declined_origins))} material"
        if self.consent_asked_on is None:
            return "consent to human and animal material not asked yet"
        return "accepts human, porcine and bovine material"
