"""A study that only looks for gel, as rows that come in; all is invented.

Tins gel at given ages of their own, are looked at every week and not again once they have gelled.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from tests.fleet import day

GAS_CONSTANT_KJ = 8.314462618e-3
STORES = {"ROOM-23": 23.0, "OVN-40": 40.0, "OVN-50": 50.0}
SCATTER = (-0.16, 0.02, 0.11, -0.07)
"""Of ln(life), tin by tin."""


def gel_study(code: str = "G-01", *, target_days: float = 365, limits: str = "gel_grade = 3") -> str:
    """Return a study file without any viscosity limit."""
    return (
        f'code = "{code}"\ntitle = "invented"\ntarget_life_days = {target_days}\nstorage_c = 23.0\n'
        f'owner = "lena@lab.example"\n[limits]\n{limits}\n'
        "[plan.ROOM-23]\ndays = [0, 28, 56, 84]\nchecks = ['gel']\n"
    )


def gel_tins(*, stores: Sequence[str] = tuple(STORES), per_store: int = 4) -> list[dict[str, Any]]:
    """Return some tins per store."""
    return [
        {
            "sample": f"G-{store[-2:]}-{tin + 1}",
            "study": "G-01",
            "product": "Heron-A",
            "product_lot": "H-0417",
            "thinner": "xylene",
            "thinner_lot": "X-11",
            "level_pct": 20.0,
            "pack": "lined tin 250 mL",
            "store": store,
            "placed_at": day(0),
        }
        for store in stores
        for tin in range(per_store)
    ]


def gels_after(store: str, tin: int, *, life_days: float, energy: float = 75.0) -> float:
    """Return the age at which one tin gels in its store."""
    x = (1 / (STORES[store] + 273.15) - 1 / 296.15) / GAS_CONSTANT_KJ
    return life_days * math.exp(energy * x + SCATTER[tin % len(SCATTER)])


def gel_checks(tins: Sequence[dict[str, Any]], *, life_days: float, until: int) -> list[dict[str, Any]]:
    """Return weekly looks, each entered an hour after it."""
    rows = []
    for place, tin in enumerate(tins):
        gels = gels_after(tin["store"], place, life_days=life_days)
        last = min(until, 7 * math.ceil(gels / 7))
        for age in range(0, last + 1, 7):
            grade = 4 if age >= gels else 1 if age > 0.8 * gels else 0
            at = day(age)
            rows.append(
                {
                    "sample": tin["sample"],
                    "taken_at": at,
                    "gel_grade": grade,
                    "entered_at": at + timedelta(hours=1),
                }
            )
    return rows
