"""The checks that explain a forecast from gel checks or hold it back, and each store's own life.

The names of checks that a fit of viscosities makes as well are the same; lives in days.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from stability.ageing.dose import inverse_temperature
from stability.ageing.evidence import Evidence, EvidenceRules
from stability.ageing.lifetimes_ends import DesignEnds
from stability.ageing.lifetimes_gel_fit import SCALE, GelFits, U
from stability.ageing.lifetimes_gel_life import GelForecast
from stability.ageing.lifetimes_solver import Box, Problem, inverse, solve
from stability.units import SAME_TEMPERATURE_C, significant

__all__ = ["GelStoreLife", "gel_evidence", "gel_store_lives", "life_used"]

Array = npt.NDArray[np.float64]

OPEN_SE = 3.0
"""A store's own ln(life) that is less sure than this was bounded from one side only."""
WORTH_TELLING = 0.005
MUCH_BETTER = 2.0
"""One family is told to fit better from this difference in ln L (7 : 1; common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GelStoreLife:
    """The median life of one store's tins at its own temperature."""

    store: str
    temperature_c: float
    ln_life: float
    """In ln(days)."""
    se: float
    """Infinite where the store's tins bound it from one side only."""
    ln_dose: float
    """The same in ln(days at the storage temperature), at the fitted energy."""
    tins: int


def _ln_doses(fit: GelFits, row: int) -> tuple[Array, Array]:
    """Return ln dose of each tin when last seen fluid and when first seen gelled, at the fitted energy."""
    r = fit.problem.ends.at(np.array([[0.0, fit.energy[row]]]), np.array([row]))
    return r.low[0], r.high[0]


def life_used(told: GelForecast) -> Array:
    """Return the share of the typical life that each tin has spent by its last look, (tins,), [–]."""
    fit, row = told.fit, told.row
    low, high = _ln_doses(fit, row)
    seen, weight = fit.problem.seen, fit.problem.weight[row]
    last = np.where(seen.high[row], high, low)
    there = (weight > 0.0) & (seen.high[row] | seen.low[row])
    return np.where(there, np.exp(np.minimum(last - fit.u[row], 700.0)), 0.0)


def gel_store_lives(told: GelForecast) -> tuple[tuple[GelStoreLife, ...], float]:
    """Return each store's own life, with the common spread, and their ln L together.

    The scale is that of the joint fit: a store whose tins gelled in one week has none of its own.
    """
    fit, row = told.fit, told.row
    tins, seen = fit.tins, fit.problem.seen
    low, high = _ln_doses(fit, row)
    used = [k for k in range(len(tins.stores[row])) if tins.weight[row][tins.store[row] == k].sum() > 0.0]
    own = tins.store[row] == np.array(used)[:, np.newaxis]
    box = Box.wide(len(used), 1, scale=(1.0, 1.0))
    box.least[:, 0], box.most[:, 0] = fit.problem.box.least[row, U], fit.problem.box.most[row, U]
    box.least[:, 1] = box.most[:, 1] = fit.solved.theta[row, SCALE]
    every = np.full(len(used), row)
    problem = Problem(
        family=fit.family,
        seen=seen.take(every),
        weight=fit.problem.weight[every] * own,
        ends=DesignEnds(
            np.broadcast_to(low, own.shape), np.broadcast_to(high, own.shape), np.ones((*own.shape, 1))
        ),
        box=box,
        z_at=fit.problem.z_at,
    )
    start = np.column_stack((np.full(len(used), fit.u[row]), box.least[:, 1]))
    found = solve(problem, start)
    held = np.where(found.free[:, 0, np.newaxis, np.newaxis], found.hessian[:, :1, :1], 1e-24)
    variance, _ = inverse(np.maximum(held, 1e-24))
    lives = []
    for place, k in enumerate(used):
        se, u = math.sqrt(variance[place, 0, 0]), float(found.theta[place, 0])
        temperature = float(tins.store_temperature_c[row][k])
        lives.append(
            GelStoreLife(
                store=tins.stores[row][k],
                temperature_c=temperature,
                ln_life=u + float(fit.energy[row]) * float(inverse_temperature(temperature, tins.storage_c)),
                se=se if se < OPEN_SE else math.inf,
                ln_dose=u,
                tins=int((own[place] & (tins.weight[row] > 0.0)).sum()),
            )
        )
    return tuple(lives), float(found.value.sum())


def gel_evidence(told: GelForecast, rules: EvidenceRules | None = None) -> tuple[Evidence, ...]:
    """Return all checks that can be made; those that need a life are left out without one."""
    rules = rules or EvidenceRules()
    found = [_storage_store(told), _temperatures(told, rules), _tins(told, rules), _amount(told, rules)]
    found.append(_real_time(told, rules))
    if told.life.life_days is not None:
        tests = (_reach(told, rules), _straight(told, rules), _families(told))
        found += [check for check in tests if check is not None]
    return tuple(found)


def _storage_store(told: GelForecast) -> Evidence:
    there = bool(told.fit.tins.storage_store[told.row] >= 0)
    storage = significant(told.fit.tins.storage_c)
    says = f"a store stands at {storage} °C" if there else f"no store within 2.5 °C of {storage} °C"
    return Evidence(name="storage_store_present", passed=there, says=says)


def _temperatures(told: GelForecast, rules: EvidenceRules) -> Evidence:
    count = int(told.fit.tins.temperatures[told.row])
    says = f"{count} temperature{'s' if count != 1 else ''}, {rules.temperatures} are asked for"
    return Evidence(name="temperatures", passed=count >= rules.temperatures, says=says, figure=float(count))


def _tins(told: GelForecast, rules: EvidenceRules) -> Evidence:
    tins, row = told.fit.tins, told.row
    per_store = {
        store: int(((tins.store[row] == k) & (tins.weight[row] > 0.0)).sum())
        for k, store in enumerate(tins.stores[row])
    }
    thin = [store for store, n in per_store.items() if n < rules.tins_per_store]
    says = f"at least {min(per_store.values(), default=0)} tins in every store"
    if thin or not per_store:
        says = f"fewer than {rules.tins_per_store} tins in {', '.join(thin) or 'any store'}"
    return Evidence(name="tins", passed=bool(per_store) and not thin, says=says)


def _amount(told: GelForecast, rules: EvidenceRules) -> Evidence:
    gelled, tins = int(told.fit.gelled[told.row]), int((told.fit.tins.weight[told.row] > 0.0).sum())
    says = f"{gelled} of {tins} tins have gelled; {rules.tins} are asked for"
    return Evidence(name="amount", passed=gelled >= rules.tins, says=says, figure=float(gelled))


def _real_time(told: GelForecast, rules: EvidenceRules) -> Evidence:
    tins, row = told.fit.tins, told.row
    near = (np.abs(tins.temperature_c[row] - tins.storage_c) <= SAME_TEMPERATURE_C) & (tins.weight[row] > 0.0)
    gelled = tins.gelled_age_days[row]
    ages = np.where(np.isfinite(gelled), gelled, tins.fluid_age_days[row])[near]
    longest = float(ages.max()) if ages.size else 0.0
    asked = significant(rules.real_time_days)
    says = f"{significant(longest)} d at the storage temperature, {asked} d asked for"
    return Evidence(name="real_time", passed=longest >= rules.real_time_days, says=says, figure=longest)


def _reach(told: GelForecast, rules: EvidenceRules) -> Evidence:
    reach = float(life_used(told).max())
    says = f"the most aged tin has used {significant(reach)} of the life that is forecast"
    if reach < rules.reach:
        says += "; the rest is extrapolation"
    return Evidence(name="reach", passed=reach >= rules.reach, says=says, figure=reach)


def _straight(told: GelForecast, rules: EvidenceRules) -> Evidence | None:
    """Likelihood ratio of own lives per store against the line, as an F with the degrees of the scale."""
    fit, row = told.fit, told.row
    lives, apart = gel_store_lives(told)
    df, left = len(lives) - 2, int(fit.df[row]) - len(lives) + 2
    if not fit.energy_estimated[row] or df < 1 or left < 1:
        return None
    # the scale is the line's: for exact lives 2·(ln L − ln L₀) is then ν(S₀ − S₁)/S₀, from which F follows
    gain = min(max(2.0 * (apart - float(fit.log_likelihood[row])), 0.0) / (df + left), 1.0 - 1e-9)
    p = float(fdtrc(df, left, gain / df * left / (1.0 - gain)))
    says = "the stores lie on one Arrhenius line"
    closed = [life for life in lives if math.isfinite(life.se)]
    if p < rules.level:
        says = "the stores do not lie on one Arrhenius line"
    coldest = min(closed, key=lambda life: life.temperature_c, default=None)
    away = 0.0 if coldest is None else max(min(coldest.ln_dose - float(fit.u[row]), 5.0), -5.0)
    if coldest is not None and abs(away) > WORTH_TELLING:
        days = math.exp(float(fit.u[row])) * math.expm1(away)
        turn = "faster" if days < 0.0 else "slower"
        size = f"{significant(abs(days))} d of life {'less' if days < 0.0 else 'more'}"
        says += f"; {coldest.store} gels {turn} than the line: {size}"
        says += ", within the scatter" if p >= rules.level else ""
    return Evidence(name="straight_arrhenius", passed=p >= rules.level, says=says, p=p)


def _families(told: GelForecast) -> Evidence:
    lead = float(told.fit.log_likelihood[told.row] - told.other.log_likelihood[told.row])
    better = "lognormal" if lead >= 0.0 else "Weibull"
    size = f"{better} lives fit better by {significant(abs(lead), 2)} in ln L"
    if abs(lead) < MUCH_BETTER:
        size = f"lognormal and Weibull lives fit alike ({size})"
    says = f"{size}; bounds are the lower of both"
    return Evidence(name="lognormal_or_weibull", passed=lead > -MUCH_BETTER, says=says, figure=lead)
