"""ISO 8601 texts to instants in UTC; a text without an offset is local to the site's zone."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

__all__ = ["in_utc", "instant_of", "iso"]


def instant_of(text: str, zone: ZoneInfo) -> datetime:
    """Return the instant that a text names; a date alone means its beginning.

    Raises
    ------
    ValueError
        If the text is no ISO 8601 time, or a local time that the clocks skip in spring.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"'{text}' is not an ISO 8601 time") from None
    return in_utc(moment, zone)


def in_utc(moment: datetime, zone: ZoneInfo) -> datetime:
    """Return a moment in UTC; a naive one is local, in autumn the first of the two.

    Raises
    ------
    ValueError
        If the local time does not exist, or lies beyond the calendar.
    """
    try:
        if moment.tzinfo is not None:
            return moment.astimezone(UTC)
        found = moment.replace(tzinfo=zone).astimezone(UTC)
        there_and_back = found.astimezone(zone).replace(tzinfo=None)
    except OverflowError:
        raise ValueError(f"'{moment.isoformat()}' lies beyond the calendar") from None
    if there_and_back != moment:
        raise ValueError(f"'{moment.isoformat()}' does not exist in {zone.key}: the clocks skip it in spring")
    return found


def iso(moment: datetime) -> str:
    """Return an instant as ISO 8601 in UTC with a Z, without fractions that are zero.

    >>> iso(datetime(2025, 3, 4, 10, 0, tzinfo=UTC))
    '2025-03-04T10:00:00Z'
    """
    return moment.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z"
