"""Simulated mornings: slips that matter are doubted, good readings are left in peace."""

from __future__ import annotations

import math

from tests.bench.morning import Slip, tallied

SEED = 20250325
WANTED, AT_MOST = 0.95, 0.005


def test_of_two_hundred_slips_those_that_matter_are_doubted_and_good_readings_are_not():
    counts = tallied(SEED)
    slips = [counts[kind] for kind in Slip]
    assert sum(c.entered for c in slips) == 200
    assert counts[None].entered == 4000
    assert sum(c.mattered for c in slips) > 100
    assert sum(c.doubted for c in slips) / sum(c.mattered for c in slips) >= WANTED
    assert counts[None].doubted / counts[None].entered < AT_MOST


def test_both_hold_beyond_the_luck_of_one_morning():
    """Ten mornings: both shares keep two standard errors from what is wanted, for every kind of slip."""
    counts = [tallied(SEED + 100 + morning) for morning in range(10)]
    for kind in Slip:
        mattered, doubted = (sum(getattr(c[kind], n) for c in counts) for n in ("mattered", "doubted"))
        assert doubted / mattered > WANTED, kind
    mattered = sum(c[kind].mattered for c in counts for kind in Slip)
    share = sum(c[kind].doubted for c in counts for kind in Slip) / mattered
    assert share - 2 * math.sqrt(share * (1 - share) / mattered) >= WANTED
    good = sum(c[None].entered for c in counts)
    wrongly = sum(c[None].doubted for c in counts) / good
    assert wrongly + 2 * math.sqrt(wrongly * (1 - wrongly) / good) < AT_MOST
