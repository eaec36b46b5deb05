"""The tables of instruments: what describes them, and what was told of them in the course of time."""

from __future__ import annotations

from stability.services.columns import TableSpec, moment, named, positive, text, within, word

__all__ = ["DESCRIBING", "KINDS", "TOLD"]

KINDS = ("rotational", "cup", "balance", "thermometer", "refractometer", "titrator")
_ENTERED = moment("entered_at")
_SAMPLE = named("sample", required=True, longest=60)
_LIQUID_C = within("temperature_c", -50, 150)

DESCRIBING = (
    TableSpec(
        "instruments",
        (
            named("instrument", required=True),
            word("kind", *KINDS, required=True),
            positive("full_scale_mpas"),
            positive("factor"),
        ),
    ),
    TableSpec(
        "instrument_facts",
        (
            named("instrument", required=True),
            moment("at", required=True),
            positive("torque_constant"),
            named("speeds_rpm", longest=500),
            named("follows", longest=60),
            positive("cup_factor"),
            positive("limit_pct"),
            positive("tolerance_pct"),
            _ENTERED,
        ),
    ),
    TableSpec(
        "spindles",
        (
            named("instrument", required=True),
            named("spindle", required=True, longest=60),
            moment("at", required=True),
            positive("speed_rpm"),
            positive("full_scale_mpas"),
            positive("spindle_factor"),
            named("cell", longest=60),
            positive("volume_ml"),
            _ENTERED,
        ),
    ),
    TableSpec(
        "oils",
        (
            named("oil", required=True),
            positive("certified_mpas", required=True),
            positive("limit_pct"),
            _LIQUID_C,
            moment("until"),
            moment("entered_at", required=True),
        ),
    ),
)
"""Comes in before the readings that are computed by them."""

TOLD = (
    TableSpec(
        "calibrations",
        (
            named("instrument", required=True),
            moment("at", required=True),
            moment("due_at", required=True),
            within("as_found_pct", -1000, 1000),
            named("certificate"),
        ),
    ),
    TableSpec(
        "oil_checks",
        (
            named("instrument", required=True),
            moment("at", required=True),
            positive("certified_mpas", required=True),
            positive("read_mpas", required=True),
            named("operator", required=True),
        ),
    ),
    TableSpec(
        "certificates",
        (
            named("instrument", required=True),
            moment("at", required=True),
            named("certified_by"),
            named("as_found"),
            positive("tolerance_pct"),
            _ENTERED,
        ),
    ),
    TableSpec(
        "sentinel_checks",
        (
            named("instrument", required=True),
            moment("at", required=True),
            _SAMPLE,
            positive("expected_mpas", required=True),
            positive("read_mpas", required=True),
            positive("limit_pct"),
            named("operator"),
            _ENTERED,
        ),
    ),
    TableSpec(
        "overrides",
        (
            named("instrument", required=True),
            moment("at", required=True),
            named("person", required=True),
            text("reason", 500, required=True),
            _ENTERED,
        ),
    ),
    TableSpec(
        "releases",
        (
            _SAMPLE,
            moment("taken_at", required=True),
            named("instrument", required=True),
            moment("at", required=True),
            named("person", required=True),
            text("reason", 500, required=True),
            _ENTERED,
        ),
    ),
)
"""Comes in after the readings."""
