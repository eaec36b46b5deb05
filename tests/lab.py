"""A study with three blends read for 112 days, as rows that come in; all is invented.

Xylene stands in three stores, an ester in three, naphtha in the room and one oven only.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any

from stability.records.engine import Records, open_records
from stability.records.migrate import bring_up_to_date
from stability.services.forecast import refresh
from stability.settings import Settings
from tests.fleet import bring, day, samples, set_up, study, viscosity

__all__ = ["SETTINGS", "TIN", "lab", "lab_rows"]

SETTINGS = Settings(time_zone="Europe/Berlin")
TIN = "lined tin 250 mL"
LIFE_DAYS = {"xylene": 900.0, "naphtha": 800.0, "butyl acetate": 420.0}
AGES = {
    "ROOM-23": (0, 7, 14, 28, 56, 84, 112),
    "OVN-40": (0, 14, 28, 56, 84, 112),
    "OVN-50": (0, 7, 14, 28, 42, 56),
}
THINNERS = [
    {"thinner": "xylene", "class": "aromatic", "flash_c": 27.0, "sds": "sheet 1"},
    {"thinner": "naphtha", "class": "aromatic", "flash_c": 46.0},
    {"thinner": "butyl acetate", "class": "ester", "flash_c": 22.0},
]


def _tins() -> list[dict[str, Any]]:
    """Return two tins per store; of naphtha none in the warm store."""
    every = [tin for thinner in LIFE_DAYS for tin in samples(thinner=thinner)]
    return [tin for tin in every if (tin["thinner"], tin["store"]) != ("naphtha", "OVN-40")]


def _readings(tins: Sequence[dict[str, Any]], until: float) -> list[dict[str, Any]]:
    return [
        {
            "sample": tin["sample"],
            "taken_at": day(age),
            "viscosity_mpas": viscosity(tin["store"], age, life_days=LIFE_DAYS[tin["thinner"]], tin=place),
            "entered_at": day(age) + timedelta(hours=1),
        }
        for place, tin in enumerate(tins)
        for age in AGES[tin["store"]]
        if age <= until
    ]


def _cures(tins: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    return [
        {
            "sample": tin["sample"],
            "taken_at": day(age) + timedelta(hours=2),
            "humidity_pct": 50.0,
            "dry_through_h": hours,
            "entered_at": day(age) + timedelta(hours=30),
        }
        for tin in tins
        if tin["store"] == "ROOM-23"
        for age, hours in ((0, 10.0), (112, 10.5))
    ]


def lab_rows(records: Records, *, text: str | None = None, thinner: str | None = None) -> None:
    """Put the study into an empty database: all blends, or only that of one thinner."""
    tins = [tin for tin in _tins() if thinner in (None, tin["thinner"])]
    set_up(records, text=text or study(extra=""), tins=tins)
    bring(records, day(114), thinners=THINNERS, readings=_readings(tins, 112), cures=_cures(tins))


@cache
def _made_once() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "lab.db"
        records, _ = bring_up_to_date(str(path))
        lab_rows(records)
        # the forecasts before the last reading and after it are frozen, so that tests need no fit
        for age in (90.0, 111.0, 114.0):
            refresh(records, now=day(age), settings=SETTINGS)
        records.close()
        return path.read_bytes()


def lab(folder: Path) -> Records:
    """Return a copy of the laboratory in a file `lab.db` of its own."""
    path = folder / "lab.db"
    path.write_bytes(_made_once())
    return open_records(str(path))
