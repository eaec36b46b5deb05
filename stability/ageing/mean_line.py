"""A straight line of age with the confidence limit of its mean, and when that limit meets a criterion.

Ages [d], or any other unit kept throughout; the property in its own unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from scipy.special import stdtrit

from stability.errors import InputError

__all__ = ["CONFIDENCE", "Criterion", "Line", "Meeting", "judged"]

CONFIDENCE = 0.95
_FARTHEST = 1000.0
"""Times the age of the last reading: no line is followed further."""


class Meeting(StrEnum):
    """Whether the confidence limit of the mean meets the criterion."""

    MEETS = "meets"
    AT_START = "at start"
    """The limit is outside at age 0 already."""
    NEVER = "never"
    """The line does not come near enough, however long it is followed."""
    TOO_EARLY = "too early"
    """No slope, or nothing that tells the spread."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Criterion:
    """What the mean must stay above, below, or between; between asks half of the risk at either end."""

    lower: float | None = None
    upper: float | None = None

    def __post_init__(self) -> None:
        ends = [end for end in (self.lower, self.upper) if end is not None]
        if not ends or not all(math.isfinite(end) for end in ends):
            raise InputError("a criterion needs a lower or an upper value, finite")
        if self.lower is not None and self.upper is not None and not self.lower < self.upper:
            raise InputError(f"the lower value {self.lower:g} is not below the upper one {self.upper:g}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The line of one lot, or of all."""

    lot: str | None
    """None where one line stands for all lots."""
    intercept: float
    slope: float
    """Per day; 0 where not determined."""
    sd: float
    """Of a reading about the line; infinite where nothing tells."""
    df: int
    unscaled: tuple[float, float, float]
    """Variance of the intercept, covariance, variance of the slope, in units of sd²."""
    last_age_days: float
    meeting: Meeting
    days: float | None
    """First age at which the confidence limit of the mean meets the criterion."""

    @property
    def beyond_data(self) -> bool:
        """Whether that age is later than the last reading."""
        return self.days is not None and self.days > self.last_age_days

    def mean_at(self, age_days: float) -> float:
        """Return the mean at an age."""
        return self.intercept + self.slope * age_days

    def half_width(self, age_days: float, confidence: float = CONFIDENCE) -> float:
        """Return what the one-sided confidence limit of the mean lies from it at an age."""
        if not math.isfinite(self.sd):
            return math.inf
        a, ab, b = self.unscaled
        variance = max(a + 2.0 * ab * age_days + b * age_days**2, 0.0)
        return float(stdtrit(self.df, confidence)) * self.sd * math.sqrt(variance)


def judged(line: Line, criterion: Criterion, confidence: float) -> Line:
    """Return the line with the first age at which the confidence limit of its mean meets the criterion.

    With one end the limit is one-sided, with two each end gets half of the risk. A line that is too early
    stays so.
    """
    if line.meeting is Meeting.TOO_EARLY:
        return line
    both = criterion.lower is not None and criterion.upper is not None
    quantile = float(stdtrit(line.df, 0.5 + confidence / 2.0 if both else confidence))
    times = []
    if criterion.upper is not None:
        times.append(_first_age(line, criterion.upper - line.intercept, line.slope, quantile))
    if criterion.lower is not None:
        times.append(_first_age(line, line.intercept - criterion.lower, -line.slope, quantile))
    days = min(times)
    if days > _FARTHEST * line.last_age_days:
        return replace(line, meeting=Meeting.NEVER)
    return replace(line, meeting=Meeting.MEETS if days > 0.0 else Meeting.AT_START, days=days)


def _first_age(line: Line, room: float, slope: float, quantile: float) -> float:
    """Return the first t ≥ 0 with room − slope·t = q·sd·√(a + 2ab·t + b·t²); infinite if there is none.

    `room` is what lies between the mean at age 0 and the criterion. The difference of both sides is concave
    in t and positive at 0, so that it has one zero ahead at most.
    """
    a, ab, b = line.unscaled
    k = (quantile * line.sd) ** 2
    constant = room**2 - k * a
    if room <= 0.0 or constant <= 0.0:
        return 0.0
    square, half = slope**2 - k * b, room * slope + k * ab
    # of the discriminant without cancellation: it is exactly 0 where nothing scatters
    quarter = k * (slope**2 * a + 2.0 * room * slope * ab + room**2 * b - k * (a * b - ab**2))
    if quarter < 0.0:
        return math.inf
    sum_ = half + math.copysign(math.sqrt(quarter), half)
    roots = [constant / sum_] if sum_ else []
    roots += [sum_ / square] if square else []
    ahead = [t for t in roots if t > 0.0 and room - slope * t >= -1e-9 * room]
    return min(ahead, default=math.inf)
