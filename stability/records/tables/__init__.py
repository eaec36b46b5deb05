"""All tables: what is asked (design), what was measured (measured), what was told (told).

`table(Model)` gives the SQLAlchemy table behind a class, for Core statements.
"""

from __future__ import annotations

from typing import cast

import sqlalchemy as sa
from sqlmodel import SQLModel

from stability.records.tables import design, measured, told
from stability.records.tables.base import APPEND_ONLY_TABLES, METADATA

__all__ = ["APPEND_ONLY_TABLES", "METADATA", "design", "measured", "table", "told"]


def table(model: type[SQLModel]) -> sa.Table:
    """Return the table behind a model class."""
    return cast(sa.Table, model.__table__)  # type: ignore[attr-defined]
