"""A database of its own for every test, on SQLite and on PostgreSQL; never the configured one."""

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
from functools import cache
from pathlib import Path
from typing import Any

import hypothesis
import pytest
import sqlalchemy as sa

from stability.records.engine import Records, open_records
from stability.records.migrate import bring_up_to_date

hypothesis.settings.register_profile("house", deadline=None, derandomize=True)
hypothesis.settings.load_profile("house")

TEMPLATE = "stability_template"


@pytest.fixture(autouse=True)
def _no_settings_of_this_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the person running the tests has set must not decide them."""
    for name in [name for name in os.environ if name.startswith("STABILITY_")]:
        if not name.startswith(("STABILITY_TEST_", "STABILITY_REQUIRE_")):
            monkeypatch.delenv(name)


def _programs() -> Path | None:
    found = [Path(os.environ["PG_BINDIR"])] if os.environ.get("PG_BINDIR") else []
    found += sorted(
        Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: -int(re.findall(r"\d+", str(p))[0])
    )
    if there := shutil.which("initdb"):
        found.append(Path(there).resolve().parent)
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
    """A throw-away server: started for the session, gone afterwards."""
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
        words = [str(part) for part in command]
        subprocess.run(words, cwd=base, env=env, check=True, stdout=subprocess.DEVNULL, **who)

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    options = (
        f"-c listen_addresses=127.0.0.1 -p {port} -k {base} -c fsync=off -c synchronous_commit=off "
        "-c full_page_writes=off -c shared_buffers=32MB"
    )
    data = base / "d"
    try:
        run(programs / "initdb", "-D", data, "-U", "stability", "-A", "trust", "-E", "UTF8", "--no-sync")
        run(programs / "pg_ctl", "-D", data, "-l", base / "log", "-w", "-o", options, "start")
        yield f"postgresql+psycopg://stability@127.0.0.1:{port}/postgres"
    finally:
        stop = [str(programs / "pg_ctl"), "-D", str(data), "-m", "immediate", "stop"]
        subprocess.run(stop, cwd=base, check=False, stdout=subprocess.DEVNULL, **who)
        shutil.rmtree(base, ignore_errors=True)


@cache
def _empty_file() -> bytes:
    """The file that `stability init` makes: a copy costs far less than the schema."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "empty.db"
        bring_up_to_date(str(path))[0].close()
        return path.read_bytes()


def fresh_sqlite(folder: Path, name: str = "records.db") -> Records:
    """Return a new empty database in a file."""
    path = folder / name
    path.write_bytes(_empty_file())
    return open_records(str(path))


def _run_alone(server: sa.URL, *statements: str) -> None:
    engine = sa.create_engine(server, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with engine.connect() as connection:
        for statement in statements:
            connection.exec_driver_sql(statement)
    engine.dispose()


@pytest.fixture(scope="session")
def postgresql_template(postgresql_url: str) -> str:
    """A database with our schema that others are copied from."""
    server = sa.make_url(postgresql_url)
    _run_alone(server, f"DROP DATABASE IF EXISTS {TEMPLATE}", f"CREATE DATABASE {TEMPLATE}")
    url = server.set(database=TEMPLATE).render_as_string(hide_password=False)
    bring_up_to_date(url)[0].close()
    return TEMPLATE


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def records(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Records]:
    """An empty database, once on each kind."""
    if request.param == "sqlite":
        found = fresh_sqlite(tmp_path)
        yield found
        found.close()
        return
    server = sa.make_url(request.getfixturevalue("postgresql_url"))
    template = request.getfixturevalue("postgresql_template")
    name = f"t_{uuid.uuid4().hex}"
    _run_alone(server, f"CREATE DATABASE {name} TEMPLATE {template}")
    found = open_records(server.set(database=name).render_as_string(hide_password=False))
    yield found
    found.close()
    _run_alone(server, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def on_sqlite(tmp_path: Path) -> Iterator[Records]:
    """An empty database in a SQLite file, for tests that are not about the database."""
    found = fresh_sqlite(tmp_path)
    yield found
    found.close()
