from __future__ import annotations

import math

import pytest

from stability.bench.mass import MassChange, Weighing, loss_words, mass_change, thickened_by
from stability.bench.plausible import Band, DoubtKind, Entry, Known, OtherWay, doubts

BAND = Band(math.log(333), 0.02)


def test_between_closing_and_opening_only_evaporation_lies():
    change = mass_change([Weighing(250.0, 240.0)], 239.9)
    assert change is not None
    assert (change.in_store, change.unusual) == (True, False)
    assert change.lost_g == pytest.approx(0.1)
    assert mass_change([Weighing(250.0, 240.0)], 238.0).unusual


def test_with_one_mass_a_pull_a_loss_is_judged_beside_the_tins_own():
    poured = [Weighing(250.0), Weighing(240.0), Weighing(230.0)]
    assert not mass_change(poured, 220.0).unusual
    kept = [Weighing(226.0), Weighing(225.97)]
    assert mass_change(kept, 221.9).unusual
    assert not mass_change(kept, 225.9).unusual


def test_the_second_mass_of_a_tin_says_nothing_yet_but_a_gain_is_always_odd():
    assert not mass_change([Weighing(250.0)], 236.0).unusual
    assert mass_change([Weighing(250.0)], 262.0).unusual
    assert mass_change([], 262.0) is None
    assert mass_change([Weighing(250.0)], math.nan) is None


def test_lost_thinner_thickens_by_an_eighth_per_percent():
    """0.12 on ln viscosity per 1 %: a planning figure of the trade, no source."""
    assert thickened_by(2.3) == pytest.approx(1.318, abs=0.001)
    assert thickened_by(-1) == 1
    assert math.isfinite(thickened_by(1e9))


def test_a_leaking_lid_is_the_likeliest_slip_of_a_thick_reading():
    change = MassChange(lost_g=4.1, share_pct=1.81, in_store=False, unusual=True)
    found = doubts(
        Entry(viscosity_mpas=439, temperature_c=23.0), previous_mpas=330, band=BAND, known=Known(mass=change)
    )
    assert [doubt.kind for doubt in found] == [DoubtKind.LOSS, DoubtKind.OUTSIDE]
    assert found[0].sentence.startswith(
        "4.10 g lighter than at its last weighing (1.8 %): lid not pressed home?"
    )
    assert loss_words(change) in found[0].sentence


def test_a_tin_that_gained_is_another_tin_even_where_its_value_fits():
    change = MassChange(lost_g=-12.0, share_pct=-4.8, in_store=False, unusual=True)
    (doubt,) = doubts(Entry(viscosity_mpas=333), previous_mpas=330, band=BAND, known=Known(mass=change))
    assert doubt.kind is DoubtKind.LID
    assert "12.00 g heavier" in doubt.sentence


def test_a_spindle_on_record_that_fits_is_named_before_a_step_of_speeds():
    way = OtherWay(DoubtKind.SPINDLE, "read with S3 at 100 rpm", 333.0)
    found = doubts(
        Entry(viscosity_mpas=666, temperature_c=23), previous_mpas=330, band=BAND, known=Known(ways=[way])
    )
    assert found[0].sentence.startswith("read with S3 at 100 rpm? it would then be 333 mPa·s")
    found = doubts(Entry(viscosity_mpas=666, temperature_c=23), previous_mpas=330, band=BAND)
    assert found[0].kind is DoubtKind.SPINDLE
    assert "it is 2 times what would fit" in found[0].sentence
    by_cup = Entry(viscosity_mpas=666, temperature_c=23, by_spindle=False)
    assert [d.kind for d in doubts(by_cup, previous_mpas=330, band=BAND)] == [DoubtKind.OUTSIDE]


def test_without_a_forecast_the_same_blend_beside_it_is_what_is_expected():
    def found(value):
        return doubts(
            Entry(viscosity_mpas=value), previous_mpas=None, band=None, known=Known(twins_mpas=[330, 336])
        )

    assert not found(340)
    assert "the same blend beside it" in found(480)[-1].sentence
    assert found(3350)[0].kind is DoubtKind.TEN_TIMES
