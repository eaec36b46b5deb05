"""The last digits of a search: with random effects and penalties, and where there is nothing to gain."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stability.ageing.grouping import Groups
from stability.ageing.polish import NEAR, polish
from stability.ageing.solver import Linearised, Model, Penalties, Solution, Spreads, minimise, start

TINS, EACH = 5, 6
AGE = np.tile(np.linspace(0.0, 5.0, EACH), TINS)
TIN = np.repeat(np.arange(TINS), EACH)
GROUPS = Groups(TIN[np.newaxis], TINS)
SPREADS = Spreads(np.array([0.02**2]), np.array([4.0]))
MODEST = Penalties(
    mean=np.array([[0.0, 0.3]]),
    precision=np.array([[0.0, 25.0]]),
    lower=np.array([[-np.inf, -np.inf]]),
    upper=np.array([[np.inf, np.inf]]),
    free=np.ones((1, 2), dtype=bool),
)


def readings() -> np.ndarray:
    generator = np.random.default_rng(5)
    rate = 0.25 * np.exp(0.04 * generator.normal(size=TINS))
    return 1.0 + np.expm1(rate[TIN] * AGE) + 0.02 * generator.normal(size=AGE.size)


def growth(y: np.ndarray) -> Model:
    """Level and ln-rate by tin: y = θ₀ + exp(θ₁·e^β·t) − 1."""

    def model(theta: np.ndarray, effects: np.ndarray) -> Linearised:
        dose = theta[:, 1:] * np.exp(effects[:, TIN]) * AGE
        slope = np.exp(dose)
        residual = y - (theta[:, :1] + np.expm1(dose))
        jacobian = np.stack([np.ones_like(dose), slope * dose / theta[:, 1:]], axis=-1)
        zero = np.zeros(len(theta))
        return Linearised(
            residual,
            np.ones_like(residual),
            jacobian,
            slope * dose,
            (residual**2).sum(axis=1),
            zero,
            zero + AGE.size,
        )

    return model


def searched(model: Model, *, tolerance: float = 1e-3) -> Solution:
    theta = np.array([[0.8, 0.2]])
    at = start(model, GROUPS, theta, np.zeros((1, TINS)), SPREADS, penalties=MODEST)
    return minimise(model, GROUPS, at, SPREADS, MODEST, tolerance=tolerance)


def gradient(model: Model, at: Solution) -> np.ndarray:
    lin = model(at.theta, at.effects)
    by_theta = (lin.jacobian[0].T @ lin.residual[0]) / SPREADS.variance
    by_theta = by_theta + (MODEST.precision * (MODEST.mean - at.theta))[0]
    pulls = GROUPS.sums(lin.by_effect * lin.residual)[0, :, 0] - at.effects[0] / SPREADS.ratio
    return np.concatenate((by_theta, pulls / SPREADS.variance))


def test_the_gradient_of_the_whole_objective_vanishes_at_the_end() -> None:
    model = growth(readings())
    rough = searched(model)
    end = polish(model, GROUPS, rough, SPREADS, MODEST)
    assert np.abs(gradient(model, end.solution)).max() < 1e-8 < np.abs(gradient(model, rough)).max()
    assert end.solution.objective[0] <= rough.objective[0]
    assert end.left[0] < 1e-11


def test_standard_errors_are_those_of_the_statistics_with_tins_eliminated() -> None:
    model = growth(readings())
    end = polish(model, GROUPS, searched(model), SPREADS, MODEST)
    st, ratio = end.solution.statistics, SPREADS.ratio[0]
    kappa = ratio / (1.0 + ratio * st.group_square[0])
    crossed = st.group_cross[0]
    information = (st.cross[0] - crossed.T @ (kappa[:, np.newaxis] * crossed)) / SPREADS.variance[0]
    information = information + np.diag(MODEST.precision[0])
    assert end.root[0] @ end.root[0].T == pytest.approx(np.linalg.inv(information), rel=1e-9)


def test_without_room_for_a_tin_effect_it_stays_at_nothing() -> None:
    model, none = growth(readings()), Spreads(np.array([0.02**2]), np.zeros(1))
    at = start(model, GROUPS, np.array([[1.0, 0.25]]), np.zeros((1, TINS)), none, penalties=MODEST)
    at = minimise(model, GROUPS, at, none, MODEST)
    end = polish(model, GROUPS, at, none, MODEST)
    assert (end.solution.effects == 0.0).all()
    assert end.determined.all()
    assert end.left[0] < 1e-11


def test_far_from_the_end_nothing_is_moved() -> None:
    model = growth(readings())
    at = start(model, GROUPS, np.array([[0.8, 0.2]]), np.zeros((1, TINS)), SPREADS, penalties=MODEST)
    end = polish(model, GROUPS, at, SPREADS, MODEST)
    assert end.left[0] > NEAR
    assert (end.solution.theta == at.theta).all()


def test_a_parameter_that_is_held_keeps_its_value_and_has_no_error() -> None:
    model = growth(readings())
    held = replace(MODEST, free=np.array([[True, False]]))
    at = start(model, GROUPS, np.array([[1.0, 0.24]]), np.zeros((1, TINS)), SPREADS, penalties=held)
    at = minimise(model, GROUPS, at, SPREADS, held)
    end = polish(model, GROUPS, at, SPREADS, held)
    assert end.solution.theta[0, 1] == 0.24
    assert end.determined.tolist() == [[True, False]]
    assert end.standard_errors[0, 1] == np.inf
