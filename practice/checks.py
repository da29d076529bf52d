"""System checks of our own."""

from django.core.checks import Error, Tags, register
from django.db import DatabaseError, connections

from practice import append_only


@register(Tags.database)
def append_only_triggers(app_configs, databases=None, **_):
    """Fail when a migrated database lacks a trigger that keeps the ledger append-only."""
    found = []
    for alias in databases or []:
        try:
            tables = set(connections[alias].introspection.table_names())
            absent = append_only.missing(using=alias) if set(append_only.GUARDED) <= tables else []
        except DatabaseError:
            continue
        found += [
            Error(
                f"Trigger {name} is missing in database “{alias}”.", hint="Run migrate.", id="practice.E001"
            )
            for name in absent
        ]
    return found
