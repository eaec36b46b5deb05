"""A blend of which only the gel was looked for: from graded looks to a forecast row like any other.

A tin lies between its last look without gel and its first one with it, in the exposure of its own history.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from stability.ageing.bounds import Life
from stability.ageing.dose import inverse_temperature
from stability.ageing.evidence import EvidenceRules
from stability.ageing.history import exposures
from stability.ageing.lifetimes_gel_evidence import gel_evidence, gel_store_lives, life_used
from stability.ageing.lifetimes_gel_fit import GelOptions
from stability.ageing.lifetimes_gel_life import GelForecast, gel_forecasts
from stability.ageing.lifetimes_gels import TinGel, assemble_gels
from stability.alerts.material import gelled, limit_reached
from stability.bench.gel import GELLED_FROM
from stability.records import history
from stability.records.climate import epoch_days
from stability.services.blends import AT_STORAGE_C, Blend
from stability.services.facts import tin_facts
from stability.services.fitting import number, row_of
from stability.services.tins import Climate, stays_of

if TYPE_CHECKING:
    from stability.settings import FitSettings

__all__ = ["fitted_gel_only", "gel_tins", "gelled_from"]

Z_95 = 1.96
WIDEST_LIFE = math.log(5)


def fitted_gel_only(
    blend: Blend, surroundings: Climate, connection: sa.Connection, options: FitSettings
) -> dict[str, Any]:
    """Return a blend's payload (`row` and `extra`, as of any other forecast) from its gel checks."""
    tins = gel_tins(blend, surroundings, connection)
    target = blend.study.target_life_days
    data = assemble_gels([tins], blend.study.storage_c)
    (told,) = gel_forecasts(data, target, GelOptions(store_spread=options.store_spread))
    row = _row(blend, told)
    row["evidence"] = [
        {"name": e.name, "passed": e.passed, "p": number(e.p), "says": e.says}
        for e in gel_evidence(told, EvidenceRules())
    ]
    extra = _extra(blend, told, tins)
    belief = (options.prior_energy_kj_mol, options.prior_energy_sd_kj_mol)
    weak = gel_forecasts(data, target, GelOptions(store_spread=options.store_spread, energy=belief))
    extra["alert"] = _for_alerts(weak[0].life)
    if _limit_reached(blend):
        row["outcome"] = "limit_reached"
    return {"row": row, "extra": extra}


def gelled_from(limits: Mapping[str, float]) -> int:
    """Return the grade from which a tin of a gel-only study has ended: the study's own, 4 at the most."""
    return min(math.ceil(limits.get("gel_grade", GELLED_FROM)), GELLED_FROM)


def gel_tins(blend: Blend, surroundings: Climate, connection: sa.Connection) -> list[TinGel]:
    """Return each tin's last look without gel and first one with it, with what it went through till then."""
    grade = gelled_from(blend.study.limits)
    found = []
    for sample in blend.samples:
        looks = _looks(sample, blend.readings.get(sample.id, ()), grade)
        if not looks:
            continue
        fluid, ended = looks
        days = [day for day in (fluid, ended) if day is not None]
        stays = stays_of(sample, surroundings, connection, blend.study.storage_c, until=max(days))
        exposure = exposures(stays, days, blend.study.storage_c)
        start = epoch_days(sample.placed_at)
        last = -1 if ended is not None else None
        found.append(
            TinGel(
                sample=sample.sample,
                store=sample.store,
                temperature_c=sample.store_temperature_c,
                fluid_age_days=0.0 if fluid is None else max(fluid - start, 0.0),
                fluid_days=() if fluid is None else exposure.days[0],
                fluid_x=() if fluid is None else exposure.x[0],
                gelled_age_days=None if ended is None else max(ended - start, 0.0),
                gelled_days=() if last is None else exposure.days[last],
                gelled_x=() if last is None else exposure.x[last],
            )
        )
    return found


def _looks(
    sample: history.SampleFacts, readings: Sequence[history.ReadingFacts], grade: int
) -> tuple[float | None, float | None] | None:
    """Return the last look without gel and the first one with it [d since 1970]; None without any look.

    A tin that was ended as gelled had gelled by then, graded or not.
    """
    graded = [(epoch_days(r.taken_at), r.gel_grade) for r in readings if r.gel_grade is not None]
    ended = [day for day, found in graded if found >= grade]
    if sample.end_reason == "gelled" and sample.ended_at is not None:
        ended.append(epoch_days(sample.ended_at))
    first = min(ended, default=None)
    fluid = [day for day, found in graded if found < grade and (first is None or day < first)]
    if first is None and not fluid:
        return None
    return max(fluid, default=None), first


def _row(blend: Blend, told: GelForecast) -> dict[str, Any]:
    fit, life, at = told.fit, told.life, told.row
    numbers = life.life_days is not None
    # an energy on the edge of what is searched was not found
    energy = numbers and bool(fit.energy_estimated[at]) and not bool(fit.energy_at_edge[at])
    grade = gelled_from(blend.study.limits)
    return row_of(
        blend,
        life,
        gel_life_days=life.gel_life_days,
        activation_energy_kj_mol=float(fit.energy[at]) if energy else None,
        activation_energy_se_kj_mol=float(fit.energy_se[at]) if energy else None,
        order_m=None,
        self_acceleration_b=None,
        initial_viscosity_mpas=None,
        noise_pct=None,
        tin_spread_pct=100.0 * float(fit.sigma[at]) if numbers else None,
        tins=int((fit.tins.weight[at] > 0.0).sum()),
        readings=sum(_counted(sample, blend.readings.get(sample.id, ()), grade) for sample in blend.samples),
        gelled_tins=int(fit.gelled[at]),
    )


def _counted(sample: history.SampleFacts, readings: Sequence[history.ReadingFacts], grade: int) -> int:
    """Return how many looks at a tin say something: those after day 0, up to the first one with gel."""
    grades = [r.gel_grade for r in readings if r.gel_grade is not None and r.taken_at > sample.placed_at]
    first = next((place for place, found in enumerate(grades) if found >= grade), len(grades) - 1)
    return first + 1


def _extra(blend: Blend, told: GelForecast, tins: Sequence[TinGel]) -> dict[str, Any]:
    extra: dict[str, Any] = {
        "real_time_days": number(_real_time_days(blend, tins)),
        "stores": sorted({tin.store for tin in tins}),
    }
    if told.life.life_days is None:
        return extra
    fit, at = told.fit, told.row
    u, energy = float(fit.u[at]), float(fit.energy[at])
    extra["log_life"] = {"u": u, "se": float(fit.se_u[at]), "df": float(fit.df[at])}
    extra["parameters"] = {"u": u, "energy": energy, "sigma": float(fit.sigma[at])}
    extra["shares"] = _shares(blend, told, tins)
    extra["store_lives"] = _store_lives(told)
    return extra


def _real_time_days(blend: Blend, tins: Sequence[TinGel]) -> float:
    """Return the longest age looked at near the storage temperature, [d]."""
    near = [t for t in tins if abs(t.temperature_c - blend.study.storage_c) <= AT_STORAGE_C]
    return max((_last_age(tin) for tin in near), default=0.0)


def _last_age(tin: TinGel) -> float:
    return tin.fluid_age_days if tin.gelled_age_days is None else tin.gelled_age_days


def _shares(blend: Blend, told: GelForecast, tins: Sequence[TinGel]) -> dict[str, Any]:
    """Return, per tin, the share of the typical life used at its last look and what each day adds."""
    u, energy = float(told.fit.u[told.row]), float(told.fit.energy[told.row])
    shares: dict[str, Any] = {}
    for tin, used in zip(tins, life_used(told), strict=True):
        x = float(inverse_temperature(tin.temperature_c, blend.study.storage_c))
        shares[tin.sample] = {
            "age_days": _last_age(tin),
            "used": number(float(used)),
            "per_day": number(math.exp(-energy * x - u)),
        }
    return shares


def _store_lives(told: GelForecast) -> list[dict[str, Any]]:
    """Return what each store's tins say on their own: life and its 95 % range, [d]."""
    lives, _ = gel_store_lives(told)
    return [
        {
            "store": own.store,
            "temperature_c": own.temperature_c,
            "life_days": number(math.exp(own.ln_life)),
            "lower_days": number(math.exp(own.ln_life - Z_95 * own.se)),
            "upper_days": number(math.exp(own.ln_life + Z_95 * own.se)),
            "tins": own.tins,
        }
        for own in lives
        if Z_95 * own.se <= WIDEST_LIFE
    ]


def _for_alerts(told: Life) -> dict[str, Any]:
    """Return the chance and the date of the gel by the fit that leans on a weak prior of the energy."""
    return {
        "probability": number(told.probability_before_target),
        "life_days": number(told.life_days),
        "early_days": number(told.life_days_lower95),
        "late_days": number(told.life_days_upper95),
        "priors_used": True,
    }


def _limit_reached(blend: Blend) -> bool:
    """Ask the rule that alerts use whether a tin at the storage temperature has reached the grade."""
    if any(sample.end_reason == "gelled" for sample in blend.at_storage.values()):
        return True
    tins = [t for t in tin_facts(blend, initial_mpas=None) if t.at_storage]
    grade = gelled_from(blend.study.limits)
    return bool(limit_reached(tins, gel_grade_limit=grade) or gelled(tins))
