"""Recorded changes of method at one blend: which readings follow each, and which steps are bridged.

A change shifts all readings from its moment on; the fit gives it a step of its own. What tells the step from
ageing is a bridge: one tin read with both settings within a day.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import TYPE_CHECKING

from stability.records.history import ReadingFacts
from stability.records.methods import ChangeFacts

if TYPE_CHECKING:
    from stability.services.blends import Blend

__all__ = ["follows", "telling", "unbridged"]

BRIDGE = timedelta(days=1)
"""Readings of one tin nearer than this were made on one day."""


def follows(reading: ReadingFacts, change: ChangeFacts) -> bool:
    """Say whether a reading was made after a change that concerns it."""
    return reading.taken_at >= change.at and change.instrument in ("", reading.instrument or "")


def telling(blend: Blend, changes: Sequence[ChangeFacts]) -> tuple[ChangeFacts, ...]:
    """Return the changes that fall between readings of a blend; of those that part them alike, the first."""
    readings = [r for of_tin in blend.readings.values() for r in of_tin]
    parted: dict[tuple[bool, ...], ChangeFacts] = {}
    for change in changes:
        sides = tuple(follows(r, change) for r in readings)
        if any(sides) and not all(sides) and _concerns(change, readings):
            parted.setdefault(sides, change)
    return tuple(parted.values())


def _concerns(change: ChangeFacts, readings: Sequence[ReadingFacts]) -> bool:
    """Say whether what changed had been in use before: a new instrument always follows another one."""
    if not change.instrument or change.what == "instrument":
        return True
    return any(r.taken_at < change.at and r.instrument == change.instrument for r in readings)


def unbridged(blend: Blend, changes: Sequence[ChangeFacts]) -> tuple[ChangeFacts, ...]:
    """Return the changes between readings of a blend whose step no bridge reading tells."""
    return tuple(change for change in telling(blend, changes) if not _bridged(blend, change))


def _bridged(blend: Blend, change: ChangeFacts) -> bool:
    for of_tin in blend.readings.values():
        numbers = [r for r in of_tin if r.viscosity_mpas is not None and not r.over_range]
        after = [r.taken_at for r in numbers if follows(r, change)]
        before = [r.taken_at for r in numbers if not follows(r, change)]
        if any(abs(a - b) <= BRIDGE for a in after for b in before):
            return True
    return False
