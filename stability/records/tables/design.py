"""What is asked and where it stands: studies, stores, thinners, lots, samples, people, instruments."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from stability.records.tables.base import options, reference, text
from stability.records.tables.bench import Instrument, Person, Sample, Store, Thinner

__all__ = [
    "Instrument",
    "Lot",
    "Person",
    "PlannedCheck",
    "Sample",
    "Store",
    "Study",
    "StudyLimit",
    "StudyPlan",
    "StudyVersion",
    "Thinner",
]


class Study(SQLModel, table=True):
    """A question with a target life, a storage temperature and limits; what it says is versioned."""

    __table_args__ = options()
    id: int | None = Field(default=None, primary_key=True)
    code: str = text(60, unique=True)


class StudyVersion(SQLModel, table=True):
    """One wording of a study's question; a change is a new version, the old one is kept."""

    __tablename__ = "study_version"
    __table_args__ = options(
        sa.UniqueConstraint("study_id", "version"),
        sa.CheckConstraint("target_life_days > 0", name="target"),
        sa.CheckConstraint("storage_c > -273.15 AND storage_c < 200", name="storage"),
    )
    id: int | None = Field(default=None, primary_key=True)
    study_id: int = reference("study.id")
    version: int
    title: str = text(300)
    target_life_days: float
    storage_c: float
    owner: str = text()
    closed_at: datetime | None = None
    source: str = text(100_000)
    entered_at: datetime
    entered_by: str = text()


class StudyLimit(SQLModel, table=True):
    """One limit of a study version; the first one reached ends the life."""

    __tablename__ = "study_limit"
    __table_args__ = options(
        sa.UniqueConstraint("study_version_id", "name"),
        sa.CheckConstraint(
            "name IN ('viscosity_ratio', 'viscosity_max_mpas', 'gel_grade', 'dry_through_ratio')", name="name"
        ),
        sa.CheckConstraint("value > 0", name="value"),
    )
    id: int | None = Field(default=None, primary_key=True)
    study_version_id: int = reference("study_version.id")
    name: str = text(40)
    value: float


class StudyPlan(SQLModel, table=True):
    """One planned age of one kind of check in one store."""

    __tablename__ = "study_plan"
    __table_args__ = options(
        sa.UniqueConstraint("study_version_id", "store", "age_days", "kind"),
        sa.CheckConstraint("age_days >= 0", name="age"),
    )
    id: int | None = Field(default=None, primary_key=True)
    study_version_id: int = reference("study_version.id")
    store: str = text()
    age_days: float
    kind: str = text(40)


class Lot(SQLModel, table=True):
    """A lot of product or thinner as found at day 0."""

    __table_args__ = options(
        sa.UniqueConstraint("kind", "lot"), sa.CheckConstraint("kind IN ('product', 'thinner')", name="kind")
    )
    id: int | None = Field(default=None, primary_key=True)
    lot: str = text()
    kind: str = text(20)
    opened_at: datetime | None = None
    water_ppm: float | None = None
    acid_pct: float | None = None
    alcohol_pct: float | None = None
    methoxy_mmol_g: float | None = None


class PlannedCheck(SQLModel, table=True):
    """One planned measurement of one sample; the only state that a sweep may change here."""

    __tablename__ = "planned_check"
    __table_args__ = options(
        sa.UniqueConstraint("sample_id", "kind", "age_days"),
        sa.CheckConstraint(
            "state IN ('planned', 'due', 'late', 'missed', 'done', 'cancelled')", name="state"
        ),
        sa.Index("ix_planned_check_state_due_at", "state", "due_at"),
    )
    id: int | None = Field(default=None, primary_key=True)
    sample_id: int = reference("sample.id")
    kind: str = text(40)
    age_days: float
    due_at: datetime
    take_out_at: datetime | None = None
    moved: bool = False
    state: str = text(20, default="planned")
    done_at: datetime | None = None
