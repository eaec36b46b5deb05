"""Planned checks: the study's plan × its samples, against the calendar and against what was measured.

`planned` answers for any instant and writes nothing; `bring_up_to_date` keeps the rows of the records in
step with it. Ages are days since a sample was placed.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.bench.gel import GELLED_FROM
from stability.errors import InputError
from stability.planning.calendar import Due, closed_days, due_times
from stability.planning.windows import CheckState, check_state, match
from stability.records import climate, cures, history
from stability.records.checks import CheckKey, CheckRow, kept_checks, unfinished_studies, write_checks
from stability.records.engine import Records
from stability.records.sweeps import alone
from stability.services.blends import Blend, BlendKey, blends_of
from stability.services.tins import ROOM_C, places

if TYPE_CHECKING:
    from stability.settings import Settings

__all__ = ["Planned", "Plans", "bring_up_to_date", "closed_dates", "open_blends", "planned"]

STANDS_WITHIN_C = 2.5
"""A tin from a store this near to the room needs no day to come to 23 °C, [°C]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """One planned check of one sample and where it stands."""

    blend: BlendKey
    sample: history.SampleFacts
    store: str
    kind: str
    due: Due
    state: CheckState
    done_at: datetime | None

    @property
    def key(self) -> CheckKey:
        """What makes it one and the same check."""
        return self.sample.id, self.kind, self.due.age_days


@dataclass(frozen=True, slots=True)
class Plans:
    """The blends of running studies with the planned checks of their samples."""

    blends: tuple[Blend, ...]
    checks: tuple[Planned, ...]


def open_blends(connection: sa.Connection, *, as_of: datetime) -> tuple[Blend, ...]:
    """Return the blends of all studies that are running."""
    return tuple(
        blend
        for study in history.studies(connection, as_of=as_of)
        if study.is_open(as_of)
        for blend in blends_of(connection, as_of=as_of, study=study.code)
    )


def planned(
    connection: sa.Connection, blends: Iterable[Blend], *, as_of: datetime, settings: Settings
) -> tuple[Planned, ...]:
    """Return every planned check of some blends as it stood at an instant, by sample, kind and age."""
    by_study: dict[str, list[Blend]] = {}
    for blend in blends:
        if blend.study.plan:
            by_study.setdefault(blend.study.code, []).append(blend)
    found: list[Planned] = []
    for code, own in by_study.items():
        plan = _Plan(
            zone=ZoneInfo(settings.time_zone),
            closed=closed_dates(settings),
            moves=_grouped(climate.moves(connection, as_of=as_of, study=code)),
            cured=_times(cures.cures(connection, as_of=as_of, study=code)),
            stores={store.store: store.temperature_c for store in climate.stores(connection)},
            as_of=as_of,
        )
        found += [check for blend in own for sample in blend.samples for check in plan.of(blend, sample)]
    return tuple(sorted(found, key=lambda check: (check.sample.sample, check.kind, check.due.age_days)))


def bring_up_to_date(records: Records, *, now: datetime, settings: Settings) -> Plans:
    """Keep the checks on record in step with plans, samples, readings; return those of open studies."""
    with records.reading() as connection:
        left = unfinished_studies(connection)
        blends = [
            blend
            for study in history.studies(connection, as_of=now)
            if study.is_open(now) or study.code in left
            for blend in blends_of(connection, as_of=now, study=study.code)
        ]
        found = planned(connection, blends, as_of=now, settings=settings)
    rows: dict[str, dict[CheckKey, CheckRow]] = {blend.study.code: {} for blend in blends}
    for check in found:
        rows[check.blend.study][check.key] = _row(check)
    for code, wanted in rows.items():
        with records.reading() as connection:
            differs = any(_differences(connection, code, wanted))
        if differs:
            with records.writing() as connection:
                alone(connection, "checks")
                new, changed, gone = _differences(connection, code, wanted)
                write_checks(connection, new, changed, cancelled=gone)
    running = tuple(blend for blend in blends if blend.study.is_open(now))
    codes = {blend.study.code for blend in running}
    return Plans(running, tuple(check for check in found if check.blend.study in codes))


def closed_dates(settings: Settings) -> Callable[[date], bool]:
    """Return the test for a closed day, from the weekdays and the files of the settings.

    Raises
    ------
    InputError
        If a file cannot be read or holds something that is no date.
    """
    return closed_days(
        settings.closed_weekdays, [day for path in settings.closed_days for day in _dates(path)]
    )


def _dates(path: Path) -> list[date]:
    hint = 'one line per day under [days], for example 2026-12-25 = "Christmas Day"'
    try:
        days = tomllib.loads(path.read_text("utf-8")).get("days", {})
        return [date.fromisoformat(day) for day in days]
    except OSError as exc:
        raise InputError(f"closed days {path}: {exc.strerror or exc}", hint="see closed_days") from exc
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, ValueError, TypeError, AttributeError) as exc:
        raise InputError(f"closed days {path}: {exc}", hint=hint) from exc


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """What all checks of one study share."""

    zone: ZoneInfo
    closed: Callable[[date], bool]
    moves: Mapping[int, tuple[climate.MoveFacts, ...]]
    cured: Mapping[int, tuple[datetime, ...]]
    stores: Mapping[str, float]
    as_of: datetime

    def of(self, blend: Blend, sample: history.SampleFacts) -> list[Planned]:
        """Return the checks of one sample; a sealed twin stays closed and has none."""
        if sample.twin == "sealed":
            return []
        by_kind: dict[str, list[tuple[Due, str]]] = {}
        for start_day, end_day, store in places(sample, self.moves.get(sample.id, ())):
            for kind, due in self._dues(blend, sample, store):
                if start_day <= climate.epoch_days(due.due_at) < end_day:
                    by_kind.setdefault(kind, []).append((due, store))
        return [check for kind, dues in by_kind.items() for check in self._judged(blend, sample, kind, dues)]

    def _dues(self, blend: Blend, sample: history.SampleFacts, store: str) -> list[tuple[str, Due]]:
        stands = abs(self.stores.get(store, ROOM_C) - ROOM_C) > STANDS_WITHIN_C
        ages: dict[str, list[float]] = {}
        for planned_age in blend.study.plan:
            if planned_age.store == store:
                ages.setdefault(planned_age.kind, []).append(planned_age.age_days)
        return [
            (kind, due)
            for kind, of_kind in ages.items()
            for due in due_times(
                sample.placed_at,
                sorted(set(of_kind)),
                zone=self.zone,
                closed=self.closed,
                take_out_day_before=stands,
            )
        ]

    def _judged(
        self, blend: Blend, sample: history.SampleFacts, kind: str, dues: Sequence[tuple[Due, str]]
    ) -> list[Planned]:
        of_tin = blend.readings.get(sample.id, ())
        taken = self._taken(kind, sample.id, of_tin)
        ordered = sorted(dues, key=lambda pair: pair[0].due_at)
        served = match([due for due, _ in ordered], taken)
        ended_at = _ended_at(blend, sample, of_tin, as_of=self.as_of)
        checks = []
        for place, (due, store) in enumerate(ordered):
            following = ordered[place + 1][0].due_at if place + 1 < len(ordered) else None
            done_at = taken[served[place]] if place in served else None
            state = check_state(
                due, next_due_at=following, done_at=done_at, ended_at=ended_at, now=self.as_of
            )
            checks.append(
                Planned(
                    blend=blend.key,
                    sample=sample,
                    store=store,
                    kind=kind,
                    due=due,
                    state=state,
                    done_at=done_at,
                )
            )
        return checks

    def _taken(self, kind: str, sample_id: int, of_tin: Sequence[history.ReadingFacts]) -> Sequence[datetime]:
        """Return when a kind of check was done: one visit at the bench is one reading and serves them all."""
        if kind == "cure":
            return self.cured.get(sample_id, ())
        if kind != "viscosity":
            return [r.taken_at for r in of_tin]
        # from grade 2 on a number is not asked of a tin
        return [r.taken_at for r in of_tin if r.viscosity_mpas is not None or (r.gel_grade or 0) >= 2]


def _ended_at(
    blend: Blend, sample: history.SampleFacts, of_tin: Sequence[history.ReadingFacts], *, as_of: datetime
) -> datetime | None:
    """Return when checks stopped to fall due: an ending, a gel, or the end of the study."""
    closed_at = blend.study.closed_at
    ends = [r.taken_at for r in of_tin if (r.gel_grade or 0) >= GELLED_FROM]
    ends += [at for at in (sample.ended_at, closed_at) if at is not None and at <= as_of]
    return min(ends, default=None)


def _row(check: Planned) -> CheckRow:
    return CheckRow(
        due_at=check.due.due_at,
        take_out_at=check.due.take_out_at,
        moved=check.due.moved,
        state=check.state.value,
        done_at=check.done_at,
    )


def _differences(
    connection: sa.Connection, study: str, wanted: Mapping[CheckKey, CheckRow]
) -> tuple[dict[CheckKey, CheckRow], dict[int, CheckRow], list[int]]:
    kept = kept_checks(connection, study=study)
    new = {key: row for key, row in wanted.items() if key not in kept}
    changed = {kept[key].id: row for key, row in wanted.items() if key in kept and kept[key].row != row}
    final = ("done", "missed", "cancelled")
    gone = [one.id for key, one in kept.items() if key not in wanted and one.row.state not in final]
    return new, changed, gone


def _grouped(moves: Iterable[climate.MoveFacts]) -> dict[int, tuple[climate.MoveFacts, ...]]:
    grouped: dict[int, list[climate.MoveFacts]] = {}
    for move in moves:
        grouped.setdefault(move.sample_id, []).append(move)
    return {sample_id: tuple(of_tin) for sample_id, of_tin in grouped.items()}


def _times(tests: Iterable[cures.CureFacts]) -> dict[int, tuple[datetime, ...]]:
    grouped: dict[int, set[datetime]] = {}
    for test in tests:
        grouped.setdefault(test.sample_id, set()).add(test.taken_at)
    return {sample_id: tuple(sorted(at)) for sample_id, at in grouped.items()}
