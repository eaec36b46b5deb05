"""Pooling of lots against published readings: Obenchain (1990), three batches over 12 months.

Readings: SAS/STAT sample library, the mixed-model example of random coefficients. Slopes, F tests and times
were worked out anew from them by an independent program, as no printed answer was at hand; ages are months.
"""

from __future__ import annotations

from functools import cache

import pytest

from stability.ageing.ancova import Ancova, Pooling, SpreadFrom, ancova
from stability.ageing.mean_line import Criterion

READINGS = {
    0: (
        (101.2, 103.3, 103.3, 102.1, 104.4, 102.4),
        (102.6, 102.7, 102.4, 102.1, 102.9, 102.6),
        (105.1, 103.9, 106.1, 104.1, 103.7, 104.6),
    ),
    1: ((98.8, 99.4, 99.7, 99.5), (99.1, 99.0, 99.9, 100.6), (102.2, 102.0, 100.8, 99.8)),
    3: ((98.4, 99.0, 97.3, 99.8), (105.7, 103.3, 103.4, 104.0), (101.2, 101.8, 100.8, 102.6)),
    6: ((101.5, 100.2, 101.7, 102.7), (101.3, 101.5, 100.9, 101.4), (101.1, 102.0, 100.1, 100.2)),
    9: ((96.3, 97.2, 97.2, 96.3), (94.1, 96.5, 97.2, 95.6), (100.9, 99.5, 102.2, 100.8)),
    12: (
        (97.3, 97.9, 96.8, 97.7, 97.7, 96.7),
        (93.1, 92.8, 95.4, 92.2, 92.2, 93.0),
        (97.8, 98.3, 96.9, 98.4, 96.9, 96.5),
    ),
}
ROWS = [
    (month, reading, f"batch {lot}")
    for month, lots in READINGS.items()
    for lot, own in enumerate(lots, start=1)
    for reading in own
]


@cache
def judged(lower: float, spread: SpreadFrom = SpreadFrom.ALL_LOTS, level: float = 0.25) -> Ancova:
    months, readings, lots = zip(*ROWS, strict=True)
    return ancova(months, readings, lots, Criterion(lower=lower), spread=spread, level=level)


def times(found: Ancova) -> list[float | None]:
    return [line.days for line in found.lines]


def test_all_84_readings_are_there() -> None:
    assert len(ROWS) == 84


def test_slopes_differ_and_are_not_pooled() -> None:
    found = judged(90.0)
    assert found.pooling is Pooling.OWN_LINES
    assert found.slopes is not None
    assert (found.slopes.df_numerator, found.slopes.df_denominator) == (2, 78)
    assert found.slopes.f == pytest.approx(7.65516, abs=5e-6)
    assert found.slopes.p == pytest.approx(0.000921, abs=5e-7)


def test_intercepts_differ_by_the_spread_about_separate_lines() -> None:
    found = judged(90.0)
    assert found.intercepts is not None
    assert (found.intercepts.df_numerator, found.intercepts.df_denominator) == (2, 78)
    assert found.intercepts.f == pytest.approx(8.74264, abs=5e-6)
    assert found.intercepts.p == pytest.approx(0.000375, abs=5e-7)


def test_lines_of_the_batches() -> None:
    lines = judged(90.0).lines
    assert [line.slope for line in lines] == pytest.approx([-0.364995, -0.759133, -0.453706], abs=5e-7)
    assert [line.intercept for line in lines] == pytest.approx([101.42212, 103.20899, 103.48031], abs=5e-6)
    assert lines[0].sd ** 2 == pytest.approx(3.293234, abs=5e-7)
    assert lines[0].df == 78


@pytest.mark.parametrize(
    ("lower", "spread", "months"),
    [
        (90.0, SpreadFrom.OWN_LOT, (24.628, 15.173, 25.264)),
        (90.0, SpreadFrom.ALL_LOTS, (24.546, 15.557, 24.338)),
        (95.0, SpreadFrom.OWN_LOT, (14.225, 9.535, 16.135)),
        (95.0, SpreadFrom.ALL_LOTS, (14.183, 9.763, 15.597)),
    ],
)
def test_the_limit_of_the_mean_meets_the_criterion(
    lower: float, spread: SpreadFrom, months: tuple[float, ...]
) -> None:
    found = judged(lower, spread)
    assert times(found) == pytest.approx(months, abs=5e-4)
    assert found.governing is not None
    assert found.governing.lot == "batch 2"


@pytest.mark.parametrize(("lower", "months"), [(90.0, 21.484), (95.0, 13.197)])
def test_one_line_for_all_would_promise_too_much(lower: float, months: float) -> None:
    # a level below any p pools what should not be pooled
    found = judged(lower, level=0.0)
    assert found.pooling is Pooling.ONE_LINE
    assert times(found) == pytest.approx([months], abs=5e-4)
