"""What the bench reads off a tin: viscosity at its temperature, torque, mass, grade, cup seconds.

Viscosities mPa·s, temperatures °C, masses g, losses % of the blend. All noise is drawn by name and day.
Flow-cup constants: ASTM D1200 (cups 4 and 5); the spindle is invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from stability.demo.acts import ReadingTaken
from stability.demo.draws import draws
from stability.demo.events import (
    PINNED_CUPS,
    PINNED_FACTORS,
    PINNED_READINGS,
    WRITTEN_NOTES,
)
from stability.demo.history import path, true_hours
from stability.demo.kinetics import Path, age
from stability.demo.schedule import Pull, Tin, Why, outings, placed_at, pulls, taken_at
from stability.demo.stage import INSTRUMENTS, NOW, age_days, instant

__all__ = ["OIL_MPAS", "Seen", "grade", "oil_reading", "reading", "seen", "session_bias", "tin_path"]

OIL_MPAS = 350.0
_SESSION_SD, _SESSION_MOST = 0.010, 0.018
_DETERMINATION_SD, _DETERMINATIONS = 0.012, 2
_TIN_SD = 0.03
_SPEEDS_RPM = (100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0, 0.5)
_FILL_ML = 200.0
_GAS_CONSTANT = 8.314462618e-3
_ROOM_K = 296.15
_CUPS = {"CUP-4": (3.85, 4.49), "CUP-5": (12.1, 2.00)}
_WEEKLY_LOSS_PCT = {"OVN-50": 0.01, "OVN-60": 0.03}
_LID_LOSS_PCT = {(("A2", "OVN-50", 2), 42): 2.3}


@dataclass(frozen=True, slots=True)
class Seen:
    """The tin as it is at one reading: 23 °C viscosity, its ln ratio to day 0, share of gel, mass lost."""

    viscosity_mpas: float
    ln_ratio: float
    gel_share: float
    loss_pct: float

    @property
    def gel_grade(self) -> int:
        """The grade of the inverted vial."""
        return grade(self.ln_ratio, self.gel_share, self.viscosity_mpas)


def grade(ln_ratio: float, gel_share: float, viscosity_mpas: float) -> int:
    """Return the gel grade 0–5 of a state.

    >>> [grade(np.log(r), u, r * 240.0) for r, u in ((2, 0.5), (4, 0.9), (20, 0.96), (80, 0.99))]
    [0, 1, 2, 3]
    """
    if gel_share >= 1.0:
        return 5 if gel_share >= 1.12 else 4
    if gel_share > 0.985 or viscosity_mpas > 60_000:
        return 3
    return int(ln_ratio >= np.log(3.0)) + int(ln_ratio >= np.log(15.0))


def session_bias(day: int) -> float:
    """Return the bias of all readings of one day, on ln η; beyond the limit a session would be stopped."""
    draw = draws("session", day)
    while abs(bias := float(draw.normal(0.0, _SESSION_SD))) > _SESSION_MOST:
        pass
    return bias


def oil_reading(day: int) -> float:
    """Return what the certified oil read before a day's session, [mPa·s]."""
    noise = float(draws("oil", day).normal(0.0, 0.002))
    return round(OIL_MPAS * float(np.exp(session_bias(day) + noise)), 1)


def _factor(tin: Tin) -> float:
    drawn = float(np.exp(draws("tin", *tin.cell).normal(0.0, _TIN_SD)))
    return PINNED_FACTORS.get(tin.cell, drawn)


def tin_path(tin: Tin) -> Path:
    """Return the true temperatures a tin lived through, take-outs included."""
    out = [(age_days(a), age_days(b)) for a, b in outings(tin)]
    return path(true_hours(tin.store), age_days(placed_at(tin)), age_days(NOW), out)


def _loss_pct(tin: Tin, pull: Pull, openings: int) -> float:
    """Return the thinner lost so far, [% of the blend]; the neat crosslinker has none to lose."""
    weekly = _WEEKLY_LOSS_PCT.get(tin.store, 0.0) * pull.age_day / 7.0
    ordinary = 0.0 if tin.arm.thinner is None else 0.02 * openings + weekly
    return ordinary + _LID_LOSS_PCT.get((tin.cell, pull.day), 0.0)


def seen(tin: Tin) -> tuple[tuple[Pull, Seen], ...]:
    """Return the tin's true state at each of its readings."""
    rounds = pulls(tin)
    at_days = np.array([age_days(taken_at(tin, pull.day)) for pull in rounds])
    state = age(tin.arm.kinetics, tin_path(tin), at_days, _factor(tin))
    found = []
    for openings, (pull, grown, share) in enumerate(
        zip(rounds, state.ln_ratio, state.gel_share, strict=True)
    ):
        loss = _loss_pct(tin, pull, openings)
        ln_ratio = grown + (0.0025 if tin.arm.ester else 0.0015) * openings + 0.12 * loss
        viscosity = tin.arm.initial_mpas * float(np.exp(ln_ratio))
        found.append((pull, Seen(viscosity, float(ln_ratio), float(share), loss)))
    return tuple(found)


def _display(tin: Tin, pull: Pull, state: Seen) -> tuple[float, float]:
    """Return the displayed viscosity and the liquid's temperature."""
    if pinned := PINNED_READINGS.get((tin.cell, pull.day)):
        return pinned
    draw = draws("reading", *tin.cell, pull.day)
    temperature_c = round(float(draw.normal(23.0, 0.2)), 1)
    error = session_bias(pull.day) + draw.normal(0.0, _DETERMINATION_SD, _DETERMINATIONS).mean()
    flow = tin.arm.flow_energy_kj_mol / _GAS_CONSTANT * (1.0 / (temperature_c + 273.15) - 1.0 / _ROOM_K)
    return float(np.round(state.viscosity_mpas * np.exp(error + flow))), temperature_c


def _torque(viscosity_mpas: float) -> tuple[float, float]:
    """Return the fastest speed that keeps the torque below 85 %, and that torque."""
    factor = INSTRUMENTS[0].factor or math.nan
    for speed_rpm in _SPEEDS_RPM:
        torque_pct = 100.0 * viscosity_mpas * speed_rpm / (factor * 10_000.0)
        if torque_pct <= 85.0:
            break
    return speed_rpm, round(torque_pct, 1)


def _cup(tin: Tin, pull: Pull, viscosity_mpas: float) -> tuple[str, float] | None:
    """Return cup and seconds at every fourth reading, inside a cup's window of 20 to 100 s."""
    key = (tin.cell, pull.day)
    if key in PINNED_CUPS:
        return PINNED_CUPS[key]
    if tin.sealed or pulls(tin).index(pull) % 4:
        return None
    noise = float(draws("cup", *tin.cell, pull.day).normal(1.0, 0.03))
    for cup, (slope, offset) in _CUPS.items():
        seconds = (viscosity_mpas / tin.arm.density_g_ml / slope + offset) * noise
        if 20.0 <= seconds <= 98.0:
            return cup, round(seconds, 1)
    return None


def _mass_g(tin: Tin, pull: Pull, loss_pct: float) -> float:
    tare = float(draws("tare", *tin.cell).normal(46.0 if tin.arm.pack.startswith("lined") else 28.0, 0.3))
    scale = float(draws("scale", *tin.cell, pull.day).normal(0.0, 0.01))
    return round(tare + _FILL_ML * tin.arm.density_g_ml * (1.0 - loss_pct / 100.0) + scale, 2)


def _appearance(tin: Tin, state: Seen) -> str:
    told = {3: "sags, cuts and heals", 4: "gelled, deforms", 5: "hard gel, rings"}
    if state.gel_grade in told:
        return told[state.gel_grade]
    if tin.arm.key in ("A5", "A9"):
        gardner = 0.6 + 0.4 * max(state.ln_ratio, 0.0) / (0.19 if tin.arm.key == "A5" else 0.08)
        return f"clear, Gardner {gardner:.1f}"
    if tin.arm.key == "A7":
        return f"clear, Gardner {0.6 + state.gel_share:.1f}"
    return "clear, Gardner below 1" if tin.arm.key in ("A1", "A2", "A3") else "clear"


def _note(tin: Tin, pull: Pull, state: Seen) -> str | None:
    said = [WRITTEN_NOTES[tin.cell, pull.day]] if (tin.cell, pull.day) in WRITTEN_NOTES else []
    if pull.why in (Why.LATE, Why.MOVED, Why.EXTRA):
        said.append(f"{pull.why} pull, planned for day {pull.age_day}")
    ratio = 1.0 + 0.02 * state.ln_ratio + 0.5 * max(0.0, state.gel_share - 0.85)
    if tin.arm.key == "A7" and 1.015 < ratio < np.inf and state.gel_grade < 3:
        said.append(f"two-speed ratio {ratio:.2f}")
    return "; ".join(said) or None


def reading(tin: Tin, pull: Pull, state: Seen) -> ReadingTaken:
    """Return the reading as taken and entered a minute later; from grade 3 on there is no number."""
    taken = taken_at(tin, pull.day)
    found = ReadingTaken(
        sample=tin.code,
        taken_at=taken,
        gel_grade=state.gel_grade,
        operator="Jonas K." if pull.why is Why.LATE else "Mira O.",
        mass_g=_mass_g(tin, pull, state.loss_pct),
        appearance=_appearance(tin, state),
        note=_note(tin, pull, state),
        entered_at=instant(pull.day, minute=2 * tin.rank + 1),
    )
    if state.gel_grade >= 3:
        return found
    viscosity_mpas, temperature_c = _display(tin, pull, state)
    speed_rpm, torque_pct = _torque(viscosity_mpas)
    found = replace(
        found,
        viscosity_mpas=viscosity_mpas,
        temperature_c=temperature_c,
        instrument="VIS-1",
        spindle="S2",
        speed_rpm=speed_rpm,
        torque_pct=torque_pct,
    )
    if cup := _cup(tin, pull, viscosity_mpas):
        found = replace(found, cup=cup[0], efflux_s=cup[1], density_g_ml=tin.arm.density_g_ml)
    return found
