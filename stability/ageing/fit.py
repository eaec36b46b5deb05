"""The fit of one blend: growth law, tin effects, store effects and spreads, with a named outcome.

Alternates (1) penalised least squares for the parameters and tin effects at the current spreads and
(2) REML (or ML) of the spreads in the model linearised there, to the Lindstrom–Bates fixed point.
ln η of a reading; u = ln(life in days); E in kJ/mol; m, b and all effects dimensionless.
"""

from __future__ import annotations

from typing import TypedDict

import numpy as np
import numpy.typing as npt

from stability.ageing.arrays import BlendReadings
from stability.ageing.model import ENERGY, LIFE, NAMES, ORDER, SELF, AgeingModel, Limit, ageing_model
from stability.ageing.result import Fit, FitOptions, FitStatus, Priors, Workings
from stability.ageing.solver import Penalties, Solution, Spreads, minimise, start
from stability.ageing.starts import best_start
from stability.ageing.variance import covariance, estimate_spreads, linear_mixed, log_likelihood

__all__ = ["Fit", "FitOptions", "FitStatus", "Limit", "Priors", "fit"]

Array = npt.NDArray[np.float64]

LOWER = (-30.0, float(np.log(1e-4)), 0.01, -3.0, -3.0)
UPPER = (30.0, float(np.log(1e6)), 250.0, 3.0, 8.0)
"""Box of (a, u, E, m, b)."""
SAME_TEMPERATURE_C = 2.5
"""Stores nearer than this count as one temperature, [°C]."""
_ROUNDS = 40
_CAUTIOUS_FROM = 8
"""From this round on the spreads move half-way only: it ends the rare case of two answers in turn."""


def _temperatures(data: BlendReadings) -> int:
    """How many distinct temperatures stand behind measured, aged readings."""
    aged = data.measured & data.aged
    values = np.sort(data.store_temperature_c[np.unique(data.store[aged])])
    return int(values.size > 0) + int((np.diff(values) > SAME_TEMPERATURE_C).sum())


def _penalties(options: FitOptions, model: AgeingModel, *, energy: bool) -> Penalties:
    p = model.parameters
    mean, precision = np.zeros((1, p)), np.zeros((1, p))
    lower, upper = np.full((1, p), -5.0), np.full((1, p), 5.0)
    lower[0, : len(NAMES)], upper[0, : len(NAMES)] = LOWER, UPPER
    free = np.ones((1, p), dtype=bool)
    priors = options.priors or Priors()
    mean[0, [ENERGY, ORDER, SELF]] = priors.energy, priors.m, priors.b
    free[0, ENERGY] = energy
    if options.priors is not None:
        sds = np.array([priors.energy_sd, priors.m_sd, priors.b_sd])
        precision[0, [ENERGY, ORDER, SELF]] = sds**-2.0
    for name, value in options.fixed.items():
        k = NAMES.index(name)
        free[0, k] = False
        mean[0, k], precision[0, k] = value, 0.0
        lower[0, k], upper[0, k] = min(lower[0, k], value), max(upper[0, k], value)
    if p > len(NAMES):
        gammas = slice(len(NAMES), len(NAMES) + model.rates)
        precision[0, gammas] = max(options.store_spread, 1e-6) ** -2.0
        precision[0, gammas.stop :] = max(options.opening_spread, 1e-6) ** -2.0
    return Penalties(mean, precision, lower, upper, free)


def _refusal(data: BlendReadings, limit: Limit, penalties: Penalties) -> tuple[FitStatus, str] | None:
    """Say why no fit can be made, if so."""
    if data.tin.size == 0:
        return FitStatus.NO_READINGS, "no readings yet"
    measured = int(data.measured.sum())
    if measured == 0:
        return FitStatus.ALL_CENSORED, "every reading is gelled or over range; none is a number"
    if not data.aged[data.measured].any():
        return FitStatus.NOT_AGED, "no viscosity measured after day 0 yet"
    needed = int((penalties.free & (penalties.precision == 0.0)).sum()) + 2
    if measured < needed:
        return FitStatus.TOO_FEW_READINGS, f"{measured} measured readings, at least {needed} are needed"
    fresh = data.measured & (data.age_days == data.age_days[data.measured].min())
    if limit.ln_ratio(float(np.median(data.ln_viscosity[fresh]))) <= 0.0:
        return FitStatus.LIMIT_PASSED, "the viscosity at the start is already at the limit or beyond it"
    return None


def _alternate(
    model: AgeingModel, penalties: Penalties, at: Solution, spreads: Spreads, *, reml: bool
) -> tuple[Solution, Spreads, bool]:
    """Alternate to the fixed point; returns whether it was reached."""
    random = np.zeros(model.parameters)
    random[len(NAMES) :] = 1.0
    change = np.inf
    open_ = np.ones(model.parameters, dtype=bool)
    for round_ in range(_ROUNDS):
        sigma = np.sqrt(spreads.variance)
        if model.any_censored:
            at = start(model.at_sigma(sigma), model.tins, at.theta, at.effects, spreads, penalties=penalties)
        at = minimise(
            model.at_sigma(sigma), model.tins, at, spreads, penalties, steps=4 if round_ < 3 else 20
        )
        if change < 1e-7 and bool(at.converged.all()):
            return at, spreads, True
        # a shape number that sits on the box in one round and just off it in the next would take its degree
        # of freedom with it each time, and never settle: late in the day it stays where it was found
        now_open = penalties_open(at, penalties)
        open_ = open_ & now_open if round_ > _CAUTIOUS_FROM else now_open
        lin = linear_mixed(at, penalties, 0, open_, random=random, reml=reml)
        variance, ratio = estimate_spreads(lin, spreads, 0, search=round_ == 0)
        if round_ >= _CAUTIOUS_FROM:
            variance = float(np.sqrt(variance * spreads.variance[0]))
            ratio = 0.5 * (ratio + float(spreads.ratio[0]))
        old = np.array([np.log(spreads.variance[0]), spreads.ratio[0] * lin.group_square.mean()])
        new = np.array([np.log(variance), ratio * lin.group_square.mean()])
        change = float(np.abs((new - old) / np.maximum(np.abs(old), 1.0)).max())
        spreads = Spreads(np.array([variance]), np.array([ratio]))
    return at, spreads, bool(change < 1e-3)


def penalties_open(at: Solution, penalties: Penalties) -> npt.NDArray[np.bool_]:
    """Return which parameters of problem 0 are free and not on the box."""
    theta = at.theta[0]
    inside = (theta > penalties.lower[0]) & (theta < penalties.upper[0])
    return np.asarray(penalties.free[0] & inside)


def fit(data: BlendReadings, limit: Limit, options: FitOptions | None = None) -> Fit:
    """Fit one blend.

    Parameters
    ----------
    data : BlendReadings
        From `assemble`.
    limit : Limit
        What ends the life that u stands for.
    options : FitOptions
        Store spread, priors, criterion, held parameters.

    Returns
    -------
    Fit
        Never raises for what the readings say; `status` and `reason` tell why there are no numbers.
    """
    options = options or FitOptions()
    energy = _temperatures(data) >= 2
    model = ageing_model(
        data,
        limit,
        store_effects=options.store_spread > 0.0 and len(data.stores) > 1,
        opening_effect=options.opening_spread > 0.0 and data.opening_told,
    )
    penalties = _penalties(options, model, energy=energy)
    refused = _refusal(data, limit, penalties)
    if refused is not None:
        return _bare(data, limit, options, *refused)
    at, spreads = best_start(model, penalties)
    at, spreads, settled = _alternate(model, penalties, at, spreads, reml=options.criterion == "reml")
    if not settled or not np.isfinite(at.objective).all():
        return _bare(data, limit, options, FitStatus.NOT_CONVERGED, "the fit did not settle")
    return _result(
        data, limit, options, Workings(model=model, penalties=penalties, solution=at, spreads=spreads)
    )


def _opening_name(model: AgeingModel) -> tuple[str, ...]:
    return ("opening",) if model.added.shape[-1] else ()


class _Counts(TypedDict):
    tins: int
    readings: int
    gelled: int


def _counts(data: BlendReadings) -> _Counts:
    return {
        "tins": len(data.samples),
        "readings": int(data.tin.size),
        "gelled": int(np.unique(data.tin[~data.measured & ~np.isfinite(data.ln_upper)]).size),
    }


def _bare(data: BlendReadings, limit: Limit, options: FitOptions, status: FitStatus, reason: str) -> Fit:
    return Fit(data=data, limit=limit, options=options, status=status, reason=reason, **_counts(data))


def _result(data: BlendReadings, limit: Limit, options: FitOptions, work: Workings) -> Fit:
    at, penalties, model = work.solution, work.penalties, work.model
    open_ = penalties_open(at, penalties)
    random = np.zeros(model.parameters)
    random[len(NAMES) :] = 1.0
    lin = linear_mixed(at, penalties, 0, open_, random=random, reml=options.criterion == "reml")
    variance, ratio = float(work.spreads.variance[0]), float(work.spreads.ratio[0])
    full = np.zeros((model.parameters, model.parameters))
    full[np.ix_(open_, open_)] = covariance(lin, variance, ratio)
    tau_squared = options.store_spread**2
    # what spreads that were given (stores, openings) contribute has no degrees of freedom to lose
    given = float((full[len(NAMES) :, LIFE] ** 2 * penalties.precision[0, len(NAMES) :]).sum())
    outside = 0.0 if data.storage_store is not None else tau_squared
    se_squared = max(float(full[LIFE, LIFE]) + outside, 1e-300)
    share = min((given + outside) / se_squared, 0.999)
    energy = bool(penalties.free[0, ENERGY])
    informed = np.unique(data.tin[data.aged]).size
    nu = int(informed) - (2 if energy else 1)
    edges = penalties.free[0] & ~open_
    linearised = model.linearised(at.theta, at.effects, np.sqrt(work.spreads.variance))
    return Fit(
        data=data,
        limit=limit,
        options=options,
        status=FitStatus.FITTED,
        reason="",
        names=(*NAMES, *(f"gamma[{s}]" for s in data.stores[: model.rates]), *_opening_name(model)),
        parameters=at.theta[0],
        covariance=full,
        se_u=float(np.sqrt(se_squared)),
        df=min(max(nu, 0) / (1.0 - share) ** 2, 1e6),
        tin_df=nu,
        sigma=float(np.sqrt(variance)),
        sigma_tin=float(np.sqrt(variance * ratio)),
        tin_effects=at.effects[0],
        residuals=linearised.residual[0],
        life_used=model.life_used(at.theta, at.effects)[0][0],
        energy_estimated=energy,
        at_edge=tuple(n for n, e in zip(NAMES, edges[: len(NAMES)], strict=True) if e),
        log_likelihood=log_likelihood(lin, variance, ratio),
        workings=work,
        **_counts(data),
    )
