"""What gel checks say of a life: estimate, lower bounds, chance of an early gel, or what is missing.

Days and [–] outside, ln(days) inside. Bounds are one-sided 95 %, from the profile of ln L in u = ln(median
life) at Student's t; each is the lower of the lognormal and the Weibull fit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, ndtri, stdtr, stdtrit

from stability.ageing.arrays import distinct_temperatures
from stability.ageing.bounds import Life, LifeOutcome
from stability.ageing.lifetimes_gel_fit import GelFits, GelOptions, U, fit_gels
from stability.ageing.lifetimes_gels import GelTins
from stability.ageing.lifetimes_likelihood import Family, standard_quantile
from stability.ageing.lifetimes_solver import solve
from stability.ageing.profile import LN_LONGEST_LIFE
from stability.errors import InputError
from stability.units import SAME_TEMPERATURE_C, significant

__all__ = ["GelForecast", "fluid_days", "gel_forecasts"]

Array = npt.NDArray[np.float64]

CONFIDENCE = 0.95
SMALLEST_DF = 2
_STEPS = 14
_NEAR = 2e-3
"""Of the signed root: the bound is then right to a thousandth of its distance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GelForecast:
    """One blend: what may be said, and the two fits (of all blends of the call) that say it."""

    life: Life
    row: int
    """Which problem of the fits this is."""
    fit: GelFits
    """Lognormal: estimate, energy, spread."""
    other: GelFits
    """Weibull: it can only lower a bound."""


def gel_forecasts(
    tins: GelTins, target_days: float | None = None, options: GelOptions | None = None
) -> tuple[GelForecast, ...]:
    """Return the lives of many blends of which only the gel was looked for.

    Parameters
    ----------
    tins : GelTins
        From `assemble_gels`.
    target_days : float, optional
        Life that is hoped for, [d].
    options : GelOptions
        As for `fit_gels`.

    Returns
    -------
    tuple of GelForecast
        One per problem: `estimated`, `lower_bound_only` or `too_early` with what is missing in `says`. The
        life is that of the typical tin: half of all tins have gelled by then.

    Raises
    ------
    InputError
        A target that is not positive.
    """
    if target_days is not None and not target_days > 0.0:
        raise InputError(f"target life is {target_days} days, expected a positive number")
    fits = [fit_gels(tins, family, options) for family in (Family.LOGNORMAL, Family.WEIBULL)]
    bounds = [_bounds(fit, target_days) for fit in fits]
    fluid = fluid_days(tins)
    return tuple(
        GelForecast(life=_life(fits[0], row, bounds, float(fluid[row])), row=row, fit=fits[0], other=fits[1])
        for row in range(len(tins.samples))
    )


def fluid_days(tins: GelTins) -> Array:
    """Return how long half of all tins stay fluid at the very least, with no law assumed, (problems,), [d].

    The sign test: if half of all tins gelled before t, k or fewer of n would do so with less than 5 %. Only
    that warmth does not slow gelling, and that tins gel independently, is taken for granted; calendar days of
    tins at the storage temperature and above count. 0: too few tins (five fluid ones are the least).

    Source: the confidence limit of a median by the sign test (Conover, Practical Nonparametric Statistics).
    """
    warm = (tins.weight > 0.0) & (tins.temperature_c >= tins.storage_c - SAME_TEMPERATURE_C)
    fluid, gelled = tins.fluid_age_days, np.isfinite(tins.gelled_age_days)
    best = np.zeros(fluid.shape[0])
    for column in range(fluid.shape[1]):
        t = fluid[:, column, np.newaxis]
        # a tin that gelled in the interval around t counts as gelled by t; one not followed so long does not
        early = (warm & gelled & (fluid < t)).sum(axis=1)
        late = (warm & (fluid >= t)).sum(axis=1)
        sure = bdtr(early, early + late, 0.5) <= 1.0 - CONFIDENCE
        best = np.where(sure & warm[:, column], np.maximum(best, t[:, 0]), best)
    return best


@dataclass(frozen=True, slots=True)
class _Bounds:
    """Bounds of one family's fit, (P,) each, ln(days)."""

    lower: Array
    next_tin: Array
    upper: Array
    """Infinite: no upper end."""
    chance: Array


def _bounds(fit: GelFits, target_days: float | None) -> _Bounds:
    df = np.maximum(fit.df, 1).astype(np.float64)
    t: Array = np.asarray(stdtrit(df, CONFIDENCE), dtype=np.float64)
    below = _distance(fit, -t)
    above = _distance(fit, t)
    lower = fit.u - np.hypot(below, t * fit.se_stores)
    half = float(standard_quantile(fit.family, 0.5) - standard_quantile(fit.family, 1.0 - CONFIDENCE))
    spread = t / float(ndtri(CONFIDENCE)) * half * fit.sigma
    chance = np.zeros(fit.u.shape)
    if target_days is not None:
        chance = _chance(fit, math.log(target_days), df)
    return _Bounds(
        lower=lower,
        next_tin=fit.u - np.hypot(fit.u - lower, spread),
        upper=fit.u + np.hypot(above, t * fit.se_stores),
        chance=chance,
    )


def _root_at(fit: GelFits, u: Array, warm: Array) -> tuple[Array, Array, Array]:
    """Return the signed root of the deviance with u held, its slope in u, and where the rest was found."""
    held = np.zeros(warm.shape, dtype=bool)
    held[:, U] = True
    start = warm.copy()
    start[:, U] = u
    there = solve(fit.problem, start, held=held)
    deviance = np.maximum(2.0 * (fit.solved.value - there.value), 0.0)
    root = np.sign(u - fit.u) * np.sqrt(deviance)
    slope = np.where(np.abs(root) > 1e-6, -there.gradient[:, U] / np.where(root == 0.0, 1.0, root), 0.0)
    return root, slope, there.theta


def _distance(fit: GelFits, root: Array) -> Array:
    """Return |u − û| at which the signed root is reached, infinite beyond the longest life and the box."""
    sign = np.sign(root)
    se = np.clip(np.sqrt(np.maximum(fit.covariance[:, U, U], 0.0)), 0.02, 1.0)
    near = fit.u.copy()
    end = np.where(sign > 0.0, np.maximum(LN_LONGEST_LIFE, fit.u), fit.problem.box.least[:, U])
    far = end.copy()
    at_end, _, _ = _root_at(fit, end, fit.solved.theta)
    open_ = np.abs(at_end) < np.abs(root)
    u = np.where(np.abs(root) * se < np.abs(end - near), near + root * se, (near + end) / 2.0)
    warm = fit.solved.theta
    for _ in range(_STEPS):
        found, slope, warm = _root_at(fit, u, warm)
        beyond = np.abs(found) > np.abs(root)
        far, near = np.where(beyond, u, far), np.where(beyond, near, u)
        done = np.abs(found - root) < _NEAR * np.abs(root)
        step = u + (root - found) / np.where(slope > 1e-9, slope, 1e-9)
        inside = (np.minimum(near, far) < step) & (step < np.maximum(near, far))
        u = np.where(done, u, np.where(inside, step, (near + far) / 2.0))
    # the cautious end of what is left of the bracket
    u = np.where(done, u, np.where(sign < 0.0, far, u))
    return np.where(open_, np.inf, np.abs(u - fit.u))


def _chance(fit: GelFits, ln_target: float, df: Array) -> Array:
    """Return the chance of the gel before the target: Student's t on the root, widened by the stores."""
    away = ln_target - fit.u
    root, _, _ = _root_at(fit, np.full(fit.u.shape, ln_target), fit.solved.theta)
    far = np.abs(root) > 1e-6
    se = np.where(far, np.abs(away) / np.where(far, np.abs(root), 1.0), 1.0)
    t = np.where(far, away / np.maximum(np.hypot(se, fit.se_stores), 1e-12), 0.0)
    return np.asarray(stdtr(df, t))


def _life(fit: GelFits, row: int, bounds: list[_Bounds], fluid: float) -> Life:
    missing = _too_early(fit, row)
    if missing is not None:
        return Life(outcome=LifeOutcome.TOO_EARLY, says=missing)
    few = _too_few(fit, row)
    if few is not None and fluid > 0.0:
        says = f"{few}; half of all tins stay fluid for at least {significant(fluid)} d"
        return Life(outcome=LifeOutcome.LOWER_BOUND_ONLY, says=says, life_days_lower95=fluid)
    if few is not None:
        return Life(outcome=LifeOutcome.TOO_EARLY, says=few)
    lower = min(float(b.lower[row]) for b in bounds)
    upper = max(float(b.upper[row]) for b in bounds)
    if not math.isfinite(lower):
        says = "the gel checks bound the life from above only: look sooner, or at tins stored cooler"
        return Life(outcome=LifeOutcome.TOO_EARLY, says=says)
    told = Life(
        outcome=LifeOutcome.ESTIMATED,
        life_days=math.exp(fit.u[row]),
        life_days_lower95=math.exp(lower),
        life_days_lower95_next_tin=math.exp(min(float(b.next_tin[row]) for b in bounds)),
        life_days_upper95=math.exp(upper) if upper < LN_LONGEST_LIFE else None,
        probability_before_target=max(float(b.chance[row]) for b in bounds),
        gel_life_days=math.exp(fit.u[row]),
    )
    if told.life_days_upper95 is not None and not _one_sided(fit, row):
        return told
    says = f"the gel checks so far say at least {significant(math.exp(lower))} d; no upper end"
    if _one_sided(fit, row):
        says += ": tins have gelled at one temperature only"
    return replace(
        told,
        outcome=LifeOutcome.LOWER_BOUND_ONLY,
        says=says,
        life_days=None,
        life_days_upper95=None,
        gel_life_days=None,
    )


def _gelled_temperatures(fit: GelFits, row: int) -> int:
    """Return at how many temperatures, more than 2.5 °C apart, tins have gelled."""
    return distinct_temperatures(fit.tins.temperature_c[row][fit.tins.gelled[row]])


def _one_sided(fit: GelFits, row: int) -> bool:
    """Say whether nothing bounds the energy from above but a belief or the box."""
    alone = bool(fit.energy_estimated[row]) and _gelled_temperatures(fit, row) < 2
    return alone and fit.options.energy is None


def _too_early(fit: GelFits, row: int) -> str | None:
    """Say what is missing before anything can be said, if anything."""
    tins = fit.tins
    counted = tins.weight[row] > 0.0
    if not counted.any():
        return "no gel checks after day 0 yet"
    if not (counted & tins.seen.low[row]).any():
        return "every tin had gelled by its first look: nothing says how much sooner"
    storage = f"{significant(tins.storage_c)} °C"
    told = fit.energy_estimated[row] or tins.storage_store[row] >= 0 or fit.options.energy is not None
    if not told:
        only = significant(float(tins.temperature_c[row][counted].mean()))
        return (
            f"all gel checks come from {only} °C; without checks near {storage} or from a second "
            f"temperature they say nothing of the life at {storage}"
        )
    if fit.gelled[row] >= fit.df[row] + SMALLEST_DF and not fit.solved.converged[row]:
        return "the fit did not settle"
    return None


def _too_few(fit: GelFits, row: int) -> str | None:
    """Say that too few tins have gelled for a life, if so."""
    if fit.df[row] >= SMALLEST_DF:
        return None
    tins, gelled = int((fit.tins.weight[row] > 0.0).sum()), int(fit.gelled[row])
    needed = SMALLEST_DF + int(fit.gelled[row] - fit.df[row])
    so_far = f"none of {tins} tins has gelled" if gelled == 0 else f"{gelled} of {tins} tins have gelled"
    if gelled == 1:
        so_far = f"one of {tins} tins has gelled"
    return f"{so_far}, at least {needed} are needed for a life"
