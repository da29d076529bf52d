"""Models of the practice layer. Inside: organisation ← people ← patients ← audit."""

from practice.models.audit import AuditEntry
from practice.models.imports import RememberedMeaning, Upload
from practice.models.organisation import Clinic, Closure, Policy, Practice, Room
from practice.models.patients import Patient
from practice.models.people import Role, User

__all__ = [
    "AuditEntry",
    "Clinic",
    "Closure",
    "Patient",
    "Policy",
    "Practice",
    "RememberedMeaning",
    "Role",
    "Room",
    "Upload",
    "User",
]
