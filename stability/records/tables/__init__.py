"""All tables: what is asked (design), what was measured (measured), what was told (told), and at the bench.

`table(Model)` gives the SQLAlchemy table behind a class, for Core statements. Nothing is imported here:
every table class costs a start 3 ms. `METADATA` loads them all, so that it is never half the schema.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stability.records.tables.base import APPEND_ONLY_TABLES, table

if TYPE_CHECKING:
    from stability.records.tables.base import METADATA

__all__ = ["APPEND_ONLY_TABLES", "METADATA", "table"]


def __getattr__(name: str) -> Any:
    if name != "METADATA":
        raise AttributeError(name)
    from stability.records.tables import base, design, instruments, measured, told

    del design, instruments, measured, told
    return base.METADATA
