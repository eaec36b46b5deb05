"""What a fit is asked and what it answers: options, outcome, the frozen result.

ln η of a reading; u = ln(life in days); E in kJ/mol; m, b and all effects dimensionless.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Literal

import numpy as np
import numpy.typing as npt

from stability.ageing.arrays import BlendReadings
from stability.ageing.model import ENERGY, INITIAL, LIFE, NAMES, ORDER, SELF, AgeingModel, Limit
from stability.ageing.normal_equations import Penalties, Solution, Spreads
from stability.ageing.solver import rows_of
from stability.errors import InputError

__all__ = ["Fit", "FitOptions", "FitStatus", "Priors", "Workings"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Priors:
    """Weak Gaussian beliefs for alerts; a statement never uses them."""

    energy: float = 75.0
    """[kJ/mol]: the middle of what storage tests of coatings and prepolymers print (60–100)."""
    energy_sd: float = 20.0
    m: float = 0.0
    """Exponential growth, the trade's default."""
    m_sd: float = 1.5
    b: float = 1.0
    """A slight toe: most thickening speeds itself up a little."""
    b_sd: float = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FitOptions:
    """What is assumed in a fit."""

    store_spread: float = 0.05
    """Spread of a store's log rate about the Arrhenius line, [–]; 0 gives the plain model."""
    opening_spread: float = 0.005
    """Spread of what one opening adds to ln η (air, lost thinner), [–]; estimated within it where a study has
    both re-used and never-opened tins, because the life asked for is that of an unopened one. 0: left out."""
    day_spread: float | None = None
    """Where the search for the spread of a whole day's readings begins, in ln η; None: days do not differ."""
    priors: Priors | None = None
    criterion: Literal["reml", "ml"] = "reml"
    fixed: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    """Values held, by name: a, u, E, m, b."""

    def __post_init__(self) -> None:
        unknown = sorted(set(self.fixed) - set(NAMES))
        if unknown:
            raise InputError(f"unknown parameter {unknown[0]!r}, expected one of {', '.join(NAMES)}")
        if not 0.0 <= self.store_spread < 5.0:
            raise InputError(f"store spread is {self.store_spread}, expected 0 or more (0.05 is 5 %)")


class FitStatus(StrEnum):
    """How a fit ended; everything but FITTED comes without numbers."""

    FITTED = "fitted"
    NO_READINGS = "no_readings"
    ALL_CENSORED = "all_censored"
    TOO_FEW_READINGS = "too_few_readings"
    NOT_AGED = "not_aged"
    LIMIT_PASSED = "limit_passed"
    NOT_CONVERGED = "not_converged"


@dataclass(frozen=True, slots=True, kw_only=True)
class Workings:
    """What a refit needs, of one problem or of a block of them: a profile starts warm from it."""

    model: AgeingModel
    penalties: Penalties
    solution: Solution
    spreads: Spreads

    def rows(self, rows: npt.NDArray[np.intp]) -> Workings:
        """Return those of some problems of a block."""
        return Workings(
            model=self.model.rows(rows),
            penalties=self.penalties.rows(rows),
            solution=rows_of(self.solution, rows),
            spreads=self.spreads.rows(rows),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """One fitted blend. Without numbers (status is not FITTED) the parameters are those of no fit: zeros."""

    data: BlendReadings
    limit: Limit
    options: FitOptions
    status: FitStatus
    reason: str
    """A sentence for people; empty when fitted."""
    names: tuple[str, ...] = NAMES
    parameters: Array = field(default_factory=lambda: np.zeros(len(NAMES)))
    """θ = (a, u, E, m, b, γ …)."""
    covariance: Array = field(default_factory=lambda: np.zeros((len(NAMES), len(NAMES))))
    """Of θ; rows of what was held or is at an edge are zero."""
    se_u: float = 0.0
    """Standard error of u, τ included."""
    df: float = 0.0
    """Satterthwaite degrees of freedom of u."""
    tin_df: int = 0
    """ν: informative tins less 2, or less 1 when E is not estimated."""
    sigma: float = 0.0
    sigma_tin: float = 0.0
    tin_effects: Array = field(default_factory=lambda: np.zeros(0))
    """β on the log rate, (tins,)."""
    residuals: Array = field(default_factory=lambda: np.zeros(0))
    """ln η measured less fitted (with the tin's effect), (n,); pseudo-residuals where censored."""
    life_used: Array = field(default_factory=lambda: np.zeros(0))
    """s of each reading, with its tin's effect, (n,)."""
    energy_estimated: bool = False
    at_edge: tuple[str, ...] = ()
    """Names of parameters that lie on the box."""
    tins: int = 0
    readings: int = 0
    gelled: int = 0
    """Tins that have gelled or gone over range."""
    log_likelihood: float = 0.0
    workings: Workings | None = None

    @property
    def ok(self) -> bool:
        """Whether there are numbers."""
        return self.status is FitStatus.FITTED

    @property
    def a(self) -> float:
        """Level at day 0, ln η0, [ln(mPa·s)]."""
        return float(self.parameters[INITIAL])

    @property
    def u(self) -> float:
        """Logarithm of the life in days, that of the storage temperature's own store."""
        return float(self.parameters[LIFE])

    @property
    def energy(self) -> float:
        """Activation energy used, [kJ/mol]; see `energy_estimated`."""
        return float(self.parameters[ENERGY])

    @property
    def m(self) -> float:
        """Order of the growth, [–]."""
        return float(self.parameters[ORDER])

    @property
    def b(self) -> float:
        """Self-acceleration, [–]."""
        return float(self.parameters[SELF])

    def se(self, name: str) -> float:
        """Return the standard error of a, E, m or b (0 when held); that of u is `se_u`."""
        k = self.names.index(name)
        return float(np.sqrt(max(self.covariance[k, k], 0.0)))

    @property
    def ln_limit(self) -> float:
        """Limit as ln L, at the fitted start."""
        return self.limit.ln_ratio(self.a)

    @property
    def storage_store_present(self) -> bool:
        """Whether a store within 2.5 °C stands for the storage temperature."""
        return self.data.storage_store is not None
