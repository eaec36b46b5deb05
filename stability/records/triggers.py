"""The triggers that make tables append-only, on SQLite and on PostgreSQL."""

from __future__ import annotations

import sqlalchemy as sa

from stability.records.tables.base import APPEND_ONLY_TABLES

__all__ = ["drop_triggers", "make_triggers"]

_MESSAGE = "append-only: a correction is a new row"


def make_triggers(connection: sa.Connection) -> None:
    """Let the database refuse UPDATE and DELETE on every append-only table."""
    if connection.dialect.name == "sqlite":
        for name in APPEND_ONLY_TABLES:
            for act in ("UPDATE", "DELETE"):
                connection.exec_driver_sql(
                    f'CREATE TRIGGER "keep_{name}_{act.lower()}" BEFORE {act} ON "{name}" '
                    f"BEGIN SELECT RAISE(ABORT, '{name} is {_MESSAGE}'); END"
                )
        return
    connection.exec_driver_sql(
        "CREATE OR REPLACE FUNCTION stability_keep() RETURNS trigger LANGUAGE plpgsql AS $$ "
        # the driver reads a single % as a placeholder of its own
        f"BEGIN RAISE EXCEPTION '%% is {_MESSAGE}', TG_TABLE_NAME "
        "USING ERRCODE = 'restrict_violation'; END $$"
    )
    for name in APPEND_ONLY_TABLES:
        # FOR EACH STATEMENT also stops TRUNCATE and statements that match no row
        connection.exec_driver_sql(
            f'CREATE TRIGGER "keep_{name}" BEFORE UPDATE OR DELETE OR TRUNCATE ON "{name}" '
            "FOR EACH STATEMENT EXECUTE FUNCTION stability_keep()"
        )


def drop_triggers(connection: sa.Connection) -> None:
    """Lift them for a migration; it runs in one transaction, so nobody else meets the gap."""
    present = set(sa.inspect(connection).get_table_names())
    for name in APPEND_ONLY_TABLES:
        if name not in present:
            continue
        if connection.dialect.name == "sqlite":
            for act in ("update", "delete"):
                connection.exec_driver_sql(f'DROP TRIGGER IF EXISTS "keep_{name}_{act}"')
        else:
            connection.exec_driver_sql(f'DROP TRIGGER IF EXISTS "keep_{name}" ON "{name}"')
