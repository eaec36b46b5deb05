"""How fast fits are, against the same fits by scipy.optimize in the same run, on one core.

Run: `OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.fit`. Prints ratios of processor
time; asserts nothing.
"""

from __future__ import annotations

import math
import resource
import time
from dataclasses import replace

import numpy as np
from scipy.optimize import OptimizeWarning, curve_fit, minimize, minimize_scalar

from stability.ageing.arrays import BlendReadings
from stability.ageing.batch import LOWER, UPPER, ageing_model, penalties_for, size_of
from stability.ageing.bounds import life
from stability.ageing.evidence import gather
from stability.ageing.fit import FitOptions, Limit, fit_many
from stability.ageing.grouping import Groups
from stability.ageing.model import ENERGY, INITIAL, LIFE, NAMES, ORDER, SELF, AgeingModel
from stability.ageing.normal_equations import Penalties, Spreads, reduced
from stability.ageing.solver import minimise, rows_of, start
from stability.ageing.starts import SHAPES as START_SHAPES
from stability.ageing.starts import shaped_starts
from tests.ageing.simulated import SHAPES, Study, fleet

TWICE = Limit(ratio=2.0)
TAU = 0.05
SHORT = 5
"""Steps from every start before the best goes on alone."""


def studies(count: int, seed: int = 1) -> list[BlendReadings]:
    """Return studies of all six shapes, 8 tins of 8 readings each."""
    each = -(-count // len(SHAPES))
    many = [fleet(Study(shape=shape), each, seed + k) for k, shape in enumerate(SHAPES.values())]
    return [study for six in zip(*many, strict=True) for study in six][:count]


def fixed_effects(count: int, peers: int) -> None:
    """Fit the curve alone, without tin or store effects, from three starts."""
    data = studies(count)
    options = FitOptions(store_spread=0.0)
    size = size_of(data[0], TWICE, options)
    model = replace(ageing_model(data, [TWICE] * count, size), tins=Groups.none(count, size.readings))
    penalties = penalties_for(data, options, size)
    starts = shaped_starts(model, penalties, START_SHAPES)
    began = time.process_time()
    best = _best_of_starts(model, penalties, starts)
    ours = (time.process_time() - began) / count
    began = time.process_time()
    theirs = [_curve_fit(model.rows(np.array([k])), starts[:, k]) for k in range(peers)]
    peer = (time.process_time() - began) / peers
    gap = np.array([best[k] / max(theirs[k], 1e-30) for k in range(peers)])
    print(f"fixed effects: {1 / ours:8.0f} fits/s, curve_fit {1 / peer:6.1f} fits/s: {peer / ours:6.0f} x")
    print(f"  sum of squares against the peer's: median {np.median(gap):.6f}, largest {gap.max():.6f}")


def _best_of_starts(model: AgeingModel, penalties: Penalties, starts: np.ndarray) -> np.ndarray:
    count, most = model.y.shape[0], 512
    out = np.empty(count)
    for first in range(0, count, most):
        rows = np.arange(first, min(first + most, count))
        many = np.tile(rows, len(starts))
        own, held = model.rows(many), penalties.rows(many)
        ones, none = np.ones(many.size), np.zeros((many.size, 0))
        spreads = Spreads(ones * 0.015**2, np.zeros(many.size))
        evaluate, narrow = own.at_sigma(ones), own.narrowed(ones)
        theta = starts[:, rows].reshape(many.size, -1)
        at = start(evaluate, own.tins, theta, none, spreads, penalties=held)
        at = minimise(evaluate, own.tins, at, spreads, held, steps=SHORT, tolerance=1e-4, narrow=narrow)
        pick = at.objective.reshape(len(starts), -1).argmin(axis=0) * rows.size + np.arange(rows.size)
        at, one, held = rows_of(at, pick), model.rows(rows), penalties.rows(rows)
        spreads = spreads.rows(np.arange(rows.size))
        evaluate, narrow = one.at_sigma(ones[: rows.size]), one.narrowed(ones[: rows.size])
        at = minimise(evaluate, one.tins, at, spreads, held, tolerance=1e-4, narrow=narrow)
        out[rows] = at.statistics.sum_squares
    return out


def _curve_fit(model: AgeingModel, starts: np.ndarray) -> float:
    """The same fit by curve_fit, given our derivatives; the best of its starts."""
    inside = model.active[0] > 0.0
    y, none = model.y[0, inside], np.zeros((1, 0))

    def curve(_: object, *theta: float) -> np.ndarray:
        return np.asarray(model.fitted(np.array([theta]), none)[0, inside])

    def slopes(_: object, *theta: float) -> np.ndarray:
        return np.asarray(model.linearised(np.array([theta]), none, np.ones(1)).jacobian[0, inside])

    least = math.inf
    for theta in starts:
        try:
            found, _ = curve_fit(
                curve, y, y, p0=theta, jac=slopes, bounds=(LOWER, UPPER), method="trf", ftol=1e-8
            )
        except (RuntimeError, OptimizeWarning):
            continue
        least = min(least, float(((curve(y, *found) - y) ** 2).sum()))
    return least


class MixedPeer:
    """One study's mixed model by scipy: L-BFGS-B for the parameters, a bounded search for ρ around it."""

    def __init__(self, model: AgeingModel, starts: np.ndarray) -> None:
        self.model, self.theta, self.starts = model, starts[0], starts
        self.effects = np.zeros((1, model.tins.count))
        self.n = int(model.active.sum())
        self.box = [*zip(LOWER, UPPER, strict=True), *[(-5.0, 5.0)] * (model.parameters - len(NAMES))]

    def penalised(self, theta: np.ndarray, ratio: float) -> tuple[float, np.ndarray]:
        """N·ln Q + Σγ²/τ² and its gradient, Q being least over the tin effects."""
        at, sigma = theta[np.newaxis], np.ones(1)
        for _ in range(3):
            lin = self.model.linearised(at, self.effects, sigma)
            pulls = self.model.tins.sums(lin.by_effect * lin.residual, lin.by_effect**2 * lin.weight)
            step = (ratio * pulls[..., 0] - self.effects) / (1.0 + ratio * pulls[..., 1])
            self.effects = self.effects + step
            if np.abs(step).max() < 1e-8:
                break
        q = float((lin.residual**2).sum() + (self.effects**2).sum() / ratio)
        gradient = -2.0 * self.n / q * (lin.residual[0] @ lin.jacobian[0])
        gamma = theta[len(NAMES) :]
        gradient[len(NAMES) :] += 2.0 * gamma / TAU**2
        return self.n * math.log(q) + float((gamma**2).sum()) / TAU**2, gradient

    def criterion(self, ln_ratio: float) -> float:
        """Restricted −2 ln likelihood at one ρ."""
        ratio = math.exp(ln_ratio)
        found = minimize(self.penalised, self.theta, (ratio,), jac=True, method="L-BFGS-B", bounds=self.box)
        self.theta = found.x
        lin = self.model.linearised(self.theta[np.newaxis], self.effects, np.ones(1))
        st = reduced(lin, self.model.tins)
        grown = 1.0 + ratio * st.group_square[0]
        kappa = ratio / grown
        c = st.group_cross[0]
        variance = (float((lin.residual**2).sum()) + float((self.effects**2).sum()) / ratio) / (self.n - 5)
        m = (st.cross[0] - (c * kappa[:, np.newaxis]).T @ c) / variance
        m += np.diag([0.0] * 5 + [TAU**-2.0] * (len(m) - 5)) + 1e-9 * np.eye(len(m))
        return float(found.fun + np.log(grown).sum() + np.linalg.slogdet(m)[1])

    def fit(self) -> np.ndarray:
        """Return θ."""
        tried = []
        for theta in self.starts:
            self.effects = np.zeros_like(self.effects)
            found = minimize(self.penalised, theta, (2.8,), jac=True, method="L-BFGS-B", bounds=self.box)
            tried.append((found.fun, found.x))
        self.theta = min(tried, key=lambda pair: pair[0])[1]
        minimize_scalar(self.criterion, bounds=(-8.0, 8.0), method="bounded", options={"xatol": 1e-3})
        return self.theta


def mixed(count: int, peers: int) -> None:
    """Fit with tin and store effects, REML, bounds and evidence."""
    data = studies(count, seed=20)
    began = time.process_time()
    fits = fit_many(data, TWICE)
    fitted = (time.process_time() - began) / count
    for one in fits:
        life(one)
    bounded = (time.process_time() - began) / count
    for one in fits:
        gather(one)
    whole = (time.process_time() - began) / count
    size = size_of(data[0], TWICE, FitOptions())
    model = ageing_model(data, [TWICE] * count, size)
    starts = shaped_starts(model, penalties_for(data, FitOptions(), size), START_SHAPES)
    began = time.process_time()
    theirs = [MixedPeer(model.rows(np.array([k])), starts[:, k]).fit() for k in range(peers)]
    peer = (time.process_time() - began) / peers
    gap = np.array([theirs[k][LIFE] - fits[k].u for k in range(peers)])
    once = _one_evaluation(model)
    print(
        f"mixed, REML:   {1 / fitted:8.0f} fits/s, scipy.optimize {1 / peer:6.1f}/s: {peer / fitted:6.0f} x"
    )
    print(f"  with bounds {1 / bounded:.0f}/s: {peer / bounded:.0f} x")
    print(f"  with bounds and evidence {1 / whole:.0f}/s: {peer / whole:.0f} x")
    apart = np.abs(gap)
    print(f"  ln(life) apart by {np.median(apart):.1e} (median), {np.quantile(apart, 0.9):.1e} (nine in ten)")
    print(f"  a fit costs {fitted / once:.0f} evaluations of law and gradient, all {whole / once:.0f}")


def _one_evaluation(model: AgeingModel) -> float:
    """Seconds per study of one evaluation of law and gradient, summed to normal equations."""
    theta = np.tile(np.array([0.0] * model.parameters), (model.y.shape[0], 1))
    theta[:, [INITIAL, LIFE, ENERGY, ORDER, SELF]] = math.log(300.0), 6.3, 75.0, 0.3, 0.5
    effects, sigma = np.zeros((model.y.shape[0], model.tins.count)), np.ones(model.y.shape[0])
    began, turns = time.process_time(), 5
    for _ in range(turns):
        reduced(model.linearised(theta, effects, sigma), model.tins)
    return (time.process_time() - began) / turns / model.y.shape[0]


def many(counts: tuple[int, ...]) -> None:
    """Time and memory of many studies: linear, bounded."""
    data = studies(max(counts), seed=40)
    rates = []
    for count in counts:
        began = time.process_time()
        fit_many(data[:count], TWICE)
        rates.append((time.process_time() - began) / count)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
        print(f"{count:6d} studies: {1e3 * rates[-1]:.2f} ms each, peak {peak:.2f} GiB")
    print(f"  time per study, last to first: {rates[-1] / rates[0]:.2f}")


if __name__ == "__main__":
    fixed_effects(1200, 60)
    mixed(1200, 30)
    many((5_000, 50_000))
