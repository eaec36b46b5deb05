"""The life of tins that were only looked at: ln dose(E) at gelling = u + scale·z, with u = ln(median life).

    likelihood of a tin   F((ln dose_gelled(E) − u)/scale) − F((ln dose_fluid(E) − u)/scale)

The dose and its derivatives by E are those of each tin's own history; under constant storage this is the
classical regression of ln t on 1/T. Lives are days at the storage temperature, E [kJ/mol], x [mol/kJ].
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stability.ageing.lifetimes_gels import GelTins
from stability.ageing.lifetimes_likelihood import Family, standard_quantile
from stability.ageing.lifetimes_solver import Box, Problem, Solved, inverse, solve

__all__ = ["ENERGY", "LN_SHORTEST_LIFE", "SCALE", "GelFits", "GelOptions", "U", "fit_gels"]

Array = npt.NDArray[np.float64]

U, ENERGY, SCALE = 0, 1, 2
"""Columns of θ = (u, E, ln scale)."""
HELD_ENERGY = 75.0
"""E where one temperature stands alone, [kJ/mol]: it then weighs little more than the take-outs."""
ENERGIES = (0.0, 250.0)
SCALES = (0.02, 2.0)
"""Tins of one filling differ by more than 2 %, and by less than a factor of 7 either way (judgement, no
source): an edge that is reached is told."""
LN_SHORTEST_LIFE, LN_LONGEST = -10.0, 25.0
STARTS = ((75.0, 0.3), (45.0, 0.2), (110.0, 0.2))
"""E [kJ/mol] and scale of the searches."""
LOOSE = 30.0
"""Standard error of ln(scale) beyond which the lives do not tell of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GelOptions:
    """What is assumed in a fit of gels."""

    store_spread: float = 0.05
    """Spread of a store's log rate about the Arrhenius line, [–]; 0 gives the plain model."""
    energy: tuple[float, float] | None = None
    """A weak belief (mean, sd) about E, [kJ/mol], for alerts only."""
    reml: bool = True
    """Whether the scale makes up for what β costs; False: maximum likelihood."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GelFits:
    """Fits of P blends by one family; whether a row may be believed is for `gel_lives` to say."""

    tins: GelTins
    options: GelOptions
    problem: Problem
    solved: Solved
    covariance: Array
    """Of θ, (P, 3, 3); rows of what was held or is at an edge are zero."""
    energy_estimated: npt.NDArray[np.bool_]
    gelled: npt.NDArray[np.intp]
    """Tins that have gelled, (P,)."""
    se_stores: Array
    """What departures of stores from the Arrhenius line add to the standard error of u, (P,)."""

    @property
    def family(self) -> Family:
        """How lives scatter."""
        return self.problem.family

    @property
    def u(self) -> Array:
        """Logarithm of the median life in days at the storage temperature, (P,)."""
        return self.solved.theta[:, U]

    @property
    def energy(self) -> Array:
        """Activation energy used, [kJ/mol], (P,)."""
        return self.solved.theta[:, ENERGY]

    @property
    def energy_se(self) -> Array:
        """Standard error of the energy, 0 where it was held or is at an edge, (P,)."""
        return np.sqrt(np.maximum(self.covariance[:, ENERGY, ENERGY], 0.0))

    @property
    def sigma(self) -> Array:
        """Spread of ln(life) from tin to tin, (P,)."""
        return np.exp(self.solved.theta[:, SCALE])

    @property
    def se_u(self) -> Array:
        """Standard error of u, stores included, (P,)."""
        return np.sqrt(np.maximum(self.covariance[:, U, U], 0.0) + self.se_stores**2)

    @property
    def df(self) -> npt.NDArray[np.intp]:
        """Degrees of freedom ν: gelled tins less what β costs (a believed energy costs nothing), (P,)."""
        costs = self.energy_estimated if self.options.energy is None else np.zeros_like(self.energy_estimated)
        return np.asarray(self.gelled - 1 - costs)

    @property
    def energy_at_edge(self) -> npt.NDArray[np.bool_]:
        """Whether the energy lies on the box, (P,)."""
        energy = self.energy
        edge = (energy <= ENERGIES[0]) | (energy >= ENERGIES[1])
        return np.asarray(edge & self.energy_estimated)

    @property
    def log_likelihood(self) -> Array:
        """Of the tins, without belief and without what REML adds, (P,)."""
        theta, box = self.solved.theta, self.problem.box
        off = ((theta - box.believed) ** 2 * box.precision).sum(axis=1) / 2.0
        return np.asarray(self.solved.value + off - box.lost * theta[:, SCALE])


def fit_gels(tins: GelTins, family: Family = Family.LOGNORMAL, options: GelOptions | None = None) -> GelFits:
    """Fit many blends of which only the gel was looked for.

    Parameters
    ----------
    tins : GelTins
        From `assemble_gels`.
    family : Family
        How lives scatter from tin to tin.
    options : GelOptions
        Store spread, belief in an energy, REML or ML.

    Notes
    -----
    With REML, (number of β)·ln(scale) is added to ln L: exact for lives seen exactly, and where many tins gel
    in the same week it keeps the scale from vanishing. Of several starts in E the best is kept.
    """
    options = options or GelOptions()
    estimated = tins.temperatures >= 2
    problem = Problem(
        family=family,
        seen=tins.seen,
        weight=tins.weight,
        ends=tins.ends,
        box=_box(options, estimated),
        z_at=float(standard_quantile(family, 0.5)),
    )
    solved = _best(problem, [_start(problem, energy, scale) for energy, scale in STARTS])
    both = solved.free[:, :, np.newaxis] & solved.free[:, np.newaxis, :]
    found, _ = inverse(np.where(both, solved.hessian, np.eye(3)))
    covariance = np.where(both, found, 0.0)
    return GelFits(
        tins=tins,
        options=options,
        problem=problem,
        solved=solved,
        covariance=covariance,
        energy_estimated=estimated,
        gelled=tins.gelled.sum(axis=1),
        se_stores=_se_of_stores(tins, problem, solved, covariance, options.store_spread),
    )


def _box(options: GelOptions, estimated: npt.NDArray[np.bool_]) -> Box:
    box = Box.wide(estimated.size, 2, scale=SCALES)
    box.least[:, U], box.most[:, U] = LN_SHORTEST_LIFE, LN_LONGEST
    box.least[:, ENERGY], box.most[:, ENERGY] = ENERGIES
    lost = np.ones(estimated.size) if options.reml else np.zeros(estimated.size)
    if options.energy is None:
        box.least[~estimated, ENERGY] = box.most[~estimated, ENERGY] = HELD_ENERGY
        lost = np.where(estimated, 2.0 * lost, lost)
    else:
        box.believed[:, ENERGY] = options.energy[0]
        box.precision[:, ENERGY] = options.energy[1] ** -2.0
    return replace(box, lost=lost)


def _start(problem: Problem, energy: float, scale: float) -> Array:
    """Return θ with u through rough lives: the middle of an interval, or a little beyond a bound."""
    count = problem.weight.shape[0]
    theta = np.zeros((count, 3))
    theta[:, ENERGY], theta[:, SCALE] = energy, np.log(scale)
    r = problem.ends.at(theta[:, :SCALE], np.arange(count))
    seen = problem.seen
    y = np.where(seen.low & seen.high, (r.low + r.high) / 2.0, np.where(seen.high, r.high - 0.3, r.low + 0.3))
    w = problem.weight * np.where(seen.high, 1.0, np.where(seen.low, 0.3, 0.0))
    total = w.sum(axis=1)
    theta[:, U] = (w * y).sum(axis=1) / np.where(total > 0.0, total, 1.0)
    return theta


def _best(problem: Problem, starts: list[Array]) -> Solved:
    """Return the highest of several searches; of equals the first."""
    best = solve(problem, starts[0])
    for start in starts[1:]:
        other = solve(problem, start)
        higher = other.value > best.value + 1e-9
        if higher.any():
            best = _either(higher, other, best)
    return best


def _either(choose: npt.NDArray[np.bool_], one: Solved, other: Solved) -> Solved:
    parts = []
    for name in Solved.__slots__:
        a, b = getattr(one, name), getattr(other, name)
        parts.append(np.where(choose.reshape(-1, *[1] * (a.ndim - 1)), a, b))
    return Solved(*parts)


def _se_of_stores(
    tins: GelTins, problem: Problem, solved: Solved, covariance: Array, store_spread: float
) -> Array:
    """Return what departures γ_k ~ N(0, τ²) of the stores' log rates add to u − γ_storage, to first order.

    A departure moves every ln dose of its store, as a shift of u there would: du/dγ_k = Σ_j C_uj·I^(k)_ju
    with the information I^(k) of that store's tins. Where no store stands at the storage temperature, γ
    there is one more draw.
    """
    count = problem.weight.shape[0]
    home = tins.storage_store
    total = np.where(home < 0, 1.0, 0.0)
    every = np.arange(count)
    for k in range(max((len(names) for names in tins.stores), default=0)):
        own = replace(
            problem,
            weight=problem.weight * (tins.store == k),
            box=replace(problem.box, precision=np.zeros_like(problem.box.precision)),
        )
        information = -own.derivatives(solved.theta, every).hessian
        moved = (covariance[:, U] * information[:, :, U]).sum(axis=1)
        total = total + (moved - (home == k)) ** 2
    return store_spread * np.sqrt(total)
