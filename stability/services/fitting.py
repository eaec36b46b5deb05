"""One blend through the fit: the forecast row, what boards and alerts need beside it, expected bands.

The services that import numpy are loaded when something must be refitted.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import sqlalchemy as sa

from stability.ageing.arrays import BlendReadings, assemble
from stability.ageing.bounds import Life, LifeOutcome, life, life_to
from stability.ageing.dose import dose, inverse_temperature
from stability.ageing.evidence import gather
from stability.ageing.evidence_rules import EvidenceRules
from stability.ageing.fit import Fit, Priors, fit
from stability.ageing.linear import store_lives
from stability.ageing.outlook import (
    expected_readings,
    limit_date_range,
    shares_used,
)
from stability.ageing.second_fit import day_spread_of, life_of_both
from stability.alerts.material import gelled, limit_reached
from stability.services.blends import Blend
from stability.services.expected_bands import expected_bands
from stability.services.facts import tin_facts
from stability.services.lots import by_lot
from stability.services.lots_fitted import as_fitted, assumed_by, ends_of, limit_of, real_times_days
from stability.services.tins import Climate, tins_of

if TYPE_CHECKING:
    from stability.settings import FitSettings

__all__ = ["fitted", "number", "row_of"]

CURVE_POINTS = 60
WIDEST_LIFE = math.log(5)
"""A store whose own readings leave its life open by more either way has none to show, in ln of days."""
Z_95 = 1.96


def fitted(
    blend: Blend, surroundings: Climate, connection: sa.Connection, options: FitSettings
) -> tuple[Mapping[str, Any], Mapping[int, Sequence[tuple[float, float, float]]]]:
    """Return a blend's payload (`row`: the forecast as others may rely on it, `extra`: the rest) and bands.

    The bands are keyed by sample id; a study that only looks for gel has none.
    """
    if blend.gel_only:
        from stability.services.gel_only import fitted_gel_only

        return fitted_gel_only(blend, surroundings, connection, options), {}
    tins = tins_of(blend, surroundings, connection, gel_ratio=options.gel_ratio)
    ends = ends_of(blend, options)
    data = as_fitted(blend, assemble(tins, blend.study.storage_c), ends)
    found = fit(data, ends, assumed_by(options))
    told = life(found, blend.study.target_life_days)
    row = _row(blend, found, told, to_gel=limit_of(blend) is None)
    rules = EvidenceRules(
        repeatability=options.method_repeatability_pct / 100, day_bias=options.day_bias_pct / 100
    )
    row["evidence"] = [
        {"name": e.name, "passed": e.passed, "p": number(e.p), "says": e.says} for e in gather(found, rules)
    ]
    extra = _extra(blend, found, told, data)
    extra["statement"] = _for_statements(found, told, day_spread=options.day_bias_pct / 100)
    extra["alert"] = _for_alerts(blend, data, found, options)
    if _limit_reached(blend, found):
        row["outcome"] = "limit_reached"
    return {"row": row, "extra": extra}, expected_bands(
        blend, found, data, day_bias=options.day_bias_pct / 100
    )


def number(value: float | None, digits: int = 6) -> float | None:
    """Return a number for JSON: never NaN or infinity, no digits that mean nothing."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{digits}g}")


def _row(blend: Blend, found: Fit, told: Life, *, to_gel: bool) -> dict[str, Any]:
    numbers = found.ok and told.outcome is not LifeOutcome.TOO_EARLY
    # an energy on the edge of what is searched was not found
    energy = numbers and found.energy_estimated and "E" not in found.at_edge
    # a shape on the edge of its box is one of many that fit alike: its gel point means nothing
    gel_days = told.life_days if to_gel else None if found.at_edge else told.gel_life_days
    return row_of(
        blend,
        told,
        gel_life_days=None if told.outcome is LifeOutcome.TOO_EARLY else gel_days,
        activation_energy_kj_mol=found.energy if energy else None,
        activation_energy_se_kj_mol=found.se("E") if energy else None,
        order_m=found.m if numbers else None,
        self_acceleration_b=found.b if numbers else None,
        initial_viscosity_mpas=math.exp(found.a) if found.ok else blend.initial_mpas(),
        noise_pct=100 * found.sigma if numbers else None,
        tin_spread_pct=100 * found.sigma_tin if numbers else None,
        tins=found.tins,
        readings=found.readings,
        gelled_tins=found.gelled,
    )


def row_of(blend: Blend, told: Life, **found: float | None) -> dict[str, Any]:
    """Return a forecast row from what may be told of the life and from what was found beside it."""
    key, study = blend.key, blend.study
    life_days = number(told.life_days)
    limit_at = None if life_days is None else blend.placed_at + timedelta(days=min(life_days, 36_525.0))
    return {
        "study": study.code,
        "product": key.product,
        "product_lots": [*blend.product_lots],
        "thinner": key.thinner,
        "thinner_lots": [*blend.thinner_lots],
        "level_pct": key.level_pct,
        "additive": key.additive,
        "pack": key.pack,
        "storage_c": study.storage_c,
        "limit_viscosity_ratio": study.limits.get("viscosity_ratio"),
        "limit_viscosity_max_mpas": study.limits.get("viscosity_max_mpas"),
        "target_life_days": study.target_life_days,
        "outcome": told.outcome.value,
        "says": told.says,
        "life_days": life_days,
        "life_days_lower95": number(told.life_days_lower95),
        "life_days_lower95_next_tin": number(told.life_days_lower95_next_tin),
        "life_days_upper95": number(told.life_days_upper95),
        "probability_before_target": number(told.probability_before_target),
        "limit_date": None if limit_at is None else limit_at.date().isoformat(),
        **{name: value if isinstance(value, int) else number(value) for name, value in found.items()},
        "priors_used": False,
        "evidence": [],
    }


def _extra(blend: Blend, found: Fit, told: Life, data: BlendReadings) -> dict[str, Any]:
    real_times = real_times_days(blend, data)
    extra: dict[str, Any] = {
        "real_time_days": number(max(real_times, default=0.0)),
        "stores": list(data.stores),
    }
    if len(real_times) > 1:
        extra["real_times_days"] = [number(days) for days in real_times]
    if not found.ok or told.outcome is LifeOutcome.TOO_EARLY:
        return extra
    if told.life_days is not None:
        extra["log_life"] = {"u": found.u, "se": found.se_u, "df": found.df}
    extra["parameters"] = {
        "a": found.a,
        "u": found.u,
        "energy": found.energy,
        "m": found.m,
        "b": found.b,
        "ln_limit": found.ln_limit,
        "sigma": found.sigma,
    }
    extra["shares"] = _shares(found, data)
    until = min(told.life_days or told.life_days_lower95 or 0.0, 2.0 * blend.study.target_life_days)
    extra["curve"] = _curve(found, data, until)
    extra["store_lives"] = _store_lives(found, data)
    extra["lives"] = [
        {"criterion": words, "ratio": ratio, "life_days": number(life_to(found, ratio))}
        for words, ratio in (("+20 %", 1.2), ("+50 %", 1.5), ("2×", 2.0))
    ]
    return extra


def _shares(found: Fit, data: BlendReadings) -> dict[str, Any]:
    """Return, per tin, the share of life used at its last reading and what each further day adds."""
    x = np.asarray(inverse_temperature(data.store_temperature_c, data.storage_c))
    shares: dict[str, Any] = {}
    for place, (sample, used) in enumerate(zip(data.samples, shares_used(found), strict=True)):
        own = np.flatnonzero(data.tin == place)
        last = own[np.argmax(data.age_days[own])]
        per_day = math.exp(-found.energy * x[data.store[last]] - found.u + found.tin_effects[place])
        shares[sample] = {
            "age_days": float(data.age_days[last]),
            "used": number(used),
            "per_day": number(per_day),
        }
    return shares


def _store_lives(found: Fit, data: BlendReadings) -> list[dict[str, Any]]:
    """Return what each store's tins say on their own: life and its 95 % range, [d]."""
    lives = []
    for own in store_lives(found):
        days = number(_exp(own.ln_life))
        if days is None or Z_95 * own.se > WIDEST_LIFE:
            continue
        lives.append(
            {
                "store": own.store,
                "temperature_c": own.temperature_c,
                "life_days": days,
                "lower_days": number(_exp(own.ln_life - Z_95 * own.se)),
                "upper_days": number(_exp(own.ln_life + Z_95 * own.se)),
                "tins": int(np.unique(data.tin[data.store == data.stores.index(own.store)]).size),
            }
        )
    return lives


def _exp(ln_days: float) -> float:
    """Return e to a power, infinity beyond what stands for an open end (a million years), [d]."""
    return math.exp(ln_days) if ln_days < 20.0 else math.inf


def _curve(found: Fit, data: BlendReadings, until_days: float) -> list[list[float | None]]:
    """Return the curve with the 95 % band of a new tin's reading: (day at storage, ln η, low, high)."""
    reached = float(dose(data.days, data.x, found.energy).max())
    days = np.linspace(0.0, 1.1 * max(reached, until_days), CURVE_POINTS)
    mean, sd = expected_readings(found, days[:, np.newaxis], np.zeros((CURVE_POINTS, 1)))
    highest = math.log(1e6)
    rows = zip(days, mean, mean - 1.96 * sd, mean + 1.96 * sd, strict=True)
    return [[number(d), *(number(min(v, highest)) for v in rest)] for d, *rest in rows if rest[0] < highest]


def _for_alerts(blend: Blend, data: BlendReadings, found: Fit, options: FitSettings) -> dict[str, Any]:
    """Return the chance and the date of the limit by the fit with weak priors, which only alerts may use."""
    priors = Priors(
        energy=options.prior_energy_kj_mol,
        energy_sd=options.prior_energy_sd_kj_mol,
        m=options.prior_m,
        m_sd=options.prior_m_sd,
        b=options.prior_b,
        b_sd=options.prior_b_sd,
    )
    weak = fit(data, found.limit, replace(found.options, priors=priors))
    told = life(weak, blend.study.target_life_days)
    early, late = limit_date_range(told)
    return {
        "probability": number(told.probability_before_target),
        "life_days": number(told.life_days),
        "early_days": number(early),
        "late_days": number(late),
        "priors_used": True,
    }


def _for_statements(found: Fit, told: Life, *, day_spread: float) -> dict[str, Any]:
    """Return the bounds that a statement may rest on: the lower ones of both fits."""
    both, second = life_of_both(found, told, day_spread)
    return {
        "life_days_lower95": number(both.life_days_lower95),
        "life_days_lower95_next_tin": number(both.life_days_lower95_next_tin),
        "day_spread_pct": None if second is None else number(100 * day_spread_of(second)),
    }


def _limit_reached(blend: Blend, found: Fit) -> bool:
    """Ask the rule that alerts use whether a tin at the storage temperature has crossed a limit."""
    grade = blend.study.limits.get("gel_grade")
    told = math.exp(found.a) if found.ok and blend.key.product_lot is not None else None
    tins = [
        tin
        for lot in by_lot(blend)
        for tin in tin_facts(lot, initial_mpas=told or lot.initial_mpas())
        if tin.at_storage
    ]
    return bool(limit_reached(tins, gel_grade_limit=None if grade is None else int(grade)) or gelled(tins))
