"""The thirteen invented blends (fifteen with the extra lots) and how each really behaves.

Viscosities mPa·s at 23 °C, rates per day, energies kJ/mol, levels % by mass.
All names and numbers are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from stability.demo.kinetics import Autocatalytic, Growth, Kinetics, Lagged, Term

__all__ = ["ARMS", "CATALYSED", "TIN", "UNCATALYSED", "Arm", "Drying", "arm"]

CATALYSED = "Heron-A"
UNCATALYSED = "Heron"
TIN = "lined tin 250 mL"
_BOTTLE = "HDPE bottle 250 mL"
_LOT = "H-0417"


@dataclass(frozen=True, slots=True)
class Drying:
    """How the through-dry time changes, as a factor on the day-0 control.

    × (1 + drift·t) × (1 + exchange·(1 − e^−kt)) × (amine left)^−0.6 × (1 − quicker·u); `exchanging` and
    `amine_loss` are the rates k of their own.
    """

    drift_per_day: float = 0.0
    exchanging: Term | None = None
    amine_loss: Term | None = None
    quicker: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Arm:
    """One blend: what the records call it, how it ages, where its tins stand and when it starts."""

    key: str
    product: str = CATALYSED
    product_lot: str = _LOT
    thinner: str | None
    thinner_lot: str | None
    level_pct: float = 20.0
    additive: str | None = None
    additive_pct: float | None = None
    pack: str = TIN
    initial_mpas: float
    density_g_ml: float
    flow_energy_kj_mol: float = 32.0
    ester: bool = False
    kinetics: Kinetics
    drying: Drying
    stores: tuple[str, ...]
    start_day: int = 0


def _stores(*temperatures_c: int) -> tuple[str, ...]:
    names = {5: "FRG-5", 23: "ROOM-23", 40: "OVN-40", 50: "OVN-50", 60: "OVN-60"}
    return tuple(names[t] for t in temperatures_c)


def _growth(*terms: tuple[float, float]) -> Growth:
    return Growth(tuple(Term(per_day, energy) for per_day, energy in terms))


def _times(growth: Growth, factor: float) -> Growth:
    return Growth(tuple(replace(term, per_day=term.per_day * factor) for term in growth.terms))


_STABLE = Drying(drift_per_day=0.0002)
_AMINE_LOST = Drying(amine_loss=Term(0.0022, 20.0))
_A2_GROWTH = _growth((2.2e-4, 64.0))
_A5_GROWTH = _growth((1.35e-3, 76.0), (0.55e-3, 38.0))

_A2 = Arm(
    key="A2", thinner="xylene", thinner_lot="X-11", initial_mpas=310.0, density_g_ml=0.985,
    kinetics=_A2_GROWTH, drying=_STABLE, stores=_stores(5, 23, 40, 50, 60),
)  # fmt: skip
_A5 = Arm(
    key="A5", thinner="1-methoxy-2-propyl acetate", thinner_lot="M-03", initial_mpas=320.0,
    density_g_ml=1.012, ester=True, kinetics=_A5_GROWTH, drying=_AMINE_LOST,
    stores=_stores(5, 23, 40, 50, 60),
)  # fmt: skip


def _later_lot(base: Arm, key: str, initial_mpas: float, kinetics: Growth) -> Arm:
    """Return a blend of a further product lot, started on study day 28 at two temperatures only."""
    return replace(
        base,
        key=key,
        product_lot=f"H-{key[-4:]}",
        initial_mpas=initial_mpas,
        kinetics=kinetics,
        stores=_stores(23, 50),
        start_day=28,
    )


ARMS = (
    Arm(
        key="A1", thinner=None, thinner_lot=None, level_pct=0.0, initial_mpas=3400.0, density_g_ml=1.045,
        flow_energy_kj_mol=58.0, kinetics=_growth((1.6e-4, 62.0)), drying=_STABLE,
        stores=_stores(5, 23, 40, 50),
    ),
    _A2,
    Arm(
        key="A3", thinner="light aromatic naphtha", thinner_lot="N-04", initial_mpas=365.0,
        density_g_ml=0.988, kinetics=_growth((2.0e-4, 64.0)), drying=_STABLE, stores=_stores(23, 40, 50),
    ),
    Arm(
        key="A4", thinner="1-methoxy-2-propanol", thinner_lot="P-08", initial_mpas=330.0,
        density_g_ml=1.013, kinetics=Growth((Term(1.5e-4, 60.0),), fall=0.04),
        drying=Drying(exchanging=Term(0.010, 55.0)), stores=_stores(23, 40, 50),
    ),
    _A5,
    replace(
        _A5, key="A6", pack=_BOTTLE, kinetics=Growth((*_A5_GROWTH.terms, Term(1.6e-3, 35.0))),
        stores=_stores(23, 40, 50, 60),
    ),
    Arm(
        key="A7", thinner="n-propyl acetate", thinner_lot="R-19", initial_mpas=240.0, density_g_ml=0.998,
        ester=True, kinetics=Autocatalytic(Term(1.0 / 27.0, 78.0, at_c=50.0)),
        drying=Drying(quicker=0.15), stores=_stores(5, 23, 40, 50, 60),
    ),
    Arm(
        key="A8", thinner="n-propyl acetate", thinner_lot="R-26", additive="vinyltrimethoxysilane",
        additive_pct=1.0, initial_mpas=245.0, density_g_ml=0.998, ester=True,
        kinetics=Lagged(Term(1.0 / 40.0, 45.0, at_c=50.0), Term(0.030, 74.0, at_c=50.0)),
        drying=Drying(amine_loss=Term(0.0012, 20.0)), stores=_stores(23, 40, 50, 60),
    ),
    Arm(
        key="A9", thinner="ethyl 3-ethoxypropionate", thinner_lot="E-02", initial_mpas=410.0,
        density_g_ml=1.009, ester=True, kinetics=_growth((0.8e-3, 70.0)), drying=_AMINE_LOST,
        stores=_stores(23, 40, 50),
    ),
    Arm(
        key="A10", product=UNCATALYSED, product_lot="H-0390", thinner="n-propyl acetate",
        thinner_lot="R-19", initial_mpas=235.0, density_g_ml=0.997, ester=True,
        kinetics=_growth((4.0e-4, 66.0)), drying=_STABLE, stores=_stores(23, 50),
    ),
    replace(
        _A5, key="A11", level_pct=10.0, initial_mpas=900.0, density_g_ml=1.028, flow_energy_kj_mol=45.0,
        kinetics=_growth((0.75e-3, 76.0), (0.30e-3, 38.0)), stores=_stores(23, 50),
    ),
    _later_lot(_A5, "A12-0442", 318.0, _times(_A5_GROWTH, 1.22)),
    _later_lot(_A5, "A12-0468", 327.0, _times(_A5_GROWTH, 0.91)),
    _later_lot(_A2, "A13-0442", 306.0, _times(_A2_GROWTH, 1.08)),
    _later_lot(_A2, "A13-0468", 316.0, _times(_A2_GROWTH, 0.94)),
)  # fmt: skip

_BY_KEY = {one.key: one for one in ARMS}


def arm(key: str) -> Arm:
    """Return the blend of a key such as `A5` or `A12-0442`."""
    return _BY_KEY[key]
