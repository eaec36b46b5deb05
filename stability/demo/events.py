"""The script: what goes wrong or is odd in the invented study, on which tin, and what was shown.

Values pinned here are read exactly as the script says; all others come out of the noise.
Viscosities mPa·s as displayed at the temperature beside them, °C.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "EVENTS",
    "NOISELESS_CURES",
    "PINNED_CUPS",
    "PINNED_FACTORS",
    "PINNED_READINGS",
    "WRITTEN_NOTES",
    "ScriptedEvent",
]

Cell = tuple[str, str, int]


@dataclass(frozen=True, slots=True)
class ScriptedEvent:
    """One event of the script: code, study day it shows itself, what happens, what ought to follow."""

    code: str
    day: int
    what: str
    follows: str


EVENTS = (
    ScriptedEvent("E1", 7, "A9 at 23 °C, tin 1: 4120 typed for 412", "doubted at entry, typed again"),
    ScriptedEvent(
        "E2", 14, "A5 at 50 °C, tin 2 read at 26.8 °C: 344 for about 403", "repeated next day: 408"
    ),
    ScriptedEvent("E3", 17, "OVN-50 at 63 °C for 38 h over a weekend", "dose cost 2.5 to 3.3 days per blend"),
    ScriptedEvent("E4", 28, "OVN-50 round of A3 and A9 missed", "read on day 33 by the stand-in, late"),
    ScriptedEvent("E4b", 49, "take-out of the OVN-50 round falls on Easter Monday", "round moved to day 50"),
    ScriptedEvent("E5", 21, "A7 at 50 °C shows 663, two-speed ratio 1.02", "bend; extra pulls at 40 °C"),
    ScriptedEvent("E6", 28, "A7 at 50 °C: tin 1 grade 3, tin 2 grade 4", "lost; day 35 grade 5"),
    ScriptedEvent("E7", 42, "A2 at 50 °C, tin 2 lost 2.3 % mass: 439 against 333", "set aside, cause: lid"),
    ScriptedEvent(
        "E8", 56, "23 °C readings of A5 and A8, tin 1, exchanged", "two linked corrections, day 57"
    ),
    ScriptedEvent("E9", 95, "OVN-40 was 41.6 °C at a display of 40.0 since day 60", "log re-based"),
    ScriptedEvent("E10", 84, "VIS-1 calibration lapsed until day 91, as found +0.8 %", "released by QA"),
    ScriptedEvent("E11", 112, "A4 at 23 °C: 28 s of CUP-5 entered as CUP-4", "refused; CUP-4 gives 87 s"),
    ScriptedEvent("E12", 112, "statement ST-01 on A2, 6 months", "refused on day 90, signed on day 112"),
    ScriptedEvent("E13", 112, "statement ST-02 on A5, 6 months to +50 %", "no longer carried after day 168"),
    ScriptedEvent("E14", 56, "A4 dries 1.43 times slower while its viscosity stands", "fluid but not curing"),
    ScriptedEvent("E15", 120, "no power at the daemon and the loggers for 61 h", "blind period told"),
    ScriptedEvent(
        "E16", 84, "A8 bends at 50 °C on day 49 and at 40 °C after day 70", "23 °C flat: a dated warning"
    ),
    ScriptedEvent(
        "E17", 150, "day-140 readings of A11 at 23 °C entered 10 days late", "accepted, both times shown"
    ),
    ScriptedEvent("E18", 168, "never-opened twins read", "A5 at 23 °C: opened tins about 4 % above the twin"),
)

PINNED_READINGS: dict[tuple[Cell, int], tuple[float, float]] = {
    (("A9", "ROOM-23", 1), 7): (412.0, 23.0),
    (("A5", "OVN-50", 2), 14): (344.0, 26.8),
    (("A5", "OVN-50", 2), 15): (408.0, 23.0),
    (("A7", "OVN-50", 2), 21): (663.0, 23.0),
    (("A2", "OVN-50", 1), 42): (333.0, 23.0),
    (("A2", "OVN-50", 2), 42): (439.0, 23.0),
    (("A5", "ROOM-23", 1), 56): (357.0, 23.0),
    (("A8", "ROOM-23", 1), 56): (246.0, 23.0),
    (("A4", "ROOM-23", 1), 112): (322.0, 23.0),
}
"""(tin, study day) → displayed viscosity and liquid temperature."""

PINNED_FACTORS: dict[Cell, float] = {("A7", "OVN-50", 1): 0.98, ("A7", "OVN-50", 2): 1.0}
"""Rate factors of tins whose gel day the script needs."""

PINNED_CUPS: dict[tuple[Cell, int], tuple[str, float]] = {(("A4", "ROOM-23", 1), 112): ("CUP-4", 87.0)}

NOISELESS_CURES = frozenset({("A4", "ROOM-23")})
"""The drying times of E14 stand at 1.24, 1.43 and 1.67 times the control without noise."""

WRITTEN_NOTES: dict[tuple[Cell, int], str] = {
    (("A5", "OVN-50", 2), 14): "liquid warm, read at 26.8 °C",
    (("A5", "OVN-50", 2), 15): "repeat of yesterday's warm reading, left on the bench overnight",
    (("A2", "OVN-50", 2), 42): "mass down 2.3 %, lid not pressed home; density up, refractive index down",
    (("A7", "OVN-50", 1), 28): "strings at the stir rod",
}
