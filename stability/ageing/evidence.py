"""The checks that explain a forecast or hold it back, each with its figure and a plain sentence.

They explain; the bound does the protecting. Nothing here changes data.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stability.ageing.evidence_rules import Evidence, EvidenceRules
from stability.ageing.evidence_tins import clock, leaking_tin, straight
from stability.ageing.evidence_trial import trial
from stability.ageing.evidence_within import (
    day_bias,
    lack_of_fit,
    method_spread,
    one_shape,
    runs,
    unresolved_step,
)
from stability.ageing.result import Fit
from stability.units import significant

__all__ = ["Evidence", "EvidenceRules", "gather"]

_TESTS = (
    straight,
    one_shape,
    method_spread,
    runs,
    lack_of_fit,
    clock,
    unresolved_step,
    leaking_tin,
    day_bias,
)


def gather(fit: Fit, rules: EvidenceRules | None = None) -> tuple[Evidence, ...]:
    """Return all checks that can be made of a fit; those that need numbers are left out without them."""
    rules = rules or EvidenceRules()
    found = [_storage_store(fit), _temperatures(fit, rules), _tins(fit, rules), _amount(fit, rules)]
    found.append(_real_time(fit, rules))
    if fit.ok:
        found.append(_reach(fit, rules))
        at = trial(fit)
        tests = [test(at, rules) for test in _TESTS]
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
    count = fit.data.temperatures(_aged(fit))
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
