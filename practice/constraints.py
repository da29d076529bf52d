"""Check constraints that repeat a list of choices in the table itself."""

from django.db import models


def one_of(field: str, choices: type[models.TextChoices], *, name: str) -> models.CheckConstraint:
    """A constraint that the column holds one of the choices: choices alone do not bind the table."""
    return models.CheckConstraint(condition=models.Q(**{f"{field}__in": choices.values}), name=name)
