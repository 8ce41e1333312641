"""Learners drawn by a seed, for every measurement the same."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any


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
