"""What was measured and done: readings, cures, temperatures, outings, moves, endings, calibrations.

Every row keeps two times: when it was observed and when it became known (`entered_at`).
"""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from stability.records.tables.base import finite, options, reference, text
from stability.records.tables.bench import Ending, Reading, SampleMove
from stability.records.tables.instruments import Calibration, OilCheck

__all__ = [
    "Calibration",
    "Cure",
    "Ending",
    "MethodChange",
    "OilCheck",
    "Outing",
    "Reading",
    "SampleMove",
    "StoreTemperature",
]


class Cure(SQLModel, table=True):
    """One drying test of an aged sample at one humidity, or the correction of one."""

    __table_args__ = options(
        sa.CheckConstraint("dry_through_h IS NULL OR dry_through_h > 0", name="dry_through"),
        sa.CheckConstraint("corrects_id IS NOT NULL OR dry_through_h IS NOT NULL", name="something"),
        sa.CheckConstraint("corrects_id IS NULL OR reason IS NOT NULL", name="reason"),
        sa.Index(
            "uq_cure_original",
            "sample_id",
            "taken_at",
            "humidity_pct",
            unique=True,
            sqlite_where=sa.text("corrects_id IS NULL"),
        ),
        sa.Index(
            "uq_cure_correction",
            "corrects_id",
            "entered_at",
            unique=True,
            sqlite_where=sa.text("corrects_id IS NOT NULL"),
        ),
    )
    id: int | None = Field(default=None, primary_key=True)
    sample_id: int = reference("sample.id")
    taken_at: datetime
    humidity_pct: float
    film_um: float | None = None
    dry_through_h: float | None = None
    operator: str | None = text(default=None)
    note: str | None = text(2000, default=None)
    entered_at: datetime
    entered_by: str = text()
    corrects_id: int | None = reference("cure.id", default=None)
    reason: str | None = text(500, default=None)


class StoreTemperature(SQLModel, table=True):
    """One logger point; a later `entered_at` for the same instant re-bases the earlier one."""

    __tablename__ = "store_temperature"
    __table_args__ = options(sa.UniqueConstraint("store_id", "at", "entered_at"), finite("temperature_c"))
    id: int | None = Field(default=None, primary_key=True)
    store_id: int = reference("store.id")
    at: datetime
    temperature_c: float
    entered_at: datetime


class Outing(SQLModel, table=True):
    """A tin out of its store; without a temperature the room's 23 °C is meant."""

    __table_args__ = options(
        sa.UniqueConstraint("sample_id", "out_at"), sa.CheckConstraint("back_at > out_at", name="order")
    )
    id: int | None = Field(default=None, primary_key=True)
    sample_id: int = reference("sample.id")
    out_at: datetime
    back_at: datetime
    temperature_c: float | None = None
    entered_at: datetime


class MethodChange(SQLModel, table=True):
    """What shifts all readings from one moment on; the fit gives it a step of its own."""

    __tablename__ = "method_change"
    __table_args__ = options(
        sa.CheckConstraint("what IN ('spindle', 'instrument', 'oil', 'method', 'operator')", name="what"),
        sa.UniqueConstraint("at", "what", "study", "instrument"),
    )
    id: int | None = Field(default=None, primary_key=True)
    at: datetime
    what: str = text(20)
    study: str = text(60, default="")
    instrument: str = text(default="")
    note: str | None = text(2000, default=None)
    entered_at: datetime
