"""What was known at an instant: studies, samples and readings as of a time.

Two times rule every view: nothing taken or entered after `as_of` counts, and of a reading and its
corrections the one entered last (until then) is what counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.design import Sample, Store, Study, StudyLimit, StudyPlan, StudyVersion
from stability.records.tables.measured import Ending, Reading, SampleMove

__all__ = [
    "PlannedAge",
    "ReadingFacts",
    "SampleFacts",
    "StudyFacts",
    "readings",
    "samples",
    "studies",
]

_study, _version, _limit, _plan = table(Study), table(StudyVersion), table(StudyLimit), table(StudyPlan)
_sample, _store, _move, _ending, _reading = (
    table(Sample),
    table(Store),
    table(SampleMove),
    table(Ending),
    table(Reading),
)


@dataclass(frozen=True, slots=True)
class PlannedAge:
    """One planned check: where, at which age, of which kind."""

    store: str
    age_days: float
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyFacts:
    """A study in the version that counted."""

    id: int
    code: str
    version: int
    title: str
    target_life_days: float
    storage_c: float
    owner: str
    closed_at: datetime | None
    entered_at: datetime
    source: str
    limits: Mapping[str, float] = field(default_factory=dict)
    plan: tuple[PlannedAge, ...] = ()

    def is_open(self, at: datetime) -> bool:
        """Say whether the study is still running at an instant."""
        return self.closed_at is None or self.closed_at > at


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleFacts:
    """A sample, where it stands and whether it has ended."""

    id: int
    sample: str
    study: str
    product: str
    product_lot: str
    thinner: str | None
    thinner_lot: str | None
    level_pct: float | None
    additive: str | None
    additive_pct: float | None
    pack: str | None
    fill_pct: float | None
    store: str
    store_temperature_c: float
    first_store: str
    placed_at: datetime
    twin: str | None
    ended_at: datetime | None
    end_reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingFacts:
    """A reading as it counts: the original, or what the latest correction made of it.

    `id` is the original's. `set_aside` is a correction without any value.
    """

    id: int
    sample_id: int
    taken_at: datetime
    viscosity_mpas: float | None
    over_range: bool
    temperature_c: float | None
    gel_grade: int | None
    operator: str | None
    instrument: str | None
    cup: str | None = None
    mass_g: float | None
    note: str | None
    entered_at: datetime
    entered_by: str
    first_entered_at: datetime
    corrected: bool
    reason: str | None

    @property
    def set_aside(self) -> bool:
        """Whether a correction took the reading out of all sums."""
        return self.viscosity_mpas is None and self.gel_grade is None


def studies(connection: sa.Connection, *, as_of: datetime, code: str | None = None) -> tuple[StudyFacts, ...]:
    """Return every study in its latest version entered by `as_of`, else in its first; by code."""
    query = sa.select(_study.c.code, _version).join(_version, _version.c.study_id == _study.c.id)
    if code is not None:
        query = query.where(_study.c.code == code)
    chosen: dict[str, Any] = {}
    for row in connection.execute(query.order_by(_study.c.code, _version.c.version)).mappings():
        if row["code"] not in chosen or row["entered_at"] <= as_of:
            chosen[row["code"]] = row
    return tuple(_study_facts(connection, row) for row in chosen.values())


def _study_facts(connection: sa.Connection, row: Mapping[str, Any]) -> StudyFacts:
    limits = connection.execute(
        sa.select(_limit.c.name, _limit.c.value).where(_limit.c.study_version_id == row["id"])
    )
    plan = connection.execute(
        sa.select(_plan.c.store, _plan.c.age_days, _plan.c.kind)
        .where(_plan.c.study_version_id == row["id"])
        .order_by(_plan.c.store, _plan.c.age_days, _plan.c.kind)
    )
    names = (
        "code",
        "version",
        "title",
        "target_life_days",
        "storage_c",
        "owner",
        "closed_at",
        "entered_at",
        "source",
    )
    return StudyFacts(
        id=row["study_id"],
        **{name: row[name] for name in names},
        limits={str(name): float(value) for name, value in limits},
        plan=tuple(PlannedAge(*planned) for planned in plan),
    )


def samples(
    connection: sa.Connection, *, as_of: datetime, study: str | None = None, sample: str | None = None
) -> tuple[SampleFacts, ...]:
    """Return the samples placed by `as_of`, by code, each with the store it stood in then."""
    query = (
        sa.select(
            _sample, _study.c.code, _store.c.store, _store.c.temperature_c, _ending.c.at, _ending.c.reason
        )
        .join(_study, _study.c.id == _sample.c.study_id)
        .join(_store, _store.c.id == _sample.c.store_id)
        .outerjoin(
            _ending,
            sa.and_(
                _ending.c.sample_id == _sample.c.id, _ending.c.at <= as_of, _ending.c.entered_at <= as_of
            ),
        )
        .where(_sample.c.placed_at <= as_of, _sample.c.entered_at <= as_of)
        .order_by(_sample.c.sample)
    )
    if study is not None:
        query = query.where(_study.c.code == study)
    if sample is not None:
        query = query.where(_sample.c.sample == sample)
    moved = _stores_after_moves(connection, as_of)
    return tuple(_sample_facts(row, moved) for row in connection.execute(query).mappings())


def _sample_facts(row: Any, moved: Mapping[int, tuple[str, float]]) -> SampleFacts:
    store, temperature_c = moved.get(row["id"], (row["store"], row["temperature_c"]))
    kept = ("id", "sample", "product", "product_lot", "thinner", "thinner_lot", "level_pct", "additive")
    rest = ("additive_pct", "pack", "fill_pct", "placed_at", "twin")
    return SampleFacts(
        study=row["code"],
        store=store,
        store_temperature_c=temperature_c,
        first_store=row["store"],
        ended_at=row["at"],
        end_reason=row["reason"],
        **{name: row[name] for name in (*kept, *rest)},
    )


def _stores_after_moves(connection: sa.Connection, as_of: datetime) -> dict[int, tuple[str, float]]:
    query = (
        sa.select(_move.c.sample_id, _store.c.store, _store.c.temperature_c)
        .join(_store, _store.c.id == _move.c.to_store_id)
        .where(_move.c.at <= as_of, _move.c.entered_at <= as_of)
        .order_by(_move.c.at)
    )
    return {int(sample_id): (str(store), float(t)) for sample_id, store, t in connection.execute(query)}


def readings(
    connection: sa.Connection,
    *,
    as_of: datetime,
    study: str | None = None,
    sample_id: int | None = None,
    with_set_aside: bool = False,
) -> tuple[ReadingFacts, ...]:
    """Return what counts of every reading known by `as_of`, by sample and time taken."""
    query = sa.select(*_READING_COLUMNS).where(_reading.c.entered_at <= as_of)
    if study is not None:
        of_study = sa.select(_sample.c.id).join(_study, _study.c.id == _sample.c.study_id)
        query = query.where(_reading.c.sample_id.in_(of_study.where(_study.c.code == study)))
    if sample_id is not None:
        query = query.where(_reading.c.sample_id == sample_id)
    latest: dict[int, Any] = {}
    first: dict[int, datetime] = {}
    for row in connection.execute(query.order_by(_reading.c.entered_at, _reading.c.id)):
        root = row.corrects_id or row.id
        first.setdefault(root, row.entered_at)
        latest[root] = row
    found = [_reading_facts(root, row, first[root]) for root, row in latest.items() if row.taken_at <= as_of]
    found.sort(key=lambda r: (r.sample_id, r.taken_at, r.id))
    return tuple(r for r in found if with_set_aside or not r.set_aside)


_READING_COLUMNS = tuple(
    _reading.c[name]
    for name in (
        "id",
        "corrects_id",
        "sample_id",
        "taken_at",
        "viscosity_mpas",
        "over_range",
        "temperature_c",
        "gel_grade",
        "operator",
        "instrument",
        "cup",
        "mass_g",
        "note",
        "entered_at",
        "entered_by",
        "reason",
    )
)


def _reading_facts(root: int, row: Any, first_entered_at: datetime) -> ReadingFacts:
    return ReadingFacts(
        id=root,
        sample_id=row.sample_id,
        taken_at=row.taken_at,
        viscosity_mpas=row.viscosity_mpas,
        over_range=bool(row.over_range),
        temperature_c=row.temperature_c,
        gel_grade=row.gel_grade,
        operator=row.operator,
        instrument=row.instrument,
        cup=row.cup,
        mass_g=row.mass_g,
        note=row.note,
        entered_at=row.entered_at,
        entered_by=row.entered_by,
        first_entered_at=first_entered_at,
        corrected=row.corrects_id is not None,
        reason=row.reason,
    )
