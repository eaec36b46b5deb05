"""A morning at the bench: tins of three stores with a history, bands and a round that is due on day 21."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from stability.bench.labels import labelled
from stability.records.engine import open_records
from stability.records.migrate import bring_up_to_date
from stability.services.bring import bring_rows
from stability.services.studies import file_study
from tests.builders import BERLIN, PLACED, Bench, expect

__all__ = ["DAY_21", "TINS", "code", "round_bench"]

DAY_21 = datetime(2025, 3, 25, 8, 40, tzinfo=UTC)

STUDY = """
code = "S-08"
title = "A morning of five tins"
target_life_days = 365
storage_c = 23.0
owner = "lena@lab.example"
[limits]
viscosity_ratio = 2.0
gel_grade = 2
[plan.ROOM-23]
days = [0, 7, 14, 21, 28]
checks = ["viscosity", "gel"]
[plan.OVN-50]
days = [0, 7, 14, 21, 28]
checks = ["viscosity", "gel", "mass"]
[plan.OVN-40]
days = [0, 7, 14, 22]
checks = ["viscosity"]
"""


@dataclass(frozen=True, slots=True)
class _Tin:
    body: str
    thinner: str
    store: str
    values: Sequence[float]
    now: float


TINS = {
    "xylene room": _Tin("4K7M", "xylene", "ROOM-23", (310, 311, 311), 312),
    "acetate room": _Tin("7XDN", "1-methoxy-2-propyl acetate", "ROOM-23", (320, 325, 329), 334),
    "xylene oven": _Tin("P7YE", "xylene", "OVN-50", (310, 313, 317), 322),
    "acetate oven": _Tin("66JE", "1-methoxy-2-propyl acetate", "OVN-50", (320, 357, 403), 481),
    "xylene tomorrow": _Tin("D6YH", "xylene", "OVN-40", (310, 312, 313), 315),
    "tomorrow": _Tin("26NR", "1-methoxy-2-propyl acetate", "OVN-40", (320, 335, 355), 370),
}


def code(name: str) -> str:
    """Return the code of a tin, check character included."""
    return labelled(TINS[name].body)


def round_bench(folder: Path) -> Bench:
    """Return a database in which the round of day 21 is due: readings of days 0, 7 and 14, and bands."""
    path = folder / "round.db"
    records, _ = bring_up_to_date(str(path))
    act: dict[str, Any] = {"person": "Lena", "now": PLACED + timedelta(hours=1), "zone": BERLIN}
    file_study(records, STUDY, **act)
    bring_rows(records, _tables(), **act)
    for place, age in enumerate((0, 7, 14)):
        at = PLACED + timedelta(days=age)
        rows = [_reading(name, place, at) for name in TINS]
        bring_rows(records, {"readings": rows}, person="Mira", now=at + timedelta(hours=2), zone=BERLIN)
    for name, tin in TINS.items():
        knots = [
            (14.0, math.log(tin.values[-1]), 0.015),
            (28.0, 2 * math.log(tin.now) - math.log(tin.values[-1]), 0.02),
        ]
        expect(records, code(name), knots)
    records.close()
    return Bench(open_records(str(path)), path)


def _reading(name: str, place: int, at: datetime) -> dict[str, Any]:
    tin = TINS[name]
    minutes = list(TINS).index(name) * 5
    return {
        "sample": code(name),
        "taken_at": at + timedelta(minutes=minutes),
        "viscosity_mpas": tin.values[place],
        "temperature_c": 23.0,
        "gel_grade": 0,
        "operator": "Mira",
        "instrument": "VIS-1",
        "spindle": "S2",
        "speed_rpm": 100.0,
        "mass_g": round(226.31 - 0.03 * place, 2),
    }


def _tables() -> dict[str, list[dict[str, Any]]]:
    same = {
        "study": "S-08",
        "product": "Heron-A",
        "product_lot": "H-0417",
        "level_pct": 20.0,
        "pack": "lined tin 250 mL",
        "placed_at": PLACED,
    }
    stores = (("ROOM-23", 23.0), ("OVN-50", 50.0), ("OVN-40", 40.0))
    return {
        "stores": [{"store": name, "temperature_c": temperature} for name, temperature in stores],
        "thinners": [
            {"thinner": "xylene", "class": "aromatic", "flash_c": 27.0, "sds": "SDS shelf 3"},
            {"thinner": "1-methoxy-2-propyl acetate", "class": "glycol ether acetate", "flash_c": 42.0},
        ],
        "instruments": [{"instrument": "VIS-1", "kind": "rotational", "factor": 6.0}],
        "samples": [
            {"sample": code(name), **same, "thinner": tin.thinner, "store": tin.store}
            for name, tin in TINS.items()
        ],
    }
