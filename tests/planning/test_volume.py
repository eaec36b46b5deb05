"""The volume budget: what a pull needs, what a tin holds, and the first pull that gets too little."""

from __future__ import annotations

import pytest

from stability.planning.volume import Drawing, Pull, budget, needed_ml, pack_volume_ml

BOTH = ("viscosity", "gel")


def pulls(*ages: float, done: int = 0, checks: tuple[str, ...] = BOTH) -> list[Pull]:
    return [Pull(age_days=age, checks=checks, done=place < done) for place, age in enumerate(ages)]


@pytest.mark.parametrize(
    ("pack", "expected"),
    [
        pytest.param("lined tin 250 mL", 250.0, id="as written on a tin"),
        pytest.param("0,5 L can", 500.0, id="litres with a decimal comma"),
        pytest.param("25cl bottle", 250.0, id="centilitres without a blank"),
        pytest.param("tin 250 mL with 10 mL vial", None, id="two volumes say nothing"),
        pytest.param("tin 3 large", None, id="a number with another word is no volume"),
        pytest.param(None, None, id="no pack on record"),
    ],
)
def test_a_pack_tells_its_volume(pack, expected):
    assert pack_volume_ml(pack) == expected


@pytest.mark.parametrize(
    ("checks", "drawing", "expected"),
    [
        pytest.param(("viscosity",), Drawing(), 32.0, id="two fillings of a small-sample cell"),
        pytest.param(("viscosity",), Drawing(cell_ml=0, cup_ml=100), 100.0, id="a flow cup"),
        pytest.param(("viscosity",), Drawing(cell_ml=600, fillings=1), 600.0, id="a spindle in a beaker"),
        pytest.param(("viscosity", "gel", "cure"), Drawing(), 54.0, id="with a vial and four drawdowns"),
        pytest.param(("appearance", "mass"), Drawing(), 0.0, id="looking and weighing draw nothing"),
    ],
)
def test_a_pull_needs_what_its_checks_draw(checks, drawing, expected):
    assert needed_ml(checks, drawing) == expected


def test_what_goes_back_leaves_only_what_clings():
    found = budget(pulls(0, 7, 14, done=2), 14, Drawing(), filled_ml=200, lost_ml=None)
    assert (found.needs_ml, found.holds_ml, found.short_at_days) == (42.0, 192.0, None)
    assert not found.short


def test_what_does_not_go_back_runs_out():
    found = budget(
        pulls(0, 7, 14, 21, 28, 35, done=2), 14, Drawing(put_back=False), filled_ml=200, lost_ml=None
    )
    assert found.holds_ml == 116.0
    assert found.short_at_days == 28
    assert not found.short


def test_drawdowns_never_go_back():
    found = budget(pulls(0, 28, checks=("cure",), done=1), 28, Drawing(), filled_ml=20, lost_ml=None)
    assert (found.holds_ml, found.short, found.short_at_days) == (8.0, True, 28)


def test_a_beaker_spindle_in_a_small_tin_is_short_at_once():
    """The viscometer manuals' 600 mL beaker against a 250 mL tin: that plan cannot be carried out."""
    drawing = Drawing(cell_ml=600, fillings=1)
    found = budget(pulls(0, 7), 0, drawing, filled_ml=200, lost_ml=None)
    assert found.short
    assert found.short_at_days == 0


def test_weighings_outweigh_planning_figures():
    found = budget(pulls(0, 7, 14, done=2), 14, Drawing(), filled_ml=200, lost_ml=30.0)
    assert found.holds_ml == 170.0
    assert budget(pulls(0, 7), 7, Drawing(), filled_ml=10, lost_ml=30.0).holds_ml == 0.0


def test_an_unknown_pack_has_needs_and_no_verdict():
    found = budget(pulls(0, 7), 7, Drawing(), filled_ml=None, lost_ml=5.0)
    assert (found.needs_ml, found.holds_ml, found.short, found.short_at_days) == (42.0, None, False, None)
