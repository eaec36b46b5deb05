"""What an evidence check says, and what is asked for."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Evidence", "EvidenceRules"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One check."""

    name: str
    passed: bool
    says: str
    p: float | None = None
    """p-value of a test; None for a count or a ratio."""
    figure: float | None = None
    """The number looked at, where it is not a p-value."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceRules:
    """What is asked for; each a setting."""

    level: float = 0.05
    """Tests fail below this p-value."""
    step_level: float = 0.01
    """The search for an unrecorded step fails below this one: it refuses a claim."""
    repeatability: float | None = None
    """Stated standard deviation of the method, relative, [–]; None: not stated."""
    day_bias: float = 0.01
    """Spread of a whole day's readings that is no step yet, in ln η (common practice, no source)."""
    real_time_days: float = 90.0
    """Shortest record at the storage temperature: a season (common practice, no source)."""
    reach: float = 1.0
    """Longest dose seen ÷ life."""
    temperatures: int = 3
    tins_per_store: int = 2
    tins: int = 4
    readings: int = 12
