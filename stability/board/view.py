"""What the board shows: plain frozen views, filled by the services and drawn by this room.

Instants are aware UTC datetimes and end in `_at`; limit dates are calendar dates; temperatures °C,
viscosities mPa·s, ages and lives days at the storage temperature. Shares (`life_used`,
probabilities) are fractions. Text is as the user typed it: it is cleaned when it is drawn.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import IntEnum, StrEnum
from typing import Any

from stability.board.detail import CompareLine, CompareView, CurvePoint, EventLine, ReadingLine, SampleView

__all__ = [
    "AlertLine",
    "BlendLine",
    "BlendWord",
    "BlindPeriod",
    "BoardView",
    "CompareLine",
    "CompareView",
    "CurvePoint",
    "EventLine",
    "ReadingLine",
    "SampleLine",
    "SampleView",
    "Severity",
    "StatementLine",
    "StoreLine",
    "WorkLine",
    "to_json",
]


class BlendWord(StrEnum):
    """The one word a blend gets on the board, worst first."""

    LOST = "lost"
    CREEPING = "creeping"
    TOO_EARLY = "too early"
    STEADY = "steady"


class Severity(IntEnum):
    """How soon somebody has to act on an alert; a higher number is worse."""

    NOTE = 1
    SOON = 2
    NOW = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendLine:
    """One blend of one study, or one lot of it where the lots may not be pooled.

    `life_used` is the share of the life a tin of `age_days` at the storage temperature has used
    today, 1 at the limit. `limit_date_early` and `limit_date_late` are the ends of the 90 % range;
    an open end is None. `notes` are short words such as "not curing" or "claim under review".
    """

    study: str
    blend_words: str
    product: str
    product_lots: tuple[str, ...] = ()
    thinner: str | None = None
    thinner_lots: tuple[str, ...] = ()
    level_pct: float | None = None
    additive: str | None = None
    pack: str | None = None
    word: BlendWord
    outcome: str
    life_days: float | None = None
    lower95_days: float | None = None
    upper95_days: float | None = None
    age_days: float | None = None
    life_used: float | None = None
    limit_date: date | None = None
    limit_date_early: date | None = None
    limit_date_late: date | None = None
    probability_before_target: float | None = None
    target_life_days: float | None = None
    says: str | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleLine:
    """One retained tin; `age_days` is calendar age, `life_used` counts its own heat dose."""

    sample: str
    study: str
    blend_words: str
    store: str
    temperature_c: float
    age_days: float
    last_viscosity_mpas: float | None = None
    ratio: float | None = None
    gel_grade: int | None = None
    life_used: float | None = None
    state: str = ""
    ended: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreLine:
    """One store: set temperature, the last one seen, and what the week cost beyond the set point.

    `week_dose_days` is in days of storage life gained (+) or saved (−) against the nominal
    temperature; None where no record is kept.
    """

    store: str
    temperature_c: float
    last_c: float | None = None
    last_at: datetime | None = None
    tolerance_c: float | None = None
    samples: int = 0
    week_dose_days: float | None = None
    word: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkLine:
    """One job at the bench: the same checks on some tins of one store.

    `state` is "late", "due today", "take out today", "due tomorrow" …; `minutes` is the estimate.
    """

    study: str
    store: str
    checks: tuple[str, ...]
    samples: tuple[str, ...]
    state: str
    due_at: datetime
    minutes: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertLine:
    """One open alert: `kind` is the key, `words` the same for people ("heading for the limit")."""

    id: int
    kind: str
    words: str
    subject_words: str
    opened_at: datetime
    acknowledged_by: str | None = None
    severity: Severity = Severity.SOON
    limit_date: date | None = None
    says: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StatementLine:
    """One statement under watch; `state` is "issued", "not carried", "withdrawn", "draft" …."""

    number: str
    words: str
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindPeriod:
    """A stretch of time in which nothing was watched."""

    from_at: datetime
    to_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardView:
    """Everything on the board. `samples` may hold one page of them; `samples_total` counts all."""

    as_of: datetime
    zone_name: str
    title: str
    work: tuple[WorkLine, ...] = ()
    alerts: tuple[AlertLine, ...] = ()
    blends: tuple[BlendLine, ...] = ()
    samples: tuple[SampleLine, ...] = ()
    samples_total: int | None = None
    stores: tuple[StoreLine, ...] = ()
    statements: tuple[StatementLine, ...] = ()
    blind_periods: tuple[BlindPeriod, ...] = ()
    cautions: tuple[str, ...] = ()
    last_sweep_at: datetime | None = None
    invented: bool = False


def to_json(view: Any) -> Any:
    """Return a view (or a part of one) as what `json.dumps` takes: ISO text, null for NaN."""
    if dataclasses.is_dataclass(view) and not isinstance(view, type):
        return {field.name: to_json(getattr(view, field.name)) for field in dataclasses.fields(view)}
    if isinstance(view, Mapping):
        return {str(key): to_json(value) for key, value in view.items()}
    if isinstance(view, (list, tuple)):
        return [to_json(item) for item in view]
    if isinstance(view, datetime):
        return view.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    if isinstance(view, date):
        return view.isoformat()
    if isinstance(view, float) and not math.isfinite(view):
        return None
    if isinstance(view, (StrEnum, IntEnum)):
        return view.value
    return view
