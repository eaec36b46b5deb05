"""Readings that are not a number: gelled, over range, or known only to lie between two values.

Each is replaced, at the current curve f and spread σ, by a pseudo-value and a weight whose score *and*
information are those of its likelihood. With z = (c − f)/σ and λ the score of the reading,

    right-censored at c    ln Φ(−z)               λ = φ(z)/Φ(−z)             δ = λ(λ − z)
    between c₁ and c₂      ln(Φ(z₂) − Φ(z₁))      λ = (φ(z₁) − φ(z₂))/ΔΦ     δ = λ² + (z₂φ(z₂) − z₁φ(z₁))/ΔΦ

the residual is σ·λ/δ and the weight δ. All values are dimensionless (z) or in ln η (σ, residual).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

__all__ = ["PseudoReadings", "pseudo_readings"]

Array = npt.NDArray[np.float64]

_HALF_LN_2PI = 0.5 * np.log(2.0 * np.pi)
_FAR = 1e4
_NARROWEST = 1e-3


@dataclass(frozen=True, slots=True)
class PseudoReadings:
    """What stands in for a censored reading, elementwise."""

    residual: Array
    """σ·λ/δ, in ln η."""
    weight: Array
    """δ, [–]; 0 where the reading says nothing any more."""
    loss: Array
    """−2 ln P, [–]."""
    sigma_score: Array
    """The part Λ of the score by ln σ: λz, or (z₁φ₁ − z₂φ₂)/ΔΦ, [–]."""


def _right(z: Array) -> tuple[Array, Array, Array]:
    """Return λ, λ − z and ln P of right-censored readings, exact in both tails."""
    ln_p = log_ndtr(-z)
    score = np.exp(-0.5 * z**2 - _HALF_LN_2PI - ln_p)
    far = z > 30.0
    zf = np.where(far, z, 1.0)
    # λ − z cancels far out: its asymptotic series is exact to 1e-7 from z = 30 on
    excess = np.where(far, 1.0 / zf - 2.0 / zf**3 + 10.0 / zf**5, score - z)
    return score, excess, ln_p


def _between(low: Array, high: Array) -> tuple[Array, Array, Array, Array]:
    """Return λ, δ, ln P and Λ of interval readings; the tail nearer to zero is used, so nothing cancels."""
    high = np.maximum(high, low + _NARROWEST)
    flip = low + high > 0.0
    a = np.where(flip, -high, low)
    b = np.where(flip, -low, high)
    ln_b, ln_a = log_ndtr(b), log_ndtr(a)
    ln_p = ln_b + np.log1p(-np.exp(np.minimum(ln_a - ln_b, -1e-300)))
    pdf_a = np.exp(-0.5 * a**2 - _HALF_LN_2PI - ln_p)
    pdf_b = np.exp(-0.5 * b**2 - _HALF_LN_2PI - ln_p)
    score = pdf_a - pdf_b
    sigma_score = a * pdf_a - b * pdf_b
    information = np.clip(score**2 - sigma_score, 1e-12, 1.0)
    return np.where(flip, -score, score), information, ln_p, sigma_score


def pseudo_readings(fitted: Array, sigma: Array, lower: Array, upper: Array) -> PseudoReadings:
    """Return pseudo-residuals, weights and likelihoods of censored readings.

    Parameters
    ----------
    fitted : array
        ln η of the curve, in ln(mPa·s).
    sigma : array
        Spread of a reading, in ln η, > 0.
    lower, upper : array
        Bounds, in ln(mPa·s); `upper` infinite for a right-censored reading.
    """
    z = np.clip((lower - fitted) / sigma, -_FAR, _FAR)
    score, excess, ln_p = _right(z)
    # δ = λ(λ − z); σλ/δ = σ/(λ − z) needs no division by a vanishing δ
    residual, weight = sigma / excess, score * excess
    sigma_score = score * z
    interval = np.isfinite(upper)
    if interval.any():
        top = np.clip((np.where(interval, upper, lower + 1.0) - fitted) / sigma, -_FAR, _FAR)
        score_i, weight_i, ln_p_i, sigma_i = _between(z, top)
        residual = np.where(interval, sigma * score_i / weight_i, residual)
        weight = np.where(interval, weight_i, weight)
        ln_p = np.where(interval, ln_p_i, ln_p)
        sigma_score = np.where(interval, sigma_i, sigma_score)
    return PseudoReadings(residual, weight, -2.0 * ln_p, sigma_score)
