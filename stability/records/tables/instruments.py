"""What is known of instruments: ranges, cups, certificates, checks, overrides, releases; all append-only.

Of facts and ranges the row with the latest `at` (until an instant) is what counts; nothing is overwritten.
"""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from stability.records.tables.base import finite, options, reference, text

__all__ = [
    "Calibration",
    "CertificateDetail",
    "CheckOil",
    "InstrumentFact",
    "OilCheck",
    "ReadingRelease",
    "SentinelCheck",
    "SessionOverride",
    "SpindleRange",
]


class InstrumentFact(SQLModel, table=True):
    """What was typed of an instrument at one time; a column left open says nothing.

    `follows` is the standard cup that a flow cup is made after, `cup_factor` its own calibration;
    `limit_pct` is how far a check may be off, `tolerance_pct` how far an as-found value may be.
    """

    __tablename__ = "instrument_fact"
    __table_args__ = options(
        sa.UniqueConstraint("instrument_id", "at"),
        sa.CheckConstraint("torque_constant IS NULL OR torque_constant > 0", name="torque_constant"),
        sa.CheckConstraint("cup_factor IS NULL OR cup_factor > 0", name="cup_factor"),
        sa.CheckConstraint("limit_pct IS NULL OR limit_pct > 0", name="limit"),
        sa.CheckConstraint("tolerance_pct IS NULL OR tolerance_pct > 0", name="tolerance"),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = reference("instrument.id")
    at: datetime
    torque_constant: float | None = None
    speeds_rpm: str | None = text(500, default=None)
    follows: str | None = text(60, default=None)
    cup_factor: float | None = None
    limit_pct: float | None = None
    tolerance_pct: float | None = None
    entered_at: datetime


class SpindleRange(SQLModel, table=True):
    """The range of one spindle: full scale at one speed from the manual, or its factor for every speed.

    `cell` is the small-sample cell it runs in, `volume_ml` what that takes.
    """

    __tablename__ = "spindle_range"
    __table_args__ = options(
        sa.UniqueConstraint("instrument_id", "spindle", "speed_rpm", "at"),
        sa.CheckConstraint("(full_scale_mpas IS NULL) <> (spindle_factor IS NULL)", name="one_range"),
        sa.CheckConstraint("full_scale_mpas IS NULL OR speed_rpm IS NOT NULL", name="speed"),
        sa.CheckConstraint("full_scale_mpas IS NULL OR full_scale_mpas > 0", name="full_scale"),
        sa.CheckConstraint("spindle_factor IS NULL OR spindle_factor > 0", name="factor"),
        sa.CheckConstraint("speed_rpm IS NULL OR speed_rpm > 0", name="rpm"),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = reference("instrument.id")
    spindle: str = text(60)
    speed_rpm: float | None = None
    full_scale_mpas: float | None = None
    spindle_factor: float | None = None
    cell: str | None = text(60, default=None)
    volume_ml: float | None = None
    at: datetime
    entered_at: datetime


class Calibration(SQLModel, table=True):
    """One calibration of an instrument and until when it holds."""

    __table_args__ = options(sa.UniqueConstraint("instrument_id", "at"))
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = reference("instrument.id")
    at: datetime
    due_at: datetime
    as_found_pct: float | None = None
    certificate: str | None = text(default=None)
    entered_at: datetime


class CertificateDetail(SQLModel, table=True):
    """What else a certificate says: who certified, what was found in its own words, how far it may be off.

    It belongs to the calibration of the same instrument and time. The tolerance is kept with it: a wider one
    typed later acquits nothing.
    """

    __tablename__ = "certificate_detail"
    __table_args__ = options(
        sa.UniqueConstraint("instrument_id", "at"),
        sa.CheckConstraint("tolerance_pct IS NULL OR tolerance_pct > 0", name="tolerance"),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = reference("instrument.id")
    at: datetime
    certified_by: str | None = text(default=None)
    as_found: str | None = text(default=None)
    tolerance_pct: float | None = None
    entered_at: datetime


class CheckOil(SQLModel, table=True):
    """One lot of certified oil: its value, how far a reading of it may be off, until when it holds."""

    __tablename__ = "check_oil"
    __table_args__ = options(
        sa.CheckConstraint("certified_mpas > 0", name="certified"),
        sa.CheckConstraint("limit_pct IS NULL OR limit_pct > 0", name="limit"),
        finite("temperature_c"),
    )
    id: int | None = Field(default=None, primary_key=True)
    oil: str = text(unique=True)
    certified_mpas: float
    limit_pct: float | None = None
    temperature_c: float | None = None
    until: datetime | None = None
    entered_at: datetime


class OilCheck(SQLModel, table=True):
    """One reading of a certified oil before a session."""

    __tablename__ = "oil_check"
    __table_args__ = options(
        sa.UniqueConstraint("instrument_id", "at"),
        sa.CheckConstraint("certified_mpas > 0 AND read_mpas > 0", name="positive"),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = reference("instrument.id")
    at: datetime
    certified_mpas: float
    read_mpas: float
    operator: str | None = text(default=None)
    entered_at: datetime


class SentinelCheck(SQLModel, table=True):
    """One reading of a sample whose value is known: the aromatic reference as the instrument's witness."""

    __tablename__ = "sentinel_check"
    __table_args__ = options(
        sa.UniqueConstraint("instrument_id", "at"),
        sa.CheckConstraint("expected_mpas > 0 AND read_mpas > 0", name="positive"),
        sa.CheckConstraint("limit_pct IS NULL OR limit_pct > 0", name="limit"),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = reference("instrument.id")
    at: datetime
    sample: str = text(60)
    expected_mpas: float
    read_mpas: float
    limit_pct: float | None = None
    operator: str | None = text(default=None)
    entered_at: datetime


class SessionOverride(SQLModel, table=True):
    """A named person lets a held session go on, and says why; it lasts until the next check."""

    __tablename__ = "session_override"
    __table_args__ = options(sa.UniqueConstraint("instrument_id", "at"))
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = reference("instrument.id")
    at: datetime
    person: str = text()
    reason: str = text(500)
    entered_at: datetime


class ReadingRelease(SQLModel, table=True):
    """A named person releases one conditional reading: what was known of the instrument then is accepted.

    The reading is told by its sample and the time of its original, as in every table that comes in.
    """

    __tablename__ = "reading_release"
    __table_args__ = options(
        sa.UniqueConstraint("sample_id", "taken_at", "instrument_id", "at"),
    )
    id: int | None = Field(default=None, primary_key=True)
    sample_id: int = reference("sample.id")
    taken_at: datetime
    instrument_id: int = reference("instrument.id")
    at: datetime
    person: str = text()
    reason: str = text(500)
    entered_at: datetime
