"""Noting an act that changes no table of its own."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from stability.records.engine import Records
from stability.records.events import note

__all__ = ["note_act"]


def note_act(
    records: Records, *, at: datetime, person: str, verb: str, subject: str, details: Mapping[str, Any]
) -> None:
    """Note one act in the event log."""
    with records.writing() as connection:
        note(connection, at=at, person=person, verb=verb, subject=subject, details=details)
