"""`python -m tests.bench [NAME …]`: run the measurements and print medians, spread and machine.

Without a name the quick ones. `start` makes a large shop, and fails where its start takes two seconds. `races`, `crash`, `fuzz`,
`imports` and `load` are long runs that measure what must never happen, and fail where it does; `hold` does the first three and
load as one, and sums them up. `dependencies` asks the
package index for known faults of the locked packages.
"""

from __future__ import annotations

import os
import platform
import statistics
import sys
import time
from collections.abc import Callable
from datetime import date

from server.domain.kits import Fitter
from server.domain.learner import read_answers
from tests.bench.crash import crashes
from tests.bench.dependencies import dependencies
from tests.bench.fuzz import fuzzes
from tests.bench.hold import hold
from tests.bench.imports import imports
from tests.bench.load import loads
from tests.bench.races import races
from tests.bench.shelves import learners, shelf
from tests.bench.start import start

RUNS = 3
TODAY = date(2026, 11, 25)


def _frontier_ms(parts: int, number: int) -> list[float]:
    """Milliseconds to the frontier of each learner, on one shelf."""
    stocked = shelf(parts)
    taken = []
    for raw in learners(number):
        answers = read_answers(raw, stocked.catalogue)
        began = time.perf_counter()
        Fitter.of(answers, stocked, TODAY).frontier()
        taken.append(1000 * (time.perf_counter() - began))
    return taken


def frontier() -> None:
    """The exact frontier of kits on shelves of 150 and 2,000 parts, 200 learners, three runs."""
    for parts in (150, 2_000):
        runs = [_frontier_ms(parts, 200) for _ in range(RUNS)]
        medians = sorted(statistics.median(run) for run in runs)
        worst = max(max(run) for run in runs)
        print(
            f"frontier of {parts:>5,} parts: median {medians[RUNS // 2]:.2f} ms "
            f"(runs {medians[0]:.2f} to {medians[-1]:.2f} ms, slowest learner {worst:.2f} ms)"
        )


BENCHES: dict[str, Callable[[], None]] = {
    "frontier": frontier,
    "races": races,
    "crash": crashes,
    "fuzz": fuzzes,
    "imports": imports,
    "dependencies": dependencies,
    "start": start,
    "load": loads,
    "hold": hold,
}
QUICK = ("frontier",)


def main(names: list[str]) -> int:
    """Run the named measurements, or the quick ones."""
    unknown = [name for name in names if name not in BENCHES]
    if unknown:
        print(f"no measurement {', '.join(unknown)}; there are: {', '.join(BENCHES)}", file=sys.stderr)
        return 2
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, {platform.system()}")
    for name in names or QUICK:
        print((BENCHES[name].__doc__ or name).strip())
        BENCHES[name]()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
