"""Keeping the database: set it up, bring it up to date, back it up, restore it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from stability.errors import InputError, RecordsError
from stability.records.condition import journal_of
from stability.records.engine import HEAD, Records, database_url, shown
from stability.records.files import copy_checked, make_empty, schema_inside

__all__ = ["SetUp", "backup", "needs_update", "restore", "set_up"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """What `stability init` found and left."""

    records: Records
    shown: str
    found: str | None
    journal: str
    backup: str | None

    @property
    def schema(self) -> str:
        """The schema version that the database has now."""
        return HEAD

    @property
    def says(self) -> str:
        """What was done, in a line."""
        if self.found is None:
            what = "set up"
        elif self.found == HEAD:
            what = "is up to date"
        else:
            what = f"brought from schema {self.found} to {HEAD}"
        return f"database {self.shown} {what} (schema {HEAD}, journal {self.journal})"


def set_up(db: str, *, now: datetime) -> SetUp:
    """Make a database, or bring an older one up to date; an older SQLite file is copied first.

    Raises
    ------
    RecordsError
        If it is another program's, newer than this one, damaged, or cannot be made.
    """
    url = database_url(db)
    copy, made = None, None
    if url.drivername == "sqlite":
        path = _path(url)
        if not path.exists():
            make_empty(path)
            made = path
        elif (version := schema_inside(path)) is not None and version < HEAD:
            copy = path.with_name(f"{path.name}.{version}.{now:%Y%m%dT%H%M%SZ}.bak")
            copy_checked(path, copy)
    from stability.records.migrate import bring_up_to_date

    try:
        records, found = bring_up_to_date(db)
    except BaseException:
        if made is not None:
            made.unlink(missing_ok=True)
        raise
    return SetUp(
        records=records,
        shown=shown(url),
        found=found,
        journal=journal_of(records),
        backup=None if copy is None else str(copy),
    )


def _path(url: sa.URL) -> Path:
    if not url.database or url.database == ":memory:":
        raise RecordsError("database: a file is wanted, not memory", hint="--db PATH")
    return Path(url.database)


def backup(db: str, target: Path, *, force: bool = False) -> int:
    """Write a checked copy of a SQLite database; return its size in bytes.

    Raises
    ------
    InputError
        If the target exists, or the database is not a SQLite file.
    """
    url = database_url(db)
    if url.drivername != "sqlite":
        raise InputError(
            f"backup copies SQLite files; {shown(url)} is PostgreSQL",
            hint="pg_dump --format=custom copies it",
        )
    source = _path(url)
    if not source.exists():
        raise RecordsError(f"database {source} does not exist", hint="name the right file with --db")
    if schema_inside(source) is None:
        raise RecordsError(f"database {source} is empty", hint="stability init sets it up")
    if target.is_dir():
        raise InputError(f"backup {target} is a folder; expected a file to write")
    if target.exists() and target.samefile(source):
        raise InputError(f"backup {target} is the database itself; expected another file")
    if target.exists() and not force:
        raise InputError(f"backup {target} exists already", hint="another name, or --force to write over it")
    copy_checked(source, target)
    return target.stat().st_size


def restore(source: Path, db: str) -> str | None:
    """Make a new database from a backup; return its schema version.

    Raises
    ------
    InputError
        If the backup is not whole or not ours, or the new file exists already.
    """
    url = database_url(db)
    if url.drivername != "sqlite":
        raise InputError(
            f"restore makes SQLite files; {shown(url)} is PostgreSQL",
            hint="pg_restore restores what pg_dump wrote",
        )
    target = _path(url)
    if not source.exists():
        raise InputError(f"backup {source} does not exist", hint="name the file that stability backup wrote")
    version = schema_inside(source)
    if version is None:
        raise InputError(f"backup {source} is empty", hint="name the file that stability backup wrote")
    if target.exists():
        raise InputError(
            f"database {target} exists already", hint="restore into a new file, then put it in place"
        )
    copy_checked(source, target)
    return version


def needs_update(version: str | None) -> bool:
    """Say whether a schema version is older than this program's."""
    return version != HEAD
