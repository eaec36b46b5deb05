"""Drying of the aged blends: 60 µm wet films at 23 °C and three humidities.

Through-dry times in hours; the factor on the day-0 control follows the blend's own history. Invented.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from stability.demo.acts import CureMeasured
from stability.demo.arms import Drying
from stability.demo.draws import draws
from stability.demo.events import NOISELESS_CURES
from stability.demo.kinetics import Floats, Path
from stability.demo.measure import Seen, tin_path
from stability.demo.schedule import CURE_DAYS, Pull, Tin, Why, taken_at
from stability.demo.stage import age_days

__all__ = ["CONTROL_HOURS", "cures", "drying_factor"]

CONTROL_HOURS = {30.0: 4.4, 50.0: 2.7, 75.0: 1.9}
"""Through-dry time of a fresh film at each humidity [%], [h]."""

_FILM_UM = 60.0
_NOISE = 0.06


def drying_factor(drying: Drying, path: Path, at_days: Floats, gel_share: Floats) -> Floats:
    """Return the through-dry time as a multiple of the day-0 control."""
    factor = 1.0 + drying.drift_per_day * (at_days - path.edges_days[0])
    if drying.exchanging is not None:
        exchanged = path.since_start(drying.exchanging.rate(path.temperature_c), at_days)
        factor = factor * (1.0 - np.expm1(-exchanged))
    if drying.amine_loss is not None:
        lost = path.since_start(drying.amine_loss.rate(path.temperature_c), at_days)
        factor = factor * np.exp(0.6 * lost)
    found: Floats = factor * (1.0 - drying.quicker * np.minimum(gel_share, 1.0))
    return found


def cures(tin: Tin, pull: Pull, state: Seen) -> tuple[CureMeasured, ...]:
    """Return the drying tests of one pull, known when the film was through; none once it cannot be drawn."""
    planned = pull.age_day in CURE_DAYS.get(tin.store, ()) and pull.why in (Why.PLANNED, Why.LATE)
    if tin.replicate != 1 or not planned or state.gel_grade >= 3:
        return ()
    cast_at = taken_at(tin, pull.day)
    at_days, share = np.array([age_days(cast_at)]), np.array([state.gel_share])
    factor = float(drying_factor(tin.arm.drying, tin_path(tin), at_days, share)[0])
    if pull.age_day == 0:
        factor = 1.0
    noiseless = tin.cell[:2] in NOISELESS_CURES
    noise = draws("cure", *tin.cell, pull.day).normal(0.0, 0.0 if noiseless else _NOISE, len(CONTROL_HOURS))
    hours = [
        round(h * factor * float(np.exp(e)), 2) for h, e in zip(CONTROL_HOURS.values(), noise, strict=True)
    ]
    return tuple(
        CureMeasured(
            sample=tin.code,
            taken_at=cast_at,
            humidity_pct=humidity,
            film_um=_FILM_UM,
            dry_through_h=through,
            operator="Jonas K." if pull.why is Why.LATE else "Mira O.",
            note="gel specks" if state.gel_share > 0.7 else None,
            entered_at=cast_at + timedelta(hours=through, minutes=15),
        )
        for humidity, through in zip(CONTROL_HOURS, hours, strict=True)
    )
