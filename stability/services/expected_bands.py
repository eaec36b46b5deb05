"""What further readings of each tin are expected to show: kept with a forecast, read at the bench.

Ages [d] since a tin was placed; expectations in ln(mPa·s) with their spread.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from stability.ageing.arrays import BlendReadings
from stability.ageing.fit import Fit
from stability.ageing.outlook import expected_band_knots, widening
from stability.records.climate import epoch_days
from stability.services.blends import Blend

__all__ = ["expected_bands"]

BAND_AGES_DAYS = (0.0, 1.0, 3.0, 7.0, 14.0, 21.0, 28.0, 42.0, 56.0, 84.0, 112.0, 168.0, 252.0, 365.0)
"""How far after its last reading a tin's expected band reaches, [d]."""
WIDEST_BAND_SD = 1.0
"""A band that spans a factor of twenty either way expects nothing, in ln of viscosity."""


def expected_bands(
    blend: Blend, found: Fit, data: BlendReadings, *, day_bias: float
) -> dict[int, Sequence[tuple[float, float, float]]]:
    """Return the bands of a blend's tins by sample id; `day_bias` is the spread of days in ln η."""
    if not found.ok:
        return {}
    bands: dict[int, Sequence[tuple[float, float, float]]] = {}
    places = {name: place for place, name in enumerate(data.samples)}
    wider = widening(found)
    for sample in blend.samples:
        last = max((r.taken_at for r in blend.readings.get(sample.id, ())), default=sample.placed_at)
        if sample.ended_at is not None or sample.sample not in places:
            continue
        start = epoch_days(last) - epoch_days(sample.placed_at)
        ages = [start + step for step in BAND_AGES_DAYS]
        knots = expected_band_knots(found, places[sample.sample], ages)
        # readers of a band take the normal quantile: what Student's t adds for few readings is in the spread
        told = [
            (age, mean, wider * math.hypot(sd, day_bias)) for age, mean, sd in knots if sd <= WIDEST_BAND_SD
        ]
        if len(told) > 1:
            bands[sample.id] = told
    return bands
