"""Stoichiometry recomputed from IUPAC conventional atomic weights; gel points from Flory and Stockmayer."""

from __future__ import annotations

import pytest

from stability.chemistry.moisture import (
    gel_conversion,
    gel_water_ppm,
    methanol_g,
    methoxy_used_mmol,
    scavenger_capacity_ppm,
    thinner_water_ppm,
    water_mmol,
)
from stability.errors import InputError


@pytest.mark.parametrize(
    ("water_pct", "mmol", "methoxy", "methanol"),
    [
        (0.03, 16.653, 33.306, 1.0672),
        (0.05, 27.755, 55.509, 1.7786),
        (0.10, 55.509, 111.019, 3.5573),
        (0.20, 111.02, 222.04, 7.1145),
        (1.2, 666.1, 1332.2, 42.687),
        (1.6, 888.15, 1776.3, 56.916),
    ],
)
def test_water_carried_by_a_kilogram_of_thinner(water_pct, mmol, methoxy, methanol):
    water_g = 10 * water_pct
    assert water_mmol(water_g) == pytest.approx(mmol, rel=2e-5)
    assert methoxy_used_mmol(water_g) == pytest.approx(methoxy, rel=2e-5)
    assert methanol_g(water_g) == pytest.approx(methanol, rel=3e-5)


def test_methanol_per_gram_of_water():
    assert methanol_g(1) == pytest.approx(3.55726, abs=1e-5)
    assert methanol_g(1, condensed=False) == pytest.approx(1.77863, abs=1e-5)


@pytest.mark.parametrize(("f", "expected"), [(3, 0.5), (4, 0.33333), (5, 0.25), (6, 0.2), (9, 0.125)])
def test_ideal_gel_point(f, expected):
    assert gel_conversion(f) == pytest.approx(expected, abs=1e-5)


def test_two_groups_make_no_network():
    with pytest.raises(InputError, match="3 reactive groups"):
        gel_conversion(2)
    with pytest.raises(InputError, match="mmol/g"):
        gel_water_ppm(float("nan"), 9)


@pytest.mark.parametrize(
    ("methoxy", "f", "ppm"),
    [(2, 9, 2250), (3, 9, 3400), (5.3, 9, 6000), (2, 6, 3600), (3, 6, 5400), (5.3, 6, 9500), (4.5, 9, 5070)],
)
def test_water_to_gel_as_the_trade_rounds_it(methoxy, f, ppm):
    assert gel_water_ppm(methoxy, f) == pytest.approx(ppm, rel=0.01)


def test_a_dry_specification_brings_two_hundred_ppm_at_twenty_per_cent():
    assert thinner_water_ppm(1000, 20) == pytest.approx(200)


@pytest.mark.parametrize(
    ("mass", "per_mol", "ppm"),
    [(148.233, 1.5, 1800), (148.233, 3, 3650), (106.12, 1, 1700), (148.2, 1, 1200)],
)
def test_what_one_per_cent_of_a_scavenger_removes(mass, per_mol, ppm):
    """Vinyltrimethoxysilane to siloxane and to silanol, trimethyl and triethyl orthoformate."""
    assert scavenger_capacity_ppm(1, molar_mass_g_mol=mass, water_per_mol=per_mol) == pytest.approx(
        ppm, rel=0.02
    )
