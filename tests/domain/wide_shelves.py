"""Shelves of hundreds of parts and learners before them, drawn by a seed; with twins, gaps, markdowns and gear that is kept."""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import Any

from server.domain.catalogue import Part, Shelf
from server.domain.kits import Fitter
from server.domain.policy import FitTerms, Policy
from server.domain.prices import Markdown
from server.domain.slots import CORE_SLOTS
from tests.domain.builders import USUAL_PRICES, fitter, shelf, sized
from tests.domain.by_hand import NEEDED
from tests.domain.random_shelves import POLICIES

SIZES_FROM_TO = {
    "board": (55.0, 170.0),
    "mast": (60.0, 95.0),
    "fuselage": (40.0, 80.0),
    "front_foil": (900.0, 2500.0),
    "tail": (150.0, 420.0),
    "hand_wing": (2.5, 7.5),
}
LIGHT_TAILS = Policy(fit=FitTerms(weights={**dict.fromkeys(CORE_SLOTS, 1.0), "tail": 0.01, "front_foil": 0.01}))
HEAVY_TAILS = Policy(fit=FitTerms(weights={**dict.fromkeys(CORE_SLOTS, 0.5), "tail": 20.0, "fuselage": 0.01}))
WIDE_CAP = Policy(fit=FitTerms(misfit_cap=40.0))
TIGHT_CAP = Policy(fit=FitTerms(misfit_cap=0.3))
ALL_POLICIES = (*POLICIES, LIGHT_TAILS, HEAVY_TAILS, WIDE_CAP, TIGHT_CAP)


def _part(draw: Random, slot: str, number: int, step: float, cents: int) -> Part:
    low, high = SIZES_FROM_TO[slot]
    size = low + (high - low) * round(draw.random() / step) * step
    if draw.random() < 0.1:
        size *= 1 + draw.choice([1e-12, 1e-9, 1e-7, 1e-5])
    worth = USUAL_PRICES[slot] * (size / ((low + high) / 2)) ** 0.8 * draw.lognormvariate(0, 0.3)
    price = max(1, round(worth / cents) * cents + draw.choice([0, 0, 0, 1, 2]))
    drawn = {"track": draw.choice(["slide", "slide", "plate"]), "mount": draw.choice(["cone", "bolt"])}
    joints: dict[str, Any] = {name: word for name, word in drawn.items() if name in NEEDED[slot]}
    if slot == "board":
        joints |= {"width_cm": draw.choice([60, 66, 70, 75, 85]), "length_cm": draw.choice([170, 200, 250])}
        joints |= {"bottom": draw.choice(["flat", "flat", "vee"]), "mass_kg": draw.choice([4.0, 6.0, 9.0])}
    made = sized(slot, size, f"{draw.choice('ABCDEF')}{number:03}-{slot[:2].upper()}", price=price, **joints)
    if draw.random() < 0.15:
        made = replace(made, markdown=Markdown(max(1, price * draw.choice([70, 78, 80, 90]) // 100)))
    return replace(made, sold=draw.random() > 0.05)


def wide_shelf(draw: Random) -> Shelf:
    """A shelf of parts whose sizes and prices are even or uneven, and of which many or none are gone."""
    step, cents = draw.choice([0.1, 0.02, 0.001]), draw.choice([1, 100, 50_00, 200_00])
    in_slot = draw.choice([6, 15, 40])
    parts = [
        _part(draw, slot, number, step, cents) for slot in CORE_SLOTS for number in range(draw.randint(2, in_slot))
    ]
    gone = draw.choice([0.0, 0.1, 0.5])
    free = {part.sku: 0 if draw.random() < gone else draw.randint(1, 4) for part in parts}
    return shelf(*parts, free=free, policy=draw.choice(ALL_POLICIES))


def before_a_wide_shelf(seed: int) -> Fitter:
    """A learner before such a shelf, always the same of a seed; one in three keeps something."""
    draw = Random(seed)
    on = wide_shelf(draw)
    kept = draw.sample(CORE_SLOTS, draw.choice([0, 0, 1, 2, 4]))
    keeps = [{"slot": slot, **_part(draw, slot, 0, 0.05, 1).gear.measures} for slot in kept]
    told: dict[str, Any] = {
        "mass_kg": round(draw.uniform(40, 130), 1),
        "to_feet": draw.choice(["quick", "quick", "average", "slow"]),
        "fitness": draw.choice(["high", "high", "fair", "low"]),
        "board_background": draw.choice(["strong", "strong", "some", "none"]),
        "foil_stage": draw.choice(["none", "towed", "short_flights", "long_flights", "turning"]),
        "wing_handling": draw.choice(["none", "some", "practised"]),
        "usual_wind_kn": draw.choice([10, 15, 25]),
    }
    if draw.random() < 0.2:
        told["min_depth_m"] = draw.choice([1.0, 1.1, 1.3])
    return fitter(on, keeps=keeps, **told)
