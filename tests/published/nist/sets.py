"""The models of NIST's nonlinear regression sets with their derivatives, and one reader for all .dat files.

Source of every value and reading: NIST/ITL Statistical Reference Datasets (NIST StRD), public domain,
https://www.itl.nist.gov/div898/strd/, files unchanged. Problems of different size are padded to one shape,
so that they can stand in one batch.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from stability.ageing.grouping import Groups
from stability.ageing.solver import Linearised, Model, Penalties

FOLDER = Path(__file__).parent

Curve = Callable[[Sequence[np.ndarray], np.ndarray], tuple[np.ndarray, list[np.ndarray]]]
"""Parameters, (m, 1) each, and predictors (k, n) → value and derivatives, (m, n) each."""


def bennett5(b, x):
    base = b[1] + x[0]
    power = base ** (-1 / b[2])
    return b[0] * power, [power, -b[0] / b[2] * power / base, b[0] * power * np.log(base) / b[2] ** 2]


def first_order(b, x):
    e = np.exp(-b[1] * x[0])
    return -b[0] * np.expm1(-b[1] * x[0]), [1 - e, b[0] * x[0] * e]


def chwirut(b, x):
    under = b[1] + b[2] * x[0]
    value = np.exp(-b[0] * x[0]) / under
    return value, [-x[0] * value, -value / under, -x[0] * value / under]


def danwood(b, x):
    power = x[0] ** b[1]
    return b[0] * power, [power, b[0] * power * np.log(x[0])]


def eckerle4(b, x):
    z = (x[0] - b[2]) / b[1]
    value = b[0] / b[1] * np.exp(-0.5 * z**2)
    return value, [value / b[0], value * (z**2 - 1) / b[1], value * z / b[1]]


def enso(b, x):
    w = 2 * np.pi * x[0]
    year, first, second = w / 12, w / b[3], w / b[6]
    one = b[4] * np.cos(first) + b[5] * np.sin(first)
    two = b[7] * np.cos(second) + b[8] * np.sin(second)
    value = b[0] + b[1] * np.cos(year) + b[2] * np.sin(year) + one + two
    return value, [
        np.ones_like(value),
        np.cos(year) + 0 * value,
        np.sin(year) + 0 * value,
        (b[4] * np.sin(first) - b[5] * np.cos(first)) * first / b[3],
        np.cos(first),
        np.sin(first),
        (b[7] * np.sin(second) - b[8] * np.cos(second)) * second / b[6],
        np.cos(second),
        np.sin(second),
    ]


def peaks(b, x):
    decay = np.exp(-b[1] * x[0])
    left, right = (x[0] - b[3]) / b[4], (x[0] - b[6]) / b[7]
    one, two = np.exp(-(left**2)), np.exp(-(right**2))
    value = b[0] * decay + b[2] * one + b[5] * two
    first = [decay, -b[0] * x[0] * decay]
    second = [one, 2 * b[2] * one * left / b[4], 2 * b[2] * one * left**2 / b[4]]
    third = [two, 2 * b[5] * two * right / b[7], 2 * b[5] * two * right**2 / b[7]]
    return value, first + second + third


def _rational(b, x, above, below):
    powers = [x[0] ** k for k in range(max(above, below + 1))]
    over = sum(b[k] * powers[k] for k in range(above))
    under = 1 + sum(b[above + k] * powers[k + 1] for k in range(below))
    value = over / under
    slopes = [powers[k] / under for k in range(above)]
    return value, slopes + [-value * powers[k + 1] / under for k in range(below)]


def cubic_by_cubic(b, x):
    return _rational(b, x, 4, 3)


def kirby2(b, x):
    return _rational(b, x, 3, 2)


def exponentials(b, x):
    e = [np.exp(-b[k] * x[0]) for k in (1, 3, 5)]
    value = b[0] * e[0] + b[2] * e[1] + b[4] * e[2]
    return value, [s for k in range(3) for s in (e[k], -b[2 * k] * x[0] * e[k])]


def mgh09(b, x):
    over, under = x[0] ** 2 + x[0] * b[1], x[0] ** 2 + x[0] * b[2] + b[3]
    value = b[0] * over / under
    return value, [over / under, b[0] * x[0] / under, -value * x[0] / under, -value / under]


def mgh10(b, x):
    shifted = x[0] + b[2]
    e = np.exp(b[1] / shifted)
    return b[0] * e, [e, b[0] * e / shifted, -b[0] * e * b[1] / shifted**2]


def mgh17(b, x):
    one, two = np.exp(-x[0] * b[3]), np.exp(-x[0] * b[4])
    value = b[0] + b[1] * one + b[2] * two
    return value, [np.ones_like(value), one, two, -b[1] * x[0] * one, -b[2] * x[0] * two]


def misra1b(b, x):
    base = 1 + b[1] * x[0] / 2
    return b[0] * (1 - base**-2), [1 - base**-2, b[0] * x[0] * base**-3]


def misra1c(b, x):
    base = 1 + 2 * b[1] * x[0]
    return b[0] * (1 - base**-0.5), [1 - base**-0.5, b[0] * x[0] * base**-1.5]


def misra1d(b, x):
    base = 1 + b[1] * x[0]
    share = b[1] * x[0] / base
    return b[0] * share, [share, b[0] * x[0] / base**2]


def nelson(b, x):
    e = np.exp(-b[2] * x[1])
    return b[0] - b[1] * x[0] * e, [np.ones_like(e), -x[0] * e, b[1] * x[0] * x[1] * e]


def rat42(b, x):
    e = np.exp(b[1] - b[2] * x[0])
    value = b[0] / (1 + e)
    return value, [1 / (1 + e), -value * e / (1 + e), value * x[0] * e / (1 + e)]


def rat43(b, x):
    e = np.exp(b[1] - b[2] * x[0])
    shape = (1 + e) ** (-1 / b[3])
    value = b[0] * shape
    by_exponent = -value * e / (1 + e) / b[3]
    return value, [shape, by_exponent, -x[0] * by_exponent, value * np.log1p(e) / b[3] ** 2]


def roszman1(b, x):
    u = x[0] - b[3]
    under = np.pi * (u**2 + b[2] ** 2)
    value = b[0] - b[1] * x[0] - np.arctan(b[2] / u) / np.pi
    return value, [np.ones_like(value), -x[0] + 0 * value, -u / under, -b[2] / under]


CURVES: dict[str, Curve] = {
    "Bennett5": bennett5,
    "BoxBOD": first_order,
    "Chwirut1": chwirut,
    "Chwirut2": chwirut,
    "DanWood": danwood,
    "ENSO": enso,
    "Eckerle4": eckerle4,
    "Gauss1": peaks,
    "Gauss2": peaks,
    "Gauss3": peaks,
    "Hahn1": cubic_by_cubic,
    "Kirby2": kirby2,
    "Lanczos1": exponentials,
    "Lanczos2": exponentials,
    "Lanczos3": exponentials,
    "MGH09": mgh09,
    "MGH10": mgh10,
    "MGH17": mgh17,
    "Misra1a": first_order,
    "Misra1b": misra1b,
    "Misra1c": misra1c,
    "Misra1d": misra1d,
    "Nelson": nelson,
    "Rat42": rat42,
    "Rat43": rat43,
    "Roszman1": roszman1,
    "Thurber": cubic_by_cubic,
}


@dataclass(frozen=True)
class NistProblem:
    """One data set with what NIST certifies of it."""

    name: str
    starts: np.ndarray
    """(2, p)."""
    certified: np.ndarray
    standard_deviations: np.ndarray
    residual_sum_of_squares: float
    residual_sd: float
    y: np.ndarray
    x: np.ndarray
    """(predictors, n)."""


def _number(label: str, text: str) -> float:
    found = re.search(label + r"\s+(\S+)", text)
    assert found is not None
    return float(found[1])


def _data(text: str) -> np.ndarray:
    return np.array([line.split() for line in text.splitlines()[60:] if line.strip()], dtype=float)


def read(name: str) -> NistProblem:
    """Read one nonlinear problem."""
    text = (FOLDER / f"{name}.dat").read_text(encoding="ascii")
    rows = re.findall(r"^\s*b\d+ =\s+(\S+)\s+(\S+)\s+(\S+)\s+(\S+)\s*$", text, flags=re.MULTILINE)
    values = np.array(rows, dtype=float)
    data = _data(text)
    return NistProblem(
        name=name,
        starts=values[:, :2].T,
        certified=values[:, 2],
        standard_deviations=values[:, 3],
        residual_sum_of_squares=_number("Residual Sum of Squares:", text),
        residual_sd=_number("Residual Standard Deviation:", text),
        # Nelson's model is of log(y)
        y=np.log(data[:, 0]) if name == "Nelson" else data[:, 0],
        x=data[:, 1:].T,
    )


@dataclass(frozen=True)
class LinearProblem:
    """One linear data set with what NIST certifies of it."""

    design: np.ndarray
    """(n, p)."""
    y: np.ndarray
    certified: np.ndarray
    standard_deviations: np.ndarray
    residual_sd: float


def read_linear(name: str) -> LinearProblem:
    """Read one linear problem; Longley has six predictors, the others are polynomials."""
    text = (FOLDER / f"{name}.dat").read_text(encoding="ascii")
    values = np.array(re.findall(r"^\s+B\d+\s+(\S+)\s+(\S+)\s*$", text, flags=re.MULTILINE), dtype=float)
    data = _data(text)
    x = data[:, 1:]
    columns = [x[:, 0] ** k for k in range(len(values))]
    design = np.column_stack([np.ones(len(x)), x] if name == "Longley" else columns)
    return LinearProblem(
        design=design,
        y=data[:, 0],
        certified=values[:, 0],
        standard_deviations=values[:, 1],
        residual_sd=_number(r"Residual\s+Standard Deviation", text),
    )


@dataclass(frozen=True)
class Batch:
    """Several problems, padded to one shape, as the solver wants them; one row per (problem, start)."""

    problems: tuple[NistProblem, ...]
    """Of every row."""
    theta: np.ndarray
    model: Model
    groups: Groups
    penalties: Penalties

    @property
    def df(self) -> np.ndarray:
        return np.array([p.y.size - p.certified.size for p in self.problems])


def batch(runs: Sequence[tuple[NistProblem, int]], shape: tuple[int, int]) -> Batch:
    """Return (problem, start) pairs as one batch of `shape` = (readings, parameters); no groups, no box."""
    n, p = shape
    count = len(runs)
    y, weight = np.zeros((count, n)), np.zeros((count, n))
    theta, free = np.zeros((count, p)), np.zeros((count, p), dtype=bool)
    for row, (problem, which) in enumerate(runs):
        size = problem.certified.size
        y[row, : problem.y.size], weight[row, : problem.y.size] = problem.y, 1.0
        theta[row, :size], free[row, :size] = problem.starts[which], True
    rows_of_set: dict[str, list[int]] = {}
    for row, (problem, _) in enumerate(runs):
        rows_of_set.setdefault(problem.name, []).append(row)

    def model(at: np.ndarray, effects: np.ndarray) -> Linearised:
        value, jacobian = np.zeros((count, n)), np.zeros((count, n, p))
        for name, rows in rows_of_set.items():
            problem = runs[rows[0]][0]
            size, readings = problem.certified.size, problem.y.size
            with np.errstate(all="ignore"):
                f, slopes = CURVES[name](list(at[rows, :size].T[..., np.newaxis]), problem.x)
            value[rows, :readings] = f
            jacobian[np.ix_(rows, range(readings), range(size))] = np.stack(slopes, axis=-1)
        # a trial step may overflow: a number far too large is refused, infinity would be a warning
        residual = _finite(y - value, 1e100) * weight
        zero = np.zeros(count)
        return Linearised(
            residual=residual,
            weight=weight,
            jacobian=_finite(jacobian, 0.0),
            by_effect=np.zeros_like(residual),
            sum_squares=(residual**2).sum(axis=1),
            censored_loss=zero,
            count=weight.sum(axis=1),
        )

    wide = np.full((1, p), np.inf)
    zeros = np.zeros((1, p))
    penalties = Penalties(zeros, zeros, -wide, wide, free)
    return Batch(tuple(problem for problem, _ in runs), theta, model, Groups.none(count, n), penalties)


def _finite(values: np.ndarray, instead: float) -> np.ndarray:
    return np.nan_to_num(values, nan=instead, posinf=instead, neginf=-instead).clip(-1e100, 1e100)


def log_relative_error(found: np.ndarray, certified: np.ndarray) -> float:
    """Return the fewest correct digits of any value; where 0 is certified, of its distance from 0."""
    off = np.abs(np.asarray(found) - certified)
    relative = np.where(certified == 0.0, off, off / np.where(certified == 0.0, 1.0, np.abs(certified)))
    return float(-np.log10(np.maximum(relative.max(), 1e-16)))
