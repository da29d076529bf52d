"""Who did what and when; append-only like the ledger."""

from django.conf import settings
from django.db import models

from practice.models.organisation import Clinic


class AuditEntryQuerySet(models.QuerySet):
    """Ways to ask the audit."""

    def of_clinics(self, clinics):
        """Entries of these clinics, and those that concern the whole practice."""
        return self.filter(models.Q(clinic__in=clinics) | models.Q(clinic__isnull=True))


class AuditEntry(models.Model):
    """One action. ``action`` follows the grammar ``noun.verb``; ``facts`` fill its sentence."""

    clinic_path = "clinic"

    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, null=True, related_name="+")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField(db_index=True)
    action = models.CharField(max_length=40, db_index=True)
    subject = models.CharField(max_length=80, db_index=True)
    facts = models.JSONField(default=dict)

    objects = AuditEntryQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "audit entries"

    def __str__(self):
        return f"{self.at:%Y-%m-%d %H:%M} {self.action} {self.subject}"
