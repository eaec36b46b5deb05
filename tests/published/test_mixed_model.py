"""The mixed-model fit against independent programs, on one invented data set.

mixed_model/data.csv was generated with seed 20250304 (10 tins, 60 readings, four temperatures) and fitted by
R 4.2.2 nlme 3.1-162 (ML), by R lme on the linearised data (REML), by an independent numpy program and by
exact Gauss–Hermite likelihood. Tolerances: ML 1e-6 on a, u, E and 1e-5 on the rest; REML 2e-5.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from stability.ageing.arrays import BlendReadings, TinHistory, assemble
from stability.ageing.bounds import life
from stability.ageing.dose import inverse_temperature
from stability.ageing.fit import Fit, FitOptions, Limit, fit

FOLDER = Path(__file__).parent / "mixed_model"
VALUES = json.loads((FOLDER / "values.json").read_text(encoding="utf-8"))
HELD = {"fixed_shape": {"m": 0.5, "b": 0.0}, "free_m": {"b": 0.0}, "free_m_b": {}}


def readings() -> BlendReadings:
    tins: dict[str, list[dict[str, str]]] = {}
    for row in csv.DictReader((FOLDER / "data.csv").read_text(encoding="utf-8").splitlines()):
        tins.setdefault(row["tin"], []).append(row)
    histories = []
    for name, rows in tins.items():
        temperature = float(rows[0]["temperature_c"])
        ages = np.array([float(r["age_days"]) for r in rows])
        histories.append(
            TinHistory(
                sample=name,
                store=f"S-{temperature:.0f}",
                temperature_c=temperature,
                ages_days=ages.tolist(),
                viscosities_mpas=[float(r["viscosity_mpas"]) for r in rows],
                days=ages[:, np.newaxis],
                x=np.full((ages.size, 1), float(inverse_temperature(temperature, 23.0))),
            )
        )
    return assemble(histories, 23.0)


def fitted(model: str, criterion: str) -> Fit:
    options = FitOptions(store_spread=0.0, criterion=criterion, fixed=HELD[model])  # type: ignore[arg-type]
    return fit(readings(), Limit(ratio=2.0), options)


def numbers(f: Fit) -> dict[str, float]:
    out = {"a": f.a, "u": f.u, "E": f.energy, "m": f.m, "b": f.b, "sd": f.sigma, "sd_tin": f.sigma_tin}
    out |= {f"se_{name}": f.se(name) for name in ("a", "E", "m", "b")}
    return out | {"se_u": f.se_u, "loglik": f.log_likelihood}


@pytest.mark.parametrize("model", list(HELD))
def test_ml_is_the_lindstrom_bates_fixed_point(model: str) -> None:
    got = numbers(fitted(model, "ml"))
    for name, value in VALUES["lindstrom_bates"][model]["ML"].items():
        tolerance = 1e-6 if name in {"a", "u", "E"} else 1e-5
        assert got[name] == pytest.approx(value, rel=tolerance), name


@pytest.mark.parametrize("model", list(HELD))
def test_ml_agrees_with_nlme_and_its_tin_effects(model: str) -> None:
    f = fitted(model, "ml")
    got = numbers(f)
    expected = VALUES["r_nlme_ml"][model]
    for name in ("a", "u", "E", "sd", "sd_tin", "loglik"):
        assert got[name] == pytest.approx(expected[name], rel=5e-6), name
    effects = [expected[f"beta_{sample}"] for sample in f.data.samples]
    assert f.tin_effects == pytest.approx(effects, abs=2e-6)


@pytest.mark.parametrize("model", list(HELD))
def test_reml_is_the_lindstrom_bates_fixed_point(model: str) -> None:
    got = numbers(fitted(model, "reml"))
    for name, value in VALUES["lindstrom_bates"][model]["REML"].items():
        assert got[name] == pytest.approx(value, rel=2e-5), name
    for name, value in VALUES["r_lme_reml"][model].items():
        assert got[name] == pytest.approx(value, rel=2e-5), name


@pytest.mark.parametrize("model", list(HELD))
def test_ml_lies_within_a_tenth_of_a_standard_error_of_the_exact_likelihood(model: str) -> None:
    got, exact = numbers(fitted(model, "ml")), VALUES["exact_ml"][model]
    for name, share in {"u": 0.1, "E": 0.1, "m": 0.15, "b": 0.15}.items():
        if name in exact:
            assert abs(got[name] - exact[name]) < share * exact[f"se_{name}"], name


def test_plain_model_gives_the_life_and_the_bound_of_reference_programs() -> None:
    given = life(fit(readings(), Limit(ratio=2.0), FitOptions(store_spread=0.0)))
    assert given.life_days == pytest.approx(308.3, rel=0.02)
    assert given.life_days_lower95 == pytest.approx(290.3, rel=0.03)


def test_store_spread_moves_the_life_little_and_the_bound_down() -> None:
    given = life(fit(readings(), Limit(ratio=2.0)))
    assert given.life_days == pytest.approx(308.3, rel=0.10)
    assert given.life_days_lower95 is not None
    assert given.life_days_lower95 < 290.3
    assert given.life_days_lower95_next_tin is not None
    assert given.life_days_lower95_next_tin < given.life_days_lower95
