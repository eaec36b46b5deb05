"""Water, methoxy and the gel point: the arithmetic of 2 Si-OMe + H2O → Si-O-Si + 2 MeOH.

Water and methoxy are ppm by mass and mmol/g of the blend or the binder as named, methanol grams.
"""

from __future__ import annotations

import math

from stability.errors import InputError

__all__ = [
    "METHANOL_G_MOL",
    "WATER_G_MOL",
    "gel_conversion",
    "gel_water_ppm",
    "methanol_g",
    "methoxy_used_mmol",
    "scavenger_capacity_ppm",
    "thinner_water_ppm",
    "water_mmol",
]

WATER_G_MOL = 18.015
METHANOL_G_MOL = 32.042


def water_mmol(water_g: float) -> float:
    """Return grams of water as mmol.

    >>> round(water_mmol(0.5), 3)
    27.755
    """
    return 1000 * water_g / WATER_G_MOL


def methoxy_used_mmol(water_g: float) -> float:
    """Return the methoxy that water can consume, [mmol]: two per siloxane bridge, one water each.

    >>> round(methoxy_used_mmol(0.5), 2)
    55.51
    """
    return 2 * water_mmol(water_g)


def methanol_g(water_g: float, *, condensed: bool = True) -> float:
    """Return the methanol that water sets free, [g]: two per water, or one where silanol is left.

    >>> round(methanol_g(1.0), 5)
    3.55726
    """
    return (2 if condensed else 1) * water_g / WATER_G_MOL * METHANOL_G_MOL


def gel_conversion(functionality: int) -> float:
    """Return the ideal conversion at the gel point of one self-condensing monomer, 1/(f − 1).

    Flory 1953 ch. IX; Stockmayer, J. Chem. Phys. 11 (1943) 45. Real systems gel later: rings, and groups on
    one silicon that are not independent.

    >>> gel_conversion(9)
    0.125
    """
    if functionality < 3:
        raise InputError(f"a network needs 3 reactive groups per molecule or more, got {functionality}")
    return 1 / (functionality - 1)


def gel_water_ppm(methoxy_mmol_g: float, functionality: int) -> float:
    """Return the water that takes a binder to its ideal gel point, [ppm of what the methoxy refers to].

    >>> round(gel_water_ppm(4.5, 9))
    5067
    """
    if not (math.isfinite(methoxy_mmol_g) and methoxy_mmol_g > 0):
        raise InputError(f"methoxy is a positive number of mmol/g, got {methoxy_mmol_g!r}")
    return 1000 * gel_conversion(functionality) * methoxy_mmol_g / 2 * WATER_G_MOL


def thinner_water_ppm(water_ppm: float, level_pct: float) -> float:
    """Return what a thinner's water makes in the blend, [ppm].

    >>> thinner_water_ppm(1000, 20)
    200.0
    """
    return water_ppm * level_pct / 100


def scavenger_capacity_ppm(level_pct: float, *, molar_mass_g_mol: float, water_per_mol: float) -> float:
    """Return the water a scavenger can take up, [ppm of the blend].

    A trimethoxysilane takes 1.5 mol if it ends as siloxane, 3 if as silanol; an orthoformate takes 1.

    >>> round(scavenger_capacity_ppm(1, molar_mass_g_mol=148.233, water_per_mol=1.5))
    1823
    """
    return 1e4 * level_pct / molar_mass_g_mol * water_per_mol * WATER_G_MOL
