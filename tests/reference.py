"""The reference study as files that come in: the invented data set that independent programs have fitted."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

__all__ = ["LIFE_DAYS", "LOWER_DAYS", "NOW", "PLACED", "reference_files"]

DATA = Path(__file__).parent / "published" / "mixed_model" / "data.csv"
LIFE_DAYS, LOWER_DAYS = 308.3, 290.3
"""Life to twice the start and its lower 95 % bound by R nlme/lme, model without departures of stores."""
PLACED = datetime(2025, 3, 4, 9, 0, tzinfo=UTC)
NOW = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
STUDY = """code = "R-01"
title = "invented"
target_life_days = 365
storage_c = 23.0
owner = "formulator@lab.example"
[limits]
viscosity_ratio = 2.0
"""


def reference_files() -> dict[str, str]:
    """Return file name → text: a study, four stores, ten samples, sixty readings."""
    rows = list(csv.DictReader(DATA.read_text(encoding="utf-8").splitlines()))
    degrees = {row["tin"]: float(row["temperature_c"]) for row in rows}
    stores = [f"S-{c:g},{c:g}" for c in sorted(set(degrees.values()))]
    placed = PLACED.isoformat()
    tins = [f"{tin},R-01,Heron-A,H-1,xylene,20,S-{c:g},{placed},{placed}" for tin, c in degrees.items()]
    return {
        "R-01.toml": STUDY,
        "stores.csv": _table("store,temperature_c", stores),
        "samples.csv": _table(
            "sample,study,product,product_lot,thinner,level_pct,store,placed_at,entered_at", tins
        ),
        "readings.csv": _table(
            "sample,taken_at,viscosity_mpas,entered_at",
            [f"{row['tin']},{(at := _at(row))},{row['viscosity_mpas']},{at}" for row in rows],
        ),
    }


def _at(row: dict[str, str]) -> str:
    return (PLACED + timedelta(days=float(row["age_days"]))).isoformat()


def _table(header: str, lines: list[str]) -> str:
    return "\n".join([header, *lines, ""])
