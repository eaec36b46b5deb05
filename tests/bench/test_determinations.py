from __future__ import annotations

import pytest

from stability.bench.determinations import determined, shear_ratio
from stability.errors import InputError


@pytest.mark.parametrize(
    ("values", "spread", "expected", "another"),
    [
        ((400,), None, 400, False),
        ((400, 420), None, 410, False),
        ((400, 421), None, 410.5, True),
        ((400, 421, 404), None, 404, False),
        ((400, 415), 0.012, 407.5, True),
    ],
)
def test_a_third_is_asked_for_where_two_differ(values, spread, expected, another):
    found = determined(values, spread=spread)
    assert (found.viscosity_mpas, found.another) == (expected, another)
    assert found.values_mpas == values


def test_impossible_determinations_are_refused():
    for values in ((), (0,), (400, float("nan"))):
        with pytest.raises(InputError, match="positive numbers"):
            determined(values)


def test_a_rising_shear_ratio_warns():
    assert shear_ratio(303, 300) == (pytest.approx(1.01), False)
