"""A fresh database per test, on SQLite and on PostgreSQL."""

from __future__ import annotations

import os
import pwd
import re
import shutil
import socket
import subprocess
import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from stability.records.engine import Records
from stability.records.migrate import bring_up_to_date


def _programs() -> Path | None:
    found = [Path(os.environ["PG_BINDIR"])] if os.environ.get("PG_BINDIR") else []
    found += sorted(
        Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: -int(re.findall(r"\d+", str(p))[0])
    )
    return next((p for p in found if all((p / x).exists() for x in ("initdb", "pg_ctl", "postgres"))), None)


def _account() -> dict[str, Any]:
    """initdb and postgres refuse root: step down to an account that is there."""
    if os.name == "nt" or os.geteuid() != 0:
        return {}
    known = {entry.pw_name: entry for entry in pwd.getpwall()}
    entry = known.get("postgres") or known.get("nobody")
    if entry is None:
        pytest.skip("root, and no account to step down to")
    return {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}


@pytest.fixture(scope="session")
def postgresql_url() -> Iterator[str]:
    if given := os.environ.get("STABILITY_TEST_PG_URL"):
        yield given
        return
    programs = _programs()
    if programs is None:
        told = "no PostgreSQL server programs (Debian: apt-get install postgresql; or set PG_BINDIR)"
        (pytest.fail if os.environ.get("STABILITY_REQUIRE_PG") else pytest.skip)(told)
    who = _account()
    base = Path(tempfile.mkdtemp(prefix="st-pg-"))  # a socket's path must stay short, and be reachable
    if who:
        os.chown(base, who["user"], who["group"])
    env = {**os.environ, "LC_ALL": "C.UTF-8", "HOME": str(base)}

    def run(*command: object) -> None:
        subprocess.run(
            [str(part) for part in command], cwd=base, env=env, check=True, stdout=subprocess.DEVNULL, **who
        )

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    options = (
        f"-c listen_addresses=127.0.0.1 -p {port} -k {base} -c fsync=off -c synchronous_commit=off "
        "-c full_page_writes=off -c shared_buffers=32MB"
    )
    try:
        run(
            programs / "initdb", "-D", base / "d", "-U", "stability", "-A", "trust", "-E", "UTF8", "--no-sync"
        )
        run(programs / "pg_ctl", "-D", base / "d", "-l", base / "log", "-w", "-o", options, "start")
        yield f"postgresql+psycopg://stability@127.0.0.1:{port}/postgres"
    finally:
        stop = [str(programs / "pg_ctl"), "-D", str(base / "d"), "-m", "immediate", "stop"]
        subprocess.run(stop, cwd=base, check=False, stdout=subprocess.DEVNULL, **who)
        shutil.rmtree(base, ignore_errors=True)


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def records(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Records]:
    if request.param == "sqlite":
        found, _ = bring_up_to_date(str(tmp_path / "records.db"))
        yield found
        found.close()
        return
    server = sa.make_url(request.getfixturevalue("postgresql_url"))
    name = f"t_{uuid.uuid4().hex}"
    engine = sa.create_engine(server, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with engine.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    found, _ = bring_up_to_date(server.set(database=name).render_as_string(hide_password=False))
    yield found
    found.close()
    with engine.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    engine.dispose()
