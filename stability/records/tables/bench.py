"""What a reading at the bench touches: sample, store, move, thinner, instrument, person, band, event.

Kept apart because a table class costs 3 ms of every start, and `stability log` loads only these.
"""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from stability.records.tables.base import finite, options, reference, text

__all__ = [
    "Ending",
    "Event",
    "ExpectedBand",
    "Instrument",
    "Person",
    "Reading",
    "Sample",
    "SampleMove",
    "Store",
    "Thinner",
]


class Store(SQLModel, table=True):
    """A place with a temperature."""

    __table_args__ = options(
        finite("temperature_c"), sa.CheckConstraint("temperature_c > -273.15", name="above_zero")
    )
    id: int | None = Field(default=None, primary_key=True)
    store: str = text(unique=True)
    temperature_c: float
    tolerance_c: float | None = None
    humidity_pct: float | None = None


class Thinner(SQLModel, table=True):
    """A thinner and what the safety data sheet says of it."""

    __table_args__ = options(finite("flash_c"))
    id: int | None = Field(default=None, primary_key=True)
    thinner: str = text(unique=True)
    thinner_class: str = text(40)
    flash_c: float | None = None
    sds: str | None = text(500, default=None)


class Instrument(SQLModel, table=True):
    """An instrument and its range: either the full scale, or the factor that gives it from the speed."""

    __table_args__ = options()
    id: int | None = Field(default=None, primary_key=True)
    instrument: str = text(unique=True)
    kind: str = text(40)
    full_scale_mpas: float | None = None
    factor: float | None = None


class Person(SQLModel, table=True):
    """Somebody who acts; `account` binds an operating-system account to him."""

    __table_args__ = options(
        sa.CheckConstraint("role IN ('assistant', 'formulator', 'qa')", name="role"),
    )
    id: int | None = Field(default=None, primary_key=True)
    person: str = text(unique=True)
    role: str = text(20)
    mail: str | None = text(default=None)
    stand_in: str | None = text(default=None)
    account: str | None = text(default=None, unique=True)


class Sample(SQLModel, table=True):
    """One retained tin or vial with a label code; it stands in `store` until a move says otherwise."""

    __table_args__ = options(
        finite("level_pct"),
        sa.CheckConstraint("level_pct IS NULL OR (level_pct >= 0 AND level_pct < 100)", name="level"),
        sa.CheckConstraint("twin IS NULL OR twin IN ('opened', 'sealed')", name="twin"),
        sa.Index("ix_sample_study_id", "study_id"),
        sa.Index("ix_sample_store_id", "store_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    sample: str = text(60, unique=True)
    study_id: int = reference("study.id")
    product: str = text()
    product_lot: str = text()
    thinner: str | None = text(default=None)
    thinner_lot: str | None = text(default=None)
    level_pct: float | None = None
    additive: str | None = text(default=None)
    additive_pct: float | None = None
    pack: str | None = text(default=None)
    fill_pct: float | None = None
    store_id: int = reference("store.id")
    placed_at: datetime
    twin: str | None = text(20, default=None)
    entered_at: datetime


class Reading(SQLModel, table=True):
    """One reading as read, or the correction of one (`corrects_id` names the original, never a correction).

    A correction without any value sets the original aside; the latest `entered_at` is what counts.
    """

    __table_args__ = options(
        finite("viscosity_mpas"),
        sa.CheckConstraint("viscosity_mpas IS NULL OR viscosity_mpas > 0", name="viscosity"),
        sa.CheckConstraint("gel_grade IS NULL OR gel_grade BETWEEN 0 AND 5", name="gel_grade"),
        sa.CheckConstraint("over_range IN (0, 1)", name="over_range"),
        sa.CheckConstraint(
            "corrects_id IS NOT NULL OR viscosity_mpas IS NOT NULL OR gel_grade IS NOT NULL", name="something"
        ),
        sa.CheckConstraint("corrects_id IS NULL OR reason IS NOT NULL", name="reason"),
        sa.Index(
            "uq_reading_original",
            "sample_id",
            "taken_at",
            unique=True,
            sqlite_where=sa.text("corrects_id IS NULL"),
        ),
        sa.Index(
            "uq_reading_correction",
            "corrects_id",
            "entered_at",
            unique=True,
            sqlite_where=sa.text("corrects_id IS NOT NULL"),
        ),
        sa.Index(
            "ix_reading_corrected_sample",
            "sample_id",
            sqlite_where=sa.text("corrects_id IS NOT NULL"),
        ),
    )
    id: int | None = Field(default=None, primary_key=True)
    sample_id: int = reference("sample.id")
    taken_at: datetime
    viscosity_mpas: float | None = None
    viscosity_text: str | None = text(60, default=None)
    uncertainty_mpas: float | None = None
    over_range: int = 0
    temperature_c: float | None = None
    gel_grade: int | None = None
    operator: str | None = text(default=None)
    instrument: str | None = text(default=None)
    spindle: str | None = text(60, default=None)
    speed_rpm: float | None = None
    torque_pct: float | None = None
    cup: str | None = text(60, default=None)
    efflux_s: float | None = None
    density_g_ml: float | None = None
    mass_g: float | None = None
    appearance: str | None = text(500, default=None)
    photo: str | None = text(500, default=None)
    note: str | None = text(2000, default=None)
    entered_at: datetime
    entered_by: str = text()
    corrects_id: int | None = reference("reading.id", default=None)
    reason: str | None = text(500, default=None)
    rule: str | None = text(40, default=None)


class SampleMove(SQLModel, table=True):
    """A tin that changed its store for good."""

    __tablename__ = "sample_move"
    __table_args__ = options(sa.UniqueConstraint("sample_id", "at"))
    id: int | None = Field(default=None, primary_key=True)
    sample_id: int = reference("sample.id")
    at: datetime
    to_store_id: int = reference("store.id")
    entered_at: datetime


class Ending(SQLModel, table=True):
    """The end of a sample: no check falls due after it."""

    __table_args__ = options(
        sa.CheckConstraint("reason IN ('gelled', 'dropped', 'used', 'closed')", name="reason")
    )
    id: int | None = Field(default=None, primary_key=True)
    sample_id: int = reference("sample.id", unique=True)
    at: datetime
    reason: str = text(20)
    entered_at: datetime


class ExpectedBand(SQLModel, table=True):
    """Where the next readings of one sample are expected: (age in days, ln viscosity, sd) as JSON."""

    __tablename__ = "expected_band"
    __table_args__ = options(
        sa.UniqueConstraint("forecast_id", "sample_id"),
        sa.Index("ix_expected_band_sample_id_id", "sample_id", "id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    forecast_id: int = reference("forecast.id")
    sample_id: int = reference("sample.id")
    knots: str = text(20_000)


class Event(SQLModel, table=True):
    """The log of acts; the sweep seals it into a chain of digests."""

    __table_args__ = options(sa.Index("ix_event_subject", "subject"))
    id: int | None = Field(default=None, primary_key=True)
    at: datetime
    person: str = text()
    verb: str = text(60)
    subject: str = text(300)
    details: str = text(100_000, default="{}")
