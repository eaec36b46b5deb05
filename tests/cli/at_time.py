"""Run the program at another time: at_time.py TIME ARGUMENTS…; the clock goes on from TIME."""

from __future__ import annotations

import sys
import time
from datetime import datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

import stability.clock

STARTED = time.monotonic()
BEGIN = datetime.fromisoformat(sys.argv[1])


def later() -> datetime:
    """Return TIME plus what has passed since the start."""
    return BEGIN + timedelta(seconds=time.monotonic() - STARTED)


stability.clock.now_utc = later  # before anything takes the name from there

from stability.cli.edge import run  # noqa: E402

if __name__ == "__main__":
    sys.exit(run(sys.argv[2:]))
