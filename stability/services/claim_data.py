"""What a claim rests on, as plain data that anybody can calculate with: out of the records, and back.

Instants are ISO 8601 in UTC, ages and exposures days, x mol/kJ, viscosities mPa·s, temperatures °C. Who
owns the study and the file it came from are left out: statements are passed on.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields, replace
from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from stability.records.history import ReadingFacts, SampleFacts, StudyFacts
from stability.services.blends import Blend, BlendKey
from stability.services.claims import aged_temperatures, held_days, judged_facts
from stability.services.instants import iso
from stability.services.lots import by_lot
from stability.services.tins import load_climate, tins_of
from stability.statements.claim import ClaimFacts, Draft, Question

if TYPE_CHECKING:
    from stability.settings import FitSettings

__all__ = ["Recalculated", "blend_data", "bound_from", "facts_data", "plain", "recalculated"]

_FIT_NAMES = ("store_spread", "opening_spread_pct", "gel_ratio", "day_bias_pct")
Recalculated = tuple[Draft, float]
"""What the data carry, and the lower bound of the worst lot, [d]."""


def plain(value: Any) -> Any:
    """Return records as JSON data: instants as ISO 8601, mappings with texts as keys."""
    if isinstance(value, datetime):
        return iso(value)
    if isinstance(value, Mapping):
        return {str(key): plain(inner) for key, inner in value.items()}
    if isinstance(value, str) or not isinstance(value, Sequence | frozenset | set):
        return value
    return [plain(inner) for inner in (value if isinstance(value, Sequence) else sorted(value))]


def blend_data(
    connection: sa.Connection, blend: Blend, *, as_of: datetime, options: FitSettings, zone: tzinfo = UTC
) -> dict[str, Any]:
    """Return one lot of a blend: study, tins, readings, and each tin's exposure as the fit takes it.

    `zone` is the site's: days of readings are local.
    """
    gap_days = options.logger_gap_hours / 24
    climate = load_climate(connection, blend.study.code, as_of=as_of, gap_days=gap_days, zone=zone)
    told = replace(blend.study, owner="", source="", plan=())
    return {
        "key": asdict(blend.key),
        "study": plain(asdict(told)),
        "samples": [plain(asdict(sample)) for sample in blend.samples],
        "readings": [plain(asdict(r)) for s in blend.samples for r in blend.readings.get(s.id, ())],
        "fit": {name: getattr(options, name) for name in _FIT_NAMES},
        "tins": _gel_tins(connection, blend, climate)
        if blend.gel_only
        else _tins(connection, blend, climate, options.gel_ratio),
    }


def _tins(connection: sa.Connection, blend: Blend, climate: Any, gel_ratio: float) -> list[dict[str, Any]]:
    return [
        {
            "sample": tin.sample,
            "store": tin.store,
            "temperature_c": tin.temperature_c,
            "ages_days": [float(age) for age in tin.ages_days],
            "viscosities_mpas": [float(value) for value in tin.viscosities_mpas],
            "kinds": [int(kind) for kind in tin.kinds or ()],
            "openings": [int(count) for count in tin.openings or ()],
            "sessions": [int(day) for day in tin.sessions or ()],
            "steps": None if tin.steps is None else [[float(v) for v in row] for row in tin.steps],
            "days": tin.days.tolist(),
            "x": tin.x.tolist(),
        }
        for tin in tins_of(blend, climate, connection, gel_ratio=gel_ratio)
    ]


def _gel_tins(connection: sa.Connection, blend: Blend, climate: Any) -> list[dict[str, Any]]:
    from stability.services.gel_only import gel_tins

    found = []
    for tin in gel_tins(blend, climate, connection):
        data = {f.name: getattr(tin, f.name) for f in fields(tin)}
        arrays = ("fluid_days", "fluid_x", "gelled_days", "gelled_x")
        found.append({**data, **{name: [float(v) for v in data[name]] for name in arrays}})
    return found


def facts_data(facts: ClaimFacts) -> dict[str, Any]:
    """Return the facts of a claim as JSON data."""
    data: dict[str, Any] = plain(asdict(facts))
    return data


def bound_from(data: Mapping[str, Any]) -> float | None:
    """Return the lower bound of the next tin of one lot, calculated from its data alone, [d]."""
    blend = _blend(data)
    lower, initial = (_gel_bound if blend.gel_only else _fitted_bound)(blend, data)
    held = held_days(blend, initial)
    return min((days for days in (lower, held) if days is not None), default=None)


def recalculated(lots: Sequence[Mapping[str, Any]], facts: Mapping[str, Any]) -> Recalculated:
    """Return what the data of some lots carry: stores, tins, readings, real time and bound calculated anew.

    What no reading tells (pack, class of the thinner, cure) is taken as it was stated.
    """
    blends = [_blend(data) for data in lots]
    bounds = [bound_from(data) for data in lots]
    worst = min((bound for bound in bounds if bound is not None), default=math.nan)
    real_times = [
        _real_time_days(data, lot) for data, blend in zip(lots, blends, strict=True) for lot in by_lot(blend)
    ]
    told = {**facts, "questions": tuple(Question(**q) for q in facts["questions"])}
    told |= {
        "temperatures_c": tuple(sorted({t for blend in blends for t in aged_temperatures(blend)})),
        "tins": sum(len(data["tins"]) for data in lots),
        "lower_bound_days": worst,
        "real_time_days": max(real_times),
    }
    return judged_facts(ClaimFacts(**told), real_times), worst


def _real_time_days(data: Mapping[str, Any], blend: Blend) -> float:
    near = {sample.sample for sample in blend.at_storage.values()}
    ages = [
        age
        for tin in data["tins"]
        if tin["sample"] in near
        for age in tin.get("ages_days", (tin.get("fluid_age_days"), tin.get("gelled_age_days")))
        if age is not None
    ]
    return float(f"{max(ages, default=0.0):.6g}")


def _fitted_bound(blend: Blend, data: Mapping[str, Any]) -> tuple[float | None, float | None]:
    import numpy as np

    from stability.ageing.arrays import Kind, TinHistory, assemble
    from stability.ageing.bounds import LifeOutcome, life
    from stability.ageing.fit import FitOptions, Limit, fit
    from stability.ageing.second_fit import life_of_both
    from stability.services.lots_fitted import as_fitted, limit_of

    tins = [
        TinHistory(
            **{
                **tin,
                "kinds": [Kind(kind) for kind in tin["kinds"]],
                "days": np.array(tin["days"], dtype=np.float64),
                "x": np.array(tin["x"], dtype=np.float64),
            }
        )
        for tin in data["tins"]
    ]
    options = data["fit"]
    assumed = FitOptions(
        store_spread=options["store_spread"], opening_spread=options["opening_spread_pct"] / 100
    )
    limit = limit_of(blend) or Limit(ratio=options["gel_ratio"])
    found = fit(as_fitted(blend, assemble(tins, blend.study.storage_c), limit), limit, assumed)
    told = life(found, blend.study.target_life_days)
    # data of before there was a second fit do not name the spread that it begins with
    told, _ = life_of_both(found, told, options.get("day_bias_pct", 0.0) / 100)
    initial = math.exp(found.a) if found.ok else blend.initial_mpas()
    lower = None if told.outcome is LifeOutcome.TOO_EARLY else told.life_days_lower95_next_tin
    return lower if lower is not None and math.isfinite(lower) else None, initial


def _gel_bound(blend: Blend, data: Mapping[str, Any]) -> tuple[float | None, float | None]:
    from stability.ageing.bounds import LifeOutcome
    from stability.ageing.lifetimes_gel_fit import GelOptions
    from stability.ageing.lifetimes_gel_life import gel_forecasts
    from stability.ageing.lifetimes_gels import TinGel, assemble_gels

    tins = [TinGel(**tin) for tin in data["tins"]]
    (told,) = gel_forecasts(
        assemble_gels([tins], blend.study.storage_c),
        blend.study.target_life_days,
        GelOptions(store_spread=data["fit"]["store_spread"]),
    )
    lower = None if told.life.outcome is LifeOutcome.TOO_EARLY else told.life.life_days_lower95_next_tin
    return lower if lower is not None and math.isfinite(lower) else None, None


def _blend(data: Mapping[str, Any]) -> Blend:
    samples = tuple(SampleFacts(**_with_instants(sample)) for sample in data["samples"])
    readings: dict[int, list[ReadingFacts]] = {}
    for row in data["readings"]:
        readings.setdefault(row["sample_id"], []).append(ReadingFacts(**_with_instants(row)))
    return Blend(
        key=BlendKey(**data["key"]),
        study=StudyFacts(**{**_with_instants(data["study"]), "plan": ()}),
        samples=samples,
        readings={sample: tuple(rows) for sample, rows in readings.items()},
    )


def _with_instants(row: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: datetime.fromisoformat(value) if name.endswith("_at") and value is not None else value
        for name, value in row.items()
    }
