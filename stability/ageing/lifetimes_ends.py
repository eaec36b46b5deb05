"""Where a life begins and ends as a function of β: on a design matrix, or through an exposure history.

r = y − x′β or r = ln dose(E) − u, in ln of the time unit, with all derivatives by β.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

__all__ = ["DesignEnds", "Ends", "HistoryEnds", "Residuals"]

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Residuals:
    """r at both ends of each life, with derivatives by β: (problems, lives) and (…, p)."""

    low: Array
    high: Array
    d_low: Array
    d_high: Array
    bend_low: Array | None = None
    """Second derivative by the last β, (problems, lives); None: r is linear in β."""
    bend_high: Array | None = None


class Ends(Protocol):
    """Where lives begin and end, as a function of β."""

    @property
    def width(self) -> int:
        """Number of β."""

    def at(self, beta: Array, rows: Index) -> Residuals:
        """Return the residuals of some problems."""

    def take(self, rows: Index) -> Ends:
        """Return some of the problems."""


@dataclass(frozen=True, slots=True)
class DesignEnds:
    """ln lives that are numbers, on a design matrix: r = y − x′β."""

    low: Array
    high: Array
    design: Array
    """(problems, lives, p)."""

    @property
    def width(self) -> int:
        """Number of β."""
        return int(self.design.shape[-1])

    def at(self, beta: Array, rows: Index) -> Residuals:
        """Return y − x′β and −x."""
        x = self.design[rows]
        middle = (x @ beta[..., np.newaxis])[..., 0]
        return Residuals(self.low[rows] - middle, self.high[rows] - middle, -x, -x)

    def take(self, rows: Index) -> DesignEnds:
        """Return some of the problems."""
        return DesignEnds(self.low[rows], self.high[rows], self.design[rows])


@dataclass(frozen=True, slots=True)
class HistoryEnds:
    """Lives as exposure histories: r = ln dose(E) − u, β = (u, E); exact in E, no linearisation.

    Arrays (problems, lives, bins), [d] and [mol/kJ]; the zero of u is the dose clock's own.
    """

    low_days: Array
    low_x: Array
    high_days: Array
    high_x: Array

    @property
    def width(self) -> int:
        """Number of β."""
        return 2

    def at(self, beta: Array, rows: Index) -> Residuals:
        """Return ln dose − u with its slope and bend in E."""
        u, energy = beta[:, 0, np.newaxis], beta[:, 1]
        low, slope_low, bend_low = _ln_dose(self.low_days[rows], self.low_x[rows], energy)
        high, slope_high, bend_high = _ln_dose(self.high_days[rows], self.high_x[rows], energy)
        minus = np.full_like(low, -1.0)
        return Residuals(
            low - u,
            high - u,
            np.stack((minus, slope_low), axis=-1),
            np.stack((minus, slope_high), axis=-1),
            bend_low,
            bend_high,
        )

    def take(self, rows: Index) -> HistoryEnds:
        """Return some of the problems."""
        return HistoryEnds(self.low_days[rows], self.low_x[rows], self.high_days[rows], self.high_x[rows])


def _ln_dose(days: Array, x: Array, energy: Array) -> tuple[Array, Array, Array]:
    """Return ln dose and two derivatives by E (−mean and spread of x, weighted by dose); 0 for no days."""
    stood = days > 0.0
    ln_terms = np.where(stood, np.log(np.where(stood, days, 1.0)), -np.inf)
    ln_terms = ln_terms - np.where(stood, energy[:, np.newaxis, np.newaxis] * x, 0.0)
    top = ln_terms.max(axis=-1)
    top = np.where(np.isfinite(top), top, 0.0)
    share = np.exp(ln_terms - top[..., np.newaxis])
    total = share.sum(axis=-1)
    there = total > 0.0
    share = share / np.where(there, total, 1.0)[..., np.newaxis]
    mean = (share * x).sum(axis=-1)
    spread = (share * (x - mean[..., np.newaxis]) ** 2).sum(axis=-1)
    return np.where(there, top + np.log(np.where(there, total, 1.0)), 0.0), -mean, spread
