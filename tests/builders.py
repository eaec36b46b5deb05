"""A small study with stores and samples, for tests that need something on record."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.records.engine import Records, open_records
from stability.records.forecasts import store_forecast
from stability.records.migrate import bring_up_to_date
from stability.records.tables import METADATA
from stability.services.bring import bring_rows
from stability.services.studies import file_study

__all__ = ["BERLIN", "NOW", "PLACED", "SAMPLES", "STUDY", "Bench", "bench", "expect", "fill"]

BERLIN = ZoneInfo("Europe/Berlin")
PLACED = datetime(2025, 3, 4, 9, 0, tzinfo=UTC)
NOW = datetime(2025, 4, 1, 9, 0, tzinfo=UTC)

SAMPLES: dict[str, dict[str, Any]] = {
    "0417-K": {"thinner": "propyl acetate", "store": "OVN-50"},
    "0417-L": {"thinner": "propyl acetate", "store": "ROOM-23"},
    "0418-M": {"thinner": "xylene", "store": "ROOM-23"},
}


STUDY = """
code = "S-07"
title = "Thinners for a silyl-urethane crosslinker"
target_life_days = 365
storage_c = 23.0
owner = "lena@lab.example"
[limits]
viscosity_ratio = 2.0
gel_grade = 2
[plan.OVN-50]
days = [0, 7, 14, 21, 28]
checks = ["viscosity", "gel"]
"""


@dataclass(frozen=True, slots=True)
class Bench:
    """An open database in a file of its own, with one study in it."""

    records: Records
    path: Path

    def rows(self, name: str) -> list[dict[str, Any]]:
        """Return all rows of a table, oldest first."""
        table = METADATA.tables[name]
        with self.records.reading() as connection:
            found = connection.execute(sa.select(table).order_by(table.c.id)).mappings()
            return [dict(row) for row in found]


def bench(folder: Path) -> Bench:
    """Return a database with study S-07, three stores, two thinners, an instrument and `SAMPLES`."""
    path = folder / "bench.db"
    path.write_bytes(_made_once())
    return Bench(open_records(str(path)), path)


@cache
def _made_once() -> bytes:
    """Make it through the services that users call; a copy of the file costs far less than the schema."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.db"
        records, _ = bring_up_to_date(str(path))
        fill(records)
        records.close()
        return path.read_bytes()


def fill(records: Records) -> None:
    """Put the study, its stores, thinners, instrument and `SAMPLES` into an empty database."""
    act: dict[str, Any] = {"person": "Lena", "now": PLACED + timedelta(hours=1), "zone": BERLIN}
    file_study(records, STUDY, **act)
    bring_rows(records, _tables(), **act)


def _tables() -> dict[str, list[dict[str, Any]]]:
    same = {
        "study": "S-07",
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
            {"thinner": "xylene", "class": "aromatic", "flash_c": 25.0},
            {"thinner": "propyl acetate", "class": "ester", "sds": "SDS shelf 3"},
        ],
        "instruments": [{"instrument": "VIS-1", "kind": "rotational", "factor": 6.0}],
        "samples": [{"sample": code, **same, **given} for code, given in SAMPLES.items()],
    }


def expect(records: Records, sample: str, knots: Sequence[tuple[float, float, float]]) -> None:
    """Keep an expected band for a sample, as a forecast would: (age in days, ln mPa·s, sd)."""
    with records.reading() as connection:
        table = METADATA.tables["sample"]
        query = sa.select(table.c.id, table.c.study_id).where(table.c.sample == sample)
        sample_id, study_id = connection.execute(query).one()
    with records.writing() as connection:
        values = {
            "study_id": study_id,
            "blend_key": sample,
            "as_of": NOW,
            "made_at": NOW,
            "digest": "0" * 64,
            "outcome": "estimated",
            "payload": {},
        }
        store_forecast(connection, values, {sample_id: knots})
