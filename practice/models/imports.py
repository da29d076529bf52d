"""Files on their way in, and what a clinic's exports mean, remembered so that nobody says it twice."""

from django.conf import settings
from django.db import models

from practice.models.organisation import Clinic


class RememberedMeaning(models.Model):
    """In files of this kind, this value in this column means that (a code of ours, or "skip")."""

    clinic_path = "clinic"

    clinic = models.ForeignKey(Clinic, on_delete=models.CASCADE, related_name="meanings")
    file_kind = models.CharField(max_length=20)
    column = models.CharField(max_length=60)
    value = models.CharField(max_length=160)
    meaning = models.CharField(max_length=60)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["clinic", "file_kind", "column", "value"], name="meaning_once_per_value"
            ),
        ]

    def __str__(self):
        return f"{self.column} “{self.value}” means {self.meaning}"


class Upload(models.Model):
    """A file that somebody brought to be taken in, kept encrypted until it is applied or put aside."""

    clinic_path = "clinic"

    clinic = models.ForeignKey(Clinic, on_delete=models.CASCADE, related_name="uploads")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    file_kind = models.CharField(max_length=20)
    filename = models.CharField(max_length=160)
    content = models.BinaryField()
    # What the person declared about the file: supplier, order of dates, tooth numbering.
    declared = models.JSONField(default=dict)
    uploaded_at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]

    def __str__(self):
        return self.filename
