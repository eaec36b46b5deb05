"""Linear least squares for a batch of problems, to the digits that the data as doubles hold.

Normal equations lose half the digits; nothing here forms them: orthogonal factors of scaled columns, then
refinement in doubled precision. Units are the caller's. Leading axis:
problems (P); then readings (n) and coefficients (p).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["LeastSquares", "least_squares"]

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

DEPENDENT = 1e-12
"""A column counts as a combination of those before it when less than this share of its length is its own."""

_SPLITTER = 134_217_729.0  # 2²⁷ + 1
_REFINEMENTS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class LeastSquares:
    """Coefficients of every problem of a batch, and what the left-over says of them."""

    coefficients: Array
    """(P, p); 0 where not determined."""
    determined: Mask
    """Whether the readings say anything of a coefficient that those before it do not, (P, p)."""
    root: Array
    """U with (X′WX)⁻¹ = U U′, (P, p, p); rows of coefficients that are not determined are 0."""
    residual: Array
    """target − design · coefficients, unweighted, (P, n)."""
    sum_squares: Array
    """Σ w·residual², (P,)."""
    df: npt.NDArray[np.int64]
    """Readings of positive weight less determined coefficients, (P,)."""

    @property
    def variance(self) -> Array:
        """Left-over variance, (P,); infinite where no degree of freedom speaks of it."""
        return np.where(self.df > 0, self.sum_squares / np.maximum(self.df, 1), np.inf)

    @property
    def unscaled_covariance(self) -> Array:
        """(X′WX)⁻¹, (P, p, p)."""
        return np.asarray(self.root @ np.swapaxes(self.root, -1, -2))

    @property
    def standard_deviations(self) -> Array:
        """Of every coefficient, (P, p); infinite where it is not determined or no freedom is left."""
        spread = np.sqrt((self.root**2).sum(axis=-1))
        known = self.determined & (self.df > 0)[..., np.newaxis]
        with np.errstate(invalid="ignore"):  # ∞ · 0 of what is not known
            return np.where(known, np.sqrt(self.variance)[..., np.newaxis] * spread, np.inf)


def least_squares(design: Array, target: Array, weight: Array | None = None) -> LeastSquares:
    """Minimise Σ w·(target − design · c)² over c for every problem on its own.

    Parameters
    ----------
    design : array (P, n, p)
        Finite; columns of zeros are allowed (padding).
    target : array (P, n)
        Finite.
    weight : array (P, n), optional
        Not negative; 0 marks padding. 1 everywhere if left out.

    Returns
    -------
    LeastSquares
        A column that the ones before it already explain is left out, its coefficient 0 and marked.

    Notes
    -----
    Householder factors of √w·X with columns of length about 1 [1]_, then steps of refinement of the augmented
    system (residual and coefficients together) with residuals in doubled precision [2]_: also a fit whose
    left-over is large keeps the digits that the data, as doubles, hold.

    References
    ----------
    .. [1] G. Golub, Numerical methods for solving linear least squares problems, Numer. Math. 7 (1965) 206.
    .. [2] Å. Björck, Iterative refinement of linear least squares solutions I, BIT 7 (1967) 257.

    Examples
    --------
    >>> line = least_squares(np.array([[[1.0, 0.0], [1.0, 1.0], [1.0, 2.0]]]), np.array([[1.0, 3.0, 5.0]]))
    >>> line.coefficients.round(12).tolist(), line.df.tolist()
    ([[1.0, 2.0]], [1])
    """
    weight = np.ones_like(target) if weight is None else weight
    root_weight = np.sqrt(weight)
    rows = design * root_weight[..., np.newaxis]
    aim = target * root_weight
    length = np.sqrt((rows**2).sum(axis=-2))
    # by powers of two: the scaled columns are the given ones to the last bit
    scale = np.where(length > 0.0, np.exp2(-np.round(np.log2(np.where(length > 0.0, length, 1.0)))), 0.0)
    scaled = rows * scale[..., np.newaxis, :]
    q, r, left_out = _factors(scaled, length <= 0.0)
    scaled = np.where(left_out[..., np.newaxis, :], 0.0, scaled)
    solution, residual = _refined(scaled, aim, q, r)
    inverse = _inverse_of_triangle(r)
    scale = np.where(left_out, 0.0, scale)
    coefficients = solution * scale
    used = (weight > 0.0).sum(axis=-1)
    free = residual / np.where(root_weight > 0.0, root_weight, 1.0)
    unweighted = target - np.einsum("...np,...p->...n", design, coefficients)
    return LeastSquares(
        coefficients=coefficients,
        determined=~left_out,
        root=inverse * scale[..., np.newaxis],
        residual=np.where(root_weight > 0.0, free, unweighted),
        sum_squares=(residual**2).sum(axis=-1),
        df=np.asarray(used - (~left_out).sum(axis=-1), dtype=np.int64),
    )


def _factors(scaled: Array, left_out: Mask) -> tuple[Array, Array, Mask]:
    """Return Q (n rows), R and the columns left out; a column left out is held at 0 by a row of its own."""
    n, p = scaled.shape[-2:]
    identity = np.eye(p)
    for _ in range(p + 1):
        kept = np.where(left_out[..., np.newaxis, :], 0.0, scaled)
        held = identity * left_out[..., np.newaxis, :]
        q, r = np.linalg.qr(np.concatenate((kept, held), axis=-2))
        small = np.abs(np.diagonal(r, axis1=-2, axis2=-1)) < DEPENDENT
        if not small.any():
            break
        # the first one only: later ones may be small because of it
        left_out = left_out | (small & (np.cumsum(small, axis=-1) == 1))
    return q[..., :n, :], r, left_out


def _refined(scaled: Array, aim: Array, q: Array, r: Array) -> tuple[Array, Array]:
    """Return the solution of the scaled problem and its residual."""
    turned = np.swapaxes(q, -1, -2)
    upper = np.swapaxes(r, -1, -2)
    solution: Array = np.asarray(np.linalg.solve(r, turned @ aim[..., np.newaxis])[..., 0], dtype=np.float64)
    residual = aim - (scaled @ solution[..., np.newaxis])[..., 0]
    low: Array = np.zeros_like(solution)
    for _ in range(_REFINEMENTS):
        f = _left_over(scaled, aim, residual, solution, low)
        g = -_sum_of_products(scaled, residual)
        h = np.linalg.solve(upper, g[..., np.newaxis])
        d = turned @ f[..., np.newaxis]
        step = np.linalg.solve(r, d - h)[..., 0]
        residual = residual + f - (q @ (d - h))[..., 0]
        # the solution is carried as a sum of two doubles, as its rounding would show in the next residual
        solution, low = _two_sum(solution, low + step)
    return solution + low, residual


def _inverse_of_triangle(r: Array) -> Array:
    return np.asarray(np.linalg.solve(r, np.broadcast_to(np.eye(r.shape[-1]), r.shape)))


def _two_sum(a: Array, b: Array) -> tuple[Array, Array]:
    """Return the rounded sum and what rounding took (Knuth)."""
    total = a + b
    part = total - a
    return total, (a - (total - part)) + (b - part)


def _two_product(a: Array, b: Array) -> tuple[Array, Array]:
    """Return the rounded product and what rounding took (Dekker)."""
    product = a * b
    a_high = _SPLITTER * a - (_SPLITTER * a - a)
    b_high = _SPLITTER * b - (_SPLITTER * b - b)
    a_low, b_low = a - a_high, b - b_high
    return product, a_low * b_low - (((product - a_high * b_high) - a_low * b_high) - a_high * b_low)


def _left_over(scaled: Array, aim: Array, residual: Array, solution: Array, low: Array) -> Array:
    """Return aim − residual − scaled·(solution + low), summed in doubled precision, (P, n)."""
    total, rest = _two_sum(aim, -residual)
    for k in range(solution.shape[-1]):
        product, lost = _two_product(scaled[..., k], -solution[..., k : k + 1])
        total, carried = _two_sum(total, product)
        rest = rest + (carried + lost - scaled[..., k] * low[..., k : k + 1])
    return total + rest


def _sum_of_products(scaled: Array, residual: Array) -> Array:
    """Return scaled′·residual, summed in doubled precision by halves, (P, p)."""
    total, rest = _two_product(scaled, residual[..., np.newaxis])
    while total.shape[-2] > 1:
        if total.shape[-2] % 2:
            pad = np.zeros_like(total[..., :1, :])
            total, rest = np.concatenate((total, pad), axis=-2), np.concatenate((rest, pad), axis=-2)
        half = total.shape[-2] // 2
        total, carried = _two_sum(total[..., :half, :], total[..., half:, :])
        rest = rest[..., :half, :] + rest[..., half:, :] + carried
    return np.asarray((total + rest).sum(axis=-2))
