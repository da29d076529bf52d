"""Database triggers that make a table append-only, on SQLite and PostgreSQL.

They are (re)installed after every migrate, because SQLite rebuilds a table on many schema changes and
drops its triggers without a word. ``missing`` tells which are absent; a system check, a test and
``verify_ledger`` ask it.
"""

from django.apps import apps
from django.db import connections

# Tables and, for SQLite, the unique keys an INSERT OR REPLACE could otherwise overwrite a row through.
GUARDED: dict[str, tuple[tuple[str, ...], ...]] = {
    "practice_auditentry": (("id",),),
    "stock_entry": (("id",), ("key",), ("clinic_id", "sequence")),
}

_REFUSAL = "is append-only: correct it with a new entry"

_POSTGRES_FUNCTION = f"""
CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger AS $$
BEGIN
    RAISE EXCEPTION '% {_REFUSAL}', TG_TABLE_NAME USING ERRCODE = '23000';
END;
$$ LANGUAGE plpgsql;
"""


def _sqlite_statements(table: str) -> dict[str, str]:
    refuse = f"BEGIN SELECT RAISE(ABORT, '{table} {_REFUSAL}'); END"
    # REPLACE deletes the old row without firing delete triggers, so an insert that would hit an
    # existing row on any unique key is refused before it happens.
    clash = " OR ".join(
        f"EXISTS (SELECT 1 FROM {table} WHERE "
        + " AND ".join(f"{column} = NEW.{column}" for column in key)
        + ")"
        for key in GUARDED[table]
    )
    moments = {
        "no_update": "BEFORE UPDATE ON {table}",
        "no_delete": "BEFORE DELETE ON {table}",
        "no_replace": f"BEFORE INSERT ON {{table}} WHEN {clash}",
    }
    return {
        f"{table}_{name}": f"CREATE TRIGGER IF NOT EXISTS {table}_{name} {moment.format(table=table)} {refuse}"
        for name, moment in moments.items()
    }


def _postgres_statements(table: str) -> dict[str, str]:
    name = f"{table}_append_only"
    return {
        name: (
            f"CREATE OR REPLACE TRIGGER {name} BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )
    }


def _present(connection) -> set[str]:
    query = (
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        if connection.vendor == "sqlite"
        else "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        return {row[0] for row in cursor.fetchall()}


def _statements(connection, table: str) -> dict[str, str]:
    return _sqlite_statements(table) if connection.vendor == "sqlite" else _postgres_statements(table)


def missing(*, using: str = "default") -> list[str]:
    """Names of guard triggers that should be in the database and are not."""
    connection = connections[using]
    present = _present(connection)
    return sorted(name for table in GUARDED for name in _statements(connection, table) if name not in present)


def install(*, using: str = "default") -> None:
    """Create every guard trigger that is missing on tables that exist."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRES_FUNCTION)
        for table in GUARDED:
            if table in tables:
                for statement in _statements(connection, table).values():
                    cursor.execute(statement)


def install_all(*, using: str = "default", app_config=None, **_) -> None:
    """After-migrate handler: install once, when the last guarded app has been migrated."""
    last = [config.name for config in apps.get_app_configs() if config.name in {"practice", "stock"}][-1]
    if app_config is None or app_config.name == last:
        install(using=using)
