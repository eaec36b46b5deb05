"""EWMA and CUSUM against printed worked examples, and against sums written out here in another way.

a) NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4, EWMA example: confirmed in print; limits exact to
   52.58843 and 47.41157, printed 52.5884 and 47.4115.
b) Montgomery & Runger, Applied Statistics and Probability for Engineers, 3e, example 16-6, tables 16-7 and
   16-8: every intermediate value confirmed.
c) Montgomery, Introduction to Statistical Quality Control, table 9.1: data confirmed, the sums recomputed;
   that the book signals at 29 is from memory.
d) NIST/SEMATECH e-Handbook, 6.3.2.3, CUSUM example: data and sums from memory, never the only expectation.
"""

from __future__ import annotations

import itertools
import math

import pytest

from stability.bench.control_chart import cusum, ewma, ewma_limits

NIST_EWMA = [
    52.0,
    47.0,
    53.0,
    49.3,
    50.1,
    47.0,
    51.0,
    50.1,
    51.2,
    50.5,
    49.6,
    47.6,
    49.9,
    51.3,
    47.8,
    51.2,
    52.6,
    52.4,
    53.6,
    52.1,
]
PRINTED_EWMA = [
    50.60,
    49.52,
    50.56,
    50.18,
    50.16,
    49.21,
    49.75,
    49.85,
    50.26,
    50.33,
    50.11,
    49.36,
    49.52,
    50.05,
    49.38,
    49.92,
    50.73,
    51.23,
    51.94,
    51.99,
]
EXAMPLE_16_6 = [
    102.0,
    94.8,
    98.3,
    98.4,
    102.0,
    98.5,
    99.0,
    97.7,
    100.0,
    98.1,
    101.3,
    98.7,
    101.1,
    98.4,
    97.0,
    96.7,
    100.3,
    101.4,
    97.2,
    101.0,
]
HIGH_16_6 = [2.0, 0, 0, 0, 2.0, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0]
LOW_16_6 = [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0]
TABLE_9_1 = [
    9.45,
    7.99,
    9.29,
    11.66,
    12.16,
    10.18,
    8.04,
    11.46,
    9.20,
    10.34,
    9.03,
    11.47,
    10.51,
    9.40,
    10.08,
    9.37,
    10.62,
    10.31,
    8.52,
    10.84,
    10.90,
    9.33,
    12.29,
    11.50,
    10.60,
    11.08,
    10.38,
    11.62,
    11.31,
    10.52,
]
NIST_CUSUM = [
    324.925,
    324.675,
    324.725,
    324.350,
    325.350,
    325.225,
    324.125,
    324.525,
    325.225,
    324.600,
    324.625,
    325.150,
    328.325,
    327.250,
    327.825,
    328.500,
    326.675,
    327.775,
    326.875,
    328.350,
]


def largest_run(values: list[float], target: float, slack: float) -> list[float]:
    """The tabular sum another way: the largest sum of any run of deviations less k that ends here, or 0."""
    less = [value - target - slack for value in values]
    return [
        max(0.0, *(math.fsum(less[first:last]) for first in range(last))) for last in range(1, len(less) + 1)
    ]


def test_ewma_of_the_nist_example_to_the_digits_printed():
    assert ewma(NIST_EWMA, start=50.0, weight=0.3) == pytest.approx(PRINTED_EWMA, abs=0.006)


def test_ewma_is_the_sum_of_geometric_weights():
    """Independent computation: z_n = w·Σ(1 − w)^(n−i)·x_i + (1 − w)^n·z_0."""
    for count in range(1, len(NIST_EWMA) + 1):
        weights = [0.3 * 0.7 ** (count - 1 - place) for place in range(count)]
        direct = math.fsum(w * x for w, x in zip(weights, NIST_EWMA, strict=False)) + 0.7**count * 50
        assert ewma(NIST_EWMA[:count], start=50.0, weight=0.3)[-1] == pytest.approx(direct, rel=1e-12)


def test_ewma_limits_of_the_nist_example_and_no_signal():
    low, high = ewma_limits(2.0539, start=50.0, weight=0.3, width=3)
    assert (low, high) == pytest.approx((47.41157, 52.58843), abs=1e-4)
    assert all(low < average < high for average in ewma(NIST_EWMA, start=50.0, weight=0.3))


def test_exact_ewma_limits_grow_into_the_asymptotic_ones():
    """After one value the limit is 3·σ·w; the variance Σw²(1 − w)^2i summed out here."""
    assert ewma_limits(2.0, weight=0.3, width=3, count=1)[1] == pytest.approx(3 * 2.0 * 0.3)
    variance = math.fsum(0.3**2 * 0.7 ** (2 * place) for place in range(7))
    assert ewma_limits(2.0, weight=0.3, width=3, count=7)[1] == pytest.approx(6.0 * math.sqrt(variance))
    assert ewma_limits(2.0, weight=0.3, width=3, count=500)[1] == pytest.approx(
        ewma_limits(2.0, weight=0.3)[1]
    )


def test_cusum_example_16_6_with_every_step():
    found = cusum(EXAMPLE_16_6, target=99.0, slack=1.0, decision=10.0)
    assert found.high == pytest.approx(HIGH_16_6, abs=1e-9)
    assert found.low == pytest.approx(LOW_16_6, abs=1e-9)
    assert found.signal_at is None
    plain = list(itertools.accumulate(value - 99.0 for value in EXAMPLE_16_6))
    assert plain[:5] == pytest.approx([3.0, -1.2, -1.9, -2.5, 0.5], abs=1e-9)


def test_cusum_of_table_9_1_signals_at_the_twenty_ninth():
    found = cusum(TABLE_9_1, target=10.0, slack=0.5, decision=5.0)
    assert found.signal_at == 28, "the 29th; the book's own signal is from memory"
    assert found.high[27:] == pytest.approx([4.47, 5.28, 5.30], abs=0.005)
    assert max(found.low) == pytest.approx(1.77, abs=0.005)


def test_ewma_of_table_9_1_signals_at_the_twenty_ninth():
    averages = ewma(TABLE_9_1, start=10.0, weight=0.1)
    limits = [ewma_limits(1.0, start=10.0, weight=0.1, width=2.7, count=n + 1)[1] for n in range(30)]
    first = next(n for n, pair in enumerate(zip(averages, limits, strict=True)) if pair[0] > pair[1])
    assert first == 28
    assert (averages[28], limits[28]) == pytest.approx((10.64682, 10.6187), abs=2e-3)


def test_cusum_of_the_nist_example_from_memory():
    found = cusum(NIST_CUSUM, target=325.0, slack=0.3175, decision=4.1959)
    assert found.high[12:] == pytest.approx([3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04], abs=0.006)
    assert found.signal_at == 13, "the 14th"
    assert max(found.low) == pytest.approx(0.72, abs=0.006)
    assert math.fsum(value - 325 for value in NIST_CUSUM) == pytest.approx(19.08, abs=0.05)


@pytest.mark.parametrize(
    ("values", "target", "slack"),
    [(EXAMPLE_16_6, 99.0, 1.0), (TABLE_9_1, 10.0, 0.5), (NIST_CUSUM, 325.0, 0.3175)],
)
def test_a_cusum_is_the_largest_run_of_deviations(values, target, slack):
    found = cusum(values, target=target, slack=slack, decision=1e9)
    assert found.high == pytest.approx(largest_run(values, target, slack), abs=1e-9)
    mirrored = [2 * target - value for value in values]
    assert found.low == pytest.approx(largest_run(mirrored, target, slack), abs=1e-9)
