"""Small tables as a laboratory would type them, and what an import made of them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import sqlalchemy as sa

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.tables import METADATA
from stability.services.bring import Brought, Source, bring

__all__ = ["BERLIN", "NOW", "STUDY", "ground", "rows", "stored", "take", "taken", "told"]

BERLIN = ZoneInfo("Europe/Berlin")
NOW = datetime(2025, 6, 2, 12, 0, tzinfo=UTC)

STUDY = """code = "S-07"
title = "Thinners for a silyl-urethane crosslinker"
target_life_days = 365
storage_c = 23.0
owner = "formulator@lab.example"
[limits]
viscosity_ratio = 2.0
gel_grade = 2
[plan.OVN-50]
days = [0, 7, 14]
checks = ["viscosity", "gel"]
"""
STORES = "store,temperature_c,tolerance_c\nOVN-50,50,1\nROOM-23,23,2\n"
SAMPLES = (
    "sample,study,product,product_lot,thinner,level_pct,store,placed_at\n"
    "T1,S-07,Heron-A,H-1,xylene,20,OVN-50,2025-03-04T10:00+01:00\n"
    "T2,S-07,Heron-A,H-1,xylene,20,ROOM-23,2025-03-04T10:00+01:00\n"
)
INSTRUMENTS = (
    "instrument,kind,full_scale_mpas,factor\nVIS-1,rotational,1000,\nVIS-2,rotational,,6\nBAL,balance,,\n"
)


def take(
    records: Records, files: Mapping[str, str | bytes], *, now: datetime = NOW, person: str = "Mira"
) -> Brought:
    """Import files given as name → content."""
    sources = [Source(name, text.encode() if isinstance(text, str) else text) for name, text in files.items()]
    return bring(records, sources, person=person, now=now, zone=BERLIN)


def ground(records: Records) -> None:
    """File the study, two stores, two samples and three instruments."""
    take(
        records,
        {"s.csv": STORES, "p.csv": SAMPLES, "i.csv": INSTRUMENTS, "S-07.toml": STUDY},
        now=datetime(2025, 3, 4, 12, 0, tzinfo=UTC),
    )


def taken(records: Records, header: str, *lines: str, now: datetime = NOW) -> Brought:
    """Import one file of readings, or of whatever the header says."""
    return take(records, {"rows.csv": rows(header, *lines)}, now=now)


def rows(header: str, *lines: str) -> str:
    """Return a CSV file."""
    return "\n".join([header, *lines, ""])


def told(records: Records, files: Mapping[str, str | bytes] | str, **kwargs: Any) -> tuple[str, ...]:
    """Import what must be refused; return its faults, and hold that nothing was written."""
    before = {name: len(stored(records, name)) for name in METADATA.tables}
    with pytest.raises(InputError) as refused:
        take(records, {"rows.csv": files} if isinstance(files, str) else files, **kwargs)
    assert {name: len(stored(records, name)) for name in METADATA.tables} == before
    assert refused.value.hint
    return refused.value.faults


def stored(records: Records, name: str) -> list[dict[str, Any]]:
    """Return all rows of a table as the database holds them."""
    with records.reading() as connection:
        found = connection.execute(sa.select(METADATA.tables[name])).mappings()
        return [dict(row) for row in found]
