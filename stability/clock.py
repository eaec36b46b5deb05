"""The only place that reads the clock; everything else takes `now` as an argument."""

from __future__ import annotations

from datetime import UTC, datetime

__all__ = ["now_utc"]


def now_utc() -> datetime:
    """Return the present instant, aware, in UTC."""
    return datetime.now(UTC)
