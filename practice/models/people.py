"""People who sign in, and their role at each clinic."""

from django.contrib.auth.models import AbstractUser
from django.db import models

from practice.constraints import one_of
from practice.models.organisation import Clinic


class User(AbstractUser):
    """A person of the practice; what they may do hangs on their role at each clinic."""

    display_name = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["username"]

    def __str__(self):
        return self.display_name or self.username


class RoleKind(models.TextChoices):
    """Choices of ``Role.Kind``."""

    ASSISTANT = "assistant", "Assistant"
    MANAGER = "manager", "Office manager"
    CLINICIAN = "clinician", "Clinician"
    ADMINISTRATOR = "administrator", "Administrator"
    READER = "reader", "Reader"


class Role(models.Model):
    """What a person does at one clinic."""

    clinic_path = "clinic"

    Kind = RoleKind

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="roles")
    clinic = models.ForeignKey(Clinic, on_delete=models.CASCADE, related_name="roles")
    kind = models.CharField(max_length=16, choices=Kind)

    class Meta:
        ordering = ["clinic_id", "user_id"]
        constraints = [
            one_of("kind", RoleKind, name="role_kind_known"),
            models.UniqueConstraint(fields=["user", "clinic"], name="role_once_per_clinic"),
        ]

    def __str__(self):
        return f"{self.user}: {self.get_kind_display()} at {self.clinic}"
