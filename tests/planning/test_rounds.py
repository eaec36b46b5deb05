from __future__ import annotations

from datetime import UTC, datetime

from stability.planning.rounds import RoundLine, minutes_for, minutes_needed, walking_order
from stability.planning.windows import CheckState


def line(sample, *, store="ROOM-23", temperature_c=23.0, viscosity=None, sentinel=False, take_out=False):
    return RoundLine(
        sample=sample,
        words="xylene 20 %",
        store=store,
        store_temperature_c=temperature_c,
        checks=("viscosity", "gel"),
        due_at=datetime(2025, 3, 25, 9, tzinfo=UTC),
        state=CheckState.DUE,
        viscosity_mpas=viscosity,
        sentinel=sentinel,
        take_out=take_out,
        minutes=minutes_for(("viscosity", "gel"), take_out=take_out),
    )


def test_a_round_is_walked_cold_to_hot_and_low_to_high_with_the_sentinel_first():
    lines = [
        line("H-1", store="OVN-50", temperature_c=50, viscosity=300),
        line("T-10", viscosity=300),
        line("T-9", viscosity=300),
        line("NEW"),
        line("S-1", viscosity=900, sentinel=True),
        line("OUT", take_out=True),
    ]
    assert [row.sample for row in walking_order(lines)] == ["S-1", "T-9", "T-10", "NEW", "H-1", "OUT"]


def test_minutes_add_up():
    assert minutes_needed([line("A"), line("B", take_out=True)]) == 9.0
    assert minutes_for(("viscosity", "haze")) == 11.0
