"""Run the program at another time: at_time.py TIME ARGUMENTS…; the clock goes on from TIME."""

from __future__ import annotations

import sys
import time
from datetime import datetime, timedelta
from pathlib import Path


def main(begin: datetime, arguments: list[str]) -> int:
    """Run one command line with a clock that stood at `begin` when this started."""
    sys.path.insert(0, str(Path(__file__).parent.parent.parent))
    import stability.clock

    started = time.monotonic()
    # before anything takes the name from there
    stability.clock.now_utc = lambda: begin + timedelta(seconds=time.monotonic() - started)
    from stability.cli.edge import run

    return run(arguments)


if __name__ == "__main__":
    sys.exit(main(datetime.fromisoformat(sys.argv[1]), sys.argv[2:]))
