"""The fit of blends: growth law, tin effects, store effects and spreads, each with a named outcome.

Alternates (1) penalised least squares for the parameters and tin effects at the current spreads and
(2) REML (or ML) of the spreads in the model linearised there, to the Lindstrom–Bates fixed point.
ln η of a reading; u = ln(life in days); E in kJ/mol; m, b and all effects dimensionless.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stability.ageing.arrays import BlendReadings
from stability.ageing.batch import Size, ageing_model, penalties_for, size_of
from stability.ageing.model import NAMES, AgeingModel, Limit
from stability.ageing.normal_equations import Penalties, Solution, Spreads
from stability.ageing.outcome import bare_fit, fits_of, refusal
from stability.ageing.result import Fit, FitOptions, FitStatus, Priors, Workings
from stability.ageing.solver import minimise, rows_of, scattered, start
from stability.ageing.starts import best_start
from stability.ageing.variance import LinearMixed, covariance, estimate_spreads, linear_mixed

__all__ = ["Fit", "FitOptions", "FitStatus", "Limit", "Priors", "fit", "fit_many"]

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Rows = npt.NDArray[np.intp]

_ROUNDS = 40
_CAUTIOUS_FROM = 8
"""From this round on spreads that waver move half-way only: it ends the rare case of two answers in turn."""
_SMALLEST_DAY_VARIANCE, _LARGEST_DAY_VARIANCE = 1e-3**2, 0.3**2
_SETTLED, _SETTLED_WITH_DAYS = 1e-7, 1e-5
_DAYS_MATTER_LESS = 1e-3
"""The spread of days is settled when ln σ_d² moves by less than 1e-5 over this: it only widens a bound."""
_BLOCK_READINGS = 32_768
"""Readings worked on at once: enough to keep numpy busy, few enough to stay near a processor."""


@dataclass(slots=True)
class _State:
    """Where every problem of a block stands."""

    penalties: Penalties
    at: Solution
    spreads: Spreads
    open_: Mask
    change: Array
    shift: Array
    """Last move of ln σ_d², the variance of day effects."""
    settled: Mask


def _day_variance(at: Solution, penalties: Penalties, lin: LinearMixed, spreads: Spreads, days: int) -> Array:
    """Next variance of day effects, Σδ²/(D − tr C/σ_d²): fixed point of its restricted likelihood, (P,)."""
    now = 1.0 / penalties.precision[:, -1]
    own = np.diagonal(covariance(lin, spreads), axis1=-2, axis2=-1)[:, -days:]
    spoken = np.maximum(days - own.sum(axis=1) / now, 1e-3)
    new = (at.theta[:, -days:] ** 2).sum(axis=1) / spoken
    return np.asarray(np.clip(new, _SMALLEST_DAY_VARIANCE, _LARGEST_DAY_VARIANCE))


def _change(old: Spreads, new: Spreads, typical: Array) -> Array:
    """How far the spreads move: in ln σ² and in ρ·z′z, relative to the larger of it and 1, (P,)."""
    before = np.stack((np.log(old.variance), old.ratio * typical))
    after = np.stack((np.log(new.variance), new.ratio * typical))
    return np.asarray((np.abs(after - before) / np.maximum(np.abs(before), 1.0)).max(axis=0))


def _tempered(old: Spreads, new: Spreads, wavering: Mask) -> Spreads:
    variance = np.where(wavering, np.sqrt(new.variance * old.variance), new.variance)
    return Spreads(variance, np.where(wavering, 0.5 * (new.ratio + old.ratio), new.ratio))


def _round(state: _State, live: Rows, model: AgeingModel, round_: int, *, reml: bool, days: int) -> None:
    """Take one round of both steps for the live problems, whose own arrays `model` holds."""
    penalties, spreads = state.penalties.rows(live), state.spreads.rows(live)
    at = rows_of(state.at, live)
    sigma = np.sqrt(spreads.variance)
    evaluate, narrow = model.at_sigma(sigma), model.narrowed(sigma)
    # where tins show no spread an effect left over from before would be free, and no step could take it off
    kept = np.where(spreads.ratio[:, np.newaxis] > 0.0, at.effects, 0.0)
    stale = np.flatnonzero((kept != at.effects).any(axis=1) | model.any_censored)
    if stale.size:
        own, held, groups = spreads.rows(stale), penalties.rows(stale), model.tins.rows(stale)
        fresh = start(narrow(stale), groups, at.theta[stale], kept[stale], own, penalties=held)
        at = scattered(at, stale, fresh)
    steps = 4 if round_ < 3 else 20
    at = minimise(evaluate, model.tins, at, spreads, penalties, steps=steps, narrow=narrow)
    state.at = scattered(state.at, live, at)
    done = (state.change[live] < (_SETTLED_WITH_DAYS if days else _SETTLED)) & at.converged
    state.settled[live] = done
    # a shape number that sits on the box in one round and just off it in the next would take its degree
    # of freedom with it each time, and never settle: late in the day it stays where it was found
    now_open = penalties.open_at(at.theta)
    open_ = state.open_[live] & now_open if round_ > _CAUTIOUS_FROM else now_open
    random = np.arange(model.parameters) >= len(NAMES)
    lin = linear_mixed(at, penalties, open_, random=random & (penalties.precision > 0.0), reml=reml)
    new = estimate_spreads(lin, spreads, search=round_ == 0, steps=30 if round_ == 0 else 3)
    change = _change(spreads, new, lin.typical)
    if round_ >= (3 * _CAUTIOUS_FROM if days else _CAUTIOUS_FROM):
        new = _tempered(spreads, new, change > 0.3 * state.change[live])
    going = live[~done]
    if days:
        shift = np.log(_day_variance(at, penalties, lin, new, days) * penalties.precision[:, -1])
        change = np.maximum(change, _DAYS_MATTER_LESS * np.abs(shift))
        # the fixed point is approached geometrically: go where the series would end
        share = np.clip(shift / np.where(state.shift[live] == 0.0, np.inf, state.shift[live]), 0.0, 0.8)
        state.shift[live] = shift
        variance = np.exp(shift / (1.0 - share)) / penalties.precision[:, -1]
        variance = np.clip(variance, _SMALLEST_DAY_VARIANCE, _LARGEST_DAY_VARIANCE)
        state.penalties.precision[going, -days:] = 1.0 / variance[~done, np.newaxis]
    state.open_[going], state.change[going] = open_[~done], change[~done]
    state.spreads.variance[going], state.spreads.ratio[going] = new.variance[~done], new.ratio[~done]


def _alternate(model: AgeingModel, penalties: Penalties, *, reml: bool, days: int) -> _State:
    """Alternate to the fixed point, each problem until it has settled."""
    at, spreads = best_start(model, penalties)
    problems = at.objective.size
    state = _State(
        penalties=replace(penalties, precision=penalties.precision.copy()),
        at=at,
        spreads=spreads,
        open_=np.ones(at.theta.shape, dtype=bool),
        change=np.full(problems, np.inf),
        shift=np.zeros(problems),
        settled=np.zeros(problems, dtype=bool),
    )
    live, own = np.arange(problems), model
    for round_ in range(_ROUNDS):
        _round(state, live, own, round_, reml=reml, days=days)
        going = ~state.settled[live]
        if not going.any():
            return state
        if not going.all():
            own, live = own.rows(np.flatnonzero(going)), live[going]
    state.settled |= state.change < 1e-3
    return state


def _fit_block(
    blends: Sequence[BlendReadings], limits: Sequence[Limit], options: FitOptions, size: Size
) -> list[Fit]:
    """Fit blends of one size."""
    model = ageing_model(blends, limits, size)
    penalties = penalties_for(blends, options, size)
    refused = [refusal(*one) for one in zip(blends, limits, penalties.free, penalties.precision, strict=True)]
    fits = [
        bare_fit(data, limit, options, *(why or (FitStatus.NOT_CONVERGED, "the fit did not settle")))
        for data, limit, why in zip(blends, limits, refused, strict=True)
    ]
    able = np.array([k for k, why in enumerate(refused) if why is None], dtype=np.intp)
    if able.size == 0:
        return fits
    model = model.rows(able)
    state = _alternate(model, penalties.rows(able), reml=options.criterion == "reml", days=size.days)
    good = np.flatnonzero(state.settled & np.isfinite(state.at.objective))
    if good.size == 0:
        return fits
    work = Workings(model=model, penalties=state.penalties, solution=state.at, spreads=state.spreads).rows(
        good
    )
    chosen = able[good]
    done = fits_of([blends[k] for k in chosen], [limits[k] for k in chosen], options, size, work)
    for k, one in zip(chosen, done, strict=True):
        fits[k] = one
    return fits


def _blocks(sizes: Sequence[Size]) -> Iterator[tuple[Size, list[int]]]:
    """Yield indices of blends of like size, a cache full at a time."""
    like: dict[Size, list[int]] = {}
    for index, size in enumerate(sizes):
        like.setdefault(size, []).append(index)
    for size, members in like.items():
        most = max(_BLOCK_READINGS // size.readings, 1)
        for first in range(0, len(members), most):
            yield size, members[first : first + most]


def fit_many(
    blends: Sequence[BlendReadings], limits: Limit | Sequence[Limit], options: FitOptions | None = None
) -> list[Fit]:
    """Fit many blends, in the order given; each comes out as it would alone.

    Parameters
    ----------
    blends : sequence of BlendReadings
        From `assemble`.
    limits : Limit or sequence of Limit
        What ends the life that u stands for, common or one per blend.
    options : FitOptions
        Store spread, priors, criterion, held parameters; common to all.

    Returns
    -------
    list of Fit
        Never raises for what the readings say; `status` and `reason` tell why there are no numbers.
    """
    options = options or FitOptions()
    own = [limits] * len(blends) if isinstance(limits, Limit) else list(limits)
    if len(own) != len(blends):
        raise ValueError(f"{len(blends)} blends but {len(own)} limits")
    sizes = [size_of(data, limit, options) for data, limit in zip(blends, own, strict=True)]
    found: dict[int, Fit] = {}
    for size, members in _blocks(sizes):
        block = _fit_block([blends[k] for k in members], [own[k] for k in members], options, size)
        found.update(zip(members, block, strict=True))
    return [found[k] for k in range(len(blends))]


def fit(data: BlendReadings, limit: Limit, options: FitOptions | None = None) -> Fit:
    """Fit one blend; arguments and answer as in `fit_many`."""
    return fit_many([data], limit, options)[0]
