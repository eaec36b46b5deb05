"""What figures and reports show: plain frozen views, filled by the services and drawn by this room.

Ages and lives are days at the storage temperature unless said otherwise, temperatures °C,
viscosities mPa·s, energies kJ/mol. Instants are aware UTC and end in `_at`. Text is as typed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

__all__ = [
    "ArrheniusView",
    "BandPoint",
    "BlendVerdict",
    "CapLine",
    "DesignLine",
    "EvidenceLine",
    "Happening",
    "LifeLine",
    "MasterCurveView",
    "MasterPoint",
    "RatePoint",
    "Refusal",
    "StatementDraft",
    "StoreLife",
    "StudyReport",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class MasterPoint:
    """One reading at its own heat dose; `at_least` marks a gelled or over-range one."""

    sample: str
    store: str
    temperature_c: float
    dose_days: float
    viscosity_mpas: float
    at_least: bool = False
    set_aside: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BandPoint:
    """One point of the fitted curve with its 95 % band."""

    dose_days: float
    viscosity_mpas: float
    lower_mpas: float | None = None
    upper_mpas: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MasterCurveView:
    """All tins of a blend, from all stores, against age at the storage temperature.

    `today_days` is the age today of a tin that never left the storage temperature.
    """

    study: str
    blend_words: str
    storage_c: float
    points: tuple[MasterPoint, ...] = ()
    curve: tuple[BandPoint, ...] = ()
    limit_mpas: float | None = None
    limit_words: str = "limit"
    life_days: float | None = None
    lower95_days: float | None = None
    today_days: float | None = None
    target_life_days: float | None = None
    invented: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreLife:
    """The life one store's own readings give; an end that the readings leave open is None."""

    store: str
    temperature_c: float
    life_days: float
    lower_days: float | None = None
    upper_days: float | None = None
    tins: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class RatePoint:
    """One point of the Arrhenius line with its 95 % band."""

    temperature_c: float
    life_days: float
    lower_days: float | None = None
    upper_days: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrheniusView:
    """The lives of the stores against the line that the fit draws through them."""

    study: str
    blend_words: str
    storage_c: float
    limit_words: str = "limit"
    stores: tuple[StoreLife, ...] = ()
    line: tuple[RatePoint, ...] = ()
    energy_kj_mol: float | None = None
    energy_se_kj_mol: float | None = None
    invented: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignLine:
    """One row of the design: how many tins of a blend stand in a store."""

    blend_words: str
    store: str
    temperature_c: float
    tins: int
    readings: int
    last_day: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeLine:
    """The life to one criterion ("+20 %", "+50 %", "2×", "gel"); `says` explains what is missing."""

    criterion: str
    life_days: float | None = None
    lower95_days: float | None = None
    upper95_days: float | None = None
    says: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceLine:
    """One evidence check; `passed` None means that it could not be made."""

    name: str
    passed: bool | None
    says: str
    p: float | None = None
    would_change: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendVerdict:
    """What the study says of one blend (or one lot of it); `word` is the board's."""

    blend_words: str
    word: str
    outcome: str
    storage_c: float
    limit_words: str
    target_life_days: float
    product_lots: tuple[str, ...] = ()
    thinner_lots: tuple[str, ...] = ()
    life_days: float | None = None
    lower95_days: float | None = None
    lower95_next_tin_days: float | None = None
    upper95_days: float | None = None
    limit_date: date | None = None
    probability_before_target: float | None = None
    says: str | None = None
    notes: tuple[str, ...] = ()
    energy_kj_mol: float | None = None
    energy_se_kj_mol: float | None = None
    tins: int = 0
    readings: int = 0
    gelled_tins: int = 0
    priors_used: bool = False
    lives: tuple[LifeLine, ...] = ()
    evidence: tuple[EvidenceLine, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """Something the reader must know of.

    `kind` is "missed", "moved", "corrected", "set aside", "late entry", "store", "blind" or the like.
    """

    kind: str
    at: datetime
    words: str
    reason: str | None = None
    person: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyReport:
    """One study as of an instant; `calculation_version` names what the numbers were made with."""

    code: str
    title: str
    question: str
    as_of: datetime
    zone_name: str
    calculation_version: str
    owner: str | None = None
    target_life_days: float
    storage_c: float
    limits_words: tuple[str, ...] = ()
    design: tuple[DesignLine, ...] = ()
    verdicts: tuple[BlendVerdict, ...] = ()
    happenings: tuple[Happening, ...] = ()
    cautions: tuple[str, ...] = ()
    digest: str | None = None
    invented: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why the evidence does not carry the claim, and what would."""

    reason: str
    lifted_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CapLine:
    """One of the bounds whose smallest caps the claim, in months before rounding down."""

    words: str
    months: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StatementDraft:
    """A draft of a shelf-life statement; `months` is None when nothing may be claimed."""

    number: str
    study: str
    drafted_at: datetime
    zone_name: str
    drafted_by: str | None = None
    blend_words: str
    pack_words: str
    storage_words: str
    criterion_words: str
    method_words: str
    counted_from_words: str = "the day of thinning"
    asked_months: int | None = None
    months: int | None = None
    rung: int | None = None
    rung_words: str = ""
    caps: tuple[CapLine, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    evidence: tuple[EvidenceLine, ...] = ()
    lots_words: str = ""
    real_time_days: float | None = None
    temperatures_words: str = ""
    lower95_days: float | None = None
    opened_words: str = "not evaluated"
    excursions_words: str = "not evaluated"
    end_words: str = "retest or discard at the end of this time"
    not_covered: tuple[str, ...] = ()
    recipients: tuple[str, ...] = ()
    replaces: str | None = None
    calculation_version: str
    digest: str | None = None
    cautions: tuple[str, ...] = ()
    invented: bool = False
