"""SQLite files as files: looking before touching, copying by the backup interface, checking the content."""

from __future__ import annotations

import os
from contextlib import closing
from pathlib import Path
from typing import Any

from stability.errors import InputError, RecordsError
from stability.records.engine import APPLICATION_ID, HEAD, sqlite_module

__all__ = ["copy_checked", "faults_inside", "make_empty", "schema_inside"]

_MODE = 0o640
_MAGIC = b"SQLite format 3\x00"


def make_empty(path: Path) -> None:
    """Make an empty file that only its owner may write and only the group may read beside him.

    Raises
    ------
    RecordsError
        If the folder is missing or does not let us.
    """
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, _MODE))
    except OSError as exc:
        raise RecordsError(
            f"database {path} cannot be made: {(exc.strerror or str(exc)).lower()}",
            hint="check the folder and its permissions",
        ) from exc


def schema_inside(path: Path) -> str | None:
    """Return the schema version of a file of ours, or None for an empty one; nothing is written.

    Raises
    ------
    RecordsError
        If it is no database, another program's, newer than this program, or damaged.
    """
    _refuse_foreign_head(path)
    module = sqlite_module()
    try:
        with closing(_opened(path, "ro")) as connection:
            tables = {
                str(row[0]) for row in connection.execute("SELECT name FROM sqlite_master WHERE type='table'")
            }
            if not tables:
                return None
            if not {"alembic_version", "study_version"} <= tables:
                raise RecordsError(
                    f"database {path} holds tables of another program: {', '.join(sorted(tables)[:3])}",
                    hint="name the right file",
                )
            row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    except module.Error as exc:
        raise RecordsError(f"database {path} cannot be read: {exc}", hint="stability restore BACKUP") from exc
    version = str(row[0]) if row else None
    if version is not None and version > HEAD:
        raise RecordsError(
            f"database {path} has schema {version}, newer than this program's {HEAD}",
            hint="install the newer program; nothing was touched",
        )
    return version


def _refuse_foreign_head(path: Path) -> None:
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except OSError as exc:
        raise RecordsError(
            f"database {path} cannot be read: {(exc.strerror or str(exc)).lower()}",
            hint="check path and permissions",
        ) from exc
    if head and (len(head) < 100 or not head.startswith(_MAGIC)):
        raise RecordsError(f"database {path} is not a database of this program", hint="name the right file")
    if head and int.from_bytes(head[68:72], "big") not in (0, APPLICATION_ID):
        raise RecordsError(f"database {path} belongs to another program", hint="name the right file")


def _opened(path: Path, mode: str) -> Any:
    return sqlite_module().connect(f"{path.resolve().as_uri()}?mode={mode}", uri=True, timeout=30)


def faults_inside(path: Path) -> tuple[str, ...]:
    """Return what SQLite finds wrong: pages, indexes, rows that name missing rows. Empty is good."""
    module = sqlite_module()
    try:
        with closing(_opened(path, "ro")) as connection:
            told = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(20)")]
            broken = connection.execute("PRAGMA foreign_key_check").fetchall()
    except module.Error as exc:
        return (str(exc),)
    found = [] if told == ["ok"] else told
    if broken:
        found.append(f"{len(broken)} rows name rows that are missing")
    return tuple(found)


def copy_checked(source: Path, target: Path) -> None:
    """Copy a database that others may be writing to; the copy is checked before it gets its name.

    Raises
    ------
    InputError
        If the copy cannot be written or is not whole; the target is then left as it was.
    """
    unfinished = target.with_name(f".{target.name}.{os.getpid()}.unfinished")
    try:
        make_empty(unfinished)
        _copy(source, unfinished)
        if faults := faults_inside(unfinished):
            raise InputError(f"copy to {target} is not whole: {faults[0]}", hint="stability doctor")
        with unfinished.open("rb+") as file:
            os.fsync(file.fileno())
        unfinished.replace(target)
        _sync_folder(target.parent)
    finally:
        unfinished.unlink(missing_ok=True)


def _copy(source: Path, target: Path) -> None:
    mode = "rw" if os.access(source, os.W_OK) else "ro"
    try:
        with closing(_opened(source, mode)) as held, closing(_opened(target, "rw")) as copy:
            # all pages in one step: with smaller steps another writer would make it start again and again
            held.backup(copy, pages=-1)
            copy.execute("PRAGMA journal_mode=DELETE")
    except sqlite_module().Error as exc:
        raise InputError(f"copy of {source}: {exc}", hint="check free space, and stability doctor") from exc


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":  # there a folder cannot be opened
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
