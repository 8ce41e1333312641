"""Whether it holds, as a whole: load, kills, races and nonsense on both databases, and what of it must never be.

`python -m tests.bench.hold --short` takes a few minutes, the long run about half an hour; both print the same sums at their end.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial

from tests.bench.crash import crash
from tests.bench.fuzz import fuzz
from tests.bench.harness import Ground, Outcome, end_with, new_ground
from tests.bench.load import SHAPES, Shape, load
from tests.bench.races import race
from tests.postgres import DURABLE, NOT_DURABLE

DATABASES = ("sqlite", "postgres")
PEOPLE = 8
COUNTED = {
    ("load", "requests"): "requests of load held",
    ("crash", "kills"): "kills survived",
    ("crash", "outages of the database"): "outages of the database survived",
    ("races", "rounds of the last board"): "rounds of races run",
    ("races", "rounds of all other races"): "rounds of races run",
    ("fuzz", "requests"): "requests fuzzed",
}
"""What is counted of which run, and as what."""

Run = tuple[str, str, Callable[[], Outcome]]


@dataclass(frozen=True)
class Size:
    """How long each run is: seconds of load a shape, kills, outages among them, rounds and requests, for SQLite and PostgreSQL."""

    seconds: float
    kills: tuple[int, int]
    outages: int
    rounds: tuple[int, int]
    requests: tuple[int, int]


LONG = Size(45, (100, 30), 5, (50, 50), (50_000, 5_000))
SHORT = Size(3, (2, 2), 1, (2, 2), (600, 200))


def runs(size: Size, seed: int) -> Iterator[Run]:
    """Every run of a size: its kind, where it is, and how it is done."""
    for shape in SHAPES:
        yield "load", shape.name, _on(shape.ground, partial(_load, shape, size.seconds))
    for name, kills in zip(DATABASES, size.kills, strict=True):
        yield "crash", name, _on(name, partial(_crash, kills, size.outages, seed), DURABLE)
    for name, rounds in zip(DATABASES, size.rounds, strict=True):
        yield "races", name, _on(name, partial(_race, rounds))
    for name, number in zip(DATABASES, size.requests, strict=True):
        yield "fuzz", name, _on(name, partial(_fuzz, number, seed))


def _on(name: str, run: Callable[[Ground], Outcome], options: tuple[str, ...] = NOT_DURABLE) -> Callable[[], Outcome]:
    def on_new_ground() -> Outcome:
        with new_ground(name, options) as ground:
            return run(ground)

    return on_new_ground


def _load(shape: Shape, seconds: float, on: Ground) -> Outcome:
    return load(on.place, seconds, PEOPLE, number=shape.servers, workers=shape.workers)


def _crash(kills: int, outages: int, seed: int, on: Ground) -> Outcome:
    return crash(on.place, kills, seed=seed, processes=2, database=on.cluster, outages=outages if on.cluster else 0)


def _race(rounds: int, on: Ground) -> Outcome:
    return race(on.place, rounds)


def _fuzz(number: int, seed: int, on: Ground) -> Outcome:
    return fuzz(on.place, number, seed=seed, described=number // 5)


def summed(told: Iterable[tuple[str, Outcome]]) -> dict[str, int]:
    """What all runs come to: what was held, how many checks were made of it, and how many of them failed."""
    sums = dict.fromkeys([*COUNTED.values(), "invariants checked", "violations"], 0)
    for kind, outcome in told:
        for (of_kind, word), name in COUNTED.items():
            sums[name] += outcome.done[word] if of_kind == kind else 0
        sums["invariants checked"] += outcome.done["checks"]
        sums["violations"] += len(outcome.violations)
    return sums


def hold(size: Size = LONG, seed: int | None = None) -> None:
    """Load, kills, races and nonsense on SQLite and PostgreSQL, about half an hour; violations must be 0."""
    seed = random.SystemRandom().randrange(1_000_000) if seed is None else seed
    print(f"{datetime.now(UTC):%d %B %Y}, seed {seed}", flush=True)
    told = []
    for kind, where, run in runs(size, seed):
        told.append((kind, run()))
        told[-1][1].tell(f"{kind} on {where}")
    for name, number in summed(told).items():
        print(f"{name:<34}{number:>12,}")
    end_with(outcome for _, outcome in told)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=hold.__doc__)
    parser.add_argument("--short", action="store_true", help="a run of a few minutes")
    parser.add_argument("--seed", type=int, default=None)
    given = parser.parse_args()
    hold(SHORT if given.short else LONG, given.seed)
