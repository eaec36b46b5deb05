"""The second fit, in which the readings of one day share a bias, and the lower bound of both fits.

A day's bias moves all tins that were read on it, so that more tins do not average it out. A joint fit with
store effects would cost curves that start slowly dear; two fits, of which a statement takes the lower bound,
cost 1–2 % of its length. Lives [d], biases in ln η.
"""

from __future__ import annotations

from dataclasses import replace

from stability.ageing.bounds import Life, LifeOutcome, life
from stability.ageing.fit import fit
from stability.ageing.result import Fit

__all__ = ["day_spread_of", "life_of_both", "lower_of_both", "with_days"]

FEWEST_DAYS = 3
"""The spread of days is not estimated from fewer of them."""


def with_days(first: Fit, day_spread: float) -> Fit | None:
    """Return the second fit of the same readings; None where days are not known, too few, or do not differ.

    Parameters
    ----------
    first : Fit
        Of any status; its readings, limit and other options are used.
    day_spread : float
        Where the search for the spread of days begins, in ln η.
    """
    if not first.ok or not day_spread > 0.0 or first.data.session_days.size < FEWEST_DAYS:
        return None
    return fit(first.data, first.limit, replace(first.options, day_spread=day_spread))


def day_spread_of(second: Fit) -> float:
    """Return the estimated spread of days, in ln η."""
    if second.workings is None or not any(name.startswith("day[") for name in second.names):
        raise ValueError("a fit without numbers, or without days, has no spread of days")
    return float(second.workings.penalties.precision[0, -1] ** -0.5)


def lower_of_both(first: Life, second: Life) -> Life:
    """Return the first life with the lower of both bounds, for a typical tin and for the next one.

    A second fit that says nothing yet lowers nothing: it asks the same readings for more.
    """
    if LifeOutcome.TOO_EARLY in (first.outcome, second.outcome):
        return first
    return replace(
        first,
        life_days_lower95=_lower(first.life_days_lower95, second.life_days_lower95),
        life_days_lower95_next_tin=_lower(
            first.life_days_lower95_next_tin, second.life_days_lower95_next_tin
        ),
    )


def _lower(one: float | None, other: float | None) -> float | None:
    return min((days for days in (one, other) if days is not None), default=None)


def life_of_both(first: Fit, told: Life, day_spread: float) -> tuple[Life, Fit | None]:
    """Return what a statement may rest on, and the second fit where there is one with numbers.

    Parameters
    ----------
    first : Fit
        The fit with store effects.
    told : Life
        What it says.
    day_spread : float
        As in `with_days`.
    """
    second = with_days(first, day_spread)
    if second is None or not second.ok:
        return told, None
    return lower_of_both(told, life(second)), second
