"""The checks that explain a forecast or hold it back, each with its figure and a plain sentence.

They explain; the bound does the protecting. Nothing here changes data.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, fdtrc, ndtr

from stability.ageing.linear import straight_line
from stability.ageing.result import Fit
from stability.units import significant

__all__ = ["Evidence", "EvidenceRules", "gather"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One check."""

    name: str
    passed: bool
    says: str
    p: float | None = None
    """p-value of a test; None for a count or a ratio."""
    figure: float | None = None
    """The number looked at, where it is not a p-value."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceRules:
    """What is asked for; each a setting."""

    level: float = 0.05
    """Tests fail below this p-value."""
    repeatability: float | None = None
    """Stated standard deviation of the method, relative, [–]; None: not stated."""
    real_time_days: float = 90.0
    """Shortest record at the storage temperature: a season (common practice, no source)."""
    reach: float = 1.0
    """Longest dose seen ÷ life."""
    temperatures: int = 3
    tins_per_store: int = 2
    tins: int = 4
    readings: int = 12


def gather(fit: Fit, rules: EvidenceRules | None = None) -> tuple[Evidence, ...]:
    """Return all checks that can be made of a fit; those that need numbers are left out without them."""
    rules = rules or EvidenceRules()
    found = [_storage_store(fit), _temperatures(fit, rules), _tins(fit, rules), _amount(fit, rules)]
    found.append(_real_time(fit, rules))
    if fit.ok:
        found.append(_reach(fit, rules))
        tests = (_straight(fit, rules), _spread(fit, rules), _runs(fit, rules), _lack_of_fit(fit, rules))
        found += [check for check in tests if check is not None]
    return tuple(found)


def _storage_store(fit: Fit) -> Evidence:
    there = fit.storage_store_present
    storage = significant(fit.data.storage_c)
    says = f"a store stands at {storage} °C" if there else f"no store within 2.5 °C of {storage} °C"
    return Evidence(name="storage_store_present", passed=there, says=says)


def _aged(fit: Fit) -> npt.NDArray[np.bool_]:
    return fit.data.aged


def _temperatures(fit: Fit, rules: EvidenceRules) -> Evidence:
    values = np.sort(fit.data.store_temperature_c[np.unique(fit.data.store[_aged(fit)])])
    count = int(values.size > 0) + int((np.diff(values) > 2.5).sum())
    says = f"{count} temperature{'s' if count != 1 else ''}, {rules.temperatures} are asked for"
    return Evidence(name="temperatures", passed=count >= rules.temperatures, says=says, figure=float(count))


def _tins(fit: Fit, rules: EvidenceRules) -> Evidence:
    aged = _aged(fit)
    per_store = {
        store: np.unique(fit.data.tin[aged & (fit.data.store == k)]).size
        for k, store in enumerate(fit.data.stores)
    }
    fewest = min(per_store.values(), default=0)
    thin = [store for store, n in per_store.items() if n < rules.tins_per_store]
    says = f"at least {fewest} tins in every store"
    if thin or not per_store:
        says = f"fewer than {rules.tins_per_store} tins in {', '.join(thin) or 'any store'}"
    return Evidence(name="tins", passed=bool(per_store) and not thin, says=says, figure=float(fewest))


def _amount(fit: Fit, rules: EvidenceRules) -> Evidence:
    enough = fit.tins >= rules.tins and fit.readings >= rules.readings
    says = f"{fit.tins} tins and {fit.readings} readings; {rules.tins} and {rules.readings} are asked for"
    return Evidence(name="amount", passed=enough, says=says, figure=float(fit.readings))


def _real_time(fit: Fit, rules: EvidenceRules) -> Evidence:
    home = fit.data.storage_store
    there = fit.data.store == home if home is not None else np.zeros(fit.data.store.size, dtype=bool)
    longest = float(fit.data.age_days[there].max()) if there.any() else 0.0
    asked = significant(rules.real_time_days)
    says = f"{significant(longest)} d at the storage temperature, {asked} d asked for"
    return Evidence(name="real_time", passed=longest >= rules.real_time_days, says=says, figure=longest)


def _reach(fit: Fit, rules: EvidenceRules) -> Evidence:
    reach = float(fit.life_used.max())
    says = f"the most aged tin has used {significant(reach)} of the life that is forecast"
    if reach < rules.reach:
        says += "; the rest is extrapolation"
    return Evidence(name="reach", passed=reach >= rules.reach, says=says, figure=reach)


def _straight(fit: Fit, rules: EvidenceRules) -> Evidence | None:
    line = straight_line(fit)
    if line is None:
        return None
    p = float(fdtrc(line.df_stores, line.df_tins, line.f))
    # days of life that the coldest store takes from (or adds to) what the warmer ones promise
    days = math.exp(min(fit.u, 700.0)) * math.expm1(max(min(line.cold_departure, 5.0), -5.0))
    faster = line.cold_departure > 0.0
    size = significant(abs(days))
    turn = f"the coldest store ages {'faster' if faster else 'slower'} than the warmer ones promise"
    says = f"{turn}: {size} d of life {'less' if faster else 'more'}"
    if p >= rules.level:
        says = f"the stores lie on one Arrhenius line; {says}, within the scatter"
    return Evidence(name="straight_arrhenius", passed=p >= rules.level, says=says, p=p, figure=-days)


def _spread(fit: Fit, rules: EvidenceRules) -> Evidence | None:
    if rules.repeatability is None:
        return None
    measured = int(fit.data.measured.sum())
    df = max(measured - fit.tins - 3, 1)
    p = float(chdtrc(df, df * (fit.sigma / rules.repeatability) ** 2))
    percent, stated = significant(100.0 * fit.sigma), significant(100.0 * rules.repeatability)
    says = f"readings scatter by {percent} %, the method states {stated} %"
    return Evidence(name="method_spread", passed=p >= rules.level, says=says, p=p, figure=fit.sigma)


def _runs(fit: Fit, rules: EvidenceRules) -> Evidence | None:
    """Wald–Wolfowitz runs of sign in the order of dose (Wald and Wolfowitz 1940), too few only."""
    measured = fit.data.measured
    signs = fit.residuals[measured][np.argsort(fit.life_used[measured], kind="stable")] > 0.0
    above, below = int(signs.sum()), int((~signs).sum())
    n = above + below
    if min(above, below) < 5:
        return None
    runs = 1 + int((signs[1:] != signs[:-1]).sum())
    mean = 1.0 + 2.0 * above * below / n
    variance = (mean - 1.0) * (mean - 2.0) / (n - 1.0)
    p = float(ndtr((runs + 0.5 - mean) / math.sqrt(variance)))
    says = f"residuals change sign {runs - 1} times along the curve, {significant(mean - 1.0)} expected"
    return Evidence(name="runs", passed=p >= rules.level, says=says, p=p, figure=float(runs))


def _lack_of_fit(fit: Fit, rules: EvidenceRules) -> Evidence | None:
    """Scatter of cell means about the curve against scatter of like tins at like ages."""
    measured = fit.data.measured
    cells = np.stack((fit.data.store[measured], fit.data.age_days[measured]))
    _, cell = np.unique(cells, axis=1, return_inverse=True)
    cell = np.asarray(cell).ravel()
    r = fit.residuals[measured]
    size = np.bincount(cell)
    mean = np.bincount(cell, weights=r) / size
    pure_df = r.size - size.size - (fit.tins - len(fit.data.stores))
    lack_df = size.size - len(fit.names)
    if pure_df < 3 or lack_df < 1:
        return None
    pure = float(((r - mean[cell]) ** 2).sum()) / pure_df
    lack = float((size * mean**2).sum()) / lack_df
    p = float(fdtrc(lack_df, pure_df, lack / max(pure, 1e-300)))
    fits = p >= rules.level
    says = "the curve runs through the cell means" if fits else "the curve misses the cell means"
    return Evidence(name="lack_of_fit", passed=fits, says=f"{says} as far as like tins tell", p=p)
