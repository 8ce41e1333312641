"""`python -m tests.bench.crash`: the long run, or a shorter one by its options."""

from __future__ import annotations

import argparse

from tests.bench.crash.run import KILLS, crashes

parser = argparse.ArgumentParser(description=crashes.__doc__)
parser.add_argument("--kills", type=int, default=None)
parser.add_argument("--on", nargs="+", default=list(KILLS), choices=list(KILLS))
parser.add_argument("--seed", type=int, default=None)
given = parser.parse_args()
crashes({name: given.kills or KILLS[name] for name in given.on}, given.seed)
