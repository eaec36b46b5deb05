"""What comes next: the expected band of a reading, a tin's own limit, readings out of trend.

ln η [ln(mPa·s)] and ln(days) inside; ages and lives [d]; shares [–].
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri, stdtr, stdtrit

from stability.ageing.bounds import Life
from stability.ageing.dose import inverse_temperature
from stability.ageing.grouping import Groups
from stability.ageing.linear import deletions
from stability.ageing.model import LIFE, NAMES
from stability.ageing.result import Fit

__all__ = [
    "Trend",
    "expected_band_knots",
    "expected_reading",
    "expected_readings",
    "limit_date_range",
    "out_of_trend",
    "probability_tin_before",
    "reading_slopes",
    "shares_used",
    "tin_ln_life",
    "widening",
]

Array = npt.NDArray[np.float64]

OUT_OF_TREND = 0.997
"""Two-sided share of the predictive band that a reading must leave."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A reading against the fit without it."""

    out: bool
    expected_mpas: float
    lower_mpas: float
    """Ends of the 99.7 % band, [mPa·s]."""
    upper_mpas: float
    studentised: float


def _tin_terms(fit: Fit, tin: int) -> tuple[Array, float]:
    """Return κ·c of a tin, and its effect's variance given θ: σ²ρ/(1 + ρ z′z)."""
    work = fit.workings
    assert work is not None  # noqa: S101 - callers have checked
    ratio, variance = float(work.spreads.ratio[0]), float(work.spreads.variance[0])
    st = work.solution.statistics
    kappa = ratio / (1.0 + ratio * float(st.group_square[0, tin]))
    return kappa * st.group_cross[0, tin], variance * kappa


def _added(fit: Fit, tin: int | None, openings: float) -> Array:
    """Return what is added to a further reading of a tin: by the latest day's method, at its own level.

    A new tin is told with the first method and the first lot's level: those that a stands for.
    """
    data, added = fit.data, np.zeros(len(fit.names))
    if "opening" in fit.names:
        added[fit.names.index("opening")] = openings
    if tin is not None:
        latest = data.session == data.session.max() if data.session.size else data.tin == tin
        steps = data.steps[latest].max(axis=0) if data.steps.size else data.steps[:0].sum(axis=0)
        levels = data.levels[data.tin == tin][0] if data.levels.size else data.levels[:0].sum(axis=0)
        for what, values in (("step", steps), ("level", levels)):
            for k, value in enumerate(values):
                added[fit.names.index(f"{what}[{k}]")] = value
    assert fit.workings is not None  # noqa: S101 - callers have checked
    return added[added.size - fit.workings.model.added.shape[-1] :]


def reading_slopes(
    fit: Fit,
    days: npt.ArrayLike,
    x: npt.ArrayLike,
    *,
    tin: int | None = None,
    store: int | None = None,
    openings: float | None = None,
) -> tuple[Array, Array, Array]:
    """Return mean, slope by the parameters and own spread of ln η of further readings.

    Arguments as in `expected_readings`; mean (n,), slope (n, p), spread (n,): that of the tin's rate and of
    the method, without that of the parameters.
    """
    work = fit.workings
    if work is None:
        raise ValueError("a fit without numbers expects nothing")
    days_, x_ = np.atleast_2d(np.asarray(days, dtype=float)), np.atleast_2d(np.asarray(x, dtype=float))
    n = days_.shape[0]
    if store is None and tin is not None:
        store = int(fit.data.store[fit.data.tin == tin][-1])
    row = np.zeros(work.model.stores.shape[-1])
    if store is not None and row.size:
        row = work.model.stores[0, np.flatnonzero(fit.data.store == store)[0]]
    tins = Groups(np.full((1, n), tin or 0, dtype=np.intp), work.model.tins.count)
    effects = work.solution.effects if tin is not None else np.zeros_like(work.solution.effects)
    blank = np.zeros((1, n))
    model = replace(
        work.model,
        y=blank,
        upper=blank + np.inf,
        measured=blank + 1.0,
        active=blank + 1.0,
        days=days_[np.newaxis],
        x=x_[np.newaxis],
        tins=tins,
        stores=np.broadcast_to(row, (1, n, row.size)),
        added=np.broadcast_to(_added(fit, tin, openings or 0.0), (1, n, work.model.added.shape[-1])),
        any_censored=False,
    )
    lin = model.linearised(work.solution.theta, effects, np.sqrt(work.spreads.variance))
    slope, by_rate = lin.jacobian[0], lin.by_effect[0]
    effect_variance = fit.sigma_tin**2
    if tin is not None:
        pulled, effect_variance = _tin_terms(fit, tin)
        slope = slope - by_rate[:, np.newaxis] * pulled
    return -lin.residual[0], slope, np.sqrt(by_rate**2 * effect_variance + fit.sigma**2)


def expected_readings(
    fit: Fit,
    days: npt.ArrayLike,
    x: npt.ArrayLike,
    *,
    tin: int | None = None,
    store: int | None = None,
    openings: float | None = None,
) -> tuple[Array, Array]:
    """Return mean and spread of ln η of further readings.

    Parameters
    ----------
    fit : Fit
        A fit with numbers.
    days, x : array (n, bins)
        Exposure of each reading, [d] and [mol/kJ].
    tin : int, optional
        Index into `fit.data.samples`; its own rate is then used. None: a new tin.
    store : int, optional
        Index into `fit.data.stores` whose own departure applies; by default that of the tin, or the
        storage temperature's.

    openings : float, optional
        How often the tin has been opened before the reading; by default never.

    Returns
    -------
    mean, sd : array (n,)
        In ln(mPa·s); the spread holds that of the parameters, of the tin's rate and of the method.
    """
    mean, slope, spread = reading_slopes(fit, days, x, tin=tin, store=store, openings=openings)
    return mean, np.sqrt(((slope @ fit.covariance) * slope).sum(axis=1) + spread**2)


def expected_reading(
    fit: Fit, days: npt.ArrayLike, x: npt.ArrayLike, *, tin: int | None = None
) -> tuple[float, float]:
    """Return mean and spread of ln η of one further reading; `days` and `x` are one histogram (bins,)."""
    mean, sd = expected_readings(fit, np.atleast_2d(days), np.atleast_2d(x), tin=tin)
    return float(mean[0]), float(sd[0])


def expected_band_knots(
    fit: Fit, tin: int, ages_days: npt.ArrayLike
) -> tuple[tuple[float, float, float], ...]:
    """Return (age [d], mean of ln η, spread) of a tin at some ages, for a caller that interpolates.

    What the tin has been through up to its last reading counts as recorded; from there on (and for ages
    before it) it stands at its store's nominal temperature.
    """
    ages = np.asarray(ages_days, dtype=np.float64)
    mine = np.flatnonzero(fit.data.tin == tin)
    last = mine[np.argmax(fit.data.age_days[mine])]
    temperature = fit.data.store_temperature_c[fit.data.store[last]]
    nominal = float(inverse_temperature(temperature, fit.data.storage_c))
    later = ages >= fit.data.age_days[last]
    recorded = np.where(later[:, np.newaxis], fit.data.days[last], 0.0)
    extra = np.where(later, ages - fit.data.age_days[last], ages)
    days = np.column_stack((recorded, extra))
    x = np.column_stack((np.broadcast_to(fit.data.x[last], recorded.shape), np.full(ages.size, nominal)))
    opened = float(fit.data.openings[last]) + 1.0 if fit.data.openings.size else None
    mean, sd = expected_readings(fit, days, x, tin=tin, openings=opened)
    return tuple((float(a), float(m), float(s)) for a, m, s in zip(ages, mean, sd, strict=True))


def widening(fit: Fit) -> float:
    """Return Student's t over the normal quantile at 99.7 %, with the degrees of freedom of the readings.

    A spread times this, in a band drawn with the normal quantile, is the band of few readings.

    Source: common practice (a prediction interval with estimated variance); degrees as in `out_of_trend`.
    """
    if fit.workings is None:
        raise ValueError("a fit without numbers expects nothing")
    estimated = int(fit.workings.penalties.free[0, : len(NAMES)].sum())
    df = max(int(fit.data.measured.sum()) - estimated - 1, 1)
    end = 0.5 + OUT_OF_TREND / 2.0
    return float(stdtrit(df, end) / ndtri(end))


def out_of_trend(fit: Fit, index: int) -> Trend:
    """Return whether a measured reading leaves the 99.7 % band of the fit without it.

    The fit without it is one step in the linearised model (see `linear.deletions`), not a new fit.
    """
    d = deletions(fit)
    t = float(stdtrit(d.df, 0.5 + OUT_OF_TREND / 2.0))
    expected, half = float(d.expected[index]), t * float(d.sd[index])
    measured = bool(fit.data.measured[index])
    return Trend(
        out=measured and abs(float(d.studentised[index])) > t,
        expected_mpas=math.exp(expected),
        lower_mpas=math.exp(expected - half),
        upper_mpas=math.exp(min(expected + half, 700.0)),
        studentised=float(d.studentised[index]) if measured else 0.0,
    )


def shares_used(fit: Fit) -> tuple[float, ...]:
    """Return the share of life that each tin had used at its last reading, [–], by its own rate."""
    if not fit.ok:
        return ()
    return tuple(float(fit.life_used[fit.data.tin == i].max()) for i in range(len(fit.data.samples)))


def tin_ln_life(fit: Fit, tin: int) -> tuple[float, float]:
    """Return ln(life in days) of one tin at the storage temperature, and its standard error."""
    pulled, effect_variance = _tin_terms(fit, tin)
    slope = pulled.copy()
    slope[LIFE] += 1.0
    variance = float(slope @ fit.covariance @ slope) + effect_variance
    beyond = max(fit.se_u**2 - float(fit.covariance[LIFE, LIFE]), 0.0)
    return fit.u - float(fit.tin_effects[tin]), math.sqrt(max(variance + beyond, 1e-300))


def probability_tin_before(fit: Fit, tin: int, days: float) -> float:
    """Return the chance that one tin reaches the limit before so many days at the storage temperature."""
    ln_life, se = tin_ln_life(fit, tin)
    return float(stdtr(max(fit.df, 1.0), (math.log(max(days, 1e-9)) - ln_life) / se))


def limit_date_range(life: Life) -> tuple[float | None, float | None]:
    """Return the 90 % range of the day of the limit, [d from day 0]; None where there is no end."""
    return life.life_days_lower95, life.life_days_upper95
