"""From a search to an answer: why there is none, and standard errors and degrees of freedom where there is.

ln η of a reading; u = ln(life in days); variances of θ in the squares of its units.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypedDict

import numpy as np
import numpy.typing as npt

from stability.ageing.arrays import BlendReadings
from stability.ageing.batch import Size, added_names
from stability.ageing.model import ENERGY, LIFE, NAMES, Limit
from stability.ageing.normal_equations import Penalties
from stability.ageing.result import Fit, FitOptions, FitStatus, Workings
from stability.ageing.variance import covariance, linear_mixed, log_likelihood

__all__ = ["bare_fit", "fits_of", "refusal"]

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


def refusal(data: BlendReadings, limit: Limit, free: Mask, precision: Array) -> tuple[FitStatus, str] | None:
    """Say why no fit can be made, if so."""
    if data.tin.size == 0:
        return FitStatus.NO_READINGS, "no readings yet"
    measured = int(data.measured.sum())
    if measured == 0:
        return FitStatus.ALL_CENSORED, "every reading is gelled or over range; none is a number"
    if not data.aged[data.measured].any():
        return FitStatus.NOT_AGED, "no viscosity measured after day 0 yet"
    needed = int((free & (precision == 0.0)).sum()) + 2
    if measured < needed:
        return FitStatus.TOO_FEW_READINGS, f"{measured} measured readings, at least {needed} are needed"
    fresh = data.measured & (data.age_days == data.age_days[data.measured].min())
    if limit.ln_ratio(float(np.median(data.ln_viscosity[fresh]))) <= 0.0:
        return FitStatus.LIMIT_PASSED, "the viscosity at the start is already at the limit or beyond it"
    return None


class _Counts(TypedDict):
    tins: int
    readings: int
    gelled: int


def _counts(data: BlendReadings) -> _Counts:
    return {
        "tins": len(data.samples),
        "readings": int(data.tin.size),
        "gelled": int(np.unique(data.tin[~data.measured & ~np.isfinite(data.ln_upper)]).size),
    }


def bare_fit(data: BlendReadings, limit: Limit, options: FitOptions, status: FitStatus, reason: str) -> Fit:
    """Return a fit without numbers."""
    return Fit(data=data, limit=limit, options=options, status=status, reason=reason, **_counts(data))


def fits_of(
    blends: Sequence[BlendReadings],
    limits: Sequence[Limit],
    options: FitOptions,
    size: Size,
    work: Workings,
) -> list[Fit]:
    """Return the fits of a block of blends whose searches have settled."""
    at, penalties, model, spreads = work.solution, work.penalties, work.model, work.spreads
    open_ = penalties.open_at(at.theta)
    random = (np.arange(model.parameters) >= len(NAMES)) & (penalties.precision > 0.0)
    lin = linear_mixed(at, penalties, open_, random=random, reml=options.criterion == "reml")
    full, likelihood = covariance(lin, spreads), log_likelihood(lin, spreads)
    linearised = model.linearised(at.theta, at.effects, np.sqrt(spreads.variance))
    life_used, _ = model.life_used(at.theta, at.effects)
    from_given = _from_given(full, penalties, size)
    edges = penalties.free & ~open_
    out = []
    for row, (data, limit) in enumerate(zip(blends, limits, strict=True)):
        n, k = data.tin.size, len(data.samples)
        outside = 0.0 if data.storage_store is not None else options.store_spread**2  # τ²
        se_squared = max(float(full[row, LIFE, LIFE]) + outside, 1e-300)
        share = min((float(from_given[row]) + outside) / se_squared, 0.999)
        energy = bool(penalties.free[row, ENERGY])
        nu = int(np.unique(data.tin[data.aged]).size) - (2 if energy else 1)
        variance, ratio = float(spreads.variance[row]), float(spreads.ratio[row])
        fit = Fit(
            data=data,
            limit=limit,
            options=options,
            status=FitStatus.FITTED,
            reason="",
            names=_names(data, size),
            parameters=at.theta[row],
            covariance=full[row],
            se_u=float(np.sqrt(se_squared)),
            df=min(max(nu, 0) / (1.0 - share) ** 2, 1e6),
            tin_df=nu,
            sigma=float(np.sqrt(variance)),
            sigma_tin=float(np.sqrt(variance * ratio)),
            tin_effects=at.effects[row, :k],
            residuals=linearised.residual[row, :n],
            life_used=life_used[row, :n],
            energy_estimated=energy,
            at_edge=tuple(name for name, e in zip(NAMES, edges[row], strict=False) if e),
            log_likelihood=float(likelihood[row]),
            workings=work.rows(np.array([row])),
            **_counts(data),
        )
        out.append(fit)
    return out


def _from_given(full: Array, penalties: Penalties, size: Size) -> Array:
    """Part of the variance of u that given spreads (stores, openings) bring."""
    given = slice(len(NAMES), len(NAMES) + size.stores + size.openings)
    return np.asarray((full[:, given, LIFE] ** 2 * penalties.precision[:, given]).sum(axis=1))


def _names(data: BlendReadings, size: Size) -> tuple[str, ...]:
    gammas = tuple(f"gamma[{store}]" for store in data.stores) if size.stores else ()
    return (*NAMES, *gammas, *added_names(size))
