"""Life regression against printed worked examples whose lives were seen at inspections only.

Sources are named beside each value. "recomputed" means calculated afresh by others from the same data to more
digits than are printed; "memory" that the source was not at hand: such a value never stands alone.
Energies in eV are slopes on 11605/T (Meeker and Escobar's and NIST's convention) unless said otherwise.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from stability.ageing.lifetimes import Family, LifeData, LifeFits, LifeStatus, fit_lives
from stability.ageing.lifetimes_answers import (
    cells_of,
    quantiles,
)

INF = math.inf
Z_975 = 1.959963984540054


def inverse(celsius: object, *, per: float = 11605.0, zero: float = 273.15) -> np.ndarray:
    return per / (np.asarray(celsius, dtype=float) + zero)


def line(x: object) -> np.ndarray:
    return np.column_stack((np.ones(np.size(x)), np.asarray(x, dtype=float)))


def ok(fits: LifeFits) -> LifeFits:
    assert set(fits.status) == {LifeStatus.FITTED}
    return fits


def turbine(family: Family) -> LifeFits:
    # cracks in turbine wheels: Nelson, Applied Life Data Analysis, 1982, p. 415; data as in the SAS/QC
    # documentation, RELIABILITY procedure, in 100 h
    ends = [6.12, 19.92, 29.64, 35.40, 39.72, 45.24, 52.32, 63.48, INF]
    data = LifeData.of([0.0, *ends[:-1]], ends, [5, 16, 12, 18, 18, 2, 6, 17, 73])
    assert data.weight.sum() == 167
    return ok(fit_lives(data, np.ones((9, 1)), family))


def test_turbine_cracks_seen_at_inspections_weibull() -> None:
    # recomputed; printed 71.6904 and 1.4854 from memory
    fits = turbine(Family.WEIBULL)
    ln_scale, ln_sigma = fits.parameters[0]
    se_scale, se_sigma = np.sqrt(np.diag(fits.covariance[0]))
    assert math.exp(ln_scale) == pytest.approx(71.69041, abs=6e-6)
    interval = [math.exp(ln_scale + d * Z_975 * se_scale) for d in (-1, 1)]
    assert interval == pytest.approx([61.963, 82.944], abs=6e-4)
    assert math.exp(-ln_sigma) == pytest.approx(1.485367, abs=6e-7)
    interval = [math.exp(-ln_sigma + d * Z_975 * se_sigma) for d in (-1, 1)]
    assert interval == pytest.approx([1.2242, 1.8022], abs=6e-5)
    assert fits.scale[0] == pytest.approx(0.673234, abs=6e-7)
    interval = [math.exp(ln_sigma + d * Z_975 * se_sigma) for d in (-1, 1)]
    assert interval == pytest.approx([0.5549, 0.8169], abs=6e-5)
    assert fits.log_likelihood[0] == pytest.approx(-309.6684, abs=6e-5)
    told = [quantiles(fits, [1.0], share).t[0] for share in (0.01, 0.10, 0.50)]
    assert told == pytest.approx([3.2394, 15.7578, 56.0144], abs=6e-5)


def test_turbine_cracks_seen_at_inspections_lognormal() -> None:
    fits = turbine(Family.LOGNORMAL)  # recomputed
    assert fits.coefficients[0, 0] == pytest.approx(4.026854, abs=6e-7)
    assert fits.scale[0] == pytest.approx(0.998525, abs=6e-7)
    assert fits.log_likelihood[0] == pytest.approx(-311.9148, abs=6e-5)


def readouts() -> tuple[LifeData, np.ndarray]:
    # Tobias and Trindade, Applied Reliability, 2nd ed. 1995, p. 215; TOB215.DAT of NIST's Dataplot
    ends = (24, 48, 96, 150, 500, 1000)
    new = {
        110.0: (100, (0, 0, 0, 0, 3, 1)),
        120.0: (50, (0, 0, 2, 0, 3, 3)),
        130.0: (50, (1, 1, 3, 1, 3, 8)),
        140.0: (50, (2, 1, 3, 1, 10, 10)),
    }
    weight = [n for units, ended in new.values() for n in (*ended, units - sum(ended))]
    lower, upper = [0, *ends] * 4, [*ends, INF] * 4
    return LifeData.of(lower, upper, weight), np.repeat(list(new), 7)


@pytest.mark.parametrize(
    ("family", "coefficients", "scale", "log_likelihood"),
    [
        (Family.LOGNORMAL, (-38.345374, 1.606143), 2.062548, -187.5516),
        (Family.WEIBULL, (-34.465815, 1.481109), 1.220057, -186.9683),
    ],
)
def test_readouts_on_an_arrhenius_line(
    family: Family, coefficients: tuple[float, float], scale: float, log_likelihood: float
) -> None:
    data, celsius = readouts()
    fits = ok(fit_lives(data, line(inverse(celsius)), family))
    # recomputed
    assert fits.coefficients[0] == pytest.approx(coefficients, abs=6e-7)
    assert fits.scale[0] == pytest.approx(scale, abs=6e-7)
    assert fits.log_likelihood[0] == pytest.approx(log_likelihood, abs=6e-5)


def test_readouts_cell_by_cell() -> None:
    data, celsius = readouts()
    cells = ok(fit_lives(cells_of(data, celsius), np.ones((celsius.size, 1))))
    # recomputed
    told = quantiles(cells, [1.0], 0.5).t
    assert told == pytest.approx([45635.9, 9586.6, 2673.1, 897.72], abs=0.06)
    assert cells.scale == pytest.approx([2.19065, 2.28593, 2.28524, 1.83868], abs=6e-6)
