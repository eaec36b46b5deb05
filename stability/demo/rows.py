"""Rows of the invented study: exactly the columns of the table of the same name.

Times are aware UTC instants, temperatures °C, viscosities mPa·s, levels and fills %.
Nothing here was measured: the whole scenario is invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

__all__ = [
    "CalibrationRow",
    "InstrumentFactRow",
    "InstrumentRow",
    "LotRow",
    "OutingRow",
    "PersonRow",
    "SampleRow",
    "StoreRow",
    "TemperatureRow",
    "ThinnerRow",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreRow:
    """One row of the table `stores`."""

    store: str
    temperature_c: float
    tolerance_c: float
    humidity_pct: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonRow:
    """One row of the table `people`."""

    person: str
    role: str
    mail: str
    stand_in: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ThinnerRow:
    """One row of the table `thinners`; `thinner_class` is the column `class`, a word of the language."""

    thinner: str
    thinner_class: str
    flash_c: float | None
    sds: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LotRow:
    """One row of the table `lots`."""

    lot: str
    kind: str
    opened_at: datetime | None = None
    water_ppm: float | None = None
    acid_pct: float | None = None
    alcohol_pct: float | None = None
    methoxy_mmol_g: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentRow:
    """One row of the table `instruments`; `factor` × 10 000 ÷ speed [rpm] is the full scale [mPa·s]."""

    instrument: str
    kind: str
    full_scale_mpas: float | None = None
    factor: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentFactRow:
    """One row of the table `instrument_facts`: which standard cup a flow cup follows."""

    instrument: str
    at: datetime
    follows: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationRow:
    """One row of the table `calibrations`."""

    instrument: str
    at: datetime
    due_at: datetime
    as_found_pct: float | None
    certificate: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleRow:
    """One row of the table `samples`."""

    sample: str
    study: str
    product: str
    product_lot: str
    thinner: str | None
    thinner_lot: str | None
    level_pct: float
    additive: str | None
    additive_pct: float | None
    pack: str
    fill_pct: float
    store: str
    placed_at: datetime
    twin: str
    entered_at: datetime


@dataclass(frozen=True, slots=True)
class TemperatureRow:
    """One logger point: the instant and what the display showed."""

    at: datetime
    temperature_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OutingRow:
    """One row of the table `outings`."""

    sample: str
    out_at: datetime
    back_at: datetime
    temperature_c: float
    entered_at: datetime
