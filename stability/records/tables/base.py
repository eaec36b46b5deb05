"""What all tables share: constraint names, STRICT column types, short ways to declare columns."""

from typing import Any, cast

import sqlalchemy as sa
from sqlalchemy.ext.compiler import compiles
from sqlmodel import Field, SQLModel

__all__ = ["APPEND_ONLY_TABLES", "METADATA", "finite", "options", "reference", "table", "text"]

METADATA = SQLModel.metadata
# Set before the first table class, or the names of constraints would differ between databases.
METADATA.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

APPEND_ONLY_TABLES = (
    "study_version",
    "study_limit",
    "study_plan",
    "sample",
    "reading",
    "cure",
    "store_temperature",
    "outing",
    "sample_move",
    "ending",
    "method_change",
    "calibration",
    "oil_check",
    "instrument_fact",
    "spindle_range",
    "certificate_detail",
    "check_oil",
    "sentinel_check",
    "session_override",
    "reading_release",
    "forecast",
    "expected_band",
    "alert_event",
    "statement",
    "statement_event",
    "statement_recipient",
    "event",
    "seal",
)
"""Tables whose rows the database itself refuses to change or delete."""

# SQLite's STRICT tables know only these type names; without the mapping CREATE TABLE fails.
_STRICT_NAMES: tuple[tuple[type[sa.types.TypeEngine[Any]], str], ...] = (
    (sa.String, "TEXT"),
    (sa.Float, "REAL"),
    (sa.DateTime, "TEXT"),
    (sa.Boolean, "INTEGER"),
)


def _always(name: str) -> Any:
    def compiled(*_args: Any, **_kwargs: Any) -> str:
        return name

    return compiled


for _type, _name in _STRICT_NAMES:
    compiles(_type, "sqlite")(_always(_name))


def table(model: type[SQLModel]) -> sa.Table:
    """Return the table behind a model class."""
    return cast(sa.Table, model.__table__)  # type: ignore[attr-defined]


def options(*constraints: Any) -> tuple[Any, ...]:
    """Return `__table_args__`: the constraints, and STRICT on SQLite.

    Partial indexes name only `sqlite_where` here: a `postgresql_where` would load that dialect and cost
    every start 45 ms. The migration scripts, which make the tables, name both.
    """
    return (*constraints, {"sqlite_strict": True})


def text(limit: int = 200, **kwargs: Any) -> Any:
    """Declare a text column; the limit guards PostgreSQL and the screen alike."""
    return Field(max_length=limit, **kwargs)


def reference(target: str, **kwargs: Any) -> Any:
    """Declare a foreign key that forbids the deletion of what it names."""
    return Field(foreign_key=target, ondelete="RESTRICT", **kwargs)


def finite(column: str) -> sa.CheckConstraint:
    """Return a check that a number is no infinity (NaN becomes NULL on SQLite, and is refused before)."""
    return sa.CheckConstraint(
        f"{column} IS NULL OR ({column} > -1e300 AND {column} < 1e300)", name=f"{column}_finite"
    )
