"""What a tin of the round is measured with: as the last time, or as somebody typed for the round.

Viscosities are mPa·s, speeds rpm, densities g/mL.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import sqlalchemy as sa

from stability.bench.rotational import full_scale_mpas, range_of
from stability.errors import InputError
from stability.records.engine import Records
from stability.records.readings import StoredReading
from stability.services.instruments import means_for, ranges_of

__all__ = ["SetUp", "full_scale_of", "last_set_up", "typed_set_up", "with_density"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """What a tin is measured with."""

    instrument: str | None = None
    spindle: str | None = None
    speed_rpm: float | None = None
    cup: str | None = None
    density_g_ml: float | None = None

    @property
    def words(self) -> str:
        """The set-up as one says it; empty where nothing is known."""
        if self.cup is not None:
            density = None if self.density_g_ml is None else f"density {self.density_g_ml:g} g/mL"
            return ", ".join(part for part in (f"cup {self.cup}", density) if part)
        speed = None if self.speed_rpm is None else f"{self.speed_rpm:g} rpm"
        spindle = None if self.spindle is None else f"spindle {self.spindle}"
        return ", ".join(part for part in (self.instrument, spindle, speed) if part)


def typed_set_up(records: Records, words: Sequence[str], *, now: datetime) -> SetUp | None:
    """Return the set-up that was typed: "VIS-1 S2 100" or "cup ISO 4 0.981"; None for that of each tin.

    Raises
    ------
    InputError
        If the instrument or the cup is not on record, or the speed is no number.
    """
    if not words:
        return None
    chosen = _typed_cup(words[1:]) if words[0].casefold() == "cup" else _typed_spindle(words)
    with records.reading() as connection:
        means = means_for(connection, instrument=chosen.instrument, cup=chosen.cup, at=now)
    if chosen.cup is not None:
        from stability.bench.cups import cup_named

        name = means.cup.name if means.cup else cup_named(chosen.cup).name
        return replace(chosen, cup=name)
    if means.card is None:
        raise InputError(
            f"instrument {chosen.instrument!r} is not on record", hint="for example: set VIS-1 S2 100"
        )
    return replace(chosen, instrument=means.card.instrument)


def _typed_cup(words: Sequence[str]) -> SetUp:
    name, density = list(words), None
    if len(name) > 1 and (value := _float(name[-1])) is not None and "." in name[-1] and 0.5 <= value <= 2:
        density = value
        name.pop()
    if not name:
        raise InputError("which cup?", hint="for example: set cup ISO 4 0.981")
    return SetUp(cup=" ".join(name), density_g_ml=density)


def _typed_spindle(words: Sequence[str]) -> SetUp:
    if len(words) > 3:
        raise InputError("a set-up is instrument, spindle and speed", hint="for example: set VIS-1 S2 100")
    speed = _float(words[2]) if len(words) > 2 else None
    if len(words) > 2 and (speed is None or not 0 < speed < 1e6):
        raise InputError(f"{words[2]!r} is not a speed in rpm", hint="for example: set VIS-1 S2 100")
    return SetUp(instrument=words[0], spindle=words[1] if len(words) > 1 else None, speed_rpm=speed)


def _float(text: str) -> float | None:
    try:
        return float(text) if text.isascii() and "_" not in text else None
    except ValueError:
        return None


def last_set_up(earlier: Sequence[StoredReading]) -> SetUp:
    """Return what a tin was measured with last; its readings come oldest first."""
    for reading in reversed(earlier):
        row = reading.counts
        if row["instrument"] is not None and row["viscosity_mpas"] is not None:
            return SetUp(
                **{name: row[name] for name in ("instrument", "spindle", "speed_rpm", "density_g_ml")}
            )
        if row["cup"] is not None and row["efflux_s"] is not None:
            return SetUp(cup=row["cup"], density_g_ml=row["density_g_ml"])
    return SetUp()


def with_density(chosen: SetUp, last: SetUp) -> SetUp:
    """Return a set-up chosen for the round with the density of the tin in hand, which a cup needs."""
    return chosen if chosen.density_g_ml is not None else replace(chosen, density_g_ml=last.density_g_ml)


def full_scale_of(connection: sa.Connection, set_up: SetUp, at: datetime) -> float | None:
    """Return the viscosity at full torque, or None where it is not on record."""
    if set_up.instrument is None or set_up.cup is not None:
        return None
    card = means_for(connection, instrument=set_up.instrument, cup=None, at=at).card
    if card is None:
        return None
    try:
        if card.ranges and set_up.spindle and set_up.speed_rpm:
            return range_of(
                set_up.spindle, set_up.speed_rpm, ranges=ranges_of(card), torque_constant=card.torque_constant
            )
        return full_scale_mpas(
            speed_rpm=set_up.speed_rpm, full_scale_mpas=card.full_scale_mpas, factor=card.factor
        )
    except InputError:
        return None
