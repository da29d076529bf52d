"""The append-only triggers, each way round them tried on the database of the run.

Statements and their effects: SQLite's and PostgreSQL's manuals (INSERT OR REPLACE fires no delete trigger
unless recursive_triggers is on; session_replication_role silences ordinary triggers).
"""

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import IntegrityError, connection, models, transaction
from django.db.models.functions import Now

from practice import append_only, audit, checks
from practice.models import AuditEntry
from stock.models import Entry
from stock.receiving import open_stock
from tests import builders
from tests.append_only_off import drop_triggers

TEST = audit.action("test.happen", "did {subject}")

GUARDED = {"stock_entry": Entry, "practice_auditentry": AuditEntry}


@pytest.fixture
def rows(cast):
    """One row in each guarded table, by table."""
    lot = builders.lot(cast.membrane)
    [entry] = open_stock(lot=lot, place=cast.stockroom, quantity=3, by=None, at=builders.NOW, key="tap")
    said = audit.record(TEST, by=cast.manager, at=builders.NOW, subject="something")
    return {"stock_entry": entry, "practice_auditentry": said}


@pytest.fixture(params=sorted(GUARDED))
def row(request, rows):
    return rows[request.param]


def refused():
    return pytest.raises(IntegrityError, match="is append-only: correct it with a new entry")


def execute(sql, *values):
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, values)


def unchanged(row):
    assert type(row).objects.filter(pk=row.pk, **plain(row)).count() == 1


def plain(row):
    return {f.attname: getattr(row, f.attname) for f in row._meta.concrete_fields if f.attname != "facts"}


def test_every_guard_stands_after_migrating(db):
    assert append_only.missing() == []
    assert checks.append_only_triggers(None, databases=["default"]) == []


@pytest.mark.parametrize("table", sorted(GUARDED))
def test_the_guarded_keys_are_all_the_table_has(db, table):
    """INSERT OR REPLACE overwrites through any unique key, so the trigger must know every one."""
    with connection.cursor() as cursor:
        found = connection.introspection.get_constraints(cursor, table)
    keys = {
        tuple(constraint["columns"])
        for constraint in found.values()
        if constraint["unique"] or constraint["primary_key"]
    }
    assert keys == set(append_only.GUARDED[table])


class TestOrdinaryChanges:
    def test_save(self, row):
        row.at = builders.NOW
        with refused(), transaction.atomic():
            row.save()
        unchanged(type(row).objects.get(pk=row.pk))

    def test_update(self, row):
        with refused(), transaction.atomic():
            type(row).objects.update(at=Now())
        unchanged(row)

    def test_update_or_create(self, row):
        with refused(), transaction.atomic():
            type(row).objects.update_or_create(pk=row.pk, defaults={"at": builders.NOW})
        unchanged(row)

    def test_delete(self, row):
        with refused(), transaction.atomic():
            type(row).objects.filter(pk=row.pk)._raw_delete("default")
        with refused(), transaction.atomic():
            row.delete()

    def test_upsert(self, row):
        """ON CONFLICT DO UPDATE, which Django writes for bulk_create(update_conflicts=True)."""
        with refused(), transaction.atomic():
            type(row).objects.bulk_create(
                [row], update_conflicts=True, unique_fields=["id"], update_fields=["at"]
            )
        unchanged(row)

    def test_conflicts_that_are_ignored_change_nothing(self, row):
        """ON CONFLICT DO NOTHING may pass or be refused; the row stays as it is."""
        try:
            with transaction.atomic():
                type(row).objects.bulk_create([row], ignore_conflicts=True)
        except IntegrityError as refusal:
            assert "append-only" in str(refusal)  # noqa: PT017
        unchanged(row)
        assert type(row).objects.filter(pk=row.pk).count() == 1


class TestRawStatements:
    def test_update_and_delete(self, row):
        table = row._meta.db_table
        for statement in (f"UPDATE {table} SET at = at", f"DELETE FROM {table}"):
            with refused():
                execute(statement)
        unchanged(row)

    def test_an_update_that_would_touch_no_row_is_harmless(self, row):
        """PostgreSQL refuses it all the same, SQLite does not; either way nothing changes."""
        try:
            execute(f"UPDATE {row._meta.db_table} SET at = at WHERE id = -5")
        except IntegrityError as refusal:
            assert "append-only" in str(refusal)  # noqa: PT017
        unchanged(row)


def copy_statement(row, verb, **other):
    """An INSERT of the row's own values, with some columns given otherwise."""
    table = row._meta.db_table
    columns = [f.column for f in row._meta.concrete_fields]
    values = ", ".join(other.get(column, column) for column in columns)
    return f"{verb} INTO {table} ({', '.join(columns)}) SELECT {values} FROM {table} WHERE id = {row.pk}"


if connection.vendor == "sqlite":

    class TestReplaceOnSQLite:
        @pytest.mark.parametrize("verb", ["INSERT OR REPLACE", "REPLACE"])
        @pytest.mark.parametrize("recursive", ["ON", "OFF"])
        def test_through_the_row_id(self, row, verb, recursive):
            execute(f"PRAGMA recursive_triggers={recursive}")
            with refused():
                execute(copy_statement(row, verb, at="'2020-01-01'"))
            execute("PRAGMA recursive_triggers=OFF")
            unchanged(row)

        @pytest.mark.parametrize("given", ["CAST(id AS TEXT)", "CAST(id AS REAL)"])
        def test_through_the_row_id_in_another_type(self, row, given):
            with refused():
                execute(copy_statement(row, "INSERT OR REPLACE", id=given, at="'2020-01-01'"))
            unchanged(row)

        @pytest.mark.parametrize("name", ["rowid", "oid", "_rowid_"])
        def test_through_the_row_id_by_another_name(self, row, name):
            statement = copy_statement(row, "INSERT OR REPLACE", at="'2020-01-01'")
            with refused():
                execute(statement.replace("(id,", f"({name},"))
            unchanged(row)

        @pytest.mark.parametrize(
            "other",
            [
                pytest.param({"key": "NULL", "corrects_id": "NULL"}, id="clinic and sequence"),
                pytest.param({"sequence": "sequence + 50", "corrects_id": "NULL"}, id="key"),
                pytest.param(
                    {"sequence": "CAST(sequence AS TEXT)", "key": "NULL", "corrects_id": "NULL"},
                    id="sequence as text",
                ),
            ],
        )
        def test_an_entry_through_each_unique_key(self, rows, other):
            row = rows["stock_entry"]
            statement = copy_statement(row, "INSERT OR REPLACE", id="id + 1000", quantity="99", **other)
            with refused():
                execute(statement)
            unchanged(row)

        def test_a_correction_through_what_it_corrects(self, rows):
            row = rows["stock_entry"]
            correction = copy_statement(
                row, "INSERT", id="id + 1", sequence="sequence + 1", key="NULL", corrects_id="id"
            )
            execute(correction)
            again = correction.replace("INSERT INTO", "INSERT OR REPLACE INTO")
            again = again.replace("id + 1,", "id + 2,", 1).replace("sequence + 1", "sequence + 2")
            with refused():
                execute(again)
            assert Entry.objects.filter(corrects=row).count() == 1

        def test_an_update_or_replace(self, row):
            with refused():
                execute(f"UPDATE OR REPLACE {row._meta.db_table} SET id = id + 1")
            unchanged(row)

        def test_a_trigger_made_harmless_is_noticed(self, db):
            execute("DROP TRIGGER stock_entry_no_update")
            execute("CREATE TRIGGER stock_entry_no_update BEFORE UPDATE ON stock_entry BEGIN SELECT 1; END")
            assert append_only.missing() == ["stock_entry_no_update"]
            append_only.install()
            assert append_only.missing() == []

        def test_a_trigger_of_that_name_elsewhere_does_not_count(self, db):
            execute("DROP TRIGGER stock_entry_no_update")
            execute("CREATE TRIGGER stock_entry_no_update BEFORE UPDATE ON stock_lot BEGIN SELECT 1; END")
            assert append_only.missing() == ["stock_entry_no_update"]
            append_only.install()
            assert append_only.missing() == []

else:

    class TestOnPostgreSQL:
        @pytest.mark.parametrize("table", sorted(GUARDED))
        def test_truncate(self, rows, table):
            execute("SET CONSTRAINTS ALL IMMEDIATE")
            with refused():
                execute(f"TRUNCATE {table} CASCADE")
            unchanged(rows[table])

        def test_a_replica_is_guarded_too(self, row):
            with refused(), transaction.atomic(), connection.cursor() as cursor:
                cursor.execute("SET LOCAL session_replication_role = replica")
                cursor.execute(f"DELETE FROM {row._meta.db_table}")
            unchanged(row)

        def test_an_upsert_on_another_key(self, rows):
            statement = copy_statement(rows["stock_entry"], "INSERT", id="id + 1000")
            with refused():
                execute(f"{statement} ON CONFLICT (key) DO UPDATE SET quantity = 99")

        @pytest.mark.parametrize(
            "weaken",
            [
                "ALTER TABLE stock_entry DISABLE TRIGGER stock_entry_append_only",
                "ALTER TABLE stock_entry ENABLE TRIGGER stock_entry_append_only",
                "DROP TRIGGER stock_entry_append_only ON stock_entry; "
                "CREATE TRIGGER stock_entry_append_only BEFORE UPDATE ON stock_entry "
                "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()",
            ],
        )
        def test_a_weakened_trigger_is_noticed_and_restored(self, db, weaken):
            execute(weaken)
            assert append_only.missing() == ["stock_entry_append_only"]
            append_only.install()
            assert append_only.missing() == []

        def test_a_function_made_harmless_is_noticed_and_restored(self, db):
            execute(
                "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger AS $$BEGIN RETURN NULL; END;$$ "
                "LANGUAGE plpgsql"
            )
            assert len(append_only.missing()) == len(GUARDED)
            append_only.install()
            assert append_only.missing() == []


def test_the_check_names_what_is_missing(db):
    drop_triggers()
    found = checks.append_only_triggers(None, databases=["default"])
    wanted = [name for table in append_only.GUARDED for name in append_only.names(table)]
    assert sorted(error.msg.split()[1] for error in found) == sorted(wanted)
    assert all("Run migrate." in error.hint for error in found)


@pytest.mark.django_db(transaction=True)
def test_migrating_restores_what_is_missing(transactional_db):
    drop_triggers()
    assert append_only.missing()
    call_command("migrate", verbosity=0)
    assert append_only.missing() == []


@pytest.mark.django_db(transaction=True)
def test_a_rebuilt_table_is_guarded_again(transactional_db):
    """The trap: SQLite rebuilds a table on many schema changes, and its triggers vanish without a word."""
    now = AuditEntry._meta.get_field("action")
    longer = models.CharField(max_length=41, db_index=True)
    longer.set_attributes_from_name("action")
    longer.model = AuditEntry
    with connection.schema_editor() as editor:
        editor.alter_field(AuditEntry, now, longer)
    vanished = append_only.missing()
    with connection.schema_editor() as editor:
        editor.alter_field(AuditEntry, longer, now)
    assert bool(vanished) == (connection.vendor == "sqlite")
    append_only.install_all(using="default", app_config=apps.get_app_config("stock"))
    assert append_only.missing() == []


@pytest.mark.django_db(transaction=True)
def test_migrating_back_and_forth_leaves_the_ledger_guarded(transactional_db):
    """The second migration of stock rebuilds the ledger's table on SQLite."""
    call_command("migrate", "stock", "0001", verbosity=0)
    call_command("migrate", verbosity=0)
    assert append_only.missing() == []


def test_new_rows_are_welcome(rows, cast):
    builders.shelved(cast.suture, cast.stockroom, 3)
    assert Entry.objects.count() == 2
