"""Flow cups: efflux time to kinematic viscosity and back, inside each cup's window only.

Times are seconds, kinematic viscosities mm²/s. Equations: ISO 2431 (3, 4, 5, 6 mm), DIN 53211 4 mm (withdrawn
1996; its temperature, 20 or 23 °C, is disputed), ASTM D1200 (Ford 1–5), ASTM D4212 (Zahn 1–5 and Shell; Shell
2 is 0.576 here, one code table has 0.567), Tu-4 from instrument makers' pages. Outside its window a cup is
not extrapolated.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from stability.errors import InputError
from stability.units import significant

__all__ = ["CUPS", "Cup", "OwnCup", "cup_for", "cup_named", "efflux_s", "kinematic_viscosity"]


@dataclass(frozen=True, slots=True)
class Cup:
    """One cup: ν = slope·t − slope·offset − drag/t, valid from `shortest_s` to `longest_s`."""

    name: str
    slope: float
    offset_s: float
    drag: float
    shortest_s: float
    longest_s: float
    temperature_c: float
    source: str

    def viscosity(self, time_s: float) -> float:
        """Return the kinematic viscosity by the equation alone, whatever the window, [mm²/s]."""
        return self.slope * (time_s - self.offset_s) - self.drag / time_s

    def time(self, viscosity_mm2_s: float) -> float:
        """Return the efflux time by the exact inverse of the equation, [s]."""
        lifted = viscosity_mm2_s + self.slope * self.offset_s
        return (lifted + math.sqrt(lifted**2 + 4 * self.slope * self.drag)) / (2 * self.slope)

    def covers(self, viscosity_mm2_s: float) -> bool:
        """Say whether a viscosity falls into the cup's window."""
        return self.viscosity(self.shortest_s) <= viscosity_mm2_s <= self.viscosity(self.longest_s)


@dataclass(frozen=True, slots=True)
class OwnCup:
    """A cup of the laboratory: its name there, the standard cup it follows, its own calibration factor."""

    name: str
    follows: str
    factor: float = 1.0

    def viscosity(self, time_s: float) -> float:
        """Return the kinematic viscosity by the equation and the factor, whatever the window, [mm²/s]."""
        return cup_named(self.follows).viscosity(time_s) * self.factor

    def time(self, viscosity_mm2_s: float) -> float:
        """Return the efflux time of a kinematic viscosity, [s]."""
        return cup_named(self.follows).time(viscosity_mm2_s / self.factor)

    def covers(self, viscosity_mm2_s: float) -> bool:
        """Say whether a viscosity falls into the cup's window."""
        return cup_named(self.follows).covers(viscosity_mm2_s / self.factor)


def _quadratic(name: str, slope: float, drag: float, window: tuple[float, float], source: str) -> Cup:
    return Cup(name, slope, 0.0, drag, *window, 23.0, source)


def _linear(name: str, slope: float, offset: float, window: tuple[float, float], source: str) -> Cup:
    return Cup(name, slope, offset, 0.0, *window, 25.0, source)


_ISO, _FORD, _D4212 = "ISO 2431", "ASTM D1200", "ASTM D4212"
_ALL = (
    _quadratic("ISO 3", 0.443, 200, (30, 100), _ISO),
    _quadratic("ISO 4", 1.37, 200, (30, 100), _ISO),
    _quadratic("ISO 5", 3.28, 220, (30, 100), _ISO),
    _quadratic("ISO 6", 6.90, 570, (30, 100), _ISO),
    _quadratic("DIN 4", 4.57, 452, (25, 150), "DIN 53211, withdrawn 1996"),
    _linear("Ford 1", 0.49, 35.0, (55, 100), _FORD),
    _linear("Ford 2", 1.44, 18.0, (40, 100), _FORD),
    _linear("Ford 3", 2.31, 6.58, (20, 100), _FORD),
    _linear("Ford 4", 3.85, 4.49, (20, 100), _FORD),
    _linear("Ford 5", 12.1, 2.00, (20, 100), _FORD),
    _linear("Zahn 1", 1.1, 29, (35, 80), _D4212),
    _linear("Zahn 2", 3.5, 14, (20, 80), _D4212),
    _linear("Zahn 3", 11.7, 7.5, (20, 80), _D4212),
    _linear("Zahn 4", 14.8, 5, (20, 80), _D4212),
    _linear("Zahn 5", 23, 0, (20, 80), _D4212),
    _linear("Shell 1", 0.226, 13, (20, 80), _D4212),
    _linear("Shell 2", 0.576, 5, (20, 80), _D4212),
    _linear("Shell 2.5", 0.925, 3, (20, 80), _D4212),
    _linear("Shell 3", 1.51, 2, (20, 80), _D4212),
    _linear("Shell 3.5", 2.17, 1.5, (20, 80), _D4212),
    _linear("Shell 4", 3.45, 1, (20, 80), _D4212),
    _linear("Shell 5", 6.5, 1, (20, 80), _D4212),
    _linear("Shell 6", 16.2, 0.5, (20, 80), _D4212),
    _linear("Tu-4", 1 / 0.2231, 6, (23, 150), "instrument makers' pages (t = 0.2231 ν + 6)"),
)
CUPS: Mapping[str, Cup] = MappingProxyType({cup.name: cup for cup in _ALL})


def cup_named(name: str) -> Cup:
    """Return a cup by its name, whatever its case and blanks: "ISO 4", "ford4", "Shell 2.5", "Tu-4"."""
    wanted = _bare(name)
    found = next((cup for cup in _ALL if _bare(cup.name) == wanted), None)
    if found is None:
        family = next((cup.name.split()[0] for cup in _ALL if wanted.startswith(_bare(cup.name)[:3])), None)
        near = [cup.name for cup in _ALL if family and cup.name.startswith(family)] or ["ISO 4", "Ford 4"]
        raise InputError(f"no flow cup is called {name!r}", hint=f"known are {', '.join(near)}")
    return found


def cup_for(viscosity_mm2_s: float, own: Sequence[OwnCup], *, but: str | None = None) -> OwnCup | None:
    """Return the laboratory's cup that lands nearest the middle of its window, `but` one left out."""
    fit = [each for each in own if each.name != but and each.covers(viscosity_mm2_s)]
    return min(fit, key=lambda each: abs(each.time(viscosity_mm2_s) - 60), default=None)


def kinematic_viscosity(
    cup: str,
    time_s: float,
    *,
    factor: float = 1.0,
    own: Sequence[OwnCup] = (),
) -> float:
    """Return the kinematic viscosity of an efflux time, [mm²/s].

    `factor` is the cup's own calibration, the certified viscosity of an oil ÷ the one the equation gives. A
    time outside the window is refused, and the cup that would do is named: of the laboratory's `own`, else of
    the standard ones.

    >>> round(kinematic_viscosity("ISO 4", 60), 3)
    78.867
    """
    which = cup_named(cup)
    if not (math.isfinite(time_s) and time_s > 0):
        raise InputError(f"an efflux time is a positive number of seconds, got {time_s!r}")
    if not (math.isfinite(factor) and 0.5 < factor < 2):
        raise InputError(f"a cup's calibration factor lies near 1, got {factor!r}")
    # the Tu-4 window is open at its upper end; the others include both
    inside = which.shortest_s <= time_s <= which.longest_s and not (which.name == "Tu-4" and time_s == 150)
    if not inside:
        raise InputError(
            f"{time_s:g} s is outside the window of {which.name}, "
            f"{which.shortest_s:g} to {which.longest_s:g} s",
            hint=_better(which, time_s, own),
        )
    return which.viscosity(time_s) * factor


def efflux_s(cup: str, viscosity_mm2_s: float) -> float:
    """Return the efflux time of a kinematic viscosity, [s]; refused where it falls outside the window.

    >>> round(efflux_s("ISO 4", 50), 3)
    40.134
    """
    which = cup_named(cup)
    if not (math.isfinite(viscosity_mm2_s) and viscosity_mm2_s > 0):
        raise InputError(f"a kinematic viscosity is a positive number of mm²/s, got {viscosity_mm2_s!r}")
    if not which.covers(viscosity_mm2_s):
        low, high = which.viscosity(which.shortest_s), which.viscosity(which.longest_s)
        raise InputError(
            f"{viscosity_mm2_s:g} mm²/s is outside the window of {which.name}, "
            f"{significant(low)} to {significant(high)} mm²/s",
            hint=_that_covers(which, viscosity_mm2_s),
        )
    return which.time(viscosity_mm2_s)


def _better(cup: Cup, time_s: float, own: Sequence[OwnCup] = ()) -> str:
    estimate = cup.viscosity(time_s)
    direction = "smaller" if time_s < cup.shortest_s else "larger"
    if estimate <= 0:
        return f"take a {direction} orifice of the same family"
    here = cup_for(estimate, own)
    if here is not None:
        return f"{here.name} would take about {here.time(estimate):.0f} s"
    return _that_covers(cup, estimate)


def _that_covers(cup: Cup, viscosity_mm2_s: float) -> str:
    """Name the cup of the same family that would land nearest the middle of its window."""
    family = cup.name.split()[0]
    fit = [other for other in _ALL if other.name.split()[0] == family and other.covers(viscosity_mm2_s)]
    others = fit or [
        other for other in _ALL if other.name.startswith("ISO") and other.covers(viscosity_mm2_s)
    ]
    if not others:
        return "no cup of this family covers it: use the rotational viscometer"
    best = min(others, key=lambda other: abs(other.time(viscosity_mm2_s) - 60))
    return f"{best.name} would take about {best.time(viscosity_mm2_s):.0f} s"


def _bare(name: str) -> str:
    return "".join(sign for sign in name.casefold() if sign.isalnum() or sign == ".")
