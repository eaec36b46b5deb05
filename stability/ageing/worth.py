"""What one more reading would do to the bound of a life, before it is made.

By Fisher information in the linearised model: a reading with slope g and spread s takes
C·g·gᵀ·C/(s² + gᵀ·C·g) off the covariance C of the parameters. Cheap: nothing is fitted anew. Days and
[mol/kJ] outside, ln(days) inside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from stability.ageing.model import LIFE
from stability.ageing.outlook import reading_slopes
from stability.ageing.result import Fit

__all__ = ["Worth", "worth_of_readings"]

Array = npt.NDArray[np.float64]

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """One reading that could be made."""

    se_u: float
    """Standard error of ln(life) with it."""
    life_days_lower95: float
    """Lower bound of the life with it, if it comes out as expected, [d]."""
    gain_days: float
    """How much that is above today's bound, [d]."""


def worth_of_readings(
    fit: Fit, days: npt.ArrayLike, x: npt.ArrayLike, *, tin: int | None = None
) -> tuple[Worth, ...]:
    """Return what each of several readings would do by itself.

    Parameters
    ----------
    fit : Fit
        A fit with numbers.
    days, x : array (n, bins)
        Exposure of each reading that could be made, [d] and [mol/kJ].
    tin : int, optional
        Index into `fit.data.samples` of the tin; None: a new tin.

    Notes
    -----
    The degrees of freedom stay those of today: a new tin's own is not counted, which errs on the careful
    side. What no reading can take away (store to store, where no store stands at the storage temperature)
    stays in the error.
    """
    _, slopes, spread = reading_slopes(fit, days, x, tin=tin)
    along = slopes @ fit.covariance
    total = spread**2 + (along * slopes).sum(axis=1)
    taken = along[:, LIFE] ** 2 / np.maximum(total, 1e-300)
    t = float(stdtrit(fit.df, CONFIDENCE))
    now = math.exp(fit.u - t * fit.se_u)
    out = []
    for less in taken:
        se = math.sqrt(max(fit.se_u**2 - float(less), 0.0))
        bound = math.exp(fit.u - t * se)
        out.append(Worth(se_u=se, life_days_lower95=bound, gain_days=bound - now))
    return tuple(out)
