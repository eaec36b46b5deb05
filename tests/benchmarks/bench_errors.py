"""How many slips of the bench are doubted at entry, and how many good readings.

Run: python tests/benchmarks/bench_errors.py [MORNINGS]. Each morning has 4 000 good readings and 200 slips;
those matter that move a value by more than five expected spreads. Wanted: at least 95 % of those doubted,
under 0.5 % of the good readings.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from tests.bench.morning import Counted, Slip, tallied

SEED = 20250325
WANTED, AT_MOST = 0.95, 0.005


def share(count: Counted) -> str:
    """Return the share doubted of those that matter, with its standard error, %."""
    if not count.mattered:
        return "–"
    p = count.doubted / count.mattered
    return f"{100 * p:6.2f} ± {100 * math.sqrt(p * (1 - p) / count.mattered):.2f}"


def main() -> int:
    """Print the table; the exit code says whether both wishes hold."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    total: dict[Slip | None, Counted] = {kind: Counted() for kind in (None, *Slip)}
    for morning in range(number):
        for kind, count in tallied(SEED + morning).items():
            was = total[kind]
            total[kind] = Counted(
                was.entered + count.entered, was.mattered + count.mattered, was.doubted + count.doubted
            )
    print(f"{number} morning(s), seed {SEED}")
    print(f"{'':24}{'entered':>9}{'matter':>9}{'doubted':>9}  % of those that matter")
    for kind in Slip:
        count = total[kind]
        print(f"{kind.value:24}{count.entered:9}{count.mattered:9}{count.doubted:9}  {share(count)}")
    slips = [total[kind] for kind in Slip]
    every = Counted(*(sum(getattr(c, n) for c in slips) for n in ("entered", "mattered", "doubted")))
    good = total[None]
    print(f"{'all slips':24}{every.entered:9}{every.mattered:9}{every.doubted:9}  {share(every)}")
    print(f"{'good readings':24}{good.entered:9}{'':9}{good.doubted:9}  {share(good)}")
    holds = every.doubted / every.mattered >= WANTED and good.doubted / good.entered < AT_MOST
    print(f"wanted: slips at least {100 * WANTED:g} %, good readings under {100 * AT_MOST:g} %: {holds}")
    return 0 if holds else 1


if __name__ == "__main__":
    sys.exit(main())
