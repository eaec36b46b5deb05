"""What a corrected reading says: the new values over those that counted, checked like a new reading's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.errors import InputError
from stability.records.readings import (
    MEASURED,
    SampleAtBench,
    StoredReading,
    readings_of,
)
from stability.services.entry import ReadingEntry, Resolved, faults_on_its_face
from stability.services.record import refuse_against
from stability.services.resolve import resolved, with_means
from stability.services.times import local_words, refuse_out_of_time

__all__ = ["FROM_THE_CUP", "amended", "kept"]

_BEHIND_THE_NUMBER = ("torque_pct", "spindle", "speed_rpm", "instrument", "cup", "efflux_s", "density_g_ml")
FROM_THE_CUP = tuple(name for name in MEASURED if name not in ("operator", "mass_g", "photo", "note"))
"""What goes with the liquid that was read; the mass, its photo and the hand stay with the tin."""


def kept(stored: StoredReading) -> dict[str, Any]:
    """Return the columns of a reading as they count, or as they did before it was set aside."""
    told = (row for row in reversed(stored.rows) if (row["viscosity_mpas"], row["gel_grade"]) != (None, None))
    row = next(told, stored.counts)
    return {name: row[name] for name in (*MEASURED, "taken_at")}


def amended(
    connection: sa.Connection,
    tin: SampleAtBench,
    stored: StoredReading,
    values: Mapping[str, Any],
    *,
    now: datetime,
    zone: ZoneInfo,
) -> dict[str, Any]:
    """Return the columns of the correcting row.

    Raises
    ------
    InputError
        If the new values would be refused in a new reading, or leave nothing that counts.
    """
    before = kept(stored)
    if stored.set_aside and not {"viscosity_mpas", "gel_grade"} & set(values):
        raise InputError(
            f"the reading of {tin.sample} is set aside", hint="give its viscosity or grade to count it again"
        )
    merged = {**before, **values}
    names = {f.name for f in fields(ReadingEntry)} - {"sample", "viscosity_mpas"}
    typed = values.get("viscosity_mpas")
    entry = ReadingEntry(sample=tin.sample, viscosity_mpas=typed, **{name: merged[name] for name in names})
    faults = faults_on_its_face(entry)
    if faults:
        raise InputError(*faults)
    value = _value(connection, entry, before, values)
    taken_at = merged["taken_at"]
    refuse_out_of_time(tin, taken_at, now=now, zone=zone)
    others = [r for r in readings_of(connection, tin.id) if r.id != stored.id and not r.set_aside]
    if any(r.taken_at == taken_at for r in others):
        raise InputError(f"sample {tin.sample} has another reading at {local_words(taken_at, zone)}")
    refuse_against([r for r in others if r.taken_at < taken_at], entry, value, zone=zone)
    return {
        **{name: merged[name] for name in (*MEASURED, "taken_at")},
        "viscosity_mpas": value.viscosity_mpas,
        "viscosity_text": value.text,
        "uncertainty_mpas": value.uncertainty_mpas,
        "over_range": int(value.over_range),
        "rule": value.rule,
    }


def _value(
    connection: sa.Connection, entry: ReadingEntry, before: Mapping[str, Any], values: Mapping[str, Any]
) -> Resolved:
    """Return the viscosity of a corrected reading: newly typed, computed again, or what it was."""
    again = bool(before["rule"]) and any(values.get(name) is not None for name in _BEHIND_THE_NUMBER)
    if entry.viscosity_mpas is not None or (again and "viscosity_mpas" not in values):
        # A slip in the number is corrected even if the torque beside it was typed wrongly too.
        stale: dict[str, Any] = {
            n: None for n in _BEHIND_THE_NUMBER if entry.viscosity_mpas is not None and n not in values
        }
        return resolved(*with_means(connection, replace(entry, **stale)))
    viscosity = None if "viscosity_mpas" in values else before["viscosity_mpas"]
    if viscosity is not None:
        return Resolved(
            viscosity_mpas=viscosity,
            over_range=bool(before["over_range"]),
            uncertainty_mpas=before["uncertainty_mpas"],
            text=before["viscosity_text"],
            rule=before["rule"],
        )
    if entry.gel_grade is None:
        raise InputError(
            f"the reading of {entry.sample} would be left without viscosity and grade",
            hint="give its value, or set it aside (--set-aside)",
        )
    return Resolved(viscosity_mpas=None)
