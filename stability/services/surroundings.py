"""What an entry is judged by beside its band: twins, tins beside it, weighings, other spindles or cups.

Viscosities are mPa·s, masses g.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from stability.bench.mass import MassChange, Weighing, mass_change
from stability.bench.plausible import Band, DoubtKind, Knot, Neighbour, OtherWay, interpolate_band
from stability.records.readings import StoredReading, beside, latest_band
from stability.records.tins_alike import store_mates, twins_read
from stability.services.entry import ReadingEntry
from stability.units import SECONDS_PER_DAY

if TYPE_CHECKING:
    from stability.services.instruments import Means

__all__ = ["expected_at", "mass_after_words", "mass_told", "neighbours_of", "twins_of", "ways_of"]

_ROUND = timedelta(hours=12)
"""Tins read within this time of each other are neighbours on a round."""
_AFTER = re.compile(r"\bmass after ([0-9]+(?:\.[0-9]+)?) g\b")


def expected_at(
    connection: sa.Connection, sample_id: int, placed_at: datetime, taken_at: datetime
) -> Band | None:
    """Return the band kept with a sample's newest forecast, at an instant."""
    knots = [Knot(*knot) for knot in latest_band(connection, sample_id)]
    age_days = (taken_at - placed_at).total_seconds() / SECONDS_PER_DAY
    return interpolate_band(knots, age_days) if knots else None


def twins_of(connection: sa.Connection, sample_id: int, taken_at: datetime) -> tuple[Neighbour, ...]:
    """Return the tins of the same blend that stood alike and were read at the same age."""
    return tuple(
        Neighbour(sample=code, viscosity_mpas=read_mpas, twin=True)
        for code, read_mpas in twins_read(connection, sample_id, taken_at=taken_at)
    )


def neighbours_of(
    connection: sa.Connection, sample_id: int, value_mpas: float, taken_at: datetime
) -> tuple[Neighbour, ...]:
    """Return the tins that a value may have been meant for: those just read, else one of the same store."""
    near = beside(connection, sample_id, since=taken_at - _ROUND, until=taken_at + _ROUND)
    found = [
        Neighbour(
            sample=code,
            viscosity_mpas=read_mpas,
            band=expected_at(connection, number, placed_at, taken_at),
        )
        for code, number, placed_at, read_mpas in near
    ]
    if any(_explains(neighbour, value_mpas) for neighbour in found):
        return tuple(found)
    mates = (
        Neighbour(sample=code, band=expected_at(connection, number, placed_at, taken_at))
        for code, number, placed_at in store_mates(connection, sample_id)
    )
    fit = [mate for mate in mates if _explains(mate, value_mpas)]
    fit.sort(key=lambda mate: mate.band.distance(value_mpas) if mate.band else 0.0)
    return (*found, *fit[:1])


def _explains(neighbour: Neighbour, value_mpas: float) -> bool:
    if neighbour.viscosity_mpas == value_mpas:
        return True
    return neighbour.band is not None and neighbour.band.holds(value_mpas)


def mass_after_words(mass_g: float) -> str:
    """Return how the mass after closing stands in a reading's note, where the next pull looks for it."""
    return f"mass after {mass_g:.2f} g"


def mass_told(earlier: Sequence[StoredReading], mass_g: float | None) -> MassChange | None:
    """Return what a tin lost since it was weighed last; None without two weighings."""
    if mass_g is None:
        return None
    return mass_change([weighing for row in earlier for weighing in _weighing(row.counts)], mass_g)


def _weighing(row: Any) -> Iterator[Weighing]:
    if row["mass_g"] is not None:
        after = _AFTER.findall(row["note"] or "")
        yield Weighing(float(row["mass_g"]), float(after[-1]) if after else None)


def ways_of(entry: ReadingEntry, means: Means | None) -> Iterator[OtherWay]:
    """Yield what the same torque or seconds would be by another spindle, speed or cup on record."""
    if entry.torque_pct is not None and means is not None:
        used = (entry.spindle, entry.speed_rpm)
        for setting in means.settings:
            if (setting.spindle, setting.speed_rpm) != used:
                words = f"read with {setting.spindle} at {setting.speed_rpm:g} rpm"
                viscosity = setting.full_scale_mpas * entry.torque_pct / 100
                yield OtherWay(DoubtKind.SPINDLE, words, viscosity)
    if entry.cup and entry.efflux_s and entry.density_g_ml:
        yield from _cups(entry.cup, entry.efflux_s, entry.density_g_ml, means)


def _cups(name: str, efflux_s: float, density_g_ml: float, means: Means | None) -> Iterator[OtherWay]:
    from stability.bench.cups import CUPS, OwnCup

    for cup in (means.own_cups if means else ()) or tuple(OwnCup(each, each) for each in CUPS):
        kinematic = cup.viscosity(efflux_s)
        if cup.name.casefold() != name.casefold() and kinematic > 0 and cup.covers(kinematic):
            yield OtherWay(
                DoubtKind.CUP, f"{efflux_s:g} s from {cup.name} and not {name}", kinematic * density_g_ml
            )
