"""Published equations and tables of flow cups.

Tables: recomputed to the digits shown from the equations of ISO 2431, DIN 53211 (withdrawn), ASTM D1200,
ASTM D4212 and instrument makers' pages; the limits of the cross checks are printed by a cup maker.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stability.bench.cups import CUPS, cup_named, efflux_s, kinematic_viscosity
from stability.errors import InputError

ISO_AND_DIN = {
    30: (6.623, 34.433, 91.067, 188.000, 122.033),
    40: (12.720, 49.800, 125.700, 261.750, 171.500),
    50: (18.150, 64.500, 159.600, 333.600, 219.460),
    60: (23.247, 78.867, 193.133, 404.500, 266.667),
    80: (32.940, 107.100, 259.650, 544.875, 359.950),
    100: (42.300, 135.000, 325.800, 684.300, 452.480),
}
FORD = {
    30: (None, None, 54.100, 98.214, 338.8),
    40: (None, 31.68, 77.200, 136.714, 459.8),
    60: (12.25, 60.48, 123.400, 213.714, 701.8),
    80: (22.05, 89.28, 169.600, 290.714, 943.8),
    100: (31.85, 118.08, 215.800, 367.714, 1185.8),
}


@pytest.mark.parametrize("time_s", ISO_AND_DIN)
def test_iso_2431_and_din_table(time_s):
    names = ("ISO 3", "ISO 4", "ISO 5", "ISO 6", "DIN 4")
    values = [kinematic_viscosity(name, time_s) for name in names]
    assert values == pytest.approx(ISO_AND_DIN[time_s], abs=6e-4)


@pytest.mark.parametrize("time_s", FORD)
def test_ford_table_with_the_cups_that_are_out(time_s):
    for number, expected in enumerate(FORD[time_s], start=1):
        if expected is None:
            with pytest.raises(InputError, match="outside the window"):
                kinematic_viscosity(f"Ford {number}", time_s)
        else:
            assert kinematic_viscosity(f"Ford {number}", time_s) == pytest.approx(expected, abs=6e-4)


@pytest.mark.parametrize(
    ("cup", "time_s", "expected"),
    [
        ("Zahn 1", 40, 12.10),
        ("Zahn 2", 35, 73.50),
        ("Zahn 3", 40, 380.25),
        ("Zahn 4", 40, 518.0),
        ("Zahn 5", 40, 920.0),
        ("DIN 4", 25, 96.17),
        ("DIN 4", 97, 438.630),  # printed example
        ("DIN 4", 150, 682.487),
        ("ISO 3", 57, 21.742),  # printed example
        # disputed: one docstring prints 28.35 for this time; D4212's equation gives 48.10
        ("Shell 2.5", 55, 48.10),
        # disputed: a blog prints 151.767; D1200's equation gives 159.814
        ("Ford 4", 46, 159.8135),
        # disputed: one code table has 0.567 for 0.576 (digit swap)
        ("Shell 2", 45, 0.576 * 40),
        ("Tu-4", 23, 17 / 0.2231),
    ],
)
def test_single_values(cup, time_s, expected):
    assert kinematic_viscosity(cup, time_s) == pytest.approx(expected, abs=6e-3)


@pytest.mark.parametrize(
    ("cup", "viscosity", "time_s"),
    [("ISO 4", 50, 40.134), ("ISO 4", 100, 74.941), ("ISO 5", 100, 32.549), ("Tu-4", 100, 28.31)],
)
def test_inverse_values(cup, viscosity, time_s):
    assert efflux_s(cup, viscosity) == pytest.approx(time_s, abs=1e-3)


@pytest.mark.parametrize(
    ("cup", "times_s", "printed"),
    [
        ("ISO 3", (27, 120), (4.6, 52)),
        ("ISO 4", (21, 120), (19, 163)),
        ("ISO 6", (17, 120), (84, 823)),
    ],
)
def test_equations_meet_the_ranges_a_cup_maker_prints(cup, times_s, printed):
    values = [cup_named(cup).viscosity(time_s) for time_s in times_s]
    assert values == pytest.approx(printed, rel=0.015)


def test_disputed_lower_end_of_din_4():
    """A seller prints 112 mm²/s at 25 s; the standard's equation gives 96, and the equation is followed."""
    assert kinematic_viscosity("DIN 4", 25) == pytest.approx(96.17, abs=0.01)
    assert abs(112 / kinematic_viscosity("DIN 4", 25) - 1) > 0.15


@pytest.mark.parametrize("name", CUPS)
def test_there_and_back_inside_every_window(name):
    cup = CUPS[name]
    for time_s in (cup.shortest_s, (cup.shortest_s + cup.longest_s) / 2, cup.longest_s):
        assert cup.time(cup.viscosity(time_s)) == pytest.approx(time_s)


def test_the_tu_4_window_is_open_above():
    assert kinematic_viscosity("Tu-4", 149.9) > 0
    with pytest.raises(InputError, match="outside the window"):
        kinematic_viscosity("Tu-4", 150)


def test_sensitivity_at_the_lower_limit():
    """A timing error of 1 % is 1.4 % at 30 s in the 4 mm cup (recomputed from the equation)."""
    cup = CUPS["ISO 4"]
    relative = (cup.viscosity(30.03) / cup.viscosity(30) - 1) / 0.001
    assert relative == pytest.approx(1.387, abs=0.003)


def test_a_time_outside_names_the_cup_that_would_do():
    with pytest.raises(InputError, match="28 s is outside") as refused:
        kinematic_viscosity("ISO 5", 28)
    assert refused.value.hint == "ISO 4 would take about 64 s"
    with pytest.raises(InputError) as refused:
        efflux_s("ISO 4", 300)
    assert refused.value.hint == "ISO 6 would take about 45 s"


@pytest.mark.parametrize("name", ["iso4", "ISO  4", "Iso-4", "shell2.5", "TU-4", "tu 4"])
def test_names_are_forgiving(name):
    assert cup_named(name).name in {"ISO 4", "Shell 2.5", "Tu-4"}


def test_unknown_cups_and_impossible_times():
    with pytest.raises(InputError, match="no flow cup") as refused:
        cup_named("Ford 9")
    assert "Ford 4" in refused.value.hint
    for time_s in (0, -1, float("nan"), float("inf")):
        with pytest.raises(InputError, match="positive number of seconds"):
            kinematic_viscosity("ISO 4", time_s)
    with pytest.raises(InputError, match="calibration factor"):
        kinematic_viscosity("ISO 4", 60, factor=0)


def test_a_cup_s_own_calibration_scales_the_equation():
    assert kinematic_viscosity("ISO 4", 60, factor=1.02) == pytest.approx(78.867 * 1.02, abs=1e-3)


@given(name=st.sampled_from(sorted(CUPS)), time_s=st.floats(allow_nan=True), factor=st.floats())
def test_whatever_is_typed_gives_a_positive_value_or_a_refusal(name, time_s, factor):
    try:
        viscosity = kinematic_viscosity(name, time_s, factor=factor)
    except InputError:
        return
    assert viscosity > 0
