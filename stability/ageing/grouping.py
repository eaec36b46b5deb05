"""Which reading belongs to which group (tin), for many problems at once, and sums over groups.

Sums run reading by reading in a fixed order, so that a problem gives the same digits alone or among others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Groups"]

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Groups:
    """Membership of readings in groups."""

    index: Index
    """Group of each reading, (P, n)."""
    count: int
    """Groups per problem, K; 0 where the model has none."""

    @classmethod
    def none(cls, problems: int, readings: int) -> Groups:
        """Return the membership of a model without groups."""
        return cls(np.zeros((problems, readings), dtype=np.intp), 0)

    def rows(self, rows: Index) -> Groups:
        """Return some problems, in the order of `rows`."""
        return Groups(self.index[rows], self.count)

    def at_readings(self, effects: Array) -> Array:
        """Return each reading's own group effect, (P, n), from effects (P, K)."""
        if self.count == 0:
            return np.zeros(self.index.shape)
        return np.take_along_axis(effects, self.index, axis=1)

    def sums(self, *values: Array) -> Array:
        """Return Σ over each group's readings of every array (P, n), as (P, K, arrays)."""
        problems = self.index.shape[0]
        out = np.zeros((problems, self.count, len(values)))
        if self.count == 0:
            return out
        flat = (self.index + self.count * np.arange(problems)[:, np.newaxis]).ravel()
        for column, value in enumerate(values):
            total = np.bincount(flat, weights=value.ravel(), minlength=problems * self.count)
            out[..., column] = total.reshape(problems, self.count)
        return out
