"""The rules of the tables of instruments: facts, spindles, certificates, checks, overrides, releases."""

from __future__ import annotations

from typing import Any

from stability.bench.cups import cup_named
from stability.errors import InputError
from stability.records.releases import reading_there
from stability.services.bring_ledger import NOT_WRITTEN, Ledger
from stability.services.bring_rows import Tell, of_instrument, of_sample, own_time
from stability.services.faults import typed
from stability.services.instants import iso

__all__ = ["by_instrument", "fact", "oil", "release", "sentinel", "spindle"]


def by_instrument(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    """Judge a row that only names an instrument and a time."""
    own_time(ledger, values, "at", tell)
    of_instrument(ledger, values, tell)


def fact(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    """Judge what was typed of an instrument: speeds are numbers, a cup follows a standard one."""
    by_instrument(ledger, values, tell)
    try:
        speeds = [float(text) for text in (values["speeds_rpm"] or "").replace(",", " ").split()]
    except ValueError:
        speeds = [0.0]
    if any(not 0 < speed < 1e300 for speed in speeds):
        tell("speeds_rpm", f"{typed(values['speeds_rpm'])} is no list of speeds; expected such as 2 20 50")
    else:
        values["speeds_rpm"] = " ".join(f"{speed:g}" for speed in speeds) or None
    if values["follows"]:
        try:
            values["follows"] = cup_named(values["follows"]).name
        except InputError as exc:
            tell("follows", f"{exc}; expected a standard cup")


def spindle(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    """Judge a spindle: full scale at a speed, or a factor."""
    by_instrument(ledger, values, tell)
    if (values["full_scale_mpas"] is None) == (values["spindle_factor"] is None):
        tell(
            "spindle_factor",
            "one range is needed; expected full_scale_mpas at a speed_rpm, or spindle_factor",
        )
    elif values["full_scale_mpas"] is not None and values["speed_rpm"] is None:
        tell("speed_rpm", "is missing beside full_scale_mpas; expected the speed it holds at")


def oil(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    """Judge a lot of check oil."""
    own_time(ledger, values, "entered_at", tell)


def sentinel(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    """Judge a check on a sentinel sample."""
    by_instrument(ledger, values, tell)
    if values["sample"] not in ledger.samples:
        tell("sample", ledger.unknown("sample", values["sample"], ledger.samples))


def release(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    """Judge a release: the reading must be on record."""
    by_instrument(ledger, values, tell)
    sample = of_sample(ledger, values, tell, "taken_at")
    if sample is None or sample.id == NOT_WRITTEN or ledger.faults:
        return
    if not reading_there(ledger.connection, sample.id, values["taken_at"]):
        tell(
            "taken_at", f"{iso(values['taken_at'])} is no reading of {sample.sample}; expected one on record"
        )
