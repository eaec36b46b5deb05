"""Tests of further columns beside a fit's own, in the model linearised at the fit.

With V = σ²(I + ρ·z z′) per tin, generalised least squares needs the cross-products of all columns and, per
tin, those with z alone: V⁻¹ = (I − Σ κ z z′)/σ², κ = ρ/(1 + ρ z′z). Everything below works on these small
tables; no array is readings × readings. ρ = ∞ gives every tin a rate of its own: tests of what differs
*within* tins are then exact F tests whatever the spread of tins is. ln η throughout.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc, stdtr

from stability.ageing.linear import Tangent

__all__ = [
    "FTest",
    "Products",
    "Rest",
    "best_ratio",
    "between_tins",
    "bonferroni_of_t",
    "products",
    "search_p",
    "without",
]

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.intp]

_DEPENDENT = 1e-9
"""Share of its square that a column must keep beside the others to count as one of its own."""
_TOLD = 1e-3
"""The same for what is tried: what keeps less is told by nothing."""
_RIDGE = 1e-10
_FLOOR = 1e-4**2
"""Variance of a reading never taken to be smaller: four digits of a viscometer carry no less."""
_RATIOS = np.concatenate(([0.0], np.geomspace(1e-2, 1e4, 21)))
"""ρ·(mean z′z) looked at; neighbours differ by less than any answer can tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Products:
    """Cross-products of named sets of columns; the last column is what is to be explained."""

    cross: Array
    """C′C, (m, m)."""
    by_tin: Array
    """z′C of each tin, (K, m)."""
    square: Array
    """z′z, (K,)."""
    sets: Mapping[str, Index]
    """Places of the columns of each set; "base" are those of the fit itself."""
    penalty: Array
    """σ² × precision believed of each column, (m,); 0 where nothing is."""
    count: float
    """Readings that speak of σ."""

    @property
    def informative(self) -> int:
        """Tins whose readings say something of their own rate."""
        return int((self.square > 1e-12 * max(float(self.square.sum()), 1e-300)).sum())

    def named(self, name: str, places: Index) -> Products:
        """Return the same with a name for some of the columns."""
        return replace(self, sets={**self.sets, name: places})

    def only(self, *names: str) -> Products:
        """Return the same with some sets alone beside the base, as far as they are there."""
        kept = [name for name in ("base", *names) if name in self.sets]
        ends = np.cumsum([0, *(self.sets[name].size for name in kept)])
        places = np.append(np.concatenate([self.sets[name] for name in kept]), self.cross.shape[0] - 1)
        return replace(
            self,
            cross=self.cross[np.ix_(places, places)],
            by_tin=self.by_tin[:, places],
            sets={name: np.arange(ends[k], ends[k + 1]) for k, name in enumerate(kept)},
            penalty=self.penalty[places],
        )

    def at(self, ratio: float) -> Array:
        """Return C′(σ²V⁻¹)C, (m, m), at a ratio of variances ρ; ρ may be infinite."""
        z2 = np.where(self.square > 0.0, self.square, np.inf)
        kappa = 1.0 / z2 if math.isinf(ratio) else ratio / (1.0 + ratio * self.square)
        return np.asarray(self.cross - self.by_tin.T @ (kappa[:, np.newaxis] * self.by_tin))


@dataclass(frozen=True, slots=True, kw_only=True)
class FTest:
    """How much a set of columns explains beside the base."""

    f: float
    df: int
    df_left: float
    noise: float
    """What F is measured by: mean square of what is left."""
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """What is left of all columns when some are held beside them."""

    cross: Array
    """Cross-products of the remainders, (m, m); those of what was eliminated are 0."""
    whole: Array
    """Squares of the columns before: at ρ, or as they were where ρ = ∞, (m,)."""
    rank: int
    """Columns eliminated that had no penalty."""
    df: float
    """Degrees of freedom of the left-over sum of squares."""

    @property
    def left(self) -> float:
        """Left-over sum of squares of what is to be explained."""
        return max(float(self.cross[-1, -1]), 0.0)

    def gain(self, columns: Index) -> tuple[float, int]:
        """Return by how much the columns lower the left-over sum of squares, and how many of them can."""
        if not columns.size:
            return 0.0, 0
        scale = 1.0 / np.sqrt(np.maximum(self.whole[columns], 1e-300))
        values, vectors = np.linalg.eigh(self.cross[np.ix_(columns, columns)] * np.outer(scale, scale))
        own = values > _TOLD
        along = (vectors.T @ (scale * self.cross[columns, -1]))[own]
        return float((along**2 / values[own]).sum()), int(own.sum())

    def test(self, columns: Index) -> FTest | None:
        """Test a set of columns by F against what is left with them; None where nothing can be told."""
        gain, df = self.gain(columns)
        free = self.df - df
        if df == 0 or free < 1.0:
            return None
        noise = max((self.left - gain) / free, _FLOOR)
        f = gain / df / noise
        return FTest(f=f, df=df, df_left=free, noise=noise, p=float(fdtrc(df, free, f)))

    def each(self, columns: Index) -> tuple[Array, Array]:
        """Return coefficient and |t| of every column tried alone, the spread taken with it; 0 where none."""
        own = self.cross[columns, columns]
        there = own > 1e3 * _DEPENDENT * self.whole[columns]
        own = np.where(there, own, 1.0)
        with_y = np.where(there, self.cross[columns, -1], 0.0)
        noise = np.maximum((self.left - with_y**2 / own) / max(self.df - 1.0, 1.0), _FLOOR)
        return with_y / own, np.abs(with_y) / np.sqrt(own * noise)


def products(tangent: Tangent, sets: Mapping[str, Array]) -> Products:
    """Return the cross-products of a fit's own columns ("base") and of further sets (n, k) by name."""
    base = tangent.base
    blocks = [base, *sets.values(), tangent.target[:, np.newaxis]]
    ends = np.cumsum([0, *(b.shape[1] for b in blocks)])
    names = ("base", *sets)
    columns = np.hstack(blocks)
    weighted = columns * tangent.weight[:, np.newaxis]
    penalty = np.zeros(columns.shape[1])
    penalty[: base.shape[1]] = tangent.base_penalty
    places = {name: np.arange(ends[k], ends[k + 1]) for k, name in enumerate(names)}
    return Products(
        cross=columns.T @ weighted,
        by_tin=tangent.per_tin(weighted),
        square=tangent.square,
        sets=places,
        penalty=penalty,
        count=tangent.count,
    )


def without(
    of: Products, fixed: Sequence[str], ratio: float, *, believed: Mapping[str, float] | None = None
) -> Rest:
    """Eliminate sets of columns at a ratio of variances ρ (at ρ = ∞ every tin's own rate as well).

    Parameters
    ----------
    of : Products
        From `products`.
    fixed : sequence of str
        Sets whose coefficients are free.
    ratio : float
        ρ = σ_tin²/σ².
    believed : mapping of float
        Sets whose coefficients are random: σ² × their precision.
    """
    metric = of.at(ratio)
    # a rate that is free takes its own column with it: nothing is left to measure that by
    whole = np.diagonal(of.cross if math.isinf(ratio) else metric).copy()
    for name, value in (believed or {}).items():
        places = of.sets[name]
        inside = metric[np.ix_(places, places)] + value * np.eye(places.size)
        metric = metric - metric[:, places] @ np.linalg.solve(inside, metric[places])
        metric[places], metric[:, places] = 0.0, 0.0
    held = np.concatenate([of.sets[name] for name in fixed])
    penalty = of.penalty[held]
    scale = 1.0 / np.sqrt(np.maximum(whole[held] + penalty, 1e-300))
    inside = metric[np.ix_(held, held)] + np.diag(penalty)
    values, vectors = np.linalg.eigh(inside * np.outer(scale, scale))
    own = values > _DEPENDENT
    along = (vectors[:, own] / np.sqrt(values[own])).T @ (scale[:, np.newaxis] * metric[held])
    cross = metric - along.T @ along
    cross[held], cross[:, held] = 0.0, 0.0
    rank = int(own.sum()) - int((penalty > 0.0).sum())
    tins = of.informative if math.isinf(ratio) else 0
    return Rest(cross=cross, whole=whole, rank=rank, df=of.count - tins - rank)


def best_ratio(of: Products, fixed: Sequence[str]) -> float:
    """Return the ρ of the largest restricted likelihood with some sets of columns beside the tins.

    −2 l = (N − p) ln S(ρ) + Σ ln(1 + ρ z′z) + ln|C′V⁻¹C|, over a grid: neighbours are nearer than any test
    can tell. Arguments as in `without`.
    """
    held = np.concatenate([of.sets[name] for name in fixed])
    penalty = of.penalty[held]
    typical = max(float(of.square.sum()) / max(of.informative, 1), 1e-300)
    ratios = _RATIOS / typical
    grown = 1.0 + ratios[:, np.newaxis] * of.square
    places = np.append(held, of.cross.shape[0] - 1)
    penalty = np.append(penalty, 0.0)
    c = of.by_tin[:, places]
    scale = 1.0 / np.sqrt(np.maximum(np.diagonal(of.cross)[places] + penalty, 1e-300))
    outer = (c[:, :, np.newaxis] * c[:, np.newaxis, :]).reshape(c.shape[0], -1)
    taken = ((ratios[:, np.newaxis] / grown) @ outer).reshape(-1, places.size, places.size)
    metric = (of.cross[np.ix_(places, places)] + np.diag(penalty) - taken) * np.outer(scale, scale)
    # a column that depends on others has the same tiny pivot at every ρ
    pivots = np.diagonal(np.linalg.cholesky(metric + _RIDGE * np.eye(places.size)), axis1=1, axis2=2)
    df = max(of.count - held.size + int((penalty > 0.0).sum()), 1.0)
    left = np.maximum(pivots[:, -1] ** 2, _FLOOR * scale[-1] ** 2 * df)
    value = df * np.log(left) + np.log(grown).sum(axis=1) + 2.0 * np.log(pivots[:, :-1]).sum(axis=1)
    return float(ratios[np.argmin(value)])


def between_tins(rest: Rest, within: Rest, columns: Index) -> FTest | None:
    """Test columns by F against what tins vary about them; None where nothing can be told.

    Parameters
    ----------
    rest, within : Rest
        The remainders at ρ, and those with a rate for every tin.
    columns : array of int
        What is tested.
    """
    gain, df = rest.gain(columns)
    gain_within, df_within = within.gain(columns)
    # an energy that take-outs tell within a tin is no tin's loss
    df_tins = (rest.df - df) - (within.df - df_within)
    if df == 0 or df_tins < 0.5:
        return None
    noise = max((rest.left - gain - within.left + gain_within) / df_tins, _FLOOR)
    f = gain / df / noise
    p = float(fdtrc(df, df_tins, f))
    return FTest(f=f, df=df, df_left=df_tins, noise=noise, p=p)


def bonferroni_of_t(t: float, df: float, tries: int) -> float:
    """Return the two-sided p of the largest of several |t|, at most 1."""
    return min(2.0 * tries * float(stdtr(df, -abs(t))), 1.0)


def search_p(t: float, df: float, cross: Array) -> float:
    """Return the p of the largest |t| along a path of columns, adjusted for the search.

    The smaller of Bonferroni's bound and of the tube around the path of length κ that the columns draw on
    the unit sphere (Naiman 1986), both upper bounds: P(|t| > c) + (κ/π)·(1 + c²/ν)^(−ν/2).

    Parameters
    ----------
    t, df : float
        Largest |t| and its degrees of freedom ν.
    cross : array (k, k)
        Cross-products of the columns' remainders, in the order of the path.
    """
    size = np.sqrt(np.diagonal(cross))
    turns = np.diagonal(cross, 1) / (size[1:] * size[:-1])
    length = float(np.arccos(np.clip(turns, -1.0, 1.0)).sum())
    tube = 2.0 * float(stdtr(df, -t)) + length / math.pi * (1.0 + t * t / df) ** (-df / 2.0)
    return float(min(tube, bonferroni_of_t(t, df, size.size), 1.0))
