"""The acts of the invented study, each with the moment it becomes known.

An act files rows, or says what somebody did with them; `entered_at` orders them all.
Times are aware UTC instants, temperatures °C, viscosities mPa·s, masses g.
Nothing here was measured: the whole scenario is invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from stability.demo.rows import (
    CalibrationRow,
    InstrumentFactRow,
    InstrumentRow,
    LotRow,
    OutingRow,
    PersonRow,
    SampleRow,
    StoreRow,
    TemperatureRow,
    ThinnerRow,
)

__all__ = [
    "Act",
    "CalibrationsFiled",
    "Corrected",
    "CureMeasured",
    "InstrumentFactsFiled",
    "InstrumentsFiled",
    "LotsFiled",
    "OilChecked",
    "OutingsLogged",
    "PeopleFiled",
    "ReadingTaken",
    "ReadingsReleased",
    "RefusedAttempt",
    "SampleEnded",
    "SamplesPlaced",
    "SetAside",
    "StatementAsked",
    "StoresFiled",
    "StudyFiled",
    "Swapped",
    "Swept",
    "TemperaturesLogged",
    "TemperaturesRebased",
    "ThinnersFiled",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """Something somebody did; it is known from `entered_at` on."""

    entered_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyFiled(Act):
    """The study file is brought in."""

    code: str
    text: str
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleFiled(Act):
    """Who works in the laboratory."""

    rows: tuple[PersonRow, ...]
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StoresFiled(Act):
    """The places with a temperature."""

    rows: tuple[StoreRow, ...]
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ThinnersFiled(Act):
    """The thinners with class and flash point."""

    rows: tuple[ThinnerRow, ...]
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LotsFiled(Act):
    """The lots of crosslinker and thinner as found at day 0."""

    rows: tuple[LotRow, ...]
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentsFiled(Act):
    """The instruments of the cell."""

    rows: tuple[InstrumentRow, ...]
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentFactsFiled(Act):
    """What the cups of the laboratory follow."""

    rows: tuple[InstrumentFactRow, ...]
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationsFiled(Act):
    """Certificates that came in."""

    rows: tuple[CalibrationRow, ...]
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SamplesPlaced(Act):
    """Tins filled, labelled and put on their shelves."""

    rows: tuple[SampleRow, ...]
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperaturesLogged(Act):
    """A stretch of one store's logger, as displayed."""

    store: str
    rows: tuple[TemperatureRow, ...]
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperaturesRebased(Act):
    """Logged points found wrong by the reference probe: the same instants with the value now believed."""

    store: str
    rows: tuple[TemperatureRow, ...]
    reason: str
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OutingsLogged(Act):
    """Tins that were out for a round and are back on one store's shelf."""

    store: str
    rows: tuple[OutingRow, ...]
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingTaken(Act):
    """One row of the table `readings`: the viscosity is the displayed one, at `temperature_c`."""

    sample: str
    taken_at: datetime
    viscosity_mpas: float | None = None
    temperature_c: float | None = None
    gel_grade: int | None = None
    operator: str
    instrument: str | None = None
    spindle: str | None = None
    speed_rpm: float | None = None
    torque_pct: float | None = None
    cup: str | None = None
    efflux_s: float | None = None
    density_g_ml: float | None = None
    mass_g: float | None = None
    appearance: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedAttempt(Act):
    """A reading typed wrongly and doubted at entry; the right one follows as an act of its own."""

    reading: ReadingTaken
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CureMeasured(Act):
    """One row of the table `cures`."""

    sample: str
    taken_at: datetime
    humidity_pct: float
    film_um: float
    dry_through_h: float
    operator: str
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected(Act):
    """A reading corrected: `taken_at` names the original, the other values replace it."""

    sample: str
    taken_at: datetime
    viscosity_mpas: float | None
    temperature_c: float | None
    gel_grade: int | None
    reason: str
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Swapped(Act):
    """Two readings entered in each other's place: two linked corrections."""

    first: Corrected
    second: Corrected


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside(Act):
    """A reading kept but no longer counted, with the cause found at the bench."""

    sample: str
    taken_at: datetime
    reason: str
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleEnded(Act):
    """One row of the table `endings`."""

    sample: str
    at: datetime
    reason: str
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OilChecked(Act):
    """One row of the table `oil_checks`."""

    instrument: str
    at: datetime
    certified_mpas: float
    read_mpas: float
    operator: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingsReleased(Act):
    """Conditional readings of one instrument released after its calibration came back."""

    instrument: str
    from_at: datetime
    to_at: datetime
    reason: str
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StatementAsked(Act):
    """Somebody asks for a shelf-life statement; `expected` is signed, refused, proposed or not carried."""

    statement: str
    version: int
    arm: str
    limit_viscosity_ratio: float
    months: int
    expected: str
    says: str
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Swept(Act):
    """The daemon looks once, at `entered_at`."""
