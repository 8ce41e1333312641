"""How long the exact frontier of kits takes on shelves of 150, 2,000 and 20,000 parts."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

from server.domain.catalogue import Shelf
from server.domain.kits import Fitter
from server.domain.learner import Answers, read_answers
from server.domain.racks import racks_of
from tests.bench.shelves import shelf
from tests.bench.timing import RUNS, each, tell_each, took

TODAY = date(2026, 11, 25)
LEARNERS = {150: 200, 2_000: 200, 20_000: 200}


def learners(number: int, seed: int = 7) -> Iterator[dict[str, Any]]:
    """Different learners, steady and lively."""
    draw = random.Random(seed)
    for _ in range(number):
        yield {
            "mass_kg": round(draw.uniform(45, 115), 1),
            "to_feet": draw.choice(("quick", "average", "slow")),
            "fitness": draw.choice(("high", "fair", "low")),
            "board_background": draw.choice(("strong", "some", "none")),
            "foil_stage": draw.choice(("none", "towed", "short_flights", "long_flights", "turning")),
            "usual_wind_kn": draw.choice((12, 15, 18, 22)),
        }


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
