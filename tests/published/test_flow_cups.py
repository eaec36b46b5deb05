"""Published equations and tables of flow cups.

Tables: recomputed to the digits shown from the equations of ISO 2431, DIN 53211 (withdrawn), ASTM D1200,
ASTM D4212 and instrument makers' pages; the limits of the cross checks are printed by a cup maker.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stability.bench.cups import CUPS, OwnCup, cup_for, cup_named, efflux_s, kinematic_viscosity
from stability.bench.determinations import REPEATABILITY_FACTOR
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


EQUATIONS = {
    # ν [mm²/s] of t [s], window [s], temperature [°C]; two copies each unless said
    "ISO 3": (lambda t: 0.443 * t - 200 / t, 30, 100, 23),  # ISO 2431, formula clause
    "ISO 4": (lambda t: 1.37 * t - 200 / t, 30, 100, 23),
    "ISO 5": (lambda t: 3.28 * t - 220 / t, 30, 100, 23),  # one copy
    "ISO 6": (lambda t: 6.90 * t - 570 / t, 30, 100, 23),
    "DIN 4": (lambda t: 4.57 * t - 452 / t, 25, 150, 23),  # DIN 53211, withdrawn; 20 or 23 °C is disputed
    "Ford 1": (lambda t: 0.49 * (t - 35.0), 55, 100, 25),  # ASTM D1200-94(2005), 11.2
    "Ford 2": (lambda t: 1.44 * (t - 18.0), 40, 100, 25),
    "Ford 3": (lambda t: 2.31 * (t - 6.58), 20, 100, 25),
    "Ford 4": (lambda t: 3.85 * (t - 4.49), 20, 100, 25),
    "Ford 5": (lambda t: 12.1 * (t - 2.00), 20, 100, 25),
    "Zahn 1": (lambda t: 1.1 * (t - 29), 35, 80, 25),  # ASTM D4212
    "Zahn 2": (lambda t: 3.5 * (t - 14), 20, 80, 25),
    "Zahn 3": (lambda t: 11.7 * (t - 7.5), 20, 80, 25),
    "Zahn 4": (lambda t: 14.8 * (t - 5), 20, 80, 25),
    "Zahn 5": (lambda t: 23 * t, 20, 80, 25),
    "Shell 1": (lambda t: 0.226 * (t - 13), 20, 80, 25),
    "Shell 2": (lambda t: 0.576 * (t - 5), 20, 80, 25),  # disputed: one code table has 0.567
    "Shell 2.5": (lambda t: 0.925 * (t - 3), 20, 80, 25),
    "Shell 3": (lambda t: 1.51 * (t - 2), 20, 80, 25),
    "Shell 3.5": (lambda t: 2.17 * (t - 1.5), 20, 80, 25),
    "Shell 4": (lambda t: 3.45 * (t - 1), 20, 80, 25),
    "Shell 5": (lambda t: 6.5 * (t - 1), 20, 80, 25),
    "Shell 6": (lambda t: 16.2 * (t - 0.5), 20, 80, 25),
    "Tu-4": (lambda t: (t - 6) / 0.2231, 23, 150, 25),  # instrument makers' pages; 23 or 25 °C
}


@pytest.mark.parametrize("name", EQUATIONS)
def test_every_equation_with_its_window_and_temperature(name):
    equation, shortest_s, longest_s, temperature_c = EQUATIONS[name]
    cup = CUPS[name]
    assert (cup.shortest_s, cup.longest_s, cup.temperature_c) == (shortest_s, longest_s, temperature_c)
    for time_s in (shortest_s, (shortest_s + longest_s) / 2, longest_s - 0.1):
        assert kinematic_viscosity(name, time_s) == pytest.approx(equation(time_s), rel=1e-12)


def test_the_equations_are_those_of_all_cups_and_no_cup_without_a_source_is_known():
    assert set(EQUATIONS) == set(CUPS)
    for unknown in (
        "AFNOR 4",
        "NF 4",
        "ISO 8",
    ):  # not found in print; the 8 mm cup is a maker's, not ISO 2431
        with pytest.raises(InputError, match="no flow cup is called"):
            cup_named(unknown)


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
    ids=["3 mm", "4 mm", "6 mm"],
)
def test_equations_meet_the_ranges_a_cup_maker_prints(cup, times_s, printed):
    values = [cup_named(cup).viscosity(time_s) for time_s in times_s]
    assert values == pytest.approx(printed, rel=0.015)


def test_disputed_lower_end_of_din_4():
    """A seller prints 112 mm²/s at 25 s; the standard's equation gives 96, and the equation is followed."""
    assert kinematic_viscosity("DIN 4", 25) == pytest.approx(96.17, abs=0.01)
    assert abs(112 / kinematic_viscosity("DIN 4", 25) - 1) > 0.15


def test_disputed_range_of_ford_2():
    """A seller's table has 25 to 120 mm²/s for 37 to 120 s, a fit of its own; D1200 gives 27.4 to 146.9."""
    values = [CUPS["Ford 2"].viscosity(time_s) for time_s in (37, 120)]
    assert values == pytest.approx([27.4, 146.9], abs=0.05)
    assert values[1] / 120 > 1.2


def test_disputed_orifices_of_the_ford_cups_enter_nothing():
    """1.9 2.53 3.4 4.12 5.2 mm in one list, 2.1 2.8 3.4 4.1 5.8 mm at sellers: only the equations count."""
    assert not any(hasattr(cup, "orifice_mm") for cup in CUPS.values())


def test_precision_of_dip_cups_is_consistent_with_its_own_limits():
    """ASTM D4212, 13: CV 3.7 % within, 11.5 % between laboratories; limits 11 % and 33 %, about 2.8 CV."""
    limits = [REPEATABILITY_FACTOR * cv for cv in (3.7, 11.5)]
    assert limits == pytest.approx([11, 33], abs=1.0)


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
    for time_s, printed in ((30, 1.387), (50, 1.124), (100, 1.030)):
        relative = (cup.viscosity(time_s * 1.001) / cup.viscosity(time_s) - 1) / 0.001
        assert relative == pytest.approx(printed, abs=0.003)


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


def test_a_time_outside_names_the_laboratory_s_own_cup_first():
    own = [OwnCup("CUP-4", "Ford 4"), OwnCup("CUP-5", "Ford 5", 1.02)]
    with pytest.raises(InputError) as refused:
        kinematic_viscosity("Ford 4", 120, own=own)
    assert refused.value.hint == "CUP-5 would take about 38 s"
    with pytest.raises(InputError) as refused:
        kinematic_viscosity("Ford 4", 120, own=own[:1])
    assert refused.value.hint == "Ford 5 would take about 39 s"


def test_an_own_cup_goes_there_and_back_with_its_factor():
    cup = OwnCup("CUP-5", "Ford 5", 1.02)
    assert cup.viscosity(40) == pytest.approx(459.8 * 1.02)
    assert cup.time(cup.viscosity(40)) == pytest.approx(40)
    assert cup_for(460, [OwnCup("CUP-4", "Ford 4"), cup]) == cup
    assert cup_for(460, [cup], but="CUP-5") is None


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
