"""Readings and limit of a blend as a fit takes them, whether it is one lot or several together.

Ages [d]; ln η in the arrays.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import sqlalchemy as sa

from stability.ageing.arrays import BlendReadings, assemble
from stability.ageing.fit import FitOptions, Limit
from stability.ageing.lots import LotTest, lot_test, with_levels
from stability.services.blends import AT_STORAGE_C, Blend
from stability.services.lots import lot_numbers
from stability.services.tins import Climate, tins_of

if TYPE_CHECKING:
    from stability.settings import FitSettings

__all__ = ["as_fitted", "assumed_by", "ends_of", "limit_of", "lots_compared", "real_times_days"]


def limit_of(blend: Blend) -> Limit | None:
    """Return the viscosity limit that is reached first; None where the study has none."""
    limits = blend.study.limits
    ratio, absolute = limits.get("viscosity_ratio"), limits.get("viscosity_max_mpas")
    initial = blend.initial_mpas()
    if ratio is not None and absolute is not None and initial is not None:
        return Limit(ratio=ratio) if ratio * initial <= absolute else Limit(viscosity_mpas=absolute)
    if ratio is not None:
        return Limit(ratio=ratio)
    return None if absolute is None else Limit(viscosity_mpas=absolute)


def ends_of(blend: Blend, options: FitSettings) -> Limit:
    """Return the limit that is reached first, or what counts as gelled where the study has none."""
    return limit_of(blend) or Limit(ratio=options.gel_ratio)


def assumed_by(options: FitSettings) -> FitOptions:
    """Return what a fit assumes by the settings of the house."""
    return FitOptions(store_spread=options.store_spread, opening_spread=options.opening_spread_pct / 100)


def as_fitted(blend: Blend, data: BlendReadings, limit: Limit) -> BlendReadings:
    """Return the readings as a fit takes them: lots that stand together keep a day-0 level each."""
    if blend.key.product_lot is not None or limit.ratio is None:
        # an absolute limit hangs on the level: lots stand together only where that is one
        return data
    return with_levels(data, lot_numbers(blend, data.samples))


def lots_compared(
    blend: Blend, surroundings: Climate, connection: sa.Connection, options: FitSettings
) -> LotTest:
    """Test whether the lots of a blend may stand together."""
    tins = tins_of(blend, surroundings, connection, gel_ratio=options.gel_ratio)
    data = assemble(tins, blend.study.storage_c)
    # lots begin on days of their own: what a day does to its readings is no difference of lots
    assumed = replace(assumed_by(options), day_spread=options.day_bias_pct / 100 or None)
    return lot_test(data, lot_numbers(blend, data.samples), ends_of(blend, options), assumed)


def real_times_days(blend: Blend, data: BlendReadings) -> list[float]:
    """Return the longest age read at the storage temperature, for each lot, [d]."""
    if not data.samples:
        return [0.0]
    near = (np.abs(data.store_temperature_c - blend.study.storage_c) <= AT_STORAGE_C)[data.store]
    lots = np.array(lot_numbers(blend, data.samples), dtype=np.intp)[data.tin]
    return [float(data.age_days[near & (lots == lot)].max(initial=0.0)) for lot in np.unique(lots)]
