"""What the other readings of a blend expect of each one: for readings that no kept forecast spoke of.

Loaded only when a blend must be fitted for it. Ages are days since the tin was placed; bands of ln(mPa·s).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING

import sqlalchemy as sa

from stability.ageing.arrays import assemble
from stability.ageing.fit import fit
from stability.ageing.linear import deletions
from stability.ageing.outlook import widening
from stability.bench.plausible import Band
from stability.services.blends import Blend
from stability.services.lots_fitted import assumed_by, ends_of
from stability.services.tins import load_climate, tins_of

if TYPE_CHECKING:
    from stability.settings import FitSettings

__all__ = ["bands_of_the_others"]


def bands_of_the_others(
    connection: sa.Connection, blend: Blend, *, as_of: datetime, options: FitSettings
) -> Mapping[tuple[str, float], Band]:
    """Return the band of every measured reading by (sample, age in days), from the fit without it.

    Empty where the readings do not carry a fit.
    """
    climate = load_climate(connection, blend.study.code, as_of=as_of, gap_days=options.logger_gap_hours / 24)
    tins = tins_of(blend, climate, connection, gel_ratio=options.gel_ratio)
    if not tins:
        return {}
    found = fit(assemble(tins, blend.study.storage_c), ends_of(blend, options), assumed_by(options))
    if not found.ok:
        return {}
    left_out, wider = deletions(found), widening(found)
    day_bias = options.day_bias_pct / 100
    rows = zip(
        found.data.tin, found.data.age_days, left_out.expected, left_out.sd, found.data.measured, strict=True
    )
    return {
        (found.data.samples[int(tin)], round(float(age), 6)): Band(
            float(mean), wider * math.hypot(float(sd), day_bias)
        )
        for tin, age, mean, sd, measured in rows
        if measured
    }
