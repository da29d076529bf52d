"""The way round the append-only triggers, for tests alone: no module of the application can drop one.

Tests that use real transactions empty every table afterwards, which the triggers refuse; and the tests of
tampering need a tamperer.
"""

from contextlib import contextmanager

from django.db import connections

from practice import append_only


def drop_triggers(*, using: str = "default") -> None:
    """Drop every guard trigger of the database."""
    connection = connections[using]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # A table with deferred checks pending cannot be altered.
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table in append_only.GUARDED:
            for name in append_only.names(table, using=using):
                on = f" ON {table}" if connection.vendor == "postgresql" else ""
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


@contextmanager
def triggers_off(*, using: str = "default"):
    """Let the block change guarded tables like any other; afterwards they are guarded again."""
    drop_triggers(using=using)
    try:
        yield
    finally:
        append_only.install(using=using)
