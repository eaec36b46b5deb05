"""One daemon sweeps at a time: a lease in the records, which a crashed holder does not keep."""

from __future__ import annotations

import os
import socket
from datetime import datetime, timedelta

from stability.records import sweeps
from stability.records.engine import Records

__all__ = ["give_up_sweeping", "may_sweep"]

_NAME = "sweep"


def may_sweep(records: Records, *, holder: str, now: datetime, lease: timedelta) -> bool:
    """Take or prolong the lease; `holder` is "host:process id". Say whether this daemon may sweep."""
    with records.writing() as connection:
        found = sweeps.lease_holder(connection, _NAME)
        if found is not None and found[0] != holder and _gone(found[0]):
            sweeps.release_lease(connection, _NAME, holder=found[0])
        return sweeps.take_lease(connection, _NAME, holder=holder, now=now, until=now + lease)


def give_up_sweeping(records: Records, *, holder: str) -> None:
    """Give the lease back, if it is still this holder's."""
    with records.writing() as connection:
        sweeps.release_lease(connection, _NAME, holder=holder)


def _gone(holder: str) -> bool:
    """Say whether a holder was a process of this machine that no longer runs."""
    host, _, number = holder.rpartition(":")
    if os.name != "posix" or host != socket.gethostname() or not number.isdigit():
        return False
    try:
        os.kill(int(number), 0)  # asks only; on Windows it would end the process, hence posix
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False
