"""The run of everything: each kind of run is in it on both databases, and its sums leave out nothing that was found."""

from __future__ import annotations

from collections import Counter

from tests.bench.harness import Outcome
from tests.bench.hold import LONG, runs, summed


def test_the_long_run_has_every_kind_on_both_databases_and_kills_often_enough() -> None:
    kinds = Counter(kind for kind, _, _ in runs(LONG, 1))
    assert kinds == {"load": 4, "crash": 2, "races": 2, "fuzz": 2}
    assert LONG.kills[0] >= 100
    assert LONG.kills[1] >= 30
    assert sum(LONG.requests) >= 50_000


def test_the_sums_count_each_run_for_what_it_is_and_every_violation() -> None:
    load, crash = Outcome(), Outcome()
    load.done.update({"requests": 40})
    crash.done.update({"requests": 7, "kills": 3})
    load.must(True, "holds")
    crash.must(False, "does not hold", 1)
    assert summed([("load", load), ("crash", crash)]) == {
        "requests of load held": 40,
        "kills survived": 3,
        "outages of the database survived": 0,
        "rounds of races run": 0,
        "requests fuzzed": 0,
        "invariants checked": 2,
        "violations": 1,
    }
