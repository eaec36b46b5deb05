"""What a fit says of a life: estimate, lower bounds, chance of an early end, other limits, gel point.

Days and [–] outside, ln(days) inside. All bounds are one-sided 95 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import stdtr, stdtrit

from stability.ageing.law import gel_life_used, life_used_at
from stability.ageing.profile import LN_LONGEST_LIFE, Profile, profile_life
from stability.ageing.result import Fit, FitStatus
from stability.errors import InputError
from stability.units import significant

__all__ = ["Life", "LifeOutcome", "life", "life_to", "probability_before"]

CONFIDENCE = 0.95
LARGEST_WALD_SE = 0.5
"""A life known worse than this, in ln(days), is bounded by its profile."""
SMALLEST_TIN_DF = 2


class LifeOutcome(StrEnum):
    """What can be said."""

    ESTIMATED = "estimated"
    LOWER_BOUND_ONLY = "lower_bound_only"
    TOO_EARLY = "too_early"


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """A life with its bounds, [d]; a number that cannot be given is None."""

    outcome: LifeOutcome
    says: str | None = None
    life_days: float | None = None
    life_days_lower95: float | None = None
    life_days_lower95_next_tin: float | None = None
    life_days_upper95: float | None = None
    probability_before_target: float | None = None
    gel_life_days: float | None = None
    profile: Profile | None = None
    """Set where the bounds come from the profile likelihood and not from a standard error."""


def _too_early(fit: Fit) -> str | None:
    """Say what is missing before a life can be given, if anything."""
    if not fit.ok:
        return fit.reason
    storage = f"{significant(fit.data.storage_c)} °C"
    if not fit.energy_estimated and not fit.storage_store_present:
        only = significant(float(fit.data.store_temperature_c.mean()))
        return (
            f"all readings come from {only} °C; without readings near {storage} or from a second "
            f"temperature they say nothing of the life at {storage}"
        )
    if fit.tin_df < SMALLEST_TIN_DF:
        needed = SMALLEST_TIN_DF + (2 if fit.energy_estimated else 1)
        aged = fit.tin_df + (2 if fit.energy_estimated else 1)
        return f"{aged} tin{'s' if aged != 1 else ''} measured after day 0, at least {needed} are needed"
    return None


def _needs_profile(fit: Fit) -> bool:
    return fit.se_u > LARGEST_WALD_SE or bool(fit.at_edge) or fit.covariance[1, 1] <= 0.0


def _days(ln_life: float | None) -> float | None:
    return None if ln_life is None else math.exp(min(ln_life, 700.0))


def _next_tin(estimate: float, lower: float, t: float, sigma_tin: float) -> float:
    """Lower bound for one more tin: the distance grows as if from se² + σ_tin²."""
    distance = min(estimate - lower, t * LARGEST_WALD_SE) if estimate > lower else 0.0
    return lower - (math.hypot(distance, t * sigma_tin) - distance)


def life(fit: Fit, target_days: float | None = None) -> Life:
    """Return the life of a typical tin at the storage temperature, with bounds.

    Parameters
    ----------
    fit : Fit
        Of any status.
    target_days : float, optional
        Life that is hoped for, [d].

    Returns
    -------
    Life
        `estimated`, `lower_bound_only` (no upper end within 200 years) or `too_early` with what is
        missing in `says`.
    """
    if target_days is not None and not target_days > 0.0:
        raise InputError(f"target life is {target_days} days, expected a positive number")
    missing = _too_early(fit)
    if missing is not None:
        return Life(outcome=LifeOutcome.TOO_EARLY, says=missing)
    t = float(stdtrit(fit.df, CONFIDENCE))
    if _needs_profile(fit):
        return _life_by_profile(fit, t, target_days)
    lower = fit.u - t * fit.se_u
    return Life(
        outcome=LifeOutcome.ESTIMATED,
        life_days=_days(fit.u),
        life_days_lower95=_days(lower),
        life_days_lower95_next_tin=_days(fit.u - t * math.hypot(fit.se_u, fit.sigma_tin)),
        life_days_upper95=_days(fit.u + t * fit.se_u),
        probability_before_target=None if target_days is None else probability_before(fit, target_days),
        gel_life_days=_gel_days(fit),
    )


def _life_by_profile(fit: Fit, t: float, target_days: float | None) -> Life:
    also = () if target_days is None else (math.log(target_days),)
    # what τ adds where no store stands at the storage temperature is not in the profile: widen by it
    widened = _widening(fit)
    profile = profile_life(fit, t * widened, also)
    lower = profile.life_at(-t / widened)
    if lower is None:
        lower = float(profile.ln_life[0])
    upper = profile.life_at(t / widened) if profile.root[-1] > t / widened else None
    chance = None if target_days is None else probability_before(fit, target_days, profile)
    next_tin = _days(_next_tin(fit.u, lower, t, fit.sigma_tin))
    lower_days = math.exp(lower)
    if upper is None or fit.u >= LN_LONGEST_LIFE:
        return Life(
            outcome=LifeOutcome.LOWER_BOUND_ONLY,
            says=f"the readings so far say at least {significant(lower_days)} d; no upper end",
            life_days_lower95=lower_days,
            life_days_lower95_next_tin=next_tin,
            probability_before_target=chance,
            profile=profile,
        )
    return Life(
        outcome=LifeOutcome.ESTIMATED,
        life_days=_days(fit.u),
        life_days_lower95=lower_days,
        life_days_lower95_next_tin=next_tin,
        life_days_upper95=_days(upper),
        probability_before_target=chance,
        gel_life_days=_gel_days(fit),
        profile=profile,
    )


def _widening(fit: Fit) -> float:
    """Ratio of the full standard error of u to the one that the profile knows."""
    known = float(fit.covariance[1, 1])
    if fit.storage_store_present or known <= 0.0:
        return 1.0
    return math.sqrt(1.0 + fit.options.store_spread**2 / known)


def probability_before(fit: Fit, days: float, profile: Profile | None = None) -> float | None:
    """Return the chance that the limit comes before so many days at the storage temperature, [–].

    Student's t on ln(life), or the signed root of the profile deviance where the life is so badly known
    that only the profile tells. None when nothing can be said yet.
    """
    if _too_early(fit) is not None or not days > 0.0:
        return None
    if profile is None and _needs_profile(fit):
        profile = profile_life(fit, float(stdtrit(fit.df, CONFIDENCE)), (math.log(days),))
    if profile is not None:
        return float(stdtr(fit.df, profile.root_at(math.log(days)) / _widening(fit)))
    return float(stdtr(fit.df, (math.log(days) - fit.u) / fit.se_u))


def _gel_days(fit: Fit) -> float | None:
    s = float(gel_life_used(fit.m, fit.b, fit.ln_limit))
    days = s * math.exp(fit.u)
    return days if math.isfinite(days) and days < math.exp(LN_LONGEST_LIFE) else None


def life_to(fit: Fit, ratio: float) -> float | None:
    """Return the fitted time to another limit, [d]; None when the curve never gets there.

    A point value only: its bound comes from a fit with that limit.
    """
    if not ratio > 1.0:
        raise InputError(f"limit ratio is {ratio}, expected more than 1")
    if fit.status is not FitStatus.FITTED:
        return None
    s = float(life_used_at(math.log(ratio), fit.m, fit.b, fit.ln_limit))
    days = s * math.exp(fit.u)
    return days if np.isfinite(days) else None
