"""Database triggers that make a table append-only, on SQLite and PostgreSQL.

They are (re)installed after every migrate, because SQLite rebuilds a table on many schema changes and
drops its triggers without a word. ``missing`` tells which are absent, weakened or switched off; a system
check, a test and ``verify_ledger`` ask it. The owner of a database can still drop a trigger, which is
why the ledger also is a hash chain.
"""

from django.apps import apps
from django.db import connections

# Tables and, for SQLite, the unique keys an INSERT OR REPLACE could otherwise overwrite a row through.
# A test compares them with the unique keys the database really has.
GUARDED: dict[str, tuple[tuple[str, ...], ...]] = {
    "practice_auditentry": (("id",),),
    "stock_entry": (("id",), ("key",), ("clinic_id", "sequence"), ("corrects_id",)),
}

_REFUSAL = "is append-only: correct it with a new entry"

_FUNCTION_BODY = f"""
BEGIN
    RAISE EXCEPTION '% {_REFUSAL}', TG_TABLE_NAME USING ERRCODE = '23000';
END;
"""
_POSTGRES_FUNCTION = (
    f"CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger AS $${_FUNCTION_BODY}$$ LANGUAGE plpgsql"
)
# pg_trigger.tgtype of BEFORE (2) DELETE (8) OR UPDATE (16) OR TRUNCATE (32), FOR EACH STATEMENT (0).
_BEFORE_EVERY_CHANGE = 2 + 8 + 16 + 32


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
        "no_update": f"BEFORE UPDATE ON {table}",
        "no_delete": f"BEFORE DELETE ON {table}",
        "no_replace": f"BEFORE INSERT ON {table} WHEN {clash}",
    }
    return {
        f"{table}_{name}": f"CREATE TRIGGER {table}_{name} {moment} {refuse}"
        for name, moment in moments.items()
    }


def _postgres_statements(table: str) -> dict[str, str]:
    name = f"{table}_append_only"
    return {
        name: (
            f"CREATE TRIGGER {name} BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();"
            # ALWAYS: an ordinary trigger is silent while session_replication_role is "replica".
            f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {name}"
        )
    }


def _sqlite_sound(cursor, table: str) -> set[str]:
    cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s", [table])
    wanted = _sqlite_statements(table)
    return {name for name, sql in cursor.fetchall() if wanted.get(name) == sql}


def _postgres_sound(cursor, table: str) -> set[str]:
    cursor.execute(
        "SELECT t.tgname FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid "
        "WHERE t.tgrelid = to_regclass(%s) AND t.tgtype = %s AND t.tgenabled = 'A' AND p.prosrc = %s",
        [table, _BEFORE_EVERY_CHANGE, _FUNCTION_BODY],
    )
    return {row[0] for row in cursor.fetchall()}


def _statements(connection, table: str) -> dict[str, str]:
    return _sqlite_statements(table) if connection.vendor == "sqlite" else _postgres_statements(table)


def _absent(connection, cursor, table: str) -> set[str]:
    sound = _sqlite_sound if connection.vendor == "sqlite" else _postgres_sound
    return set(_statements(connection, table)) - sound(cursor, table)


def names(table: str, *, using: str = "default") -> list[str]:
    """Names of the triggers that guard a table in this kind of database."""
    return list(_statements(connections[using], table))


def missing(*, using: str = "default") -> list[str]:
    """Names of guard triggers that are absent, altered or switched off in the database."""
    connection = connections[using]
    with connection.cursor() as cursor:
        return sorted(name for table in GUARDED for name in _absent(connection, cursor, table))


def install(*, using: str = "default") -> None:
    """Create every guard trigger that is missing or altered, on tables that exist."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRES_FUNCTION)
        for table in tables & set(GUARDED):
            statements = _statements(connection, table)
            on = f" ON {table}" if connection.vendor == "postgresql" else ""
            for name in _absent(connection, cursor, table):
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")
                cursor.execute(statements[name])


def install_all(*, using: str = "default", app_config=None, **_) -> None:
    """After-migrate handler: install once, when the last guarded app has been migrated."""
    last = [config.name for config in apps.get_app_configs() if config.name in {"practice", "stock"}][-1]
    if app_config is None or app_config.name == last:
        install(using=using)
