"""Taking a demo practice away again, tables and all, so that a new one can be built.

The ledger refuses deletion row by row, for good reason; so the whole database is laid out anew. Whoever
calls this has made sure that the database holds the demo and nothing else.
"""

from django.core.management import call_command
from django.db import connection

from kits.demo.build import NotTheDemo, built


def empty() -> None:
    """Drop every table and migrate again. Raises NotTheDemo unless the demo, and only it, is there."""
    if built() is None:
        raise NotTheDemo([])
    tables = connection.introspection.table_names()
    quote = connection.ops.quote_name
    with connection.constraint_checks_disabled(), connection.cursor() as cursor:
        for table in tables:
            cascade = " CASCADE" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TABLE {quote(table)}{cascade}")
    call_command("migrate", verbosity=0)
