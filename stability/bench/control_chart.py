"""Control charts of check readings: EWMA and CUSUM, and what they say of an instrument that drifts.

Values and targets share one unit, whichever it is; charts of instruments are drawn in % off the certified
value, so that oils of different viscosity share one chart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from stability.errors import InputError

__all__ = ["Chart", "Cusum", "chart", "cusum", "ewma", "ewma_limits"]

LAMBDA = 0.3
WIDTH_SIGMAS = 3.0
SLACK_SIGMAS = 0.5
DECISION_SIGMAS = 5.0
"""k = 1/2 with h = 4 or 5 finds a shift of one sigma (Montgomery & Runger, 3e, p. 637)."""
LIMIT_IN_SIGMAS = 2.0
"""The limit of a single check counts as two sigmas: ± 2 % beside a day-to-day spread of 1 to 2 %."""


def ewma(values: Sequence[float], *, start: float, weight: float = LAMBDA) -> tuple[float, ...]:
    """Return the exponentially weighted moving average after each value, z = w·x + (1 − w)·z.

    >>> [round(z, 2) for z in ewma([52.0, 47.0, 53.0], start=50.0)]
    [50.6, 49.52, 50.56]
    """
    _positive(weight, "a weight")
    if weight > 1:
        raise InputError(f"a weight lies above 0 and up to 1, got {weight!r}")
    found, average = [], start
    for value in _finite(values):
        average = weight * value + (1 - weight) * average
        found.append(average)
    return tuple(found)


def ewma_limits(
    sigma: float,
    *,
    start: float = 0.0,
    weight: float = LAMBDA,
    width: float = WIDTH_SIGMAS,
    count: int | None = None,
) -> tuple[float, float]:
    """Return the lower and upper limit: asymptotic, or with `count` those after so many values.

    start ± width·sigma·√(w/(2 − w)·(1 − (1 − w)^(2·count))).
    """
    _positive(sigma, "a standard deviation")
    share = weight / (2 - weight)
    if count is not None:
        share *= 1 - (1 - weight) ** (2 * count)
    reach = width * sigma * math.sqrt(share)
    return start - reach, start + reach


@dataclass(frozen=True, slots=True)
class Cusum:
    """The two one-sided sums after each value, and the first place (from 0) where one passes h."""

    high: tuple[float, ...]
    low: tuple[float, ...]
    signal_at: int | None


def cusum(values: Sequence[float], *, target: float, slack: float, decision: float) -> Cusum:
    """Return the tabular CUSUM: high = max(0, high + x − target − k), low = max(0, low + target − k − x).

    `slack` is k, `decision` h, both in the unit of the values; a sum above h is a signal.
    """
    high, low = [0.0], [0.0]
    for value in _finite(values):
        high.append(max(0.0, high[-1] + value - target - slack))
        low.append(max(0.0, low[-1] + target - slack - value))
    signals = (n for n, pair in enumerate(zip(high[1:], low[1:], strict=True)) if max(pair) > decision)
    return Cusum(tuple(high[1:]), tuple(low[1:]), next(signals, None))


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """Both charts of one instrument's checks, in % off; `signal` names the chart that speaks now."""

    off_pct: tuple[float, ...]
    ewma_pct: tuple[float, ...]
    ewma_limit_pct: float
    cusum_high: tuple[float, ...]
    cusum_low: tuple[float, ...]
    decision: float
    signal: str | None


def chart(off_pct: Sequence[float], *, limit_pct: float) -> Chart:
    """Return the charts of checks that read so many % off; `limit_pct` is the limit of a single one.

    After a signal the sums go on: an instrument that has drifted stays told until it is certified and a new
    chart begins.
    """
    _positive(limit_pct, "a limit")
    sigma = limit_pct / LIMIT_IN_SIGMAS
    averages = ewma(off_pct, start=0.0)
    sums = cusum(off_pct, target=0.0, slack=SLACK_SIGMAS * sigma, decision=DECISION_SIGMAS * sigma)
    _, reach = ewma_limits(sigma)
    return Chart(
        off_pct=tuple(off_pct),
        ewma_pct=averages,
        ewma_limit_pct=reach,
        cusum_high=sums.high,
        cusum_low=sums.low,
        decision=DECISION_SIGMAS * sigma,
        signal=_signal(averages, reach, sums, DECISION_SIGMAS * sigma),
    )


def _signal(averages: Sequence[float], reach: float, sums: Cusum, decision: float) -> str | None:
    if not averages:
        return None
    side = "high" if averages[-1] > 0 else "low"
    if abs(averages[-1]) > reach:
        return f"EWMA {averages[-1]:+.2g} % beyond ± {reach:.2g} %: reads {side}"
    high, low = sums.high[-1], sums.low[-1]
    if max(high, low) > decision:
        side = "high" if high > low else "low"
        return f"CUSUM {max(high, low):.2g} above {decision:.2g}: reads {side}"
    return None


def _finite(values: Sequence[float]) -> Sequence[float]:
    wrong = next((value for value in values if not math.isfinite(value)), None)
    if wrong is not None:
        raise InputError(f"a chart holds finite numbers, got {wrong!r}")
    return values


def _positive(value: float, what: str) -> None:
    if not (math.isfinite(value) and value > 0):
        raise InputError(f"{what} is a positive number, got {value!r}")
