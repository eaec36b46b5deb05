"""The program's entry: `stability …` and `python -m stability …`."""

# Collecting garbage while hundreds of modules are loaded costs 30–40 ms of a start; the daemon and long
# commands still need it, hence rarely and not never.
import gc

gc.set_threshold(200_000, 20, 100)

import sys  # noqa: E402

from stability.cli.edge import run  # noqa: E402

__all__ = ["main"]


def main() -> None:
    """Run the command line and leave with its exit code."""
    code = run(sys.argv[1:])
    # Leaving, Python would look once more through everything that was imported: 80 ms for nothing.
    gc.freeze()
    sys.exit(code)


if __name__ == "__main__":
    main()
