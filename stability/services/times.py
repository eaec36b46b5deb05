"""When an act may have happened: after the sample was placed, before its ending, and not in the future."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from stability.errors import InputError
from stability.records.readings import SampleAtBench

__all__ = ["local_words", "refuse_out_of_time"]


def local_words(at: datetime, zone: ZoneInfo) -> str:
    """Return an instant as a local time that can be typed again: "2026-03-04 10:00+01:00".

    Seconds are written where there are any.
    """
    local = at.astimezone(zone)
    precision = "microseconds" if local.microsecond else "seconds" if local.second else "minutes"
    return local.isoformat(sep=" ", timespec=precision)


def refuse_out_of_time(sample: SampleAtBench, at: datetime, *, now: datetime, zone: ZoneInfo) -> None:
    """Refuse a moment in the future, before the sample was placed, or after its ending.

    Raises
    ------
    InputError
        If it is one; the line names both times.
    """
    shown = local_words(at, zone)
    if at > now:
        raise InputError(
            f"time {shown} is in the future: it is {local_words(now.replace(microsecond=0), zone)}",
            hint="check --at and the time zone",
        )
    if at < sample.placed_at:
        placed = local_words(sample.placed_at, zone)
        raise InputError(
            f"time {shown} is before sample {sample.sample} was placed, {placed}",
            hint="check --at and the sample's code",
        )
    if sample.ended_at is not None and at > sample.ended_at:
        raise InputError(
            f"time {shown} is after sample {sample.sample} ended, {local_words(sample.ended_at, zone)} "
            f"({sample.end_reason})",
            hint="check the sample's code",
        )
