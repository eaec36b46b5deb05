"""What the rules look at: small frozen facts, put together by the caller from records and forecasts.

Temperatures are °C, viscosities mPa·s, ages days, dry times hours, humidities % RH; instants are aware UTC.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from stability.alerts.findings import Subject

__all__ = [
    "BlindGap",
    "CalibrationFacts",
    "Cell",
    "ChannelFacts",
    "CureFacts",
    "DueCheck",
    "HoldFacts",
    "Look",
    "ProbeFacts",
    "StoreLog",
    "Thresholds",
    "TinFacts",
    "TinReading",
    "TrendReading",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Thresholds:
    """Where each rule draws its line; settings override, and give their reason."""

    open_at: float = 0.95
    open_at_twice: float = 0.90
    close_below: float = 0.50
    limit_excess: float = 1.10
    gelled_grade: int = 4
    trend_entered_within: timedelta = timedelta(days=7)
    trend_looks_back: timedelta = timedelta(days=14)
    twins_differ_by: float = 0.10
    dry_through_ratio: float = 1.25
    due_notice: timedelta = timedelta(hours=24)
    default_tolerance_c: float = 2.0
    excursion_at_least: timedelta = timedelta(minutes=30)
    # a store that drifts along its tolerance crosses it many times a day: one cause, one excursion
    excursion_gap: timedelta = timedelta(hours=24)
    excursion_told_for: timedelta = timedelta(days=7)
    probe_silent_after: timedelta = timedelta(hours=24)
    blind_told_for: timedelta = timedelta(hours=24)
    default_energy_kj_mol: float = 75.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One look at one forecast: a new one comes with new readings or with a new day.

    `reached` says that a tin at the storage temperature has already crossed: then `limit_reached` speaks.
    """

    subject: Subject
    probability: float | None
    target_date: date
    priors_used: bool = False
    life_days: float | None = None
    life_days_lower95: float | None = None
    target_life_days: float | None = None
    limit_date: date | None = None
    limit_date_range: tuple[date | None, date | None] | None = None
    readings: int = 0
    tins: int = 0
    reached: bool = False
    evidence: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TinReading:
    """A reading against the limits: `of_limit` is viscosity ÷ limit viscosity where there is one."""

    taken_at: datetime
    viscosity_mpas: float | None = None
    of_limit: float | None = None
    gel_grade: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TinFacts:
    """One tin with its blend, its store and its readings in order of time."""

    blend: Subject
    sample: str
    store: str
    store_temperature_c: float
    at_storage: bool
    readings: tuple[TinReading, ...]
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendReading:
    """A reading with the 99.7 % band that the fit without it expected, at the store's nominal temperature.

    `store_left_tolerance` says that the store's log left its tolerance since that fit.
    """

    blend: Subject
    sample: str
    store: str
    taken_at: datetime
    entered_at: datetime
    viscosity_mpas: float
    expected_low_mpas: float
    expected_high_mpas: float
    store_left_tolerance: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """The tins of one blend in one store, read at one age."""

    blend: Subject
    store: str
    taken_on: date
    age_days: float
    viscosities_mpas: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CureFacts:
    """The latest dry-through time of an aged tin against the day-0 control at the same humidity."""

    blend: Subject
    sample: str
    store: str
    age_days: float
    humidity_pct: float
    dry_through_h: float
    control_h: float
    limit_ratio: float | None = None
    viscosity_of_limit: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DueCheck:
    """One planned check of one tin; `state` is the planner's word at the look ("due", "late" …)."""

    study: str
    sample: str
    words: str
    store: str
    planned_on: date
    due_at: datetime
    take_out_at: datetime | None
    state: str
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreLog:
    """A store and its logger record in order of time; `energies` pair a blend's words with its E."""

    store: str
    nominal_c: float
    tolerance_c: float | None
    record: tuple[tuple[datetime, float], ...]
    energies: tuple[tuple[str, float], ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeFacts:
    """When the logger of a store last spoke; None where it never did."""

    store: str
    last_at: datetime | None
    last_entered_at: datetime | None = None
    tins: int = 0
    usual_step: timedelta = timedelta(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationFacts:
    """An instrument with the due date of its latest certificate and the readings taken since then."""

    instrument: str
    due_at: datetime
    readings_since: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldFacts:
    """An instrument whose session is held: what was off, when, and how many readings it leaves in doubt."""

    instrument: str
    since: datetime
    says: str
    do_next: str
    readings_in_doubt: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelFacts:
    """A way of delivery that no longer works."""

    channel: str
    dead_since: datetime | None
    failures: int = 0
    error: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindGap:
    """A time in which no sweep looked; `stores` are those that held tins meanwhile."""

    began_at: datetime
    ended_at: datetime
    stores: tuple[str, ...] = ()
