"""Does an aged blend still dry? Dry-through times against the blend's own control of day 0."""

from __future__ import annotations

import statistics
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from stability.records.cures import CureFacts, cures
from stability.services.blends import Blend

__all__ = ["CureVerdict", "cure_verdict", "cures_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CureVerdict:
    """The dry-through time of the oldest tested tins at the storage temperature, against day 0."""

    ratio: float
    age_days: float
    humidity_pct: float
    limit_ratio: float | None

    @property
    def lost(self) -> bool:
        """Whether the limit is passed."""
        return self.limit_ratio is not None and self.ratio > self.limit_ratio

    @property
    def word(self) -> str:
        """The verdict in two words at most."""
        return "cure lost" if self.lost else "cures"

    @property
    def words(self) -> str:
        """The verdict in a few words."""
        slower = f"{100 * (self.ratio - 1):+.0f} %".replace("-", "−")
        change = f"{slower} at day {self.age_days:.0f}, {self.humidity_pct:g} % RH"
        return f"cure lost: {change}" if self.lost else f"cures ({change})"


def cures_of(connection: sa.Connection, blend: Blend, *, as_of: datetime) -> tuple[CureFacts, ...]:
    """Return the drying tests of one blend's tins."""
    own = {s.id for s in blend.samples}
    return tuple(c for c in cures(connection, as_of=as_of, study=blend.study.code) if c.sample_id in own)


def cure_verdict(blend: Blend, tests: Iterable[CureFacts]) -> CureVerdict | None:
    """Return the worst humidity's verdict on the oldest tests at the storage temperature, if any."""
    near = blend.at_storage
    limit = blend.study.limits.get("dry_through_ratio")
    by_humidity: dict[float, dict[int, list[float]]] = {}
    for test in tests:
        sample = near.get(test.sample_id)
        if sample is not None:
            day = round((test.taken_at - sample.placed_at).total_seconds() / 86_400)
            by_humidity.setdefault(test.humidity_pct, {}).setdefault(day, []).append(test.dry_through_h)
    verdicts = []
    for humidity_pct, days in by_humidity.items():
        first, last = min(days), max(days)
        if first <= 1 < last:
            ratio = statistics.median(days[last]) / statistics.median(days[first])
            verdicts.append(
                CureVerdict(ratio=ratio, age_days=last, humidity_pct=humidity_pct, limit_ratio=limit)
            )
    # slower drying is the danger; of equal ones the driest air is named, where it shows first
    return max(verdicts, key=lambda v: (round(v.ratio, 3), -v.humidity_pct), default=None)
