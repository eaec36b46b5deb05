"""The program's entry: `stability …` and `python -m stability …`."""

# Collecting garbage while hundreds of modules are loaded costs 30–40 ms of a start.
import gc

gc.disable()

import sys  # noqa: E402

from stability.cli.edge import run  # noqa: E402

__all__ = ["main"]


def main() -> None:
    """Run the command line and leave with its exit code."""
    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
