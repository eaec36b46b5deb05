"""What can be said to a doubted reading, and the two answers that ask nobody."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from stability.bench.plausible import Doubt

__all__ = ["Answer", "OnDoubt", "Reply", "keep", "refuse"]


class Answer(StrEnum):
    """What somebody says when a reading is doubted."""

    KEEP = "keep"
    REPEAT = "repeat"
    UNDO = "undo"


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer, and for KEEP the reason that goes into the reading's note."""

    answer: Answer
    reason: str | None = None


OnDoubt = Callable[[str, tuple[Doubt, ...]], Reply]
"""Answers a doubted reading, given its echo and its doubts."""


def keep(reason: str | None = None) -> OnDoubt:
    """Return the answer that a doubted reading is stored, with this reason in its note."""
    return lambda _echo, _doubts: Reply(Answer.KEEP, reason)


def refuse(_echo: str, _doubts: tuple[Doubt, ...]) -> Reply:
    """Answer that a doubted reading is not stored."""
    return Reply(Answer.UNDO)
