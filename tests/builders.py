"""A small study with stores and samples, for tests that need something on record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.records.engine import Records
from stability.records.migrate import bring_up_to_date
from stability.records.tables import METADATA

__all__ = ["BERLIN", "NOW", "PLACED", "Bench", "bench", "insert"]

BERLIN = ZoneInfo("Europe/Berlin")
PLACED = datetime(2025, 3, 4, 9, 0, tzinfo=UTC)
NOW = datetime(2025, 4, 1, 9, 0, tzinfo=UTC)

_SAMPLES: dict[str, dict[str, Any]] = {
    "0417-K": {"thinner": "propyl acetate", "store": "OVN-50"},
    "0417-L": {"thinner": "propyl acetate", "store": "ROOM-23"},
    "0418-M": {"thinner": "xylene", "store": "ROOM-23"},
}


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


def insert(records: Records, name: str, **values: Any) -> int:
    """Insert one row and return its number."""
    table = METADATA.tables[name]
    with records.writing() as connection:
        return int(connection.execute(table.insert().returning(table.c.id), values).scalar_one())


def bench(folder: Path, *, samples: Mapping[str, Mapping[str, Any]] = _SAMPLES) -> Bench:
    """Return a database with study S-07, two stores, two thinners, an instrument and these samples."""
    path = folder / "bench.db"
    records, _ = bring_up_to_date(str(path))
    study = insert(records, "study", code="S-07")
    insert(
        records,
        "study_version",
        study_id=study,
        version=1,
        title="Thinners",
        target_life_days=365.0,
        storage_c=23.0,
        owner="lena@lab.example",
        source="",
        entered_at=PLACED - timedelta(days=1),
        entered_by="Lena",
    )
    stores = {
        name: insert(records, "store", store=name, temperature_c=temperature)
        for name, temperature in (("ROOM-23", 23.0), ("OVN-50", 50.0), ("OVN-40", 40.0))
    }
    insert(records, "thinner", thinner="xylene", thinner_class="aromatic", flash_c=25.0)
    insert(records, "thinner", thinner="propyl acetate", thinner_class="ester", sds="SDS shelf 3")
    insert(records, "instrument", instrument="VIS-1", kind="rotational", factor=6.0)
    for code, given in samples.items():
        values = {"level_pct": 20.0, "placed_at": PLACED, **given}
        store = stores[values.pop("store")]
        insert(
            records,
            "sample",
            sample=code,
            study_id=study,
            product="Heron-A",
            product_lot="H-0417",
            pack="lined tin 250 mL",
            store_id=store,
            entered_at=values["placed_at"],
            **values,
        )
    return Bench(records, path)
