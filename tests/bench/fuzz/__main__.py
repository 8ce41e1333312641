"""`python -m tests.bench.fuzz`: the run by itself, as long and on what it is told."""

from __future__ import annotations

import argparse

from tests.bench.fuzz.run import REQUESTS, fuzzes

parser = argparse.ArgumentParser(description=fuzzes.__doc__)
parser.add_argument("--requests", type=int, default=REQUESTS)
parser.add_argument("--seed", type=int, default=None)
parser.add_argument("--on", nargs="+", default=["sqlite", "postgres"], choices=["sqlite", "postgres"])
given = parser.parse_args()
fuzzes(given.requests, given.seed, given.on)
