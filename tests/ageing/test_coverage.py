"""Does the 95 % bound cover 95 times in 100? Simulated studies with a known life.

Default set: the refusals. Slow set: a reduced sample with tolerances from its standard error. Long set: up to
2 000 studies a cell; `COVERAGE=write pytest -m long tests/ageing/test_coverage.py` writes the tables beside
this file. What is asked of the figures is the project's promise; nothing outside it gives them.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from stability.ageing.bounds import LifeOutcome, life
from stability.ageing.evidence import gather
from stability.ageing.fit import FitOptions, Limit, fit, fit_many
from tests.ageing.simulated import FOUR, OUTSIDE_THE_LAW, SHAPES, THREE, Study, fleet

TWICE = Limit(ratio=2.0)
MANY = 2000
FEW = 200
"""Of the reduced sample: with 50 a cell the tail of the binomial is longer than 3 standard errors say."""
MANY_OUTSIDE = 500
"""Fewer where a second fit, ten times as dear, is made beside each first."""
WEEKS = (26.0, 78.0, 200.0)
SPREADS = (0.0, 0.06, 0.12)
LEAST_OUTSIDE = {"lag with its own energy": 0.69 - 0.04}
LEAST_MEDIAN = 0.79 - 0.04
"""What the trial of the method gave as median bound ÷ truth, less 0.04."""


def covered(study: Study, count: int, seed: int, *, days_too: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """Return bound ÷ truth and the estimated noise ÷ truth of many studies; no bound counts as 0."""
    studies = fleet(study, count, seed)
    fits = fit_many(studies, TWICE)
    bounds = np.array([life(f).life_days_lower95 or 0.0 for f in fits])
    if days_too:
        second = [life(f).life_days_lower95 for f in fit_many(studies, TWICE, FitOptions(day_spread=0.01))]
        bounds = np.array([min(b, s) if s is not None else b for b, s in zip(bounds, second, strict=True)])
    return bounds / study.life_days, np.array([f.sigma / study.noise for f in fits if f.ok])


def cells(shape: str) -> Iterator[tuple[Study, str]]:
    """Yield the cells of one shape, and their names."""
    for temperatures, weeks, spread, tins in product((THREE, FOUR), WEEKS, SPREADS, (2, 3)):
        study = Study(
            shape=SHAPES[shape],
            temperatures_c=temperatures,
            life_weeks=weeks,
            tin_spread=spread,
            tins=tins,
        )
        yield study, f"{shape} | {len(temperatures)} | {weeks:g} | {100 * spread:g} % | {tins}"


def judge(shape: str, count: int, seed: int) -> tuple[list[str], list[str]]:
    """Hold one shape to the promise; returns the rows of its table and what breaks it."""
    rows, faults, cover, spread_cover = [], [], [], []
    worst = math.sqrt(0.95 * 0.05 / count)
    for k, (study, name) in enumerate(cells(shape)):
        ratio, _ = covered(study, count, seed + k)
        share, median = float((ratio <= 1.0).mean()), float(np.median(ratio))
        if share < 0.94 - 3.0 * worst:
            faults.append(f"{name}: covers {share}")
        if study.life_weeks < 100.0 and median < LEAST_MEDIAN - 0.6 * worst:
            faults.append(f"{name}: median bound ÷ truth {median}")
        rows.append(f"| {name} | {share:.3f} | {median:.2f} |")
        cover.append(share)
        spread_cover += [share] if study.tin_spread else []
    se = math.sqrt(0.95 * 0.05 / (count * len(cover)))
    if np.mean(cover) < 0.945 - (3.0 * se if count < MANY else 0.0):
        faults.append(f"{shape}: covers {np.mean(cover)} on average")
    if np.mean(spread_cover) > 0.985 + (3.0 * se if count < MANY else 0.0):
        faults.append(f"{shape}: covers {np.mean(spread_cover)} on average where tins differ: too cautious")
    return rows, faults


def judge_outside(name: str, count: int, seed: int) -> tuple[list[str], list[str]]:
    """Hold one truth outside the law to it, with the lower bound of both fits, as a statement does."""
    study = OUTSIDE_THE_LAW[name]()
    rows, faults = [], []
    for weeks in (26.0, 200.0):
        ratio, noise = covered(replace(study, life_weeks=weeks), count, seed, days_too=True)
        share, median, sigma = float((ratio <= 1.0).mean()), float(np.median(ratio)), float(np.median(noise))
        se = math.sqrt(0.95 * 0.05 / count)
        if share < 0.94 - (3.0 * se if count < MANY else 0.0):
            faults.append(f"{name}, {weeks:g} weeks: covers {share}")
        if median < LEAST_OUTSIDE.get(name, LEAST_MEDIAN) - 0.6 * se:
            faults.append(f"{name}, {weeks:g} weeks: median bound ÷ truth {median}")
        if name == "gels" and abs(sigma - 1.0) > 0.2:
            faults.append(f"{name}, {weeks:g} weeks: noise {sigma} of its truth")
        rows.append(f"| {name} | {weeks:g} | {share:.3f} | {median:.2f} | {sigma:.2f} |")
    return rows, faults


def write(file: str, title: str, head: str, rows: list[str], count: int) -> None:
    """Keep a table of the long set, with its date and command."""
    if os.environ.get("COVERAGE") != "write":
        return
    path = Path(__file__).with_name(file)
    columns = head.count("|") + 1
    text = [
        f"# {title}",
        "",
        f"Made on {datetime.now(UTC):%Y-%m-%d} by",
        "`COVERAGE=write pytest -m long tests/ageing/test_coverage.py`.",
        f"{count} simulated studies a cell, seeded; standard error of a share of 0.95: "
        f"{math.sqrt(0.95 * 0.05 / count):.3f}.",
        "",
        f"| {head} |",
        "|" + "---|" * columns,
        *rows,
    ]
    path.write_text("\n".join(text) + "\n", encoding="utf-8")


HEAD = "shape | temperatures | life, weeks | tin spread | tins | covers | median bound ÷ truth"
HEAD_OUTSIDE = "truth | life, weeks | covers | median bound ÷ truth | estimated noise ÷ truth"


@pytest.mark.slow
@pytest.mark.parametrize("shape", SHAPES)
def test_the_bound_covers_on_a_reduced_sample(shape: str) -> None:
    assert judge(shape, FEW, 100)[1] == []


@pytest.mark.slow
@pytest.mark.parametrize("name", OUTSIDE_THE_LAW)
def test_the_lower_of_both_fits_covers_outside_the_law_on_a_reduced_sample(name: str) -> None:
    assert judge_outside(name, 60, 200)[1] == []


@pytest.mark.slow
@pytest.mark.parametrize("shape", ["diverging", "autocatalytic"])
def test_gels_leave_the_estimated_noise_within_a_fifth(shape: str) -> None:
    _, noise = covered(Study(shape=SHAPES[shape], past_the_limit=2.2, tins=3), 100, 300)
    assert abs(float(np.median(noise)) - 1.0) < 0.2


@pytest.mark.long
def test_the_bound_covers_for_every_shape() -> None:
    found = [judge(shape, MANY, 1000 * k) for k, shape in enumerate(SHAPES)]
    write("coverage.md", "Coverage of the 95 % bound", HEAD, [r for rows, _ in found for r in rows], MANY)
    assert [fault for _, faults in found for fault in faults] == []


@pytest.mark.long
def test_the_lower_of_both_fits_covers_outside_the_law() -> None:
    found = [judge_outside(name, MANY_OUTSIDE, 10_000 + k) for k, name in enumerate(OUTSIDE_THE_LAW)]
    title = "Coverage of the lower bound of both fits, truths outside the law"
    write("coverage_outside.md", title, HEAD_OUTSIDE, [r for rows, _ in found for r in rows], MANY_OUTSIDE)
    assert [fault for _, faults in found for fault in faults] == []


def test_heat_from_one_oven_alone_gives_no_life() -> None:
    study = fleet(Study(temperatures_c=(50.0,), tins=3), 1, 1)[0]
    answer = life(fit(study, TWICE))
    assert answer.outcome is LifeOutcome.TOO_EARLY
    assert (answer.says or "").startswith("all readings come from 50.0 °C")


def test_without_a_store_at_the_storage_temperature_the_bound_widens_and_a_check_fails() -> None:
    hot = fleet(Study(temperatures_c=(40.0, 50.0, 60.0), tins=3), 1, 1)[0]
    known, unknown = fit(hot, TWICE, FitOptions(store_spread=1e-6)), fit(hot, TWICE)
    assert unknown.se_u**2 > known.se_u**2 + 0.05**2 * 0.9
    check = next(c for c in gather(unknown) if c.name == "storage_store_present")
    assert not check.passed
