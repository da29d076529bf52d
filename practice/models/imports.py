"""What a clinic's exports mean, remembered so that nobody says it twice."""

from django.db import models

from practice.models.organisation import Clinic


class RememberedMeaning(models.Model):
    """In files of this kind, this value in this column means that (a code of ours, or "skip")."""

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
