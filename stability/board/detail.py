"""The views of one tin and of the comparison of thinners; units as in `stability.board.view`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

__all__ = ["CompareLine", "CompareView", "CurvePoint", "EventLine", "ReadingLine", "SampleView"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingLine:
    """One reading of a tin as it counts today, with what was first written beside it.

    `original_mpas` is the value first entered (or read at another liquid temperature) where that
    differs; `reason` says why. `word` is "set aside", "conditional", "late entry", … or empty.
    `over_range` marks a value that is only a lower end.
    """

    taken_at: datetime
    entered_at: datetime | None = None
    age_days: float
    viscosity_mpas: float | None = None
    over_range: bool = False
    original_mpas: float | None = None
    temperature_c: float | None = None
    gel_grade: int | None = None
    expected_low_mpas: float | None = None
    expected_high_mpas: float | None = None
    counts: bool = True
    word: str = ""
    reason: str | None = None
    operator: str | None = None
    instrument: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """One point of the fitted curve of a tin, with its expected band."""

    age_days: float
    viscosity_mpas: float
    lower_mpas: float | None = None
    upper_mpas: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EventLine:
    """Something that happened to a tin: moved, taken out, corrected, ended."""

    at: datetime
    words: str
    person: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleView:
    """Everything about one tin; `age_days` and the curve count calendar age of this tin."""

    as_of: datetime
    zone_name: str
    sample: str
    study: str
    blend_words: str
    product_lot: str | None = None
    thinner_lot: str | None = None
    store: str
    temperature_c: float
    placed_at: datetime
    age_days: float
    life_used: float | None = None
    state: str = ""
    limit_mpas: float | None = None
    limit_date: date | None = None
    next_check_at: datetime | None = None
    expected_low_mpas: float | None = None
    expected_high_mpas: float | None = None
    readings: tuple[ReadingLine, ...] = ()
    curve: tuple[CurvePoint, ...] = ()
    events: tuple[EventLine, ...] = ()
    cautions: tuple[str, ...] = ()
    invented: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareLine:
    """One thinner in the ranking; `rank` is None for what may not be ranked, `remark` says why.

    `months` is the lower bound rounded down, `ratio` the life against the reference blend.
    """

    rank: int | None
    blend_words: str
    months: int | None = None
    lower95_days: float | None = None
    ratio: float | None = None
    ratio_lower: float | None = None
    ratio_upper: float | None = None
    cure_word: str = "not tested"
    rung: int | None = None
    flash_words: str = "not on record"
    remark: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareView:
    """The ranking and its three closing lines."""

    title: str
    reference_words: str
    lines: tuple[CompareLine, ...] = ()
    first_choice: str = "none yet"
    fallback: str = "none yet"
    do_not: str = "none"
    cautions: tuple[str, ...] = ()
