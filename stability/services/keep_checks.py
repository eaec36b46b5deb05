"""What `stability doctor` looks at: the file, its journal, the disk, the clock, the log of acts, the sums.

A check ends as ok, as advice (nothing is broken), or as failed.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path

from stability.records.condition import file_of, journal_of, last_act_at, library_of, wal_fault_present
from stability.records.engine import HEAD, Records, shown
from stability.records.events import unsealed_count, verify_chain
from stability.records.files import faults_inside
from stability.records.sweeps import last_look
from stability.services.faults import typed
from stability.services.instants import iso
from stability.services.selfcheck import calculation_fault
from stability.services.statement_check import statements_looked_at
from stability.settings import MailSettings, Settings

__all__ = ["Check", "State", "examine"]

_CLOCK_SLACK = timedelta(minutes=5)
_LEAST_FREE_BYTES = 200_000_000


class State(StrEnum):
    """How a check ended."""

    OK = "ok"
    ADVICE = "advice"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Check:
    """One thing looked at."""

    name: str
    state: State
    says: str


def examine(records: Records, settings: Settings, *, now: datetime) -> tuple[Check, ...]:
    """Look at everything that can be looked at from here; nothing is changed."""
    return tuple(_examine(records, settings, now))


def _examine(records: Records, settings: Settings, now: datetime) -> Iterator[Check]:
    yield Check("schema", State.OK, f"{shown(records.url)} has schema {HEAD}, which this program writes")
    yield _library(records)
    path = file_of(records)
    if path is not None:
        yield _content(path)
        yield _disk(path)
        yield _permissions(path)
    yield from _acts(records, now)
    yield _statements(records)
    yield _sweeping(records, settings, now)
    yield _mail(settings.mail)
    fault = calculation_fault()
    yield Check(
        "calculation",
        State.FAILED if fault else State.OK,
        fault or "a blend with a known life comes out right on this machine",
    )


def _library(records: Records) -> Check:
    library, journal = library_of(records), journal_of(records)
    if not wal_fault_present(records):
        return Check("journal", State.OK, f"{library}, journal {journal}")
    if journal.lower() == "wal":
        return Check(
            "journal", State.FAILED, f"{library} can lose a commit in WAL mode, and this file is in it"
        )
    return Check("journal", State.OK, f"{library} can lose a commit in WAL mode, so the journal is {journal}")


def _content(path: Path) -> Check:
    faults = faults_inside(path)
    if faults:
        return Check("content", State.FAILED, "; ".join(faults[:3]))
    return Check("content", State.OK, "every page, index and reference is whole")


def _disk(path: Path) -> Check:
    free = shutil.disk_usage(path.resolve().parent).free
    wanted = max(_LEAST_FREE_BYTES, 2 * path.stat().st_size)
    says = f"{free / 1e9:.3g} GB free, {wanted / 1e9:.1g} GB wanted for the next copy"
    return Check("disk", State.OK if free >= wanted else State.FAILED, says)


def _permissions(path: Path) -> Check:
    if path.stat().st_mode & 0o007:
        return Check(
            "permissions", State.ADVICE, f"everybody on this machine can open the file: chmod o-rwx {path}"
        )
    return Check("permissions", State.OK, "only its owner and his group can open the file")


def _acts(records: Records, now: datetime) -> Iterator[Check]:
    with records.reading() as connection:
        last, broken, unsealed = last_act_at(connection), verify_chain(connection), unsealed_count(connection)
    if last is not None and last > now + _CLOCK_SLACK:
        yield Check(
            "clock", State.FAILED, f"it is {iso(now)} here, but the last act was noted at {iso(last)}"
        )
    else:
        yield Check("clock", State.OK, "not behind the last act" if last else "no act noted yet")
    if broken:
        yield Check("log of acts", State.FAILED, "; ".join(broken[:3]))
    elif unsealed:
        yield Check(
            "log of acts",
            State.OK,
            f"every seal fits; the last {unsealed} acts wait for the next sweep's seal",
        )
    else:
        yield Check("log of acts", State.OK, "every seal fits and every act is sealed")


def _statements(records: Records) -> Check:
    count, faults = statements_looked_at(records)
    if faults:
        return Check("statements", State.FAILED, "; ".join(faults[:3]))
    says = f"all {count} match their signatures" if count else "none issued yet"
    return Check("statements", State.OK, says)


def _sweeping(records: Records, settings: Settings, now: datetime) -> Check:
    with records.reading() as connection:
        look = last_look(connection, watching=True)
    if look is None:
        return Check("sweep", State.ADVICE, "no sweep yet: stability run watches, stability sweep looks once")
    age = now - look.finished_at
    says = f"last sweep at {iso(look.finished_at)}"
    if age > timedelta(hours=settings.alerts.blind_after_hours):
        return Check(
            "sweep",
            State.ADVICE,
            f"{says}, {age.total_seconds() / 3600:.3g} h ago: is stability run running?",
        )
    return Check("sweep", State.OK, says)


def _mail(mail: MailSettings) -> Check:
    if mail.host is None:
        return Check("mail", State.ADVICE, "no mail server set (mail.host): alerts go to the text file only")
    if mail.password_file is not None:
        try:
            mail.password_file.read_bytes()
        except OSError as exc:
            return Check("mail", State.FAILED, f"password file {mail.password_file}: {exc.strerror or exc}")
    return Check("mail", State.OK, f"goes out by {typed(mail.host)} port {mail.port} ({mail.security})")
