"""The linear mixed model at a fit: what each store says on its own, and how each reading lies to the rest.

At the fit the curve is replaced by its tangent; V = σ²(I + ρ·z z′) per tin is known. Extra columns can then
be tried, and a reading can be left out, without fitting anew. ln η throughout; lives in ln(days).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stability.ageing.model import ENERGY, LIFE, NAMES
from stability.ageing.normal_equations import Linearised
from stability.ageing.result import Fit

__all__ = ["Deletion", "StoreLife", "Tangent", "deletions", "store_columns", "store_lives", "tangent"]

Array = npt.NDArray[np.float64]


_FEW = 100_000
"""Tins × readings up to which one product of matrices is quicker than sums column by column."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tangent:
    """The linearised model of a fit, one row per reading."""

    columns: Array
    """∂f/∂θ of all parameters, (n, p)."""
    by_rate: Array
    """∂f/∂ln(rate), z, (n,)."""
    target: Array
    """r + z·β + (added columns)·δ: what is to be explained once the fitted curve is taken off, (n,)."""
    weight: Array
    """1 for a measured reading, less for a censored one, (n,)."""
    tin: npt.NDArray[np.intp]
    """(n,)."""
    square: Array
    """z′z of each tin, (K,)."""
    variance: float
    """σ²."""
    ratio: float
    """ρ."""
    count: float
    """Readings that speak of σ."""
    precision: Array
    """Believed of each parameter, (p,)."""
    open_columns: npt.NDArray[np.bool_]
    """Free parameters of (a, u, E, m, b), (p,)."""
    own: npt.NDArray[np.bool_]
    """Those, and what adds to ln η by itself: openings, steps; neither stores nor days, (p,)."""

    @property
    def base(self) -> Array:
        """Columns that any test holds, (n, k)."""
        return self.columns[:, self.own]

    @property
    def base_penalty(self) -> Array:
        """σ² × precision believed of them, (k,)."""
        return self.variance * self.precision[self.own]

    def per_tin(self, weighted: Array) -> Array:
        """Return z′ times weighted columns (n, k) for each tin, (K, k)."""
        tins = self.square.size
        if tins * self.tin.size <= _FEW:
            own = (self.tin == np.arange(tins)[:, np.newaxis]) * self.by_rate
            return np.asarray(own @ weighted)
        sums = [np.bincount(self.tin, weights=self.by_rate * column, minlength=tins) for column in weighted.T]
        return np.stack(sums, axis=1)

    def solved(self, columns: Array, ratio: float) -> Array:
        """Return V⁻¹ times columns (n, k), tin by tin in closed form."""
        weighted = columns * self.weight[:, np.newaxis]
        kappa = ratio / (1.0 + ratio * self.square)
        taken = (kappa[:, np.newaxis] * self.per_tin(weighted))[self.tin]
        return np.asarray((weighted - (self.weight * self.by_rate)[:, np.newaxis] * taken) / self.variance)

    def precision_diagonal(self) -> Array:
        """Return the diagonal of V⁻¹, (n,)."""
        kappa = self.ratio / (1.0 + self.ratio * self.square)
        return np.asarray((self.weight - kappa[self.tin] * (self.weight * self.by_rate) ** 2) / self.variance)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreLife:
    """The life that one store's tins show by themselves, under the shape common to all."""

    store: str
    temperature_c: float
    ln_life: float
    """At the store's own temperature, ln(days)."""
    se: float


@dataclass(frozen=True, slots=True)
class Deletion:
    """Every reading against the fit of all the others, (n,) each."""

    expected: Array
    """ln η that the others predict."""
    sd: Array
    """Spread of that prediction for one more reading."""
    studentised: Array
    """(reading − expected)/sd, with σ from the others."""
    df: int


def tangent(fit: Fit) -> Tangent:
    """Return the linearised model at a fit with numbers."""
    work = fit.workings
    if work is None:
        raise ValueError("a fit without numbers has no tangent")
    at, model = work.solution, work.model
    lin: Linearised = model.linearised(at.theta, at.effects, np.sqrt(work.spreads.variance))
    n, tins = fit.data.tin.size, len(fit.data.samples)
    columns, z, weight = lin.jacobian[0, :n], lin.by_effect[0, :n], lin.weight[0, :n]
    target = lin.residual[0, :n] + z * at.effects[0][fit.data.tin]
    if model.parameters > len(NAMES):
        target = target + columns[:, len(NAMES) :] @ at.theta[0, len(NAMES) :]
    # a shape number on the box was found there, not given: it counts as free
    estimated = work.penalties.free[0].copy()
    estimated[len(NAMES) :] = False
    own = work.penalties.free[0].copy()
    own[len(NAMES) : len(NAMES) + model.rates] = False
    own &= np.array([not name.startswith("day[") for name in fit.names])
    return Tangent(
        columns=columns,
        by_rate=z,
        target=target,
        weight=weight,
        tin=fit.data.tin,
        square=np.bincount(fit.data.tin, weights=weight * z * z, minlength=tins).astype(np.float64),
        variance=float(work.spreads.variance[0]),
        ratio=float(work.spreads.ratio[0]),
        count=float(lin.count[0]),
        precision=np.broadcast_to(work.penalties.precision, at.theta.shape)[0],
        open_columns=estimated,
        own=own,
    )


def _regression(t: Tangent, columns: Array, precision: Array) -> tuple[Array, Array]:
    """Generalised least squares: coefficients and their covariance, some believed to be near 0."""
    weighted = t.solved(columns, t.ratio)
    normal = columns.T @ weighted + np.diag(precision)
    scale = 1.0 / np.sqrt(np.maximum(np.diagonal(normal), 1e-24))
    inverse = np.linalg.pinv(normal * np.outer(scale, scale), rcond=1e-10, hermitian=True)
    inverse = inverse * np.outer(scale, scale)
    return inverse @ (weighted.T @ t.target), inverse


def store_columns(fit: Fit, t: Tangent) -> Array:
    """Return ∂f/∂ln(rate) of every store, 0 at the readings of others, (n, stores)."""
    own = fit.data.store[:, np.newaxis] == np.arange(len(fit.data.stores))
    return np.asarray(own * t.by_rate[:, np.newaxis])


def store_lives(fit: Fit) -> tuple[StoreLife, ...]:
    """Return each store's own life under the common shape, for the Arrhenius plot; empty without numbers."""
    if not fit.ok:
        return ()
    t = tangent(fit)
    common = t.own.copy()
    common[[LIFE, ENERGY]] = False
    own = store_columns(fit, t)
    precision = np.concatenate((np.zeros(own.shape[1]), t.precision[common]))
    coefficients, covariance = _regression(t, np.hstack((own, t.columns[:, common])), precision)
    out = []
    for k, store in enumerate(fit.data.stores):
        mine = fit.data.store == k
        days = fit.data.days[mine].sum()
        if not days > 0.0 or not own[:, k].any():
            continue
        x = float((fit.data.days[mine] * fit.data.x[mine]).sum() / days)
        out.append(
            StoreLife(
                store=store,
                temperature_c=float(fit.data.store_temperature_c[k]),
                ln_life=fit.u + fit.energy * x - float(coefficients[k]),
                se=float(np.sqrt(max(covariance[k, k], 0.0))),
            )
        )
    return tuple(out)


def deletions(fit: Fit) -> Deletion:
    """Return what the fit without each reading predicts for it.

    With P = V⁻¹ − V⁻¹X(X′V⁻¹X + penalties)⁻¹X′V⁻¹ the error of predicting reading j from all others is
    (P·target)_j/P_jj with variance 1/P_jj: exact for the linearised model at the fit's spreads. σ is then
    re-estimated without the reading, so that a wild one does not hide itself.
    """
    t = tangent(fit)
    work = fit.workings
    assert work is not None  # noqa: S101 - tangent has refused a fit without numbers
    keep = t.open_columns.copy()
    keep[len(NAMES) :] = work.penalties.free[0, len(NAMES) :]
    columns = t.columns[:, keep]
    weighted = t.solved(columns, t.ratio)
    normal = columns.T @ weighted + np.diag(t.precision[keep])
    scale = 1.0 / np.sqrt(np.maximum(np.diagonal(normal), 1e-24))
    inverse = np.linalg.pinv(normal * np.outer(scale, scale), rcond=1e-12, hermitian=True)
    inverse = inverse * np.outer(scale, scale)
    own = np.maximum(t.precision_diagonal() - ((weighted @ inverse) * weighted).sum(axis=1), 1e-12)
    projected = t.solved(t.target[:, np.newaxis], t.ratio)[:, 0] - weighted @ (
        inverse @ (weighted.T @ t.target)
    )
    error = projected / own
    internal = error * np.sqrt(own)
    df = max(int(fit.data.measured.sum()) - int(t.open_columns.sum()) - 1, 1)
    # the spread without reading j: the sum of squares falls by the square of its own error
    shrink = np.sqrt(np.maximum((df + 1.0 - internal**2) / df, 0.01))
    sd = shrink / np.sqrt(own)
    return Deletion(fit.data.ln_viscosity - error, sd, error / sd, df)
