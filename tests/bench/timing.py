"""How long something takes: the process's own time, which other programs of the machine do not lengthen, beside the wall clock."""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

RUNS = 3


@dataclass(frozen=True)
class Took:
    """Seconds by the process's own clock and by the wall clock."""

    own: float
    wall: float


def took(work: Callable[[], object]) -> Took:
    """How long one call takes."""
    wall, own = time.perf_counter(), time.process_time()
    work()
    return Took(time.process_time() - own, time.perf_counter() - wall)


def each(works: Iterable[Callable[[], object]]) -> list[Took]:
    """How long each of several calls takes, after what lies about has been swept up."""
    gc.collect()
    return [took(work) for work in works]


def share_below(values: Sequence[float], percent: int) -> float:
    """The value that so many per cent are not above."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, len(ordered) * percent // 100)]


def tell_each(words: str, runs: Sequence[Sequence[Took]]) -> float:
    """Print median, 95 % and worst of several runs of many calls in ms of the process's own time; the median is returned in seconds.

    Each figure is the median of the runs; the spread is that of the runs' medians.
    """
    medians = sorted(statistics.median(one.own for one in run) for run in runs)
    most = statistics.median(share_below([one.own for one in run], 95) for run in runs)
    worst = max(one.own for run in runs for one in run)
    wall = statistics.median(statistics.median(one.wall for one in run) for run in runs)
    print(
        f"{words}: median {1000 * statistics.median(medians):.3f} ms (runs {1000 * medians[0]:.3f} to "
        f"{1000 * medians[-1]:.3f}), 95 % within {1000 * most:.2f} ms, worst {1000 * worst:.2f} ms; by the wall clock "
        f"{1000 * wall:.3f} ms",
        flush=True,
    )
    return statistics.median(medians)


def tell_whole(words: str, runs: Sequence[Took], pieces: int = 1) -> float:
    """Print the median of several runs of the same work, and what comes to one of its pieces; the median is returned in seconds."""
    own, wall = sorted(one.own for one in runs), statistics.median(one.wall for one in runs)
    median = statistics.median(own)
    one = f", {1000 * median / pieces:.3f} ms each, {pieces / median:,.0f} a second" if pieces > 1 else ""
    print(
        f"{words}: median {median:.2f} s (runs {own[0]:.2f} to {own[-1]:.2f}){one}; by the wall clock {wall:.2f} s",
        flush=True,
    )
    return median
