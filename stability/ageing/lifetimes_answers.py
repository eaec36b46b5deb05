"""What fitted lives say: quantiles and shares under given conditions, and tests between nested fits.

Bounds are one-sided 95 % on ln t, and back in the unit of the times.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, ndtri, stdtrit

from stability.ageing.lifetimes import Family, LifeData, LifeFits, LifeStatus, fit_lives
from stability.ageing.lifetimes_likelihood import fraction_below, standard_quantile
from stability.errors import InputError

__all__ = [
    "LineTest",
    "Quantiles",
    "cells_of",
    "fraction_ended",
    "likelihood_ratio",
    "line_through_cells",
    "quantiles",
]

Array = npt.NDArray[np.float64]

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantiles:
    """Times by which a share has ended, one per problem; zeros where the fit has no numbers."""

    ln_t: Array
    se_ln_t: Array
    """Standard error on ln t, [–]."""
    t: Array
    se_t: Array
    """Standard error on t by the delta method, t·se(ln t)."""
    lower95: Array
    """One-sided 95 % lower bound, from ln t."""
    upper95: Array


def _slope(fits: LifeFits, conditions: npt.ArrayLike, offset: npt.ArrayLike) -> tuple[Array, Array]:
    """Return x′β + scale·offset and its standard error."""
    row = np.asarray(conditions, dtype=np.float64)
    if row.shape[-1:] != (fits.coefficients.shape[1],):
        raise InputError(
            f"conditions of shape {row.shape}, expected {fits.coefficients.shape[1]} numbers for a problem"
        )
    off = np.broadcast_to(np.asarray(offset, dtype=np.float64), fits.scale.shape)
    x = np.broadcast_to(row, fits.coefficients.shape)
    slope = np.concatenate((x, (fits.scale * off)[:, np.newaxis]), axis=1)
    value = (x * fits.coefficients).sum(axis=1) + fits.scale * off
    variance = np.einsum("pi,pij,pj->p", slope, fits.covariance, slope)
    return value, np.sqrt(np.maximum(variance, 0.0))


def quantiles(
    fits: LifeFits, conditions: npt.ArrayLike, share: float | None = 0.5, *, df: float | None = None
) -> Quantiles:
    """Return the time by which a share of lives has ended under some conditions.

    Parameters
    ----------
    fits : LifeFits
        P problems.
    conditions : array (p,) or (P, p)
        A row of the design, such as (1, 1/T).
    share : float, optional
        Of the lives; None asks for where the fit's own β stand: exp(x′β), a survival program's "response".
    df : float, optional
        Student's t in place of the normal quantile.

    Raises
    ------
    InputError
        A share outside (0, 1), or conditions that do not fit the design.
    """
    if share is not None and not 0.0 < share < 1.0:
        raise InputError(f"share is {share}, expected a number between 0 and 1")
    z = fits.z_at if share is None else float(standard_quantile(fits.family, share))
    ln_t, se = _slope(fits, conditions, z - fits.z_at)
    reach = float(ndtri(CONFIDENCE) if df is None else stdtrit(df, CONFIDENCE)) * se
    ok = fits.ok
    t = np.where(ok, _days(ln_t), 0.0)
    return Quantiles(
        ln_t=ln_t,
        se_ln_t=se,
        t=t,
        se_t=t * se,
        lower95=np.where(ok, _days(ln_t - reach), 0.0),
        upper95=np.where(ok, _days(ln_t + reach), 0.0),
    )


def _days(ln_t: Array) -> Array:
    return np.asarray(np.exp(np.clip(ln_t, -700.0, 700.0)))


def fraction_ended(fits: LifeFits, conditions: npt.ArrayLike, t: float) -> tuple[Array, Array, Array]:
    """Return the share of lives ended by a time, with its 95 % two-sided range, (problems,) each.

    The range is that of z = (ln t − x′β)/scale, carried through the family's distribution.
    """
    if not t > 0.0:
        raise InputError(f"time is {t}, expected a positive number")
    ok = fits.ok
    scale = np.where(ok, fits.scale, 1.0)
    middle, _ = _slope(fits, conditions, 0.0)
    z = (np.log(t) - middle) / scale
    _, se = _slope(fits, conditions, z)
    half = float(ndtri(0.5 + CONFIDENCE / 2.0)) * se / scale
    shares = (fraction_below(fits.family, z + fits.z_at + d) for d in (0.0 * half, -half, half))
    found = [np.where(ok, share, 0.0) for share in shares]
    return found[0], found[1], found[2]


def likelihood_ratio(larger: npt.ArrayLike, smaller: npt.ArrayLike, df: int) -> tuple[Array, Array]:
    """Return 2·(ln L − ln L₀) and its p-value from χ² with df degrees of freedom.

    >>> statistic, p = likelihood_ratio(-475.11, -476.71, 3)
    >>> round(float(statistic), 2), round(float(p), 4)
    (3.2, 0.3618)
    """
    statistic = np.maximum(2.0 * (np.asarray(larger) - np.asarray(smaller)), 0.0)
    return np.asarray(statistic), np.asarray(chdtrc(df, statistic))


@dataclass(frozen=True, slots=True, kw_only=True)
class LineTest:
    """One line with one scale against a fit per cell."""

    status: LifeStatus
    """FITTED, or why there is no test."""
    line: LifeFits
    cells: LifeFits
    log_likelihood_cells: float = 0.0
    statistic: float = 0.0
    df: int = 0
    p: float = 1.0


def cells_of(data: LifeData, cell: npt.ArrayLike) -> LifeData:
    """Return one problem as many, one per cell: cell k keeps its weights, all others are padding."""
    number = np.asarray(cell)
    if data.weight.shape[0] != 1 or number.shape != data.weight.shape[1:]:
        raise InputError("cells take one problem apart, and want one number for each of its lives")
    own = number == np.unique(number)[:, np.newaxis]
    return LifeData.of(
        np.where(own, data.lower, 1.0), np.where(own, data.upper, 1.0), np.where(own, data.weight, 0.0)
    )


def line_through_cells(
    data: LifeData, design: npt.ArrayLike, cell: npt.ArrayLike, family: Family = Family.LOGNORMAL
) -> LineTest:
    """Return the likelihood-ratio test of one line with one scale against own location and scale per cell.

    Parameters
    ----------
    data : LifeData
        One problem.
    design : array (lives, p)
        The line, the constant included.
    cell : array (lives,)
        Which lives stood under the same conditions.

    Notes
    -----
    A cell in which nothing has ended joins the line only: on its own it says nothing of a scale, and its
    likelihood is left out of both sides (as Meeker and Escobar's worked examples do).
    """
    line = fit_lives(data, design, family)
    apart = cells_of(data, cell)
    each = fit_lives(apart, np.ones((data.weight.shape[1], 1)), family)
    told = [s for s in each.status if s is not LifeStatus.ALL_CENSORED]
    bad = next((s for s in (*line.status, *told) if s is not LifeStatus.FITTED), None)
    df = 2 * len(told) - np.asarray(design).shape[-1] - 1
    if bad is not None or df < 1:
        return LineTest(status=bad or LifeStatus.TOO_FEW_CONDITIONS, line=line, cells=each)
    silent = np.asarray([s is LifeStatus.ALL_CENSORED for s in each.status])
    kept = LifeData.of(data.lower, data.upper, data.weight * (apart.weight[~silent] > 0.0).any(axis=0))
    joint = fit_lives(kept, design, family) if silent.any() else line
    if joint.status[0] is not LifeStatus.FITTED:
        return LineTest(status=joint.status[0], line=line, cells=each)
    total = float(each.log_likelihood.sum())
    statistic, p = likelihood_ratio(total, joint.log_likelihood[0], df)
    return LineTest(
        status=LifeStatus.FITTED,
        line=line,
        cells=each,
        log_likelihood_cells=total,
        statistic=float(statistic),
        df=df,
        p=float(p),
    )
