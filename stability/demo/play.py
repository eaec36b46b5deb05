"""Playing the invented study: every act goes through the service that a user's command calls.

Nothing here was measured. The tool learns of each act at the moment the act became known, and sweeps once
a week of the scenario's own time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, fields
from datetime import datetime
from itertools import groupby
from typing import Any

from stability.demo import acts
from stability.demo.stage import ZONE
from stability.demo.stream import stream
from stability.errors import InputError
from stability.services.bring import bring_rows
from stability.services.correct import correct_reading, set_aside, swap_readings
from stability.services.deliver import deliver, senders_of
from stability.services.end import end_sample
from stability.services.entry import ReadingEntry
from stability.services.notes import note_act
from stability.services.record import log_reading, note_refusal, refuse
from stability.services.release import Wanted, release
from stability.services.studies import file_study
from stability.services.sweep import sweep

__all__ = ["play"]

PROGRAM = "demo"
"""Who files tables that no person of the scenario files."""


def play(records: Any, settings: Any, *, on_sweep: Callable[[datetime, int], None] | None = None) -> None:
    """Play the whole scenario into an empty database; `on_sweep` hears of each week."""
    senders = senders_of(settings)
    for act in _grouped(stream()):
        if isinstance(act, acts.Swept):
            outcome = sweep(records, now=act.entered_at, settings=settings)
            deliver(records, senders, now=act.entered_at, settings=settings)
            if on_sweep is not None:
                on_sweep(act.entered_at, len(outcome.opened))
        elif isinstance(act, list):
            _bring(records, {"cures": [_row(cure) for cure in act]}, act[0].operator, act[0].entered_at)
        elif not isinstance(act, acts.StatementAsked):  # statements are signed by a later command
            _DOORS[type(act)](records, act)


def _grouped(all_acts: Sequence[acts.Act]) -> Iterator[acts.Act | list[acts.CureMeasured]]:
    """Drying tests that become known together are one table, as a bench would bring them."""
    for (kind, _), group in groupby(all_acts, key=lambda a: (type(a), a.entered_at)):
        if kind is acts.CureMeasured:
            yield [act for act in group if isinstance(act, acts.CureMeasured)]
        else:
            yield from group


def _row(row: Any) -> dict[str, Any]:
    """Return a row with the column names of its table; what is absent is left out."""
    found = {("class" if k == "thinner_class" else k): v for k, v in asdict(row).items() if v is not None}
    return {k: v.isoformat() if isinstance(v, datetime) else v for k, v in found.items()}


def _bring(
    records: Any, tables: Mapping[str, Sequence[Mapping[str, Any]]], person: str, now: datetime
) -> None:
    bring_rows(records, tables, person=person, now=now, zone=ZONE)


def _files(table: str) -> Callable[[Any, Any], None]:
    def file(records: Any, act: Any) -> None:
        _bring(records, {table: [_row(row) for row in act.rows]}, act.person, act.entered_at)

    return file


def _study(records: Any, act: acts.StudyFiled) -> None:
    file_study(records, act.text, person=act.person, now=act.entered_at, zone=ZONE)


def _temperatures(records: Any, act: acts.TemperaturesLogged) -> None:
    rows = [{"store": act.store, **_row(row)} for row in act.rows]
    _bring(records, {"temperatures": rows}, act.person, act.entered_at)


def _rebased(records: Any, act: acts.TemperaturesRebased) -> None:
    known = act.entered_at.isoformat()
    rows = [{"store": act.store, **_row(row), "entered_at": known} for row in act.rows]
    _bring(records, {"temperatures": rows}, act.person, act.entered_at)
    note_act(
        records,
        at=act.entered_at,
        person=act.person,
        verb="re-based temperatures",
        subject=act.store,
        details={"points": len(rows), "reason": act.reason},
    )


def _entry(reading: acts.ReadingTaken) -> ReadingEntry:
    names = {f.name for f in fields(ReadingEntry)}
    return ReadingEntry(**{f.name: getattr(reading, f.name) for f in fields(reading) if f.name in names})


def _reading(records: Any, act: acts.ReadingTaken) -> None:
    log_reading(records, _entry(act), person=act.operator, now=act.entered_at, zone=ZONE)


def _refused(records: Any, act: acts.RefusedAttempt) -> None:
    entry, person = _entry(act.reading), act.reading.operator
    try:
        log_reading(records, entry, person=person, now=act.entered_at, zone=ZONE, on_doubt=refuse)
    except InputError as exc:
        note_refusal(records, entry, because=str(exc), person=person, now=act.entered_at)


def _corrected(records: Any, act: acts.Corrected) -> None:
    values = {
        "viscosity_mpas": act.viscosity_mpas,
        "temperature_c": act.temperature_c,
        "gel_grade": act.gel_grade,
    }
    correct_reading(
        records,
        sample=act.sample,
        taken_at=act.taken_at,
        values={k: v for k, v in values.items() if v is not None},
        reason=act.reason,
        person=act.person,
        now=act.entered_at,
        zone=ZONE,
    )


def _swapped(records: Any, act: acts.Swapped) -> None:
    swap_readings(
        records,
        first=(act.first.sample, act.first.taken_at),
        second=(act.second.sample, act.second.taken_at),
        reason=act.first.reason,
        person=act.first.person,
        now=act.entered_at,
        zone=ZONE,
    )


def _set_aside(records: Any, act: acts.SetAside) -> None:
    set_aside(
        records,
        sample=act.sample,
        taken_at=act.taken_at,
        reason=act.reason,
        person=act.person,
        now=act.entered_at,
        zone=ZONE,
    )


def _ended(records: Any, act: acts.SampleEnded) -> None:
    end_sample(
        records, act.sample, at=act.at, reason=act.reason, person=act.person, now=act.entered_at, zone=ZONE
    )


def _oil(records: Any, act: acts.OilChecked) -> None:
    row = {k: v for k, v in _row(act).items() if k != "entered_at"}
    _bring(records, {"oil_checks": [row]}, act.operator, act.entered_at)


def _released(records: Any, act: acts.ReadingsReleased) -> None:
    wanted = Wanted(instrument=act.instrument, since=act.from_at, until=act.to_at)
    release(records, wanted, reason=act.reason, person=act.person, now=act.entered_at)


_DOORS: Mapping[type[acts.Act], Callable[[Any, Any], None]] = {
    acts.StudyFiled: _study,
    acts.PeopleFiled: _files("people"),
    acts.StoresFiled: _files("stores"),
    acts.ThinnersFiled: _files("thinners"),
    acts.LotsFiled: _files("lots"),
    acts.InstrumentsFiled: _files("instruments"),
    acts.InstrumentFactsFiled: _files("instrument_facts"),
    acts.CalibrationsFiled: _files("calibrations"),
    acts.SamplesPlaced: _files("samples"),
    acts.TemperaturesLogged: _temperatures,
    acts.TemperaturesRebased: _rebased,
    acts.OutingsLogged: _files("outings"),
    acts.ReadingTaken: _reading,
    acts.RefusedAttempt: _refused,
    acts.Corrected: _corrected,
    acts.Swapped: _swapped,
    acts.SetAside: _set_aside,
    acts.SampleEnded: _ended,
    acts.OilChecked: _oil,
    acts.ReadingsReleased: _released,
}
