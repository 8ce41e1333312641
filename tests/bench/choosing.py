"""How long the exact frontier of kits takes on shelves of 150, 2,000 and 20,000 parts."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from server.domain.catalogue import Shelf
from server.domain.kits import Fitter
from server.domain.learner import Answers, read_answers
from server.domain.racks import racks_of
from tests.bench.shelves import learners, shelf
from tests.bench.timing import RUNS, each, tell_each, took

TODAY = date(2026, 11, 25)
LEARNERS = {150: 200, 2_000: 200, 20_000: 200}


def choosing_for(answers: Answers, stocked: Shelf) -> Callable[[], object]:
    """The frontier of one learner, from their answers on."""
    return lambda: Fitter.of(answers, stocked, TODAY).frontier()


def frontier() -> None:
    """The exact frontier of kits on shelves of 150, 2,000 and 20,000 parts, three runs of many learners."""
    for parts, number in LEARNERS.items():
        stocked = shelf(parts)
        hanging = took(lambda stocked=stocked: racks_of(stocked.catalogue, 22, TODAY))  # type: ignore[misc]
        print(f"racks of {parts:>6,} parts, hung once for a version of the catalogue: {1000 * hanging.own:.1f} ms")
        works = [choosing_for(read_answers(raw, stocked.catalogue), stocked) for raw in learners(number)]
        tell_each(f"frontier of {parts:>6,} parts, {number} learners", [each(works) for _ in range(RUNS)])
