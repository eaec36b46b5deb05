"""What one more reading is worth, against making it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stability.ageing.arrays import BlendReadings
from stability.ageing.fit import Limit, fit
from stability.ageing.worth import worth_of_readings
from tests.ageing.simulated import Study, simulate

TWICE = Limit(ratio=2.0)


def study() -> BlendReadings:
    return simulate(Study(tins=3, tin_spread=0.03), np.random.default_rng(11))


def test_more_readings_never_loosen_the_bound_and_later_ones_tell_more() -> None:
    found = fit(study(), TWICE)
    ages = np.array([1.0, 100.0, 300.0, 500.0])
    worth = worth_of_readings(found, ages[:, np.newaxis], np.zeros((4, 1)))
    gains = [w.gain_days for w in worth]
    assert min(gains) >= 0.0
    assert gains[-1] > gains[1]
    assert all(w.se_u <= found.se_u for w in worth)


def test_the_error_with_the_reading_is_that_of_the_fit_with_it() -> None:
    # the same study without its last reading at storage: adding it again must bring the error foretold
    whole = study()
    last = int(np.flatnonzero(whole.store == 0)[-1])
    keep = np.arange(whole.tin.size) != last
    fields = ("tin", "store", "kind", "ln_viscosity", "ln_upper", "days", "x", "age_days", "session")
    less = replace(whole, **{f: getattr(whole, f)[keep] for f in fields}, steps=whole.steps[keep])
    before, after = fit(less, TWICE), fit(whole, TWICE)
    (worth,) = worth_of_readings(before, whole.days[last], whole.x[last], tin=int(whole.tin[last]))
    # spreads are estimated anew with the reading: a fifth of the change of the error is theirs to move
    assert worth.se_u == pytest.approx(after.se_u, rel=0.1)
    assert worth.se_u < before.se_u
