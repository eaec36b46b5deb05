"""Life regression: lives that ended exactly, between two looks, or not yet, on any design matrix.

    ln t = x′β + scale·z        z normal (lognormal lives) or of the smallest extreme value (Weibull lives)

With x = (1, 1/T) this is the Arrhenius life model. Many problems at once: arrays (problems, lives), padded
with weight 0. Times carry whatever unit they came in; β is in ln of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stability.ageing.lifetimes_data import REASONS, LifeData, LifeStatus
from stability.ageing.lifetimes_ends import DesignEnds
from stability.ageing.lifetimes_likelihood import Family, standard_quantile
from stability.ageing.lifetimes_solver import Box, Problem, Solved, inverse, solve
from stability.errors import InputError

__all__ = ["REASONS", "Family", "LifeData", "LifeFits", "LifeStatus", "fit_lives"]

Array = npt.NDArray[np.float64]

SCALES = (1e-4, 1e3)
LN_NO_SCATTER = -7.0
WIDEST_SE = 100.0
"""A standard error of ln(scale), or of a location in scales, that says: nothing holds it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeFits:
    """One row per problem; a row that is not FITTED holds zeros, and its status says why."""

    family: Family
    share: float | None
    """β describes ln of the time by which this share has ended; None: the location of ln t."""
    status: tuple[LifeStatus, ...]
    parameters: Array
    """(β, ln scale), (problems, p + 1)."""
    covariance: Array
    """Inverse of the observed information, (problems, p + 1, p + 1)."""
    log_likelihood: Array
    """Of the lives as times, (problems,): the −ln t of exact lives is in it."""

    @property
    def ok(self) -> npt.NDArray[np.bool_]:
        """Which problems have numbers."""
        return np.asarray([status is LifeStatus.FITTED for status in self.status])

    @property
    def z_at(self) -> float:
        """Standard quantile at which β stands."""
        return 0.0 if self.share is None else float(standard_quantile(self.family, self.share))

    @property
    def coefficients(self) -> Array:
        """β, (problems, p)."""
        return self.parameters[:, :-1]

    @property
    def scale(self) -> Array:
        """Spread of ln t, (problems,): σ of lognormal lives, 1/shape of Weibull ones."""
        return np.where(self.ok, np.exp(self.parameters[:, -1]), 0.0)

    @property
    def se(self) -> Array:
        """Standard errors of β and of the scale itself, (problems, p + 1)."""
        diagonal = np.arange(self.parameters.shape[1])
        found = np.sqrt(np.maximum(self.covariance[:, diagonal, diagonal], 0.0))
        found[:, -1] *= self.scale
        return found


def fit_lives(
    data: LifeData,
    design: npt.ArrayLike,
    family: Family = Family.LOGNORMAL,
    *,
    share: float | None = None,
) -> LifeFits:
    """Return the maximum likelihood fits of many life problems.

    Parameters
    ----------
    data : LifeData
        (problems, lives).
    design : array (lives, p) or (problems, lives, p)
        Columns of x, the constant included.
    family : Family
        Lognormal or Weibull.
    share : float, optional
        Let β be ln of the time by which this share has ended instead of the location.

    Returns
    -------
    LifeFits
        A named status per problem; never an exception for one of them.

    Raises
    ------
    InputError
        A design that does not belong to the data or is not finite, a share outside (0, 1).

    Examples
    --------
    Ten lives, ten more still running at 500 h (NIST/SEMATECH e-Handbook 8.4.1.3):

    >>> hours = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386] + [500] * 10
    >>> found = fit_lives(LifeData.of(hours, hours[:10] + [float("inf")] * 10), [[1.0]] * 20, Family.WEIBULL)
    >>> round(float(1 / found.scale[0]), 4), round(float(np.exp(found.parameters[0, 0])), 1)
    (1.7208, 606.5)
    """
    if share is not None and not 0.0 < share < 1.0:
        raise InputError(f"share is {share}, expected a number between 0 and 1")
    x = _design(data, design)
    count, width = data.weight.shape[0], x.shape[-1]
    before = _before(data, x)
    low, high = data.ends
    problem = Problem(
        family=family,
        seen=data.seen,
        weight=data.weight,
        ends=DesignEnds(low, high, x),
        box=Box.wide(count, width, scale=SCALES),
        z_at=0.0 if share is None else float(standard_quantile(family, share)),
    )
    ready = np.flatnonzero([status is LifeStatus.FITTED for status in before])
    solved = solve(problem.take(ready), _start(data, x)[ready])
    parameters = np.zeros((count, width + 1))
    covariance = np.zeros((count, width + 1, width + 1))
    value = np.zeros(count)
    status = list(before)
    own, ended = _judged(solved, x[ready], data.weight[ready])
    jacobian = (data.weight * np.where(problem.seen.exact, low, 0.0)).sum(axis=1)
    for place, row in enumerate(ready):
        status[row] = ended[place]
        if ended[place] is LifeStatus.FITTED:
            parameters[row], covariance[row] = solved.theta[place], own[place]
            value[row] = solved.value[place] - jacobian[row]
    return LifeFits(
        family=family,
        share=share,
        status=tuple(status),
        parameters=parameters,
        covariance=covariance,
        log_likelihood=value,
    )


def _design(data: LifeData, design: npt.ArrayLike) -> Array:
    x = np.asarray(design, dtype=np.float64)
    if x.ndim not in (2, 3) or x.shape[-2] != data.weight.shape[1]:
        raise InputError(
            f"a design of shape {x.shape} for {data.weight.shape[1]} lives, expected one row for each"
        )
    x = np.broadcast_to(x, (data.weight.shape[0], *x.shape[-2:]))
    x = np.where((data.weight > 0.0)[..., np.newaxis], x, 0.0)
    if not np.isfinite(x).all():
        raise InputError("a design holds a value that is not a finite number")
    return x


def _before(data: LifeData, x: Array) -> list[LifeStatus]:
    """Return what can be said of each problem before a fit; FITTED stands for: go on."""
    counts = data.weight > 0.0
    begun = np.atleast_1d(((data.lower > 0.0) & counts).any(axis=1))
    ended = np.atleast_1d(data.ended.any(axis=1))
    size = np.sqrt((x**2).sum(axis=1, keepdims=True))
    rank = np.atleast_1d(np.linalg.matrix_rank(x / np.where(size > 0.0, size, 1.0), tol=1e-9))
    found = []
    for row in range(counts.shape[0]):
        status = LifeStatus.FITTED
        if not counts[row].any():
            status = LifeStatus.NO_LIVES
        elif not ended[row]:
            status = LifeStatus.ALL_CENSORED
        elif not begun[row]:
            status = LifeStatus.ALL_ENDED_UNSEEN
        elif rank[row] < x.shape[-1]:
            status = LifeStatus.TOO_FEW_CONDITIONS
        found.append(status)
    return found


def _start(data: LifeData, x: Array) -> Array:
    """Return least squares through rough lives: the middle of an interval, a little beyond a bound."""
    low, high = data.ends
    seen = data.seen
    y = np.where(seen.exact, low, np.where(seen.low & seen.high, (low + high) / 2.0, 0.0))
    y = np.where(seen.low & ~seen.high, low + 0.5, np.where(seen.high & ~seen.low, high - 0.5, y))
    root = np.sqrt(data.weight)
    beta = np.linalg.pinv(x * root[..., np.newaxis], rcond=1e-12) @ (y * root)[..., np.newaxis]
    rest = (y - (x @ beta)[..., 0]) * root
    spread = np.sqrt((rest**2).sum(axis=1) / np.maximum(data.weight.sum(axis=1), 1.0))
    return np.concatenate((beta[..., 0], np.log(np.maximum(spread, 0.05))[:, np.newaxis]), axis=1)


def _judged(solved: Solved, x: Array, weight: Array) -> tuple[Array, list[LifeStatus]]:
    """Return the covariance of each search, and whether it found a top that something holds."""
    covariance, definite = inverse(solved.hessian)
    reach = (x @ covariance[:, :-1, :-1] * x).sum(axis=-1)
    widest = np.sqrt(np.where(weight > 0.0, np.maximum(reach, 0.0), 0.0).max(axis=1))
    widest = widest * np.exp(-solved.theta[:, -1])
    loose = np.sqrt(np.maximum(covariance[:, -1, -1], 0.0))
    # an exact life on the line pulls the scale down for ever, through ever narrower valleys
    vanishing = ~solved.converged & (solved.theta[:, -1] < LN_NO_SCATTER) & (solved.gradient[:, -1] < 0.0)
    found = []
    for row in range(x.shape[0]):
        status = LifeStatus.FITTED
        if not solved.free[row, -1] or loose[row] > WIDEST_SE or vanishing[row]:
            status = LifeStatus.NO_SPREAD
        elif not definite[row] or widest[row] > WIDEST_SE:
            status = LifeStatus.NO_UPPER_END
        elif not solved.converged[row]:
            status = LifeStatus.NOT_CONVERGED
        found.append(status)
    return covariance, found
