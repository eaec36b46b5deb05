"""Tins into arrays: order, padding, what is left out, what is refused."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import numpy as np
import pytest

from stability.ageing.arrays import Kind, TinHistory, assemble
from stability.errors import InputError

Maker = Callable[..., TinHistory]


def test_what_follows_a_gel_is_left_out(tin: Maker) -> None:
    kinds = [Kind.MEASURED, Kind.RIGHT_CENSORED, Kind.MEASURED]
    data = assemble([tin("a", 50.0, [0.0, 7.0, 14.0], [300.0, 30000.0, 500.0], kinds)], 23.0)
    assert data.age_days.tolist() == [0.0, 7.0]
    assert data.measured.tolist() == [True, False]


def test_readings_are_put_in_order_of_age(tin: Maker) -> None:
    data = assemble([tin("a", 50.0, [7.0, 0.0], [400.0, 300.0])], 23.0)
    assert np.exp(data.ln_viscosity) == pytest.approx([300.0, 400.0])
    assert data.days[:, 0].tolist() == [0.0, 7.0]


def test_bins_are_padded_with_nothing(tin: Maker) -> None:
    wide = dataclasses.replace(
        tin("b", 40.0, [5.0], [310.0]), days=np.array([[4.0, 1.0]]), x=np.array([[-0.02, 0.001]])
    )
    data = assemble([tin("a", 50.0, [7.0], [400.0]), wide], 23.0)
    assert data.days.tolist() == [[7.0, 0.0], [4.0, 1.0]]


def test_the_storage_store_is_the_nearest_within_two_and_a_half_degrees(tin: Maker) -> None:
    tins = [tin("a", 25.0, [1.0], [300.0]), tin("b", 22.0, [1.0], [300.0]), tin("c", 50.0, [1.0], [300.0])]
    assert assemble(tins, 23.0).storage_store == 1
    assert assemble(tins[2:], 23.0).storage_store is None
    assert assemble([], 23.0).storage_store is None


def test_an_interval_keeps_both_ends(tin: Maker) -> None:
    data = assemble([tin("a", 50.0, [7.0], [400.0], [Kind.INTERVAL], [900.0])], 23.0)
    assert math.exp(data.ln_upper[0]) == pytest.approx(900.0)


@pytest.mark.parametrize(
    ("ages", "values", "says"),
    [
        ([0.0, 1.0], [300.0], "2 ages but 1 viscosities"),
        ([0.0], [0.0], "expected a positive number"),
        ([0.0], [math.nan], "expected a positive number"),
        ([-1.0], [300.0], "0 or more"),
        ([math.inf], [300.0], "finite number"),
    ],
)
def test_what_cannot_be_is_refused_with_the_sample(
    tin: Maker, ages: list[float], values: list[float], says: str
) -> None:
    with pytest.raises(InputError, match=says) as caught:
        assemble([tin("0417-K", 23.0, ages, values)], 23.0)
    assert "0417-K" in str(caught.value)


def test_an_interval_upside_down_is_refused(tin: Maker) -> None:
    with pytest.raises(InputError, match="upper bound above the lower"):
        assemble([tin("a", 50.0, [7.0], [400.0], [Kind.INTERVAL], [300.0])], 23.0)


def test_one_store_has_one_temperature(tin: Maker) -> None:
    odd = dataclasses.replace(tin("b", 41.0, [0.0], [300.0]), store="S-40")
    with pytest.raises(InputError, match="given as 40"):
        assemble([tin("a", 40.0, [0.0], [300.0]), odd], 23.0)
