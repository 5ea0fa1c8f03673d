"""Ledgers are only added to: triggers in the database refuse every change of a row that stands.

A model is a ledger when its class says `append_only = True`. SQLite drops triggers silently whenever a migration
remakes a table, so the triggers are not part of a migration: `lock` puts them all back after every one.
"""

from collections.abc import Callable

from django.apps import apps
from django.db import DEFAULT_DB_ALIAS, connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

REFUSAL = "is a ledger: its rows are added, never changed or removed"
POSTGRESQL_FUNCTION = "refuse_ledger_change"

StatementMaker = Callable[[BaseDatabaseWrapper, str], list[str]]


def ledger_tables() -> list[str]:
    """Return the names of all append-only tables, sorted."""
    return sorted(
        model._meta.db_table
        for model in apps.get_models(include_auto_created=True)
        if getattr(model, "append_only", False) and model._meta.managed and not model._meta.proxy
    )


def lock(using: str = DEFAULT_DB_ALIAS) -> None:
    """Put the triggers on every ledger table that stands. Safe to repeat.

    Afterwards UPDATE, DELETE and (PostgreSQL) TRUNCATE of a ledger row raise IntegrityError.
    Raises NotImplementedError for a database that is neither SQLite nor PostgreSQL.
    """
    connection = connections[using]
    _run(connection, _statements(connection, [_drop, _create]))


def unlock(using: str = DEFAULT_DB_ALIAS) -> None:
    """Take the triggers off again, for a test's flush and for nothing else. Safe to repeat."""
    connection = connections[using]
    _run(connection, _statements(connection, [_drop]))


def missing_locks(using: str = DEFAULT_DB_ALIAS) -> list[str]:
    """Return the triggers that ought to stand on the ledger tables and do not, as "table.trigger"."""
    connection = connections[using]
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT tbl_name, name FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute(
                "SELECT c.relname, t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
                "WHERE NOT t.tgisinternal AND t.tgenabled <> 'D' AND pg_table_is_visible(c.oid)"
            )
        standing = set(cursor.fetchall())
    wanted = [(table, name) for table in ledger_tables() for name in trigger_names(table, connection.vendor)]
    return [f"{table}.{name}" for table, name in wanted if (table, name) not in standing]


def trigger_names(table: str, vendor: str) -> list[str]:
    """Return the names of the triggers that lock `table` on that kind of database."""
    if vendor == "sqlite":
        return [f"{table}_no_update", f"{table}_no_delete"]
    if vendor == "postgresql":
        return [f"{table}_no_change", f"{table}_no_truncate"]
    raise NotImplementedError(f"Ledgers cannot be locked on {vendor}; use SQLite or PostgreSQL.")


def _drop(connection: BaseDatabaseWrapper, table: str) -> list[str]:
    quote = connection.ops.quote_name
    names = trigger_names(table, connection.vendor)
    if connection.vendor == "sqlite":
        return [f"DROP TRIGGER IF EXISTS {quote(name)}" for name in names]
    return [f"DROP TRIGGER IF EXISTS {quote(name)} ON {quote(table)}" for name in names]


def _create(connection: BaseDatabaseWrapper, table: str) -> list[str]:
    quote = connection.ops.quote_name
    first, second = map(quote, trigger_names(table, connection.vendor))
    on = quote(table)
    if connection.vendor == "sqlite":
        refuse = f"BEGIN SELECT RAISE(ABORT, '{table} {REFUSAL}'); END"
        return [
            f"CREATE TRIGGER {first} BEFORE UPDATE ON {on} {refuse}",
            f"CREATE TRIGGER {second} BEFORE DELETE ON {on} {refuse}",
        ]
    refuse = f"EXECUTE FUNCTION {POSTGRESQL_FUNCTION}()"
    return [
        f"CREATE TRIGGER {first} BEFORE UPDATE OR DELETE ON {on} FOR EACH ROW {refuse}",
        f"CREATE TRIGGER {second} BEFORE TRUNCATE ON {on} FOR EACH STATEMENT {refuse}",
    ]


def _statements(connection: BaseDatabaseWrapper, makers: list[StatementMaker]) -> list[str]:
    standing = set(connection.introspection.table_names())
    tables = [table for table in ledger_tables() if table in standing]
    statements = [statement for table in tables for make in makers for statement in make(connection, table)]
    if _create in makers and connection.vendor == "postgresql":
        statements.insert(
            0,
            f"CREATE OR REPLACE FUNCTION {POSTGRESQL_FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            f"RAISE EXCEPTION '% {REFUSAL}', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; "
            "END $$",
        )
    return statements


def _run(connection: BaseDatabaseWrapper, statements: list[str]) -> None:
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
