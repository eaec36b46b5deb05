"""The condition of the database: which library, which journal, when the last act was noted."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from stability.records.engine import Records, sqlite_module, wal_is_safe
from stability.records.tables import table
from stability.records.tables.bench import Event

__all__ = ["file_of", "journal_of", "last_act_at", "library_of", "wal_fault_present"]


def file_of(records: Records) -> Path | None:
    """Return the SQLite file, or None for PostgreSQL."""
    return Path(records.url.database or "") if records.on_sqlite else None


def journal_of(records: Records) -> str:
    """Return how the database keeps together what it writes: wal, truncate, or PostgreSQL's own log."""
    if not records.on_sqlite:
        return "PostgreSQL"
    with records.reading() as connection:
        return str(connection.exec_driver_sql("PRAGMA journal_mode").scalar())


def library_of(records: Records) -> str:
    """Return the database library or server with its version."""
    if records.on_sqlite:
        return f"SQLite {sqlite_module().sqlite_version}"
    with records.reading() as connection:
        return f"PostgreSQL {connection.exec_driver_sql('SHOW server_version').scalar()}"


def wal_fault_present(records: Records) -> bool:
    """Say whether this SQLite library has the fault that can lose a commit in WAL mode."""
    return records.on_sqlite and not wal_is_safe(sqlite_module().sqlite_version_info)


def last_act_at(connection: sa.Connection) -> datetime | None:
    """Return when the last act was noted."""
    event = table(Event)
    found: datetime | None = connection.execute(
        sa.select(event.c.at).order_by(event.c.id.desc()).limit(1)
    ).scalar()
    return found
