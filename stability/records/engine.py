"""Opening the database: which SQLite library, which pragmas, which schema, and how to read and write.

`Records` is the handle that services get. `writing()` is one immediate transaction, `reading()` a
snapshot; both give a plain SQLAlchemy connection.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from stability.errors import RecordsError

__all__ = ["HEAD", "Records", "database_url", "open_records", "shown", "sqlite_module", "wal_is_safe"]

HEAD = "0002"
"""The schema version this program writes; a test holds it against the migration scripts."""

APPLICATION_ID = 0x57AB1117
"""Marks a SQLite file as ours (PRAGMA application_id)."""

_BUSY_MS = 30_000


def sqlite_module() -> Any:
    """Return the one SQLite module of this process: a newer bundled one if installed, else the standard one.

    Two copies of SQLite on one file in one process would break each other's locks.
    """
    import sqlite3

    try:
        from pysqlite3 import dbapi2  # type: ignore[import-not-found]
    except ImportError:
        return sqlite3
    return dbapi2 if dbapi2.sqlite_version_info > sqlite3.sqlite_version_info else sqlite3


def wal_is_safe(version: tuple[int, ...]) -> bool:
    """Say whether this SQLite is free of the WAL-reset fault (sqlite.org, wal.html#walresetbug).

    >>> [wal_is_safe(v) for v in ((3, 40, 1), (3, 44, 6), (3, 50, 7), (3, 51, 2), (3, 51, 3))]
    [False, True, True, False, True]
    """
    return version >= (3, 51, 3) or (3, 50, 7) <= version < (3, 51) or (3, 44, 6) <= version < (3, 45)


def database_url(db: str) -> sa.URL:
    """Return the URL of a SQLite path or a PostgreSQL URL as typed.

    Raises
    ------
    RecordsError
        If it is a URL of another kind.
    """
    if "://" not in db:
        return sa.URL.create("sqlite", database=str(Path(db).expanduser()))
    try:
        url = sa.make_url(db)
    except sa.exc.ArgumentError as exc:
        raise RecordsError("database: the URL cannot be read", hint="--db PATH or postgresql://…") from exc
    if url.drivername in ("postgresql", "postgres", "postgresql+psycopg"):
        return url.set(drivername="postgresql+psycopg")
    if url.drivername == "sqlite":
        return url
    raise RecordsError(
        f"database: {url.drivername!r} is not a kind of database this program knows",
        hint="give a SQLite path or a postgresql:// URL",
    )


def shown(url: sa.URL) -> str:
    """Return the URL for people: a plain path for SQLite, never a password."""
    return url.database or "" if url.drivername == "sqlite" else url.render_as_string(hide_password=True)


@dataclass(frozen=True, slots=True)
class Records:
    """An open database of ours, at the schema this program knows."""

    engine: sa.Engine
    url: sa.URL

    @property
    def on_sqlite(self) -> bool:
        """Whether this is a SQLite file."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """Give one transaction that may write; it commits at the end or leaves nothing."""
        with _translated(self.url), self.engine.begin() as connection:
            yield connection

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """Give one snapshot to read from; nothing written in it is kept."""
        with _translated(self.url), self.engine.connect().execution_options(snapshot=True) as connection:
            yield connection

    def close(self) -> None:
        """Let go of the file or the connections."""
        self.engine.dispose()


@contextmanager
def _translated(url: sa.URL) -> Iterator[None]:
    """Turn the faults of a database that a user can meet into one line each."""
    try:
        yield
    except (sa.exc.OperationalError, sa.exc.DatabaseError) as exc:
        if isinstance(exc, sa.exc.IntegrityError):
            raise
        raise _as_records_error(exc, url) from exc


_FAULTS = {
    "readonly": ("is read-only", "check the file's and the folder's permissions"),
    "locked": ("stayed locked for 30 s", "another program holds it; try again"),
    "disk is full": ("has no room left on its disk", "free some space; nothing was lost"),
    "malformed": ("is damaged", "stability restore BACKUP, or stability doctor"),
    "not a database": ("is not a database of this program", "name the right file with --db"),
    "unable to open": (
        "cannot be opened",
        "check the path and its permissions; stability init makes a new one",
    ),
}


def _as_records_error(exc: sa.exc.DBAPIError, url: sa.URL) -> RecordsError:
    told = str(exc.orig)
    for sign, (what, hint) in _FAULTS.items():
        if sign in told:
            return RecordsError(f"database {shown(url)} {what}", hint=hint)
    return RecordsError(f"database {shown(url)}: {told.splitlines()[0]}", hint="stability doctor")


def make_engine(url: sa.URL, *, foreign_keys: bool = True) -> sa.Engine:
    """Return an engine with our transaction handling; nothing is opened yet.

    A migration rebuilds tables, which would cascade with foreign keys on, hence the switch.
    """
    if url.drivername != "sqlite":
        return sa.create_engine(url, pool_pre_ping=True)
    module = sqlite_module()
    engine = sa.create_engine(url, module=module)
    journal = "WAL" if wal_is_safe(module.sqlite_version_info) else "TRUNCATE"

    @sa.event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver's own BEGIN comes too late; we send ours below
        for pragma in (
            f"busy_timeout={_BUSY_MS}",
            f"journal_mode={journal}",
            "synchronous=FULL",
            f"foreign_keys={'ON' if foreign_keys else 'OFF'}",
            "trusted_schema=OFF",
        ):
            try:
                connection.execute(f"PRAGMA {pragma}")
            except module.OperationalError as exc:
                if "readonly" not in str(exc):  # a read-only file can still be read
                    raise

    @sa.event.listens_for(engine, "begin")
    def _on_begin(connection: sa.Connection) -> None:
        snapshot = connection.get_execution_options().get("snapshot")
        connection.exec_driver_sql("BEGIN" if snapshot else "BEGIN IMMEDIATE")

    return engine


def open_records(db: str) -> Records:
    """Open a database that `stability init` made.

    Raises
    ------
    RecordsError
        If there is none, or it is not ours, older or newer than this program, or damaged.
    """
    url = database_url(db)
    if url.drivername == "sqlite":
        _check_file(url)
    records = Records(make_engine(url), url)
    with _translated(url):
        version = schema_version(records.engine)
    if version != HEAD:
        raise _wrong_version(version, url)
    return records


def _wrong_version(version: str | None, url: sa.URL) -> RecordsError:
    if version is None:
        return RecordsError(
            f"database {shown(url)} is not one of this program", hint="stability init sets one up; or --db"
        )
    if version > HEAD:
        return RecordsError(
            f"database {shown(url)} has schema {version}, newer than this program's {HEAD}",
            hint="install the newer program; nothing was touched",
        )
    return RecordsError(
        f"database {shown(url)} has schema {version}, this program needs {HEAD}",
        hint="stability init brings it up to date (it makes a backup first)",
    )


def _check_file(url: sa.URL) -> None:
    path = Path(url.database or "")
    if not path.exists():
        raise RecordsError(f"database {path} does not exist", hint=f"stability init --db {path}")
    if not stat.S_ISREG(path.stat().st_mode):
        raise RecordsError(f"database {path} is not a file", hint="name a file with --db")
    if not os.access(path, os.R_OK):
        raise RecordsError(f"database {path} cannot be read by you", hint="check the file's permissions")
    with path.open("rb") as file:
        head = file.read(100)
    if head and (len(head) < 100 or head[:16] != b"SQLite format 3\x00"):
        raise RecordsError(
            f"database {path} is not a database of this program", hint="name the right file with --db"
        )
    if head and int.from_bytes(head[68:72], "big") not in (0, APPLICATION_ID):
        raise RecordsError(
            f"database {path} belongs to another program", hint="name the right file with --db"
        )


def schema_version(engine: sa.Engine) -> str | None:
    """Return the schema version, or None where there is no schema of ours."""
    with engine.connect().execution_options(snapshot=True) as connection:
        if not sa.inspect(connection).has_table("alembic_version"):
            return None
        if not sa.inspect(connection).has_table("study_version"):
            return None
        found = connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)
