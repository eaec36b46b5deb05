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

__all__ = ["Deletion", "StoreLife", "StraightLine", "deletions", "store_lives", "straight_line"]

Array = npt.NDArray[np.float64]


_TYPICAL_RATIO = 6.25
"""(5 %/2 %)²: tins weigh alike in the test of the line even where their spread was estimated near 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tangent:
    """The linearised model of a fit, one row per reading."""

    columns: Array
    """∂f/∂θ of all parameters, (n, p)."""
    by_rate: Array
    """∂f/∂ln(rate), (n,)."""
    target: Array
    """r + z·β + (store columns)·γ: what is to be explained once the fitted curve is taken off, (n,)."""
    precision: Array
    """V⁻¹, (n, n)."""
    open_columns: npt.NDArray[np.bool_]
    """Free parameters of (a, u, E, m, b), (p,)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreLife:
    """The life that one store's tins show by themselves, under the shape common to all."""

    store: str
    temperature_c: float
    ln_life: float
    """At the store's own temperature, ln(days)."""
    se: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StraightLine:
    """Free lives per store against one Arrhenius line."""

    f: float
    df_stores: int
    df_tins: int
    cold_departure: float
    """ln(rate) of the coldest store against the line through the others, [–]; positive: faster."""
    cold_se: float


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


def tangent(fit: Fit, *, least_ratio: float = 0.0) -> Tangent:
    """Return the linearised model at a fit with numbers, ρ being at least `least_ratio`."""
    work = fit.workings
    if work is None:
        raise ValueError("a fit without numbers has no tangent")
    at, model = work.solution, work.model
    lin: Linearised = model.linearised(at.theta, at.effects, np.sqrt(work.spreads.variance))
    n = fit.data.tin.size
    columns, z = lin.jacobian[0, :n], lin.by_effect[0, :n]
    target = lin.residual[0, :n] + z * at.effects[0][fit.data.tin]
    if model.parameters > len(NAMES):
        target = target + columns[:, len(NAMES) :] @ at.theta[0, len(NAMES) :]
    weight = lin.weight[0, :n]
    ratio, variance = max(float(work.spreads.ratio[0]), least_ratio), float(work.spreads.variance[0])
    precision = np.diag(weight)
    for i in range(len(fit.data.samples)):
        own = np.flatnonzero(fit.data.tin == i)
        wz = weight[own] * z[own]
        precision[np.ix_(own, own)] -= ratio / (1.0 + ratio * float(wz @ z[own])) * np.outer(wz, wz)
    # a shape number on the box was found there, not given: it counts as free
    estimated = work.penalties.free[0].copy()
    estimated[len(NAMES) :] = False
    return Tangent(
        columns=columns,
        by_rate=z,
        target=target,
        precision=precision / variance,
        open_columns=estimated,
    )


def _regression(t: Tangent, columns: Array) -> tuple[Array, Array, float]:
    """Generalised least squares: coefficients, covariance, left-over sum of squares."""
    weighted = t.precision @ columns
    normal = columns.T @ weighted
    scale = 1.0 / np.sqrt(np.maximum(np.diagonal(normal), 1e-24))
    inverse = np.linalg.pinv(normal * np.outer(scale, scale), rcond=1e-10, hermitian=True)
    inverse = inverse * np.outer(scale, scale)
    coefficients = inverse @ (weighted.T @ t.target)
    left = t.target - columns @ coefficients
    return coefficients, inverse, float(left @ t.precision @ left)


def _store_columns(fit: Fit, t: Tangent) -> Array:
    own = fit.data.store[:, np.newaxis] == np.arange(len(fit.data.stores))
    return np.asarray(own * t.by_rate[:, np.newaxis])


def store_lives(fit: Fit) -> tuple[StoreLife, ...]:
    """Return each store's own life under the common shape, for the Arrhenius plot; empty without numbers."""
    if not fit.ok:
        return ()
    t = tangent(fit)
    common = t.open_columns.copy()
    common[[LIFE, ENERGY]] = False
    own = _store_columns(fit, t)
    coefficients, covariance, _ = _regression(t, np.hstack((own, t.columns[:, common])))
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


def straight_line(fit: Fit) -> StraightLine | None:
    """Test free lives per store against the line; None where fewer than three temperatures aged tins."""
    aged = fit.data.aged
    stores = np.unique(fit.data.store[aged])
    tins = np.unique(fit.data.tin[aged]).size
    df_stores, df_tins = stores.size - 2, tins - stores.size
    if not (fit.ok and fit.energy_estimated) or df_stores < 1 or df_tins < 1:
        return None
    t = tangent(fit, least_ratio=_TYPICAL_RATIO)
    line = t.columns[:, t.open_columns]
    own = _store_columns(fit, t)
    each_tin = (fit.data.tin[:, np.newaxis] == np.arange(fit.tins)) * t.by_rate[:, np.newaxis]
    _, _, left_line = _regression(t, line)
    _, _, left_stores = _regression(t, np.hstack((own[:, stores], line)))
    _, _, left_tins = _regression(t, np.hstack((each_tin, line)))
    cold = stores[np.argmin(fit.data.store_temperature_c[stores])]
    coefficients, covariance, _ = _regression(t, np.hstack((own[:, [cold]], line)))
    return StraightLine(
        # tins about their store's mean are the yardstick: a spread estimated near 0 must not be one
        f=max(left_line - left_stores, 0.0) / df_stores / max((left_stores - left_tins) / df_tins, 1e-300),
        df_stores=int(df_stores),
        df_tins=int(df_tins),
        cold_departure=float(coefficients[0]),
        cold_se=float(np.sqrt(max(covariance[0, 0], 0.0))),
    )


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
    penalties = np.broadcast_to(work.penalties.precision, work.solution.theta.shape)[0][keep]
    weighted = t.precision @ columns
    normal = columns.T @ weighted + np.diag(penalties)
    scale = 1.0 / np.sqrt(np.maximum(np.diagonal(normal), 1e-24))
    inverse = np.linalg.pinv(normal * np.outer(scale, scale), rcond=1e-12, hermitian=True)
    projector = t.precision - weighted @ (inverse * np.outer(scale, scale)) @ weighted.T
    own = np.maximum(np.diagonal(projector), 1e-12)
    error = (projector @ t.target) / own
    internal = error * np.sqrt(own)
    df = max(int(fit.data.measured.sum()) - int(t.open_columns.sum()) - 1, 1)
    # the spread without reading j: the sum of squares falls by the square of its own error
    shrink = np.sqrt(np.maximum((df + 1.0 - internal**2) / df, 0.01))
    sd = shrink / np.sqrt(own)
    return Deletion(fit.data.ln_viscosity - error, sd, error / sd, df)
