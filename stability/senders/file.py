"""The append-only text file: one line per message, flushed to the disk before it counts as written."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from stability.errors import DeliveryError
from stability.senders.base import Message

__all__ = ["FileSender"]

_TAIL_BYTES = 65_536


@dataclass(frozen=True, slots=True)
class FileSender:
    """Appends to one file; a line that was written just before the power failed is not written twice."""

    path: Path

    def send(self, message: Message) -> None:
        """Append the message's line, marked with its key."""
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._append(message)
        except OSError as exc:
            raise DeliveryError(
                f"{self.path}: {exc.strerror or exc}", permanent=False, hint="check the folder and its disk"
            ) from exc

    def _append(self, message: Message) -> None:
        mark = f"({message.key})"
        flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | getattr(os, "O_CLOEXEC", 0)
        handle = os.open(self.path, flags | getattr(os, "O_BINARY", 0), 0o640)
        try:
            tail = _tail(handle)
            if any(line.endswith(mark) for line in tail.decode("utf-8", "replace").splitlines()):
                return
            # half a line is left where the power failed; it must not swallow this one
            gap = "\n" if tail and not tail.endswith(b"\n") else ""
            _write_all(handle, f"{gap}{message.line}  {mark}\n".encode())
            os.fsync(handle)
        finally:
            os.close(handle)


def _tail(handle: int) -> bytes:
    size = os.lseek(handle, 0, os.SEEK_END)
    os.lseek(handle, max(size - _TAIL_BYTES, 0), os.SEEK_SET)
    return os.read(handle, _TAIL_BYTES)


def _write_all(handle: int, data: bytes) -> None:
    while data:
        data = data[os.write(handle, data) :]
