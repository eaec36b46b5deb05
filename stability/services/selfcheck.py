"""The calculation checked against an answer known beforehand: a small invented blend with a plain law.

Its life is 300 days at 23 °C, its activation energy 75 kJ/mol, its readings are off by one per cent in turn.
"""

from __future__ import annotations

import math
from typing import Any

__all__ = ["calculation_fault"]

_LIFE_DAYS, _ENERGY_KJ_MOL, _INITIAL_MPAS, _STORAGE_C = 300.0, 75.0, 400.0, 23.0
_STORES = {23.0: (0, 56, 112, 168), 40.0: (0, 28, 56, 84), 50.0: (0, 14, 28, 42), 60.0: (0, 7, 14, 21)}


def calculation_fault() -> str | None:
    """Return what is wrong with the calculation on this machine, or None."""
    from stability.ageing.arrays import TinHistory, assemble
    from stability.ageing.bounds import life
    from stability.ageing.dose import inverse_temperature
    from stability.ageing.fit import fit
    from stability.ageing.model import Limit
    from stability.ageing.result import FitOptions

    tins = []
    for celsius, ages in _STORES.items():
        x = float(inverse_temperature(celsius, _STORAGE_C))
        faster = math.exp(-_ENERGY_KJ_MOL * x)
        for twin in (1, 2):
            readings = [
                _INITIAL_MPAS * 2 ** (age * faster / _LIFE_DAYS) * (1 + 0.01 * (-1) ** (place + twin))
                for place, age in enumerate(ages)
            ]
            tins.append(
                TinHistory(
                    sample=f"{celsius:g}-{twin}",
                    store=f"{celsius:g}",
                    temperature_c=celsius,
                    ages_days=ages,
                    viscosities_mpas=readings,
                    days=_column([float(age) for age in ages]),
                    x=_column([x] * len(ages)),
                )
            )
    options = FitOptions(store_spread=0.0, fixed={"m": 0.0, "b": 0.0})
    found = life(fit(assemble(tins, _STORAGE_C), Limit(ratio=2.0), options))
    days, lower = found.life_days, found.life_days_lower95
    if days is None or lower is None or not 0.98 < days / _LIFE_DAYS < 1.02 or not 0.85 * days < lower < days:
        return f"the known blend of 300 days came out as {days} days, at least {lower}"
    return None


def _column(values: list[float]) -> Any:
    import numpy as np

    return np.array(values)[:, None]
