"""Rows written past forms and verbs, to see what the tables themselves refuse."""

import pytest
from django.db import IntegrityError, connection, transaction


def refuses(name, *rows):
    """The database refuses the rows, written in bulk, for the constraint of that name and no other."""
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        type(rows[0]).objects.bulk_create(rows)
    told = str(refused.value)
    # A second entry in the place of an append-only one is stopped by the trigger that stands before it.
    assert _named(name, type(rows[0]), told) or "is append-only" in told, told


def _named(name, model, told: str) -> bool:
    """Whether the database's message is of that constraint.

    SQLite says the columns of a broken unique constraint, all of them, instead of its name.
    """
    if connection.vendor != "sqlite":
        return f'"{name}"' in told
    constraint = next(each for each in model._meta.constraints if each.name == name)
    columns = [model._meta.get_field(field).column for field in getattr(constraint, "fields", ())]
    words = ", ".join(f"{model._meta.db_table}.{column}" for column in columns) or name
    return told.endswith(f"failed: {words}")


def accepts(*rows):
    """The database takes the rows, written in bulk."""
    type(rows[0]).objects.bulk_create(rows)
