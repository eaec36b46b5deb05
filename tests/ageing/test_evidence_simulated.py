"""Size and power of the evidence checks on simulated fleets: the shares in their docstrings, in small."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

import pytest

from stability.ageing.evidence import Evidence, EvidenceRules, gather
from stability.ageing.fit import Limit, fit_many
from tests.ageing.evidence_studies import SHAPES, Study, fleet

FOUR, THREE = (23.0, 40.0, 50.0, 60.0), (23.0, 40.0, 50.0)
STUDIES = 60
PER_CAUSE = 80
TINS = 0.05


def evidence(truth: Study, count: int, seed: int) -> Iterator[Evidence]:
    for f in fit_many(fleet(truth, count, seed), Limit(ratio=2.0)):
        assert f.ok
        yield from gather(f, EvidenceRules(repeatability=truth.noise))


def shares(cells: list[Study], count: int, seed: int) -> dict[str, float]:
    """Return the share of studies in which each test failed."""
    made: Counter[str] = Counter()
    failed: Counter[str] = Counter()
    for place, truth in enumerate(cells):
        for e in evidence(truth, count, seed + place):
            if e.p is not None:
                made[e.name] += 1
                failed[e.name] += not e.passed
    return {name: failed[name] / made[name] for name in made}


@pytest.mark.slow
def test_honest_studies_are_doubted_as_often_as_the_level_says() -> None:
    cells = [
        Study(shape=shape, sigma_tin=spread, tins=tins, temperatures=stores, out_share=0.3)
        for shape in SHAPES
        for spread, tins, stores in ((0.0, 2, FOUR), (0.06, 2, FOUR), (0.12, 3, THREE))
    ]
    found = shares(cells, STUDIES, 2000)
    se = math.sqrt(0.05 * 0.95 / (STUDIES * len(cells)))
    step = found.pop("unresolved_step")
    assert set(found) == {
        "straight_arrhenius", "one_shape", "method_spread", "runs", "lack_of_fit", "dose_clock",
        "leaking_tin", "day_bias",
    }  # fmt: skip
    # runs are few-valued and a little shy, the tests on few tins a little bold
    for name, share in found.items():
        assert 0.035 - 3 * se < share < 0.06 + 3 * se, name
    assert step < 0.01


@pytest.mark.slow
def test_days_with_the_usual_bias_are_no_step() -> None:
    found = shares([Study(day_bias=0.01, sigma_tin=TINS)], 300, 2100)
    assert found["unresolved_step"] < 0.015 + 3 * math.sqrt(0.01 * 0.99 / 300)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("truth", "name", "power"),
    [
        (Study(second_share=0.35, tins=3, sigma_tin=0.03), "straight_arrhenius", 0.40),
        (Study(lag_energy=110.0, sigma_tin=TINS), "one_shape", 0.99),
        (Study(lag_energy=40.0, sigma_tin=TINS), "one_shape", 0.42),
        (Study(hot_shape=(0.5, 3.0), sigma_tin=TINS), "one_shape", 1.0),
        (Study(hot_shape=(-1.0, 0.0), sigma_tin=TINS), "lack_of_fit", 1.0),
        (Study(step=0.05, sigma_tin=TINS), "unresolved_step", 0.98),
        (Study(step=0.05, sigma_tin=TINS, day_bias=0.01), "unresolved_step", 0.87),
        (Study(step=0.03, sigma_tin=TINS), "unresolved_step", 0.35),
        (Study(calendar=True, out_share=0.3, sigma_tin=TINS), "dose_clock", 1.0),
        (Study(calendar=True, out_share=0.15, sigma_tin=TINS), "dose_clock", 0.82),
        (Study(leak=0.3, sigma_tin=TINS), "leaking_tin", 0.67),
        (Study(leak=0.3, tins=3, sigma_tin=TINS), "leaking_tin", 0.82),
        (Study(day_bias=0.01, sigma_tin=TINS), "day_bias", 0.48),
        (Study(day_bias=0.02, sigma_tin=TINS), "day_bias", 0.96),
    ],
)
def test_a_cause_is_found_as_often_as_is_said(truth: Study, name: str, power: float) -> None:
    found = shares([truth], PER_CAUSE, 2200)[name]
    print(f"{name}: found in {100 * found:.0f} % of {PER_CAUSE} studies")
    spread = math.sqrt(max(power * (1.0 - power), 0.02) / PER_CAUSE)
    assert found > power - 3.5 * spread


@pytest.mark.slow
def test_a_recorded_step_and_a_changed_mechanism_are_not_searched_steps() -> None:
    cells = [
        Study(step=0.05, step_recorded=True, sigma_tin=TINS),
        Study(hot_shape=(-1.0, 0.0), sigma_tin=TINS),
        Study(hot_shape=(0.5, 3.0), sigma_tin=TINS),
    ]
    assert shares(cells, PER_CAUSE, 2300)["unresolved_step"] < 0.02
