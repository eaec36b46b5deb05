from __future__ import annotations

import itertools

import pytest

from stability.chemistry.cautions import (
    STANDING_LINE,
    Act,
    Tin,
    above_flash,
    cautions,
    cautions_for,
    needs_acknowledgement,
)


@pytest.mark.parametrize(
    ("store_c", "flash_c", "above"),
    [
        pytest.param(50, None, True, id="no flash point on record: every heated store is above it"),
        pytest.param(30, None, True, id="30 °C is heated"),
        pytest.param(23, None, False, id="a laboratory is not heated"),
        pytest.param(None, None, True, id="an unknown store is taken for the worse case"),
        pytest.param(None, 42, True, id="even with a flash point"),
        pytest.param(40, 42, False, id="near, not above"),
        pytest.param(42, 42, True, id="at the flash point"),
        pytest.param(23, 11, True, id="a low flash point is above at room temperature too"),
    ],
)
def test_above_the_flash_point(store_c, flash_c, above):
    assert above_flash(store_c, flash_c) is above


def test_taking_out_a_hot_tin_says_so_before_the_act():
    lines = cautions_for(Act.TAKE_OUT, Tin(store_temperature_c=50, flash_c=27, sds="sds/n-butyl-acetate.pdf"))
    assert lines == (
        "50 °C stock above the thinner's flash point (27 °C). Cool closed 24 h, away from ignition. Hood.",
        "SDS: sds/n-butyl-acetate.pdf",
    )
    (unknown,) = cautions_for(Act.TAKE_OUT, Tin(store_temperature_c=50))
    assert "no flash point on record" in unknown
    assert cautions_for(Act.TAKE_OUT, Tin(store_temperature_c=23)) == ()
    assert "Near" in cautions_for(Act.TAKE_OUT, Tin(store_temperature_c=40, flash_c=42))[0]


def test_a_bulged_tin_comes_before_everything():
    for act in (Act.TAKE_OUT, Act.OPEN, Act.DISPOSE):
        assert cautions_for(act, Tin(store_temperature_c=50, bulged=True))[0].startswith("Bulged")


def test_opening_warns_of_methanol_amine_and_peroxides():
    text = " ".join(cautions_for(Act.OPEN, Tin(gel_grade=4, amine=True, thinner_class="glycol ether")))
    for word in ("methanol", "Amine", "peroxides", "gelled", "hood"):
        assert word in text


def test_disposal_is_solvent_waste_and_takes_no_water():
    text = " ".join(cautions_for(Act.DISPOSE, Tin(gel_grade=5)))
    assert "flammable solvent waste" in text
    assert "Never water" in text


@pytest.mark.parametrize(
    ("act", "tin", "needed"),
    [
        (Act.TAKE_OUT, Tin(store_temperature_c=50), True),
        (Act.TAKE_OUT, Tin(store_temperature_c=23), False),
        (Act.OPEN, Tin(bulged=True), True),
        (Act.OPEN, Tin(), False),
        (Act.DISPOSE, Tin(gel_grade=3), True),
        (Act.DISPOSE, Tin(gel_grade=2), False),
    ],
)
def test_who_must_acknowledge(act, tin, needed):
    assert needs_acknowledgement(act, tin) is needed


def test_no_line_ever_permits():
    tins = [
        Tin(store_temperature_c=t, flash_c=f, gel_grade=g, thinner_class=c, amine=True, bulged=b, sds="s")
        for t, f, g, c, b in itertools.product(
            (None, 5, 23, 40, 60), (None, 11, 42, 90), (None, 0, 5), (None, "glycol ether"), (False, True)
        )
    ]
    said = {line for act in Act for tin in tins for line in cautions_for(act, tin)} | {STANDING_LINE}
    assert not [line for line in said if "safe" in line.lower() or "complian" in line.lower()]


def test_the_short_form_says_the_same():
    tin = Tin(store_temperature_c=50, flash_c=None, gel_grade=4, thinner_class="glycol ether", bulged=True)
    short = cautions(
        act=Act.OPEN,
        store_temperature_c=50,
        flash_c=None,
        gel_grade=4,
        thinner_class="glycol ether",
        bulged=True,
    )
    assert short == cautions_for(Act.OPEN, tin)
