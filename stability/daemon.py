"""The daemon: looks every few seconds, delivers, and ends when it is told to.

The only file that imports apscheduler. The truth is in rows; the scheduler only ticks, with one job. A look
that a stopped or set-back clock would hold up is brought forward by a supervisor that counts monotonic time.
"""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from apscheduler.events import EVENT_JOB_ERROR, EVENT_SCHEDULER_STARTED
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers import SchedulerNotRunningError
from apscheduler.schedulers.blocking import BlockingScheduler
from apscheduler.triggers.base import BaseTrigger

from stability.app import App
from stability.clock import now_utc
from stability.errors import StabilityError
from stability.services.deliver import Delivered, deliver, senders_of
from stability.services.sweep import SweepOutcome, sweep
from stability.services.sweep_lease import give_up_sweeping, may_sweep
from stability.services.wall_board import write_wall_board

__all__ = ["Daemon", "EveryFromNow", "sd_notify"]

_LOG = logging.getLogger("stability.daemon")
_JOB = "sweep"
_OVERDUE_PERIODS = 3


class EveryFromNow(BaseTrigger):  # type: ignore[misc]
    """Fires at once and then so many seconds after each firing: no backlog after a jump of the clock."""

    def __init__(self, seconds: float) -> None:
        self.interval = timedelta(seconds=seconds)

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime:
        """Return when to fire next."""
        return now if previous_fire_time is None else now + self.interval


def sd_notify(state: str) -> bool:
    """Tell systemd how we are, where it asked for it; say whether it did."""
    address = os.environ.get("NOTIFY_SOCKET")
    if not address or not hasattr(socket, "AF_UNIX"):
        return False
    if address[0] == "@":
        address = "\0" + address[1:]
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
            out.settimeout(1)
            out.connect(address)
            out.sendall(state.encode())
    except OSError as exc:
        _LOG.warning("systemd cannot be told: %s", exc)
        return False
    return True


@dataclass(slots=True)
class Daemon:
    """One running daemon; `run` comes back when it was told to stop, or has looked often enough."""

    app: App
    every_s: float
    most_sweeps: int | None = None
    clock: Callable[[], datetime] = now_utc
    holder: str = ""
    turns: int = 0
    fault: BaseException | None = None
    _senders: Any = None
    _stop: threading.Event = field(default_factory=threading.Event)
    _started: threading.Event = field(default_factory=threading.Event)
    _last_turn: float = 0.0
    _looking: bool = False
    _ready: bool = False

    def run(self) -> int:
        """Look until told to stop; return the exit code."""
        self.holder = self.holder or f"{socket.gethostname()}:{os.getpid()}"
        self._senders = senders_of(self.app.settings)
        scheduler = BlockingScheduler(timezone="UTC", executors={"default": ThreadPoolExecutor(1)})
        scheduler.add_job(
            self._turn,
            EveryFromNow(self.every_s),
            id=_JOB,
            max_instances=1,
            coalesce=True,
            misfire_grace_time=None,
        )
        scheduler.add_listener(self._failed, EVENT_JOB_ERROR)
        scheduler.add_listener(lambda _event: self._started.set(), EVENT_SCHEDULER_STARTED)
        self._last_turn = time.monotonic()
        watcher = threading.Thread(target=self._supervise, args=(scheduler,), name="supervisor")
        with self._signals():
            _LOG.info("looks every %g s", self.every_s)
            watcher.start()
            try:
                scheduler.start()
            finally:
                self._stop.set()
                self._started.set()
                watcher.join()
        return self._ended()

    def stop(self) -> None:
        """Let the running look finish, then end."""
        self._stop.set()

    def _turn(self) -> None:
        """Look and deliver once; a fault of the database is tried again, any other ends the daemon."""
        if self._stop.is_set():
            return
        self._looking = True
        try:
            outcome, delivered = self._look()
        except StabilityError as exc:
            _LOG.error("%s%s", exc, f" ({exc.hint})" if exc.hint else "")
        else:
            self._told(outcome, delivered)
        finally:
            self._looking = False
            self._last_turn = time.monotonic()
            self.turns += 1
        if self.most_sweeps is not None and self.turns >= self.most_sweeps:
            self._stop.set()

    def _look(self) -> tuple[SweepOutcome | None, Delivered]:
        lease = timedelta(seconds=self.app.settings.sweep.lease_s)
        outcome = None
        if may_sweep(self.app.records, holder=self.holder, now=self.clock(), lease=lease):
            outcome = sweep(self.app.records, now=self.clock(), settings=self.app.settings)
        delivered = deliver(self.app.records, self._senders, now=self.clock(), settings=self.app.settings)
        if outcome is not None:
            self._write_board(outcome.as_of)
        return outcome, delivered

    def _write_board(self, as_of: datetime) -> None:
        """Write the wall board; a fault of it must not stop the looking, and an old board says so itself."""
        try:
            write_wall_board(self.app.records, now=as_of, settings=self.app.settings, every_s=self.every_s)
        except StabilityError as exc:
            _LOG.error("wall board: %s", exc)
        except Exception:
            _LOG.exception("wall board")

    def _told(self, outcome: SweepOutcome | None, delivered: Delivered) -> None:
        """Say what came of a turn, in the log and to systemd; the watchdog is fed here and nowhere else."""
        if outcome is None:
            words = "another daemon sweeps"
        else:
            counts = (len(outcome.opened), len(outcome.worsened), len(outcome.closed))
            words = "{} opened, {} worse, {} closed".format(*counts)
            for row in outcome.opened:
                _LOG.info("alert %d opened: %s – %s", row.id, row.kind, row.says)
        if delivered != Delivered():
            _LOG.info("%d sent, %d to try again, %d given up", *_counts(delivered))
        sd_notify(f"{'' if self._ready else 'READY=1' + chr(10)}WATCHDOG=1\nSTATUS=last look: {words}")
        self._ready = True

    def _failed(self, event: Any) -> None:
        self.fault = event.exception
        self._stop.set()

    def _supervise(self, scheduler: Any) -> None:
        """Bring a look forward that is overdue by monotonic time; shut down when asked to."""
        period = min(max(self.every_s, 0.05), 5.0)
        while not self._stop.wait(period):
            idle = time.monotonic() - self._last_turn
            if scheduler.running and not self._looking and idle > _OVERDUE_PERIODS * self.every_s + 1:
                _LOG.warning("no look for %.0f s: the clock was changed or stood still", idle)
                scheduler.modify_job(_JOB, next_run_time=now_utc())
        sd_notify("STOPPING=1")
        self._started.wait()  # a shutdown before the start would be lost
        with contextlib.suppress(SchedulerNotRunningError):
            scheduler.remove_all_jobs()  # or a last tick would submit to a pool that is gone
            scheduler.shutdown(wait=True)

    @contextlib.contextmanager
    def _signals(self) -> Iterator[None]:
        """Stop on SIGTERM and Ctrl-C, on Windows also on CTRL_BREAK."""
        names = ("SIGTERM", "SIGINT", "SIGBREAK")
        numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        before = {number: signal.signal(number, lambda *_: self.stop()) for number in numbers}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def _ended(self) -> int:
        with contextlib.suppress(StabilityError):
            give_up_sweeping(self.app.records, holder=self.holder)
        if self.fault is not None:
            _LOG.error("unexpected fault: %s: %s", type(self.fault).__name__, self.fault)
            return 1
        _LOG.info("ended after %d looks", self.turns)
        return 0


def _counts(delivered: Delivered) -> tuple[int, int, int]:
    return delivered.sent, delivered.failed, delivered.dead
