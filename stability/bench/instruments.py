"""Whether an instrument could be believed when a reading was taken, by its certificates and checks.

Deviations and limits are %, viscosities mPa·s; instants are aware UTC. A certificate covers what is taken
from its day until it is due. Whatever was taken since the last good check before an instrument was found out
is conditional until a named person releases it; a release covers what was known then, nothing found later.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from stability.errors import InputError

__all__ = [
    "OIL_LIMIT_PCT",
    "SENTINEL_LIMIT_PCT",
    "Cause",
    "Certificate",
    "Check",
    "CheckKind",
    "Span",
    "conditional_for",
    "doubtful_spans",
    "found_good",
    "found_tolerance_pct",
]

OIL_LIMIT_PCT = 2.0
"""A certified oil that reads further off stops the session (common practice, no source)."""
SENTINEL_LIMIT_PCT = 5.0
"""The reference blend may be further off: filling and day add 1.5 and 2 % (common practice, no source)."""
_TOLERANCE_PCT = {"balance": 0.1, "cup": 3.0}
_OTHER_TOLERANCE_PCT = 1.0


def found_tolerance_pct(kind: str) -> float:
    """Return how far an as-found value may be off where nothing was typed (common practice, no source)."""
    return _TOLERANCE_PCT.get(kind, _OTHER_TOLERANCE_PCT)


def found_good(as_found_pct: float | None, tolerance_pct: float) -> bool:
    """Say whether an instrument was found within its tolerance; one that was not measured counts as such."""
    return as_found_pct is None or abs(as_found_pct) <= tolerance_pct + 1e-9


class CheckKind(StrEnum):
    """What was read to see whether an instrument reads right."""

    OIL = "oil"
    SENTINEL = "sentinel"


class Cause(StrEnum):
    """Why readings of an instrument are conditional."""

    LAPSED = "lapsed"
    FOUND_OUT = "found_out"
    OIL_OFF = "oil_off"
    SENTINEL_OFF = "sentinel_off"


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """One calibration; without an as-found value nothing speaks against the time before it."""

    at: datetime
    due_at: datetime
    entered_at: datetime
    as_found_pct: float | None = None
    tolerance_pct: float = _OTHER_TOLERANCE_PCT
    certificate: str | None = None

    @property
    def found_good(self) -> bool:
        """Whether the instrument was found within its tolerance."""
        return found_good(self.as_found_pct, self.tolerance_pct)


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One reading of an oil or of the sentinel sample against what it ought to be."""

    at: datetime
    kind: CheckKind
    expected_mpas: float
    read_mpas: float
    entered_at: datetime
    limit_pct: float = OIL_LIMIT_PCT
    standard: str | None = None

    def __post_init__(self) -> None:
        """Refuse what is no viscosity."""
        for value in (self.expected_mpas, self.read_mpas, self.limit_pct):
            if not (math.isfinite(value) and value > 0):
                raise InputError(f"a check needs positive numbers, got {value!r}")

    @property
    def off_pct(self) -> float:
        """How far it read off, [%]."""
        return 100 * (self.read_mpas / self.expected_mpas - 1)

    @property
    def good(self) -> bool:
        """Whether it read within its limit."""
        return abs(self.off_pct) <= self.limit_pct + 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A time in which an instrument cannot be believed, its ends left out; None is without end."""

    cause: Cause
    after: datetime | None
    until: datetime | None
    known_at: datetime
    says: str

    def touches(self, taken_at: datetime) -> bool:
        """Say whether a reading was taken in it."""
        begun = self.after is None or taken_at > self.after
        return begun and (self.until is None or taken_at < self.until)


def doubtful_spans(certificates: Sequence[Certificate], checks: Sequence[Check]) -> tuple[Span, ...]:
    """Return every time in which what is known now speaks against an instrument, in order of discovery."""
    filed = sorted(certificates, key=lambda certificate: certificate.at)
    done = sorted(checks, key=lambda check: check.at)
    found = [*_lapses(filed), *_failures(filed, done)]
    for kind in CheckKind:
        found += _off(kind, filed, [check for check in done if check.kind is kind])
    return tuple(sorted(found, key=lambda span: span.known_at))


def conditional_for(
    spans: Sequence[Span], *, taken_at: datetime, released_at: datetime | None
) -> tuple[Span, ...]:
    """Return what a reading is conditional for; a release takes away what was known when it was made."""
    return tuple(
        span
        for span in spans
        if span.touches(taken_at) and (released_at is None or _known_at(span, taken_at) > released_at)
    )


def _known_at(span: Span, taken_at: datetime) -> datetime:
    """Return when a reading became conditional; one taken after a lapse is so from the start."""
    return max(span.known_at, taken_at)


def _lapses(certificates: Sequence[Certificate]) -> Iterator[Span]:
    for place, certificate in enumerate(certificates):
        following = certificates[place + 1].at if place + 1 < len(certificates) else None
        if following is None or certificate.due_at < following:
            yield Span(
                cause=Cause.LAPSED,
                after=certificate.due_at,
                until=following,
                known_at=certificate.due_at,
                says="its calibration had lapsed",
            )


def _failures(certificates: Sequence[Certificate], checks: Sequence[Check]) -> Iterator[Span]:
    earlier: datetime | None = None
    for certificate in certificates:
        if not certificate.found_good and certificate.as_found_pct is not None:
            good = [check.at for check in checks if check.good and check.at < certificate.at]
            if earlier is not None:
                good.append(earlier)
            yield Span(
                cause=Cause.FOUND_OUT,
                after=max(good, default=None),
                until=certificate.at,
                known_at=certificate.entered_at,
                says=f"it was found {certificate.as_found_pct:+g} % off, "
                f"beyond ± {certificate.tolerance_pct:g} %",
            )
        earlier = certificate.at


def _off(kind: CheckKind, certificates: Sequence[Certificate], checks: Sequence[Check]) -> Iterator[Span]:
    """Yield a span around each bad check: from the check or certificate before it to the one after it."""
    marks = sorted({*(c.at for c in certificates), *(c.at for c in checks)})
    words, cause = ("the check oil", Cause.OIL_OFF)
    if kind is CheckKind.SENTINEL:
        words, cause = ("the sentinel sample", Cause.SENTINEL_OFF)
    for check in checks:
        if not check.good:
            place = marks.index(check.at)
            yield Span(
                cause=cause,
                after=marks[place - 1] if place else None,
                until=marks[place + 1] if place + 1 < len(marks) else None,
                known_at=check.entered_at,
                says=f"{words} read {check.off_pct:+.1f} %, limit ± {check.limit_pct:g} %",
            )
