"""`python -m tests.bench [NAME …]`: run the measurements and print medians, spread and machine.

Without a name it says which there are and runs the quick ones. `start` makes a large shop, and fails where its start takes two
seconds; `memory` and `lookup` make larger ones, and fail where a server takes more than it may, and where a code is found more slowly
among many quotes. `browser` needs Chromium, and fails where a page is slower there, larger or less steady than is wanted. `races`,
`crash`, `fuzz`, `imports` and `load` are long runs that measure what must never happen, and fail where it does; `hold` does the first
three and load as one, and sums them up. `dependencies` asks the package index for known faults of the locked packages.
"""

from __future__ import annotations

import os
import platform
import sys
from collections.abc import Callable

from tests.bench.browser import browser
from tests.bench.choosing import frontier
from tests.bench.crash import crashes
from tests.bench.dependencies import dependencies
from tests.bench.fuzz import fuzzes
from tests.bench.hold import hold
from tests.bench.imports import imports
from tests.bench.load import loads
from tests.bench.lookup import lookup
from tests.bench.memory import memory
from tests.bench.pages import pages
from tests.bench.pricing import pricing, repricing
from tests.bench.races import races
from tests.bench.solver import solver
from tests.bench.start import start

BENCHES: dict[str, Callable[[], None]] = {
    "frontier": frontier,
    "pricing": pricing,
    "repricing": repricing,
    "solver": solver,
    "races": races,
    "crash": crashes,
    "fuzz": fuzzes,
    "imports": imports,
    "dependencies": dependencies,
    "start": start,
    "load": loads,
    "hold": hold,
    "pages": pages,
    "memory": memory,
    "lookup": lookup,
    "browser": browser,
}
QUICK = ("frontier", "pricing")


def listed() -> str:
    """Every measurement with what it measures, the quick ones marked."""
    lines = [
        f"{'*' if name in QUICK else ' '} {name:<13}" + " ".join((bench.__doc__ or "").split())
        for name, bench in BENCHES.items()
    ]
    return "\n".join([*lines, "Those marked * run where no name is given.", ""])


def main(names: list[str]) -> int:
    """Run the named measurements, or the quick ones."""
    unknown = [name for name in names if name not in BENCHES]
    if unknown:
        print(f"no measurement {', '.join(unknown)}; there are: {', '.join(BENCHES)}", file=sys.stderr)
        return 2
    if not names:
        print(listed())
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, {platform.system()}")
    for name in names or QUICK:
        print((BENCHES[name].__doc__ or name).strip())
        BENCHES[name]()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
