"""Whether a session may go on: held while the check oil or the sentinel sample is off.

A good check of the same kind, a certificate made since, or a named person's override ends a hold; an
override lasts until the next check. Instants are aware UTC.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from stability.bench.instruments import Certificate, Check, CheckKind
from stability.units import significant

__all__ = ["Hold", "HoldReason", "Override", "why_held"]


class HoldReason(StrEnum):
    """What holds a session."""

    OIL_OFF = "oil_off"
    SENTINEL_OFF = "sentinel_off"


@dataclass(frozen=True, slots=True, kw_only=True)
class Override:
    """A named person lets a session go on although a check was off."""

    at: datetime
    person: str
    reason: str


@dataclass(frozen=True, slots=True)
class Hold:
    """A session that is held, and by which check."""

    reason: HoldReason
    check: Check

    @property
    def says(self) -> str:
        """Why, in words of the bench."""
        oil = self.reason is HoldReason.OIL_OFF
        what = "the check oil" if oil else f"the sentinel sample {self.check.standard or ''}".rstrip()
        check = self.check
        return (
            f"{what} read {significant(check.read_mpas)} for {significant(check.expected_mpas)} mPa·s, "
            f"{check.off_pct:+.1f} %, limit ± {check.limit_pct:g} %"
        )

    @property
    def do_next(self) -> str:
        """What ends it."""
        again = "clean the cell, look at spindle, level and temperature, and check again"
        return f"{again}; or a named person lets it go on with a reason (stability instrument override)"


_REASONS = {CheckKind.OIL: HoldReason.OIL_OFF, CheckKind.SENTINEL: HoldReason.SENTINEL_OFF}


def why_held(
    checks: Sequence[Check],
    *,
    at: datetime,
    certificates: Sequence[Certificate] = (),
    overrides: Sequence[Override] = (),
) -> Hold | None:
    """Return what holds the readings of an instrument at an instant, the oil first, or None.

    An override counts for the check it was made after, also for a reading taken between the two.
    """
    for kind, reason in _REASONS.items():
        done = [check for check in checks if check.kind is kind and check.at <= at]
        if not done:
            continue
        last = max(done, key=lambda check: check.at)
        following = [check.at for check in checks if check.kind is kind and check.at > last.at]
        ended = min(following, default=None)
        certified = any(last.at < certificate.at <= at for certificate in certificates)
        allowed = any(
            override.at >= last.at and (ended is None or override.at < ended) for override in overrides
        )
        if not (last.good or certified or allowed):
            return Hold(reason, last)
    return None
