"""System checks of our own."""

from django.core.checks import Tags, Warning, register
from django.db import DatabaseError, connections

from practice import append_only


@register(Tags.database)
def append_only_triggers(app_configs, databases=None, **_):
    """Say when a migrated database lacks a trigger that keeps the ledger append-only.

    A warning, not an error: an error would stop the very migrate that puts the trigger back.
    """
    found = []
    for alias in databases or []:
        try:
            tables = set(connections[alias].introspection.table_names())
            absent = append_only.missing(using=alias) if set(append_only.GUARDED) <= tables else []
        except DatabaseError:
            continue
        found += [
            Warning(
                f"Trigger {name} is missing in database “{alias}”.", hint="Run migrate.", id="practice.W001"
            )
            for name in absent
        ]
    return found
