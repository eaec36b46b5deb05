"""Straight lines per lot at one temperature: may the lots be pooled, and when does the mean meet its limit.

For properties that change in a straight line with age, such as a drying time or its logarithm. Ages [d]; any
other unit works as well if it is kept throughout. The rules are those of ICH Q1E (2003), appendix B.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from stability.ageing.least_squares import LeastSquares, least_squares
from stability.ageing.mean_line import CONFIDENCE, Criterion, Line, Meeting, judged
from stability.errors import InputError

__all__ = ["Ancova", "PoolTest", "Pooling", "SpreadFrom", "ancova"]

Array = npt.NDArray[np.float64]

POOLING_LEVEL = 0.25
_SEPARATE, _COMMON, _ONE = 0, 1, 2
_ROUNDING = 16.0 * float(np.finfo(np.float64).eps)
"""Left-over below this share of the values is rounding, not a spread to test against."""


class Pooling(StrEnum):
    """What the lots have in common."""

    ONE_LINE = "one line"
    COMMON_SLOPE = "common slope"
    OWN_LINES = "own lines"


class SpreadFrom(StrEnum):
    """Where the spread about a lot's own line is taken from."""

    ALL_LOTS = "all lots"
    OWN_LOT = "own lot"


@dataclass(frozen=True, slots=True)
class PoolTest:
    """An F test of what the lots have in common."""

    f: float
    df_numerator: int
    df_denominator: int
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ancova:
    """What the lots have in common, their lines, and the one that governs."""

    pooling: Pooling
    slopes: PoolTest | None
    """Are the slopes equal? None where there is nothing to compare, or no spread to compare with."""
    intercepts: PoolTest | None
    """Under a common slope, are the intercepts equal?"""
    lines: tuple[Line, ...]
    """One for all, or one a lot in the order of their first readings."""

    @property
    def governing(self) -> Line | None:
        """The line that meets the criterion first; None where every line is too early to tell."""
        known = [line for line in self.lines if line.meeting is not Meeting.TOO_EARLY]
        return min(known, key=lambda line: math.inf if line.days is None else line.days, default=None)

    @property
    def too_early(self) -> tuple[Line, ...]:
        """Lines that say nothing of the criterion yet."""
        return tuple(line for line in self.lines if line.meeting is Meeting.TOO_EARLY)


@dataclass(frozen=True, slots=True)
class _Data:
    age: Array
    value: Array
    lot: npt.NDArray[np.intp]
    names: tuple[str, ...]

    @property
    def own(self) -> Array:
        """Membership, (n, lots)."""
        return np.asarray(self.lot[:, np.newaxis] == np.arange(len(self.names)), dtype=np.float64)

    @property
    def rounding(self) -> float:
        return max(_ROUNDING * float(np.abs(self.value).max()), 1e-150) ** 2


def ancova(  # noqa: PLR0913 - readings in three columns, and the rule they are judged by
    age_days: Sequence[float],
    values: Sequence[float],
    lots: Sequence[str],
    criterion: Criterion,
    *,
    spread: SpreadFrom = SpreadFrom.ALL_LOTS,
    level: float = POOLING_LEVEL,
    confidence: float = CONFIDENCE,
) -> Ancova:
    """Pool the lots as far as they allow, and say when the mean meets its criterion.

    Parameters
    ----------
    age_days, values, lots : sequences of one length
        One reading each: age [d], property (any unit), name of the lot.
    criterion : Criterion
        With one end the confidence limit is one-sided, with two each end gets half of the risk.
    spread : SpreadFrom
        For lots with lines of their own; pooled lines always take the spread of all lots.
    level : float
        Slopes, then intercepts, are pooled unless their F test has p below this [–].
    confidence : float
        Of the limit of the mean [–].

    Returns
    -------
    Ancova
        Both F tests use the spread about separate lines. What cannot be tested is not pooled.

    Raises
    ------
    InputError
        For columns of unequal length, no readings, or values that are not finite.

    References
    ----------
    .. [1] ICH Q1E, Evaluation for Stability Data (2003), appendix B.

    Examples
    --------
    >>> from stability.ageing.mean_line import Criterion
    >>> found = ancova([0, 30, 60, 90], [4.0, 4.2, 4.1, 4.4], ["A"] * 4, Criterion(upper=6.0))
    >>> found.pooling.value, round(found.governing.days)
    ('one line', 253)
    """
    data = _checked(age_days, values, lots)
    fits = _nested(data)
    slopes = _f_test(fits, _SEPARATE, _COMMON, data.rounding)
    intercepts = _f_test(fits, _COMMON, _ONE, data.rounding)
    if not _poolable(fits, _SEPARATE, _COMMON, slopes, level):
        pooling, lines = Pooling.OWN_LINES, _own_lines(data, fits, spread)
    elif not _poolable(fits, _COMMON, _ONE, intercepts, level):
        pooling, lines = Pooling.COMMON_SLOPE, _parallel_lines(data, fits)
    else:
        pooling, lines = Pooling.ONE_LINE, [_line(None, fits, _ONE, (0, 1), last=data.age.max())]
    return Ancova(
        pooling=pooling,
        slopes=slopes,
        intercepts=intercepts,
        lines=tuple(judged(line, criterion, confidence) for line in lines),
    )


def _checked(ages: Sequence[float], values: Sequence[float], lots: Sequence[str]) -> _Data:
    if not len(ages) == len(values) == len(lots):
        raise InputError(f"{len(ages)} ages, {len(values)} values and {len(lots)} lots do not go together")
    if not len(ages):
        raise InputError("no readings")
    age, value = np.array(ages, dtype=np.float64), np.array(values, dtype=np.float64)
    for what, column in (("age", age), ("value", value)):
        wrong = np.flatnonzero(~np.isfinite(column))
        if wrong.size:
            raise InputError(f"the {what} of reading {wrong[0] + 1} is {column[wrong[0]]}, not a number")
    names = tuple(dict.fromkeys(lots))
    place = {name: k for k, name in enumerate(names)}
    return _Data(age, value, np.array([place[lot] for lot in lots], dtype=np.intp), names)


def _nested(data: _Data) -> LeastSquares:
    """Fit separate lines, a common slope and one line, as a batch."""
    n, k = data.age.size, len(data.names)
    design = np.zeros((3, n, 2 * k))
    design[_SEPARATE, :, :k], design[_SEPARATE, :, k:] = data.own, data.own * data.age[:, np.newaxis]
    design[_COMMON, :, :k], design[_COMMON, :, k] = data.own, data.age
    design[_ONE, :, 0], design[_ONE, :, 1] = 1.0, data.age
    return least_squares(design, np.broadcast_to(data.value, (3, n)))


def _rank(fits: LeastSquares, row: int) -> int:
    return int(fits.determined[row].sum())


def _f_test(fits: LeastSquares, wide: int, narrow: int, rounding: float) -> PoolTest | None:
    """Test what `wide` has over `narrow` against the spread about separate lines."""
    df, left = _rank(fits, wide) - _rank(fits, narrow), int(fits.df[_SEPARATE])
    if df < 1 or left < 1:
        return None
    yardstick = max(float(fits.variance[_SEPARATE]), rounding)
    f = max(float(fits.sum_squares[narrow] - fits.sum_squares[wide]), 0.0) / df / yardstick
    return PoolTest(f, df, left, float(fdtrc(df, left, f)))


def _poolable(fits: LeastSquares, wide: int, narrow: int, test: PoolTest | None, level: float) -> bool:
    if test is None:
        # without a test only what is the same anyway, as for a single lot
        return _rank(fits, wide) == _rank(fits, narrow)
    return test.p >= level


def _line(lot: str | None, fits: LeastSquares, row: int, columns: tuple[int, int], *, last: float) -> Line:
    """Read one line off a fit; its meeting is yet to be judged."""
    level, slope = columns
    root = fits.root[row][[level, slope]]
    (a, ab), (_, b) = root @ root.T
    determined = bool(fits.determined[row, slope]) and bool(fits.df[row] > 0)
    return Line(
        lot=lot,
        intercept=float(fits.coefficients[row, level]),
        slope=float(fits.coefficients[row, slope]),
        sd=float(np.sqrt(fits.variance[row])),
        df=int(fits.df[row]),
        unscaled=(float(a), float(ab), float(b)),
        last_age_days=float(last),
        meeting=Meeting.NEVER if determined else Meeting.TOO_EARLY,
        days=None,
    )


def _parallel_lines(data: _Data, fits: LeastSquares) -> list[Line]:
    slope = len(data.names)
    return [
        _line(lot, fits, _COMMON, (k, slope), last=data.age[data.lot == k].max())
        for k, lot in enumerate(data.names)
    ]


def _own_lines(data: _Data, fits: LeastSquares, spread: SpreadFrom) -> list[Line]:
    k, n = len(data.names), data.age.size
    design = np.broadcast_to(np.column_stack((np.ones(n), data.age)), (k, n, 2))
    each = least_squares(design, np.broadcast_to(data.value, (k, n)), data.own.T)
    if spread is SpreadFrom.ALL_LOTS:
        squares, df = fits.sum_squares[_SEPARATE], fits.df[_SEPARATE]
        each = replace(each, sum_squares=np.full(k, squares), df=np.full(k, df))
    return [
        _line(lot, each, i, (0, 1), last=data.age[data.lot == i].max()) for i, lot in enumerate(data.names)
    ]
