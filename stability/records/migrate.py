"""Making and updating the schema by alembic, from code; the scripts ship inside the package.

Imported only by `init` and by tests: alembic costs as much as all the rest together.
"""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from stability.errors import RecordsError
from stability.records.engine import (
    APPLICATION_ID,
    HEAD,
    Records,
    database_url,
    make_engine,
    schema_version,
    shown,
)
from stability.records.triggers import drop_triggers, make_triggers

__all__ = ["bring_up_to_date", "scripts_config"]


def scripts_config(engine: sa.Engine) -> Config:
    """Return an alembic configuration that runs our scripts on this engine."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["engine"] = engine
    return config


def bring_up_to_date(db: str) -> tuple[Records, str | None]:
    """Make the schema, or bring an older one up to date; return the records and the version found.

    Raises
    ------
    RecordsError
        If the database belongs to another program or is newer than this one.
    """
    url = database_url(db)
    # Batch migrations rebuild tables; with foreign keys on, the drop would be refused or cascade.
    engine = make_engine(url, foreign_keys=False)
    try:
        found = schema_version(engine)
        _refuse_foreign(engine, url, found)
        if found is None and engine.dialect.name == "sqlite":
            with engine.begin() as connection:
                connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
        if found != HEAD:
            _upgrade(engine)
    except sa.exc.DBAPIError as exc:
        raise RecordsError(
            f"database {shown(url)}: {str(exc.orig).splitlines()[0]}",
            hint="check the path and its permissions",
        ) from exc
    finally:
        engine.dispose()
    return Records(make_engine(url), url), found


def _refuse_foreign(engine: sa.Engine, url: sa.URL, found: str | None) -> None:
    if found is not None and found > HEAD:
        raise RecordsError(
            f"database {shown(url)} has schema {found}, newer than this program's {HEAD}",
            hint="install the newer program; nothing was touched",
        )
    with engine.connect().execution_options(snapshot=True) as connection:
        tables = sa.inspect(connection).get_table_names()
    if found is None and tables:
        raise RecordsError(
            f"database {shown(url)} holds tables of another program: {', '.join(sorted(tables)[:3])}",
            hint="name an empty database with --db",
        )


def _upgrade(engine: sa.Engine) -> None:
    with engine.begin() as connection:
        drop_triggers(connection)
        config = scripts_config(engine)
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
        make_triggers(connection)
        if connection.dialect.name == "sqlite":
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise RecordsError(f"migration would leave {len(broken)} rows without what they name")
