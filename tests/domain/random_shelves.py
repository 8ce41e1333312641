"""Small shelves and learners drawn by a seed: odd enough that every rule of choosing is met somewhere among them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cache
from random import Random
from typing import Any

from server.domain.catalogue import Part, Shelf
from server.domain.deposits import PaidLesson
from server.domain.kits import Choice, Fitter
from server.domain.learner import Answers, Assessment, read_answers, seen_on_the_water
from server.domain.policy import DEFAULT_TIERS, FitTerms, IncludedLessons, Policy, Tier
from server.domain.prices import Markdown
from tests.domain.builders import STRONG, TODAY, USUAL_PRICES, extra, lesson, part, shelf
from tests.domain.by_hand import NEEDED, SLOTS, ByHand, HandKit, Wanted

NO_TIERS = Policy(tiers=())
ODD_TIERS = Policy(
    tiers=(
        Tier("Three", SLOTS, 3, 7),
        Tier("Whole", SLOTS, 6, 17, ("pump",), IncludedLessons("private", 2)),
        Tier("Board and wing", ("board", "hand_wing"), 2, 19),
    ),
    markdown_wins_ties=False,
)
ODD_FIT = Policy(
    fit=FitTerms(
        worn_kg=6.5,
        reserve_l=2.0,
        misfit_cap=1.6,
        hand_wing_knots=((45.0, 3.5), (75.0, 5.0), (90.0, 6.0), (110.0, 6.4)),
        weights={"board": 1.0, "mast": 2.0, "fuselage": 0.5, "front_foil": 3.0, "tail": 2.5, "hand_wing": 1.5},
    ),
    tiers=DEFAULT_TIERS,
)
POLICIES = [Policy(), Policy(), Policy(), NO_TIERS, ODD_TIERS, ODD_FIT]


@dataclass(frozen=True)
class Case:
    """A learner before a shelf, as the server sees them and worked out by hand."""

    said: Answers
    shelf: Shelf
    lessons: tuple[PaidLesson, ...]
    fitter: Fitter
    choice: Choice
    by_hand: ByHand
    every_kit: tuple[HandKit, ...]
    frontier: tuple[HandKit, ...]


def _learner(draw: Random) -> dict[str, Any]:
    said: dict[str, Any] = {
        "mass_kg": round(draw.choice([draw.uniform(36, 60), draw.uniform(60, 100), draw.uniform(100, 150)]), 1),
        "to_feet": draw.choice(["quick", "quick", "average", "slow"]),
        "fitness": draw.choice(["high", "high", "fair", "low"]),
        "board_background": draw.choice(["strong", "strong", "some", "none"]),
        "foil_stage": draw.choice(["none", "none", "towed", "short_flights", "long_flights", "turning"]),
        "water": draw.choice(["sea", "lake"]),
        "usual_wind_kn": draw.choice([8, 12, 15, 15, 20, 28]),
        "delivery": draw.choice(["deliver", "deliver", "collect"]),
        "zone": draw.choice(["Ireland", "Far islands"]),
        "extras": draw.sample(["pump", "helmet", "wetsuit"], draw.randint(0, 3)),
    }
    if draw.random() < 0.15:
        said |= {**STRONG, "foil_stage": draw.choice(["none", "towed"])}
    if draw.random() < 0.4:
        said["wing_handling"] = draw.choice(["none", "some", "practised"])
    if draw.random() < 0.25:
        said["min_depth_m"] = draw.choice([0.9, 1.05, 1.08, 1.12, 1.15, 1.2, 1.25, 1.4, 3.0, 3.0])
    if draw.random() < 0.4:
        said["trades"] = [
            {
                "slot": draw.choice(SLOTS),
                "price_new": draw.choice([40_000, 123_456, 300_000]),
                "months": 12 * draw.randint(0, 4),
                "condition": draw.choice(["like_new", "good", "worn", "poor"]),
                "faults": draw.choice([[], [], ["cracked"]]),
            }
            for _ in range(draw.randint(1, 2))
        ]
    return said


def _measures(draw: Random, slot: str, wanted: Wanted, alike: bool = False) -> dict[str, Any]:
    """The measures of a piece that is often near to what the learner needs; alike ones differ in little and all join."""
    off = draw.choice([-0.12, -0.06, -0.03, 0.0, 0.0, 0.03, 0.06, 0.09, 0.12, 0.15])
    if alike:
        off = draw.choice([0.0, 0.0, 0.05, 0.09])
    near = {
        "board": round(wanted.volume * (1.03 + off)),
        "mast": round(wanted.mast[1] * (1 + off / 2)),
        "fuselage": round(wanted.fuselage[1] * (1 + off / 2)),
        "front_foil": round(wanted.area * (1 + 1.5 * off), -1),
        "tail": round(wanted.tail_for(wanted.area) * (1.03 + 2 * off)),
        "hand_wing": round(wanted.wing * (1 + off) * 2) / 2,
    }[slot]
    measures: dict[str, Any] = {NEEDED[slot][0]: near}
    if slot == "board" and not alike:
        measures["mass_kg"] = draw.choice([4.5, 6.0, 7.5])
        measures["width_cm"] = round(wanted.width + draw.choice([-6, -3, -1, 0, 2, 8, 10]))
        measures["length_cm"] = round(measures["width_cm"] * draw.choice([2.2, 2.4, 2.6, 2.8, 2.9, 3.0, 3.29, 3.31]))
        measures["thickness_cm"] = draw.choice([12, 13, 14, 15, 16, 16.5])
        measures["bottom"] = draw.choice(["flat", "flat", "flat", "rounded", "vee"])
        if draw.random() < 0.2:
            measures["rider_max_kg"] = round(wanted.said.mass_kg) + draw.choice([-3, 0, 1, 20])
    if "track" in NEEDED[slot]:
        measures["track"] = "plate" if draw.random() < (0 if alike else 0.12) else "slide"
    if "mount" in NEEDED[slot]:
        measures["mount"] = "bolt" if draw.random() < (0 if alike else 0.12) else "cone"
    return measures


def _price(draw: Random, slot: str, alike: bool) -> int:
    steps = [0] if alike else [-30_000, -10_000, 0, 0, 0, 10_000, 30_000]
    base = USUAL_PRICES[slot] + draw.choice(steps) * (2 if slot == "board" else 1) // 2
    return max(9_900, base) + draw.choice([0, 1, 2, 3] if alike else [0, 0, 1, 2, 3, 7, 49, 50, 51, 99])


def _parts(draw: Random, slot: str, wanted: Wanted, percent: int, alike: bool) -> list[Part]:
    parts: list[Part] = []
    for _ in range(draw.choice([2, 3, 4, 4])):
        sku = f"{draw.choice('QRSTUVW')}{draw.randint(100, 999)}-{slot.upper()}"
        price = _price(draw, slot, alike)
        if parts and draw.random() < 0.35:
            twin = draw.choice(parts)
            piece = replace(twin, sku=sku, price=twin.price + draw.choice([0, 0, 0, 1, -1, 100, -100]))
        else:
            piece = part(slot, sku, price=price, **_measures(draw, slot, wanted, alike))
        parts.append(replace(piece, sold=draw.random() > 0.05, markdown=_markdown(draw, piece.price, percent)))
    return parts


def _markdown(draw: Random, price: int, percent: int) -> Markdown | None:
    if draw.random() > 0.3:
        return None
    as_good_as_the_tier = price * (100 - percent) // 100
    now = as_good_as_the_tier + draw.choice([0, 0, 1, -1, -2_000, 2_000])
    since = draw.choice([None, TODAY, TODAY - timedelta(days=9), TODAY + timedelta(days=1)])
    return Markdown(max(1, now), since)


def _keeps(draw: Random, wanted: Wanted) -> list[dict[str, Any]]:
    keeps: list[dict[str, Any]] = []
    often = draw.choice([0.0, 0.0, 0.15, 0.35, 0.9])
    for slot in SLOTS:
        for _ in range(2 if slot == "hand_wing" else 1):
            if draw.random() >= often:
                continue
            measures = _measures(draw, slot, wanted)
            if slot == "front_foil":
                measures["aspect_ratio"] = 5.5
            for name in list(measures):
                if draw.random() < 0.04:
                    del measures[name]
            keeps.append({"slot": slot, **measures})
    return keeps


def _extra_parts(draw: Random) -> list[Part]:
    pumps = [extra("pump", f"PUMP-{n}", 60_00 + 100 * draw.randint(0, 3)) for n in range(2)]
    helmets = [
        extra("helmet", "HELMET-S", 70_00, mass_to_kg=70),
        extra("helmet", "HELMET-L", 75_00, mass_from_kg=70, markdown=draw.choice([None, 55_00])),
    ]
    return [*pumps, *helmets]


@cache
def case(seed: int) -> Case:
    """The case of a seed, always the same."""
    draw = Random(seed)
    policy = draw.choice(POLICIES)
    plain = _learner(draw)
    alike = draw.random() < 0.3
    if alike:
        plain.pop("min_depth_m", None)
    seen = None
    if draw.random() < 0.2:
        seen = Assessment(
            foil_stage=draw.choice([None, "turning", "short_flights"]),
            wing_handling=draw.choice([None, "some", "practised"]),
            to_feet=draw.choice([None, "slow"]),
            setup="lively" if plain["foil_stage"] not in ("none", "towed") and draw.random() < 0.4 else None,
        )

    def read(raw: dict[str, Any], on: Shelf) -> Answers:
        told = read_answers(raw, on.catalogue)
        return told if seen is None else seen_on_the_water(told, seen)

    wanted = Wanted(read(plain, shelf()), policy)
    percent = draw.choice([tier.percent for tier in policy.tiers] or [20])
    parts = [piece for slot in SLOTS for piece in _parts(draw, slot, wanted, percent, alike)] + _extra_parts(draw)
    on = shelf(*parts, free={piece.sku: draw.choice([0, 1, 1, 2, 2, 2, 3, 5, 5, 5]) for piece in parts}, policy=policy)
    said = read({**plain, "keeps": _keeps(draw, wanted)}, on)
    lessons = tuple(
        lesson(
            f"L-{n}",
            TODAY - timedelta(days=draw.choice([3, 20, 60])),
            kind=draw.choice(["private", "private", "group"]),
        )
        for n in range(draw.choice([0, 0, 1, 2]))
    )
    fitter = Fitter.of(said, on, TODAY, lessons)
    by_hand = ByHand(said, on, TODAY, lessons)
    every_kit = tuple(by_hand.every_kit())
    return Case(said, on, lessons, fitter, fitter.choose(), by_hand, every_kit, tuple(by_hand.frontier(every_kit)))
