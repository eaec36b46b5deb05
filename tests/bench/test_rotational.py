from __future__ import annotations

import pytest

from stability.bench.rotational import accepted_range, full_scale_mpas, viscosity_from_torque
from stability.errors import InputError


def test_calibration_example_of_a_viscometer_manual():
    """Spindle 3 at 2 rpm, torque constant 1, spindle constant 10, standard 12 257 mPa·s ± 1 %.

    Calibration appendix of a dial/digital viscometer manual: pass 11 634.4 to 12 879.6.
    """
    full = full_scale_mpas(factor=1 * 10, speed_rpm=2)
    assert full == 50_000
    assert accepted_range(full, 12_257) == pytest.approx((11_634.4, 12_879.6), abs=0.05)


@pytest.mark.parametrize(("torque", "relative"), [(10, 0.10), (20, 0.05), (50, 0.02), (100, 0.01)])
def test_relative_error_is_one_per_cent_of_full_scale(torque, relative):
    measured = viscosity_from_torque(1000, torque)
    assert measured.viscosity_mpas == pytest.approx(10 * torque)
    assert measured.uncertainty_mpas / measured.viscosity_mpas == pytest.approx(relative)


@pytest.mark.parametrize("torque", [-1, 0, 9.99, 100.1, float("nan"), float("inf")])
def test_torque_outside_ten_to_a_hundred_is_refused(torque):
    with pytest.raises(InputError, match="torque"):
        viscosity_from_torque(1000, torque)


def test_the_refusal_names_the_better_choice():
    with pytest.raises(InputError) as low:
        viscosity_from_torque(1000, 5)
    with pytest.raises(InputError) as high:
        viscosity_from_torque(1000, 105)
    assert "larger spindle" in low.value.hint
    assert "smaller spindle" in high.value.hint


def test_readings_outside_the_comfortable_range_come_with_advice():
    assert viscosity_from_torque(1000, 50).advice is None
    assert "larger spindle" in viscosity_from_torque(1000, 15).advice
    assert "smaller spindle" in viscosity_from_torque(1000, 95).advice


def test_a_range_given_directly_wins_and_nothing_at_all_is_refused():
    assert full_scale_mpas(full_scale_mpas=800, factor=10, speed_rpm=2) == 800
    with pytest.raises(InputError, match="not known"):
        full_scale_mpas()
    with pytest.raises(InputError, match="speed"):
        full_scale_mpas(factor=10)
    with pytest.raises(InputError, match="positive"):
        full_scale_mpas(factor=10, speed_rpm=0)
