"""A file that somebody named, written whole: nobody finds half of it under its name."""

from __future__ import annotations

import os
from pathlib import Path

from stability.errors import InputError

__all__ = ["put_whole", "write_whole"]


def write_whole(path: Path, content: bytes) -> None:
    """Write a file in its folder, which is made where it is missing; an older one is replaced.

    Raises
    ------
    InputError
        If the folder cannot be made or the file not be written.
    """
    try:
        put_whole(path, content)
    except (OSError, ValueError) as exc:
        why = exc.strerror if isinstance(exc, OSError) and exc.strerror else str(exc)
        raise InputError(f"{path} cannot be written: {why.lower()}", hint="name a file to write to") from exc


def put_whole(path: Path, content: bytes) -> None:
    """Do the same for a caller that tells a fault of the system in words of its own."""
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.unfinished")
    try:
        unfinished.write_bytes(content)
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
