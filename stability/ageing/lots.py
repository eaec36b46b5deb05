"""Lots of one blend: do they age alike, and their readings as one blend where they do.

A lot is a lot of product with a lot of thinner. Energy and shape are common to all; the test is whether the
lots need lives of their own, then whether they need levels of their own at day 0, each by an F test at the
tangent of the fit of all lots together. A tin is what is drawn at random, so tins about their lot's mean are
the yardstick of lives. Lives are ln(days), levels ln η.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from stability.ageing.ancova import POOLING_LEVEL, Pooling, PoolTest
from stability.ageing.arrays import BlendReadings
from stability.ageing.fit import fit_many
from stability.ageing.linear import tangent
from stability.ageing.model import ENERGY, LIFE, Limit
from stability.ageing.result import Fit, FitOptions
from stability.errors import InputError

__all__ = ["LotTest", "lot_test", "lot_tests", "pooled", "with_levels"]

Array = npt.NDArray[np.float64]

_LEAST_RATIO = 6.25
"""(5 %/2 %)²: tins weigh alike even where their spread was estimated near 0."""
_FEWEST_TINS = 2
"""A lot of fewer aged tins is not told from its tin."""
_LARGEST_SE = 0.15
"""A lot whose rate is known worse than this against the others', in ln, is not tested yet: a difference by a
third could pass unseen."""
_RANK = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class LotTest:
    """What the lots of a blend have in common."""

    pooling: Pooling
    """One line: everything. Common slope: the life, each with a level of its own. Own lines: nothing."""
    lives: PoolTest | None
    """Are the lives equal? None where that cannot be tested."""
    levels: PoolTest | None
    """Under a common life, are the day-0 levels equal?"""

    @property
    def alike(self) -> bool:
        """Whether one life stands for all lots."""
        return self.pooling is not Pooling.OWN_LINES


@dataclass(frozen=True, slots=True)
class _Whitened:
    """The tangent of a fit, turned so that V = σ²·I."""

    columns: Array
    by_rate: Array
    target: Array
    free: npt.NDArray[np.bool_]
    """Parameters that any test holds, store effects left out, (p,)."""
    level: npt.NDArray[np.bool_]
    """Levels of lots among them, (p,)."""
    believed: Array
    """σ² × precision of what is not free to take any value: days, (p,)."""


def with_levels(data: BlendReadings, lots: Sequence[int]) -> BlendReadings:
    """Return the readings with a day-0 level for each lot but the first; `lots` numbers each tin's lot."""
    of_reading = np.asarray(lots, dtype=np.intp)[data.tin]
    further = np.unique(of_reading)[1:]
    return replace(data, levels=(of_reading[:, np.newaxis] == further).astype(np.float64))


def lot_test(
    data: BlendReadings,
    lots: Sequence[int],
    limit: Limit,
    options: FitOptions | None = None,
    *,
    level: float = POOLING_LEVEL,
) -> LotTest:
    """Test whether the lots of a blend may be pooled: lives first, then day-0 levels.

    Parameters
    ----------
    data : BlendReadings
        The readings of all lots together.
    lots : sequence of int
        Number of the lot of each tin, in the order of `data.samples`.
    limit : Limit
        With an absolute limit the life hangs on the level: lots of different levels are then kept apart.
    options : FitOptions
        As for the fit of one lot; with `day_spread` what days do to lots that are read on days of their own
        is no difference of lots.
    level : float
        What has p below this is not pooled [–].

    Returns
    -------
    LotTest
        What cannot be tested is not pooled. A single lot is one line, untested.

    Raises
    ------
    InputError
        If there is not one number per tin.

    References
    ----------
    .. [1] ICH Q1E, Evaluation for Stability Data (2003), appendix B: slopes, then intercepts, at 0.25.
    """
    return lot_tests([data], [lots], limit, options, level=level)[0]


def lot_tests(
    data: Sequence[BlendReadings],
    lots: Sequence[Sequence[int]],
    limit: Limit,
    options: FitOptions | None = None,
    *,
    level: float = POOLING_LEVEL,
) -> list[LotTest]:
    """Test the lots of many blends; arguments and answers as in `lot_test`."""
    for one, own in zip(data, lots, strict=True):
        if len(own) != len(one.samples):
            raise InputError(f"{len(own)} numbers of lots for {len(one.samples)} tins")
    together = fit_many([with_levels(*one) for one in zip(data, lots, strict=True)], limit, options)
    return [_tested(one, own, limit, level) for one, own in zip(together, lots, strict=True)]


def _tested(together: Fit, lots: Sequence[int], limit: Limit, level: float) -> LotTest:
    if len(set(lots)) < 2:
        return LotTest(pooling=Pooling.ONE_LINE, lives=None, levels=None)
    if not together.ok:
        return LotTest(pooling=Pooling.OWN_LINES, lives=None, levels=None)
    aged = np.unique(together.data.tin[together.data.aged & together.data.measured])
    counts = np.bincount(np.asarray(lots)[aged], minlength=max(lots) + 1)
    if counts[np.unique(lots)].min() < _FEWEST_TINS:
        return LotTest(pooling=Pooling.OWN_LINES, lives=None, levels=None)
    lives, levels = _tests(together, lots)
    if lives is None or lives.p < level:
        return LotTest(pooling=Pooling.OWN_LINES, lives=lives, levels=levels)
    if levels is not None and levels.p >= level:
        return LotTest(pooling=Pooling.ONE_LINE, lives=lives, levels=levels)
    absolute = limit.viscosity_mpas is not None
    pooling = Pooling.OWN_LINES if absolute else Pooling.COMMON_SLOPE
    return LotTest(pooling=pooling, lives=lives, levels=levels)


def pooled(data: BlendReadings, lots: Sequence[int], found: LotTest) -> BlendReadings | None:
    """Return the readings to fit as one blend, levels of their own included; None where lots stand alone."""
    if not found.alike:
        return None
    return data if found.pooling is Pooling.ONE_LINE else with_levels(data, lots)


def _whitened(fitted: Fit) -> _Whitened:
    t, tin = tangent(fitted), fitted.data.tin
    root = np.sqrt(t.weight)
    z, target, columns = t.by_rate * root, t.target * root, t.columns * root[:, np.newaxis]
    square, ratio = t.square, max(t.ratio, _LEAST_RATIO)
    # (I + ρ·zz′)^−½ = I − (1 − (1 + ρ·z′z)^−½)·zz′/z′z
    taken = (1.0 - (1.0 + ratio * square) ** -0.5) / np.maximum(square, 1e-300)

    def white(values: Array) -> Array:
        own = np.stack([np.bincount(tin, weights=z * v, minlength=square.size) for v in values.T], axis=1)
        return np.asarray(values - z[:, np.newaxis] * (taken[:, np.newaxis] * own)[tin])

    day = np.array([name.startswith("day[") for name in fitted.names])
    return _Whitened(
        columns=white(columns),
        by_rate=white(z[:, np.newaxis])[:, 0],
        target=white(target[:, np.newaxis])[:, 0],
        free=t.own | day,
        level=np.array([name.startswith("level[") for name in fitted.names]),
        believed=np.where(day, t.precision * t.variance, 0.0),
    )


def _left_over(w: _Whitened, keep: npt.NDArray[np.bool_], *rates: Array) -> tuple[float, int, Array]:
    """Sum of squares that some parameters and rates leave, their rank, and roots of (X′X)⁻¹'s diagonal."""
    columns = np.hstack((w.columns[:, keep], *rates))
    held = np.flatnonzero(w.believed[keep])
    # what is believed of a parameter is one more reading of it
    beliefs = np.zeros((held.size, columns.shape[1]))
    beliefs[np.arange(held.size), held] = np.sqrt(w.believed[keep][held])
    columns, target = np.vstack((columns, beliefs)), np.append(w.target, np.zeros(held.size))
    scale = np.sqrt((columns**2).sum(axis=0))
    used = columns / np.where(scale > 0.0, scale, 1.0)
    inverse = np.linalg.pinv(used, rcond=_RANK)
    left = target - used @ (inverse @ target)
    rank = round(float(np.trace(used @ inverse)))
    spans = np.sqrt((inverse**2).sum(axis=1)) / np.where(scale > 0.0, scale, np.inf)
    return float(left @ left), rank - held.size, spans


def _tests(together: Fit, lots: Sequence[int]) -> tuple[PoolTest | None, PoolTest | None]:
    """Test lives against tins about their lot, and levels against readings about their tin."""
    data, w = together.data, _whitened(together)
    rate = (w.by_rate * data.aged)[:, np.newaxis]
    stores = (data.store[:, np.newaxis] == np.arange(len(data.stores))) * rate
    own = (np.asarray(lots)[data.tin][:, np.newaxis] == np.unique(lots)) * rate
    tins = (data.tin[:, np.newaxis] == np.arange(len(data.samples))) * rate
    keep = w.free.copy()
    # rates of stores take the place of life and energy: a store's own departure is no difference of lots
    keep[[LIFE, ENERGY]] = False
    left, rank, _ = _left_over(w, keep, stores)
    left_lots, rank_lots, spans = _left_over(w, keep, stores, own[:, 1:])
    left_tins, rank_tins, _ = _left_over(w, keep, stores, tins)
    left_levels, rank_levels, _ = _left_over(w, keep & ~w.level, stores)
    spread = math.sqrt(max(left_lots - left_tins, 0.0) / max(rank_tins - rank_lots, 1))
    if rank_lots - rank < own.shape[1] - 1 or spread * float(spans[1 - own.shape[1] :].max()) > _LARGEST_SE:
        return None, None
    readings = int(data.measured.sum())
    return (
        _f_test(left - left_lots, rank_lots - rank, left_lots - left_tins, rank_tins - rank_lots),
        _f_test(left_levels - left, rank - rank_levels, left_tins, readings - rank_tins),
    )


def _f_test(gain: float, df: int, left: float, df_left: int) -> PoolTest | None:
    if df < 1 or df_left < 1 or not left > 0.0:
        return None
    f = max(gain, 0.0) / df / (left / df_left)
    return PoolTest(f, df, df_left, float(fdtrc(df, df_left, f)))
