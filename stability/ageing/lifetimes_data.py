"""Lives between two bounds, and how a fit of them may end.

Times in whatever unit they come in; arrays (problems, lives), padded with weight 0.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from stability.ageing.lifetimes_likelihood import Seen
from stability.errors import InputError

__all__ = ["REASONS", "LifeData", "LifeStatus"]

Array = npt.NDArray[np.float64]


class LifeStatus(StrEnum):
    """How a fit of lives ended; everything but FITTED comes without numbers."""

    FITTED = "fitted"
    NO_LIVES = "no_lives"
    ALL_CENSORED = "all_censored"
    ALL_ENDED_UNSEEN = "all_ended_unseen"
    TOO_FEW_CONDITIONS = "too_few_conditions"
    NO_SPREAD = "no_spread"
    NO_UPPER_END = "no_upper_end"
    NOT_CONVERGED = "not_converged"


REASONS: Mapping[LifeStatus, str] = MappingProxyType(
    {
        LifeStatus.FITTED: "",
        LifeStatus.NO_LIVES: "no life was observed",
        LifeStatus.ALL_CENSORED: "no life has ended yet",
        LifeStatus.ALL_ENDED_UNSEEN: "every life had ended before its first look",
        LifeStatus.TOO_FEW_CONDITIONS: "the lives stand under too few different conditions for this line",
        LifeStatus.NO_SPREAD: "the lives fall into their intervals without any scatter",
        LifeStatus.NO_UPPER_END: "nothing holds the line at one end: the likelihood rises without end",
        LifeStatus.NOT_CONVERGED: "the search did not settle",
    }
)
"""A sentence for people per status; empty when fitted."""


@dataclass(frozen=True, slots=True)
class LifeData:
    """Lives between two bounds, (problems, lives) each: build with `of`."""

    lower: Array
    upper: Array
    weight: Array

    @classmethod
    def of(
        cls, lower: npt.ArrayLike, upper: npt.ArrayLike | None = None, weight: npt.ArrayLike | None = None
    ) -> LifeData:
        """Return lives from bounds.

        Parameters
        ----------
        lower, upper : array (lives,) or (problems, lives)
            The life lies in (lower, upper]; equal bounds: it is known exactly; 0 and infinity stand for no
            bound. Without `upper` every life is exact.
        weight : array, optional
            How often each was seen; 0 pads.

        Raises
        ------
        InputError
            Bounds that cross or are not numbers, a life of 0, a negative weight.

        Examples
        --------
        >>> LifeData.of([21.0, 28.0], [28.0, float("inf")]).ended.tolist()
        [[True, False]]
        """
        low = np.atleast_2d(np.asarray(lower, dtype=np.float64))
        high = low if upper is None else np.atleast_2d(np.asarray(upper, dtype=np.float64))
        w = np.ones(1) if weight is None else np.atleast_2d(np.asarray(weight, dtype=np.float64))
        low, high, w = np.broadcast_arrays(low, high, w)
        wrong = ~((low >= 0.0) & (high > 0.0) & (high >= low) & np.isfinite(low)) & (w > 0.0)
        if wrong.any():
            p, i = np.argwhere(wrong)[0]
            raise InputError(
                f"life {i + 1} lies between {low[p, i]:g} and {high[p, i]:g}, "
                "expected 0 <= lower <= upper and more than 0"
            )
        if not (np.isfinite(w) & (w >= 0.0)).all():
            raise InputError("a weight is negative or not a number, expected how often a life was seen")
        return cls(np.where(w > 0.0, low, 1.0), np.where(w > 0.0, high, 1.0), w)

    @property
    def seen(self) -> Seen:
        """What is known of each life."""
        exact = self.lower == self.upper
        return Seen(exact, ~exact & (self.lower > 0.0), ~exact & np.isfinite(self.upper))

    @property
    def ended(self) -> npt.NDArray[np.bool_]:
        """Which lives were seen to have ended, (problems, lives)."""
        return np.asarray(np.isfinite(self.upper) & (self.weight > 0.0))

    @property
    def ends(self) -> tuple[Array, Array]:
        """Logarithms of both bounds, 0 where there is none."""
        low = np.where(self.lower > 0.0, self.lower, 1.0)
        high = np.where(np.isfinite(self.upper), self.upper, 1.0)
        return np.log(low), np.log(high)
