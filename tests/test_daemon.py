"""The daemon as a process of its own: looks, tells once, survives what happens to it, ends when told to."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from stability import daemon as daemon_room
from stability.app import App
from stability.daemon import Daemon, EveryFromNow
from stability.errors import RecordsError
from stability.records.engine import Records
from stability.records.migrate import bring_up_to_date
from stability.records.tables import METADATA
from stability.services.deliver import deliver, senders_of
from stability.services.sweep import SweepOutcome
from stability.settings import MailSettings
from tests.fleet import bring, day, readings, samples, set_up, settings_for
from tests.smtp import Mailbox, free_port, serving

ROOT = Path(__file__).parent.parent
PATIENCE_S = 60.0


def until(condition: Callable[[], bool], process: subprocess.Popen[str] | None = None) -> None:
    """Wait for a condition, no longer than a machine under load may need."""
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline, "waited too long"
        assert process is None or process.poll() is None, process.stderr.read()
        time.sleep(0.02)


class House:
    """A database with one blend that will fail, and the daemon that watches it."""

    def __init__(self, folder: Path, mailbox: Mailbox) -> None:
        self.folder, self.mailbox, self.db = folder, mailbox, folder / "stability.db"
        self.records, _ = bring_up_to_date(str(self.db))
        tins = samples()
        set_up(self.records, tins=tins)
        bring(self.records, day(91), readings=readings(tins, life_days=150, until=90))

    def start(self, *options: str, **more: str) -> subprocess.Popen[str]:
        env = {
            **{name: value for name, value in os.environ.items() if not name.startswith("STABILITY_")},
            "PYTHONPATH": str(ROOT),
            "STABILITY_DB": str(self.db),
            "STABILITY_MAIL__HOST": "127.0.0.1",
            "STABILITY_MAIL__PORT": str(self.mailbox.port),
            "STABILITY_MAIL__SECURITY": "none",
            "STABILITY_FILE__PATH": str(self.folder / "alerts.txt"),
            **more,
        }
        command = [sys.executable, "-m", "stability", "run", *options]
        return subprocess.Popen(command, cwd=self.folder, env=env, text=True, stderr=subprocess.PIPE)

    def rows(self, name: str) -> list[dict[str, Any]]:
        table = METADATA.tables[name]
        order = table.c.id if "id" in table.c else table.c.name
        with self.records.reading() as connection:
            return [dict(row) for row in connection.execute(sa.select(table).order_by(order)).mappings()]

    @property
    def lines(self) -> list[str]:
        path = self.folder / "alerts.txt"
        return path.read_text("utf-8").splitlines() if path.exists() else []


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with serving(Mailbox()) as mailbox:
        found = House(tmp_path, mailbox)
        yield found
        found.records.close()


def ended(process: subprocess.Popen[str]) -> tuple[int, str]:
    _, told = process.communicate(timeout=PATIENCE_S)
    return process.returncode, told


def test_three_looks_and_sigterm_end_with_exit_0_one_alert_one_mail_and_one_line(house):
    process = house.start("--every", "0.2")
    until(lambda: len(house.rows("sweep")) >= 3 and bool(house.mailbox.mails), process)
    process.send_signal(signal.SIGTERM)
    code, told = ended(process)
    assert code == 0, told
    assert "Traceback" not in told
    (alert,) = house.rows("alert")
    assert alert["kind"] == "heading_for_limit"
    assert alert["closed_at"] is None
    assert alert["probability"] > 0.95
    assert house.mailbox.receivers == ["lena@lab.example"]
    assert "SDS, local code and licensed practice come first." in str(
        house.mailbox.mails[0].get_payload(decode=True), "utf-8"
    )
    assert len(house.lines) == 1

    code, told = ended(house.start("--every", "0.1", "--sweeps", "2"))
    assert code == 0, told
    assert (len(house.rows("alert")), len(house.mailbox.mails), len(house.lines)) == (1, 1, 1)
    assert house.rows("lease") == []


def test_two_daemons_tell_it_once(house):
    both = [house.start("--every", "0.1", "--sweeps", "4") for _ in range(2)]
    for process in both:
        code, told = ended(process)
        assert code == 0, told
    assert len(house.rows("alert")) == 1
    assert len(house.mailbox.mails) == len(house.lines) == 1


def test_killed_while_it_sends_the_mail_comes_at_least_once_and_twins_have_one_id(house):
    process = house.start("--every", "0.2")
    house.mailbox.after_data = process.kill  # the mail is here, its sender never hears of it
    until(lambda: process.poll() is not None)
    ended(process)
    house.mailbox.after_data = None
    (waiting,) = [row for row in house.rows("outbox") if row["channel"] == "mail"]
    assert waiting["state"] == "sending"

    settings = settings_for(
        house.folder, mail=MailSettings(host="127.0.0.1", port=house.mailbox.port, security="none")
    )
    later = datetime.now(UTC) + timedelta(minutes=5)
    deliver(house.records, senders_of(settings), now=later, settings=settings)
    assert len(house.mailbox.mails) == 2
    assert len(set(house.mailbox.ids)) == 1
    assert {row["state"] for row in house.rows("outbox")} == {"sent"}
    assert len(house.lines) == 1


def test_the_lease_of_a_daemon_that_was_killed_holds_nobody_up(house):
    process = house.start("--every", "0.2")
    until(lambda: len(house.rows("sweep")) >= 1, process)
    process.kill()
    ended(process)
    assert len(house.rows("lease")) == 1
    before = len(house.rows("sweep"))
    code, told = ended(house.start("--sweeps", "1"))
    assert code == 0, told
    assert len(house.rows("sweep")) == before + 1


def test_with_the_mail_server_down_it_lives_and_the_message_waits(house):
    code, told = ended(house.start("--every", "0.1", "--sweeps", "2", STABILITY_MAIL__PORT=str(free_port())))
    assert code == 0, told
    assert "1 to try again" in told
    states = {row["channel"]: row["state"] for row in house.rows("outbox")}
    assert states == {"mail": "pending", "file": "sent"}
    settings = settings_for(
        house.folder, mail=MailSettings(host="127.0.0.1", port=house.mailbox.port, security="none")
    )
    later = datetime.now(UTC) + timedelta(minutes=5)
    assert deliver(house.records, senders_of(settings), now=later, settings=settings).sent == 1


def test_every_look_writes_the_wall_board_whole_and_one_that_cannot_be_written_stops_nothing(house):
    code, told = ended(house.start("--every", "0.1", "--sweeps", "2"))
    assert code == 0, told
    folder = house.folder / "stability-out"
    board = (folder / "board.html").read_text("utf-8")
    assert board.startswith("<!DOCTYPE html>")
    assert board.endswith("</html>")
    assert "heading for limit" in board
    assert [file.name for file in folder.iterdir()] == ["board.html"]

    (house.folder / "in-the-way").write_text("")
    code, told = ended(house.start("--every", "0.1", "--sweeps", "2", STABILITY_OUTPUT="in-the-way"))
    assert code == 0, told
    assert told.count("wall board: ") == 2
    assert "Traceback" not in told


def test_systemd_hears_of_the_first_look_and_of_the_end(house):
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(str(house.folder / "notify"))
        heard.settimeout(PATIENCE_S)
        code, told = ended(house.start("--sweeps", "1", NOTIFY_SOCKET=str(house.folder / "notify")))
        assert code == 0, told
        first, last = heard.recv(1000).decode(), heard.recv(1000).decode()
    assert first.startswith("READY=1\nWATCHDOG=1\nSTATUS=last look: 1 opened")
    assert last == "STOPPING=1"


def test_no_backlog_after_a_jump_of_ten_years():
    trigger = EveryFromNow(30)
    start = datetime(2025, 3, 4, tzinfo=UTC)
    later = start + timedelta(days=3650)
    assert trigger.get_next_fire_time(None, start) == start
    assert trigger.get_next_fire_time(start, later) == later + timedelta(seconds=30)


class Stub:
    """A look that does what the test says, turn by turn."""

    def __init__(self, *faults: Exception | None) -> None:
        self.faults = list(faults)

    def __call__(self, _records: Records, *, now: datetime, **_given: Any) -> SweepOutcome:
        fault = self.faults.pop(0) if self.faults else None
        if fault is not None:
            raise fault
        return SweepOutcome(as_of=now)


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[App]:
    monkeypatch.chdir(tmp_path)  # the wall board goes to the folder of reports
    path = tmp_path / "stability.db"
    bring_up_to_date(str(path))[0].close()
    found = App(db=str(path))
    yield found
    found.close()


def test_an_unexpected_fault_ends_the_daemon_with_an_exit_code(app, monkeypatch):
    monkeypatch.setattr(daemon_room, "sweep", Stub(None, ZeroDivisionError("division by zero")))
    assert Daemon(app, 0.01, most_sweeps=5).run() == 1


def test_a_fault_of_the_database_is_tried_again(app, monkeypatch):
    monkeypatch.setattr(daemon_room, "sweep", Stub(RecordsError("stayed locked for 30 s")))
    daemon = Daemon(app, 0.01, most_sweeps=3)
    assert daemon.run() == 0
    assert daemon.turns == 3


def test_a_look_that_a_set_back_clock_holds_up_is_brought_forward(app, monkeypatch):
    monkeypatch.setattr(daemon_room, "sweep", Stub())
    held_up = lambda _self, previous, now: now + timedelta(hours=bool(previous))  # noqa: E731
    monkeypatch.setattr(EveryFromNow, "get_next_fire_time", held_up)
    daemon = Daemon(app, 0.05, most_sweeps=2)
    assert daemon.run() == 0
    assert daemon.turns == 2


def test_a_daemon_stopped_before_it_looked_ends_well(app, monkeypatch):
    monkeypatch.setattr(daemon_room, "sweep", Stub())
    daemon = Daemon(app, 0.01)
    daemon.stop()
    assert daemon.run() == 0
