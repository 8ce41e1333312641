"""Builders of what the domain works on: parts, shelves, a shop and a learner, ordinary unless told otherwise."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from server.domain.catalogue import Catalogue, Gear, LessonKind, MeasureValue, Part, Shelf, Spot, Zone
from server.domain.deposits import Entry, LessonState, PaidLesson
from server.domain.fit import DoesNotFit, Fits, Sizing, Verdict
from server.domain.kits import Fitter
from server.domain.learner import Answers, read_answers
from server.domain.money import Cents
from server.domain.policy import FitTerms, Policy
from server.domain.prices import Markdown
from server.domain.slots import CORE_SLOTS, SIZES

TODAY = date(2026, 11, 25)
MAKER = "Godwit Works"

USUAL_MEASURES: Mapping[str, Mapping[str, MeasureValue]] = {
    "board": {
        "mass_kg": 6.0,
        "volume_l": 104,
        "length_cm": 180,
        "width_cm": 85,
        "thickness_cm": 13,
        "bottom": "flat",
        "track": "slide",
    },
    "mast": {"mass_kg": 2.0, "length_cm": 72, "track": "slide", "mount": "cone"},
    "fuselage": {"mass_kg": 0.5, "length_cm": 70, "mount": "cone"},
    "front_foil": {"mass_kg": 2.0, "area_cm2": 1600, "span_cm": 94, "aspect_ratio": 5.5, "mount": "cone"},
    "tail": {"mass_kg": 1.0, "area_cm2": 300, "span_cm": 40, "mount": "cone"},
    "hand_wing": {"mass_kg": 2.5, "area_m2": 5.5, "span_cm": 330, "handles": "boom"},
}
USUAL_PRICES: Mapping[str, Cents] = {
    "board": 1_899_00,
    "mast": 649_00,
    "fuselage": 249_00,
    "front_foil": 899_00,
    "tail": 299_00,
    "hand_wing": 1_249_00,
}


def gear(slot: str, **measures: MeasureValue) -> Gear:
    """A piece of gear with the usual measures of its slot."""
    return Gear(slot, {**USUAL_MEASURES.get(slot, {}), **measures})


def part(
    slot: str,
    sku: str = "",
    *,
    price: Cents | None = None,
    cost: Cents | None = None,
    markdown: Cents | None = None,
    since: date | None = None,
    sold: bool = True,
    maker: str = MAKER,
    **measures: MeasureValue,
) -> Part:
    """A part of a slot; without a SKU it is named after its slot and size."""
    piece = gear(slot, **measures)
    name = sku or (f"{slot.upper()}-{piece.size:g}" if slot in CORE_SLOTS else slot.upper())
    list_price = USUAL_PRICES.get(slot, 50_00) if price is None else price
    return Part(
        sku=name,
        name=f"Part {name}",
        maker=maker,
        gtin="",
        price=list_price,
        cost=list_price // 2 if cost is None else cost,
        gear=piece,
        sold=sold,
        markdown=None if markdown is None else Markdown(markdown, since),
    )


def extra(slot: str, sku: str, price: Cents = 50_00, **said: Any) -> Part:
    """An extra of a slot, for every mass unless a range is told."""
    return part(slot, sku, price=price, **said)


def sized(slot: str, size: float, sku: str = "", **said: Any) -> Part:
    """A core part of the size its slot is sized by."""
    told: dict[str, Any] = {SIZES[slot]: size, **said}
    return part(slot, sku, **told)


ZONES = {
    "Ireland": Zone("Ireland", fee=35_00, cost=24_00, days="3"),
    "Far islands": Zone("Far islands", fee=55_00, cost=41_00, days="5"),
}
LESSONS = {
    "private": LessonKind("private", "Private lesson", fee=115_00, cost=46_00, minutes=90, places=1),
    "group": LessonKind("group", "Group lesson", fee=60_00, cost=18_00, minutes=120, places=4),
}


def spot(name: str = "Plover Sound", **said: Any) -> Spot:
    """A place to ride: open sea, deep enough, 13 knots all the year."""
    usual: dict[str, Any] = {
        "water": "sea",
        "min_depth_m": 2.0,
        "gust_ratio": 1.25,
        "safe_share": 0.6,
        "safe_from_deg": 200,
        "safe_to_deg": 320,
        "means_kn": (13.0,) * 12,
    }
    return Spot(name, **{**usual, **said})


SPOTS = {
    "Plover Sound": spot(),
    "Quern Lake": spot("Quern Lake", water="lake", min_depth_m=None, means_kn=(10.0,) * 12),
    "Low Bank": spot("Low Bank", min_depth_m=1.2),
}


def catalogue(parts: Iterable[Part] = (), policy: Policy | None = None, **said: Any) -> Catalogue:
    """A catalogue of these parts with the usual zones, lessons and spots."""
    usual: dict[str, Any] = {"zones": ZONES, "lessons": LESSONS, "spots": SPOTS, "policy": policy or Policy()}
    return Catalogue(parts={one.sku: one for one in parts}, **{**usual, **said})


def shelf(*parts: Part, free: Mapping[str, int] | None = None, policy: Policy | None = None, **said: Any) -> Shelf:
    """A shelf of these parts, three of each free unless told otherwise."""
    return Shelf(catalogue(parts, policy, **said), {one.sku: 3 for one in parts} | dict(free or {}))


def whole_kit(**by_slot: Part) -> list[Part]:
    """Six parts in slot order, the usual ones where no other is given."""
    return [by_slot.get(slot) or part(slot) for slot in CORE_SLOTS]


TRADE_SIZES: Mapping[str, tuple[float, ...]] = {
    "board": (72, 85, 99, 115, 132),
    "mast": (72, 85),
    "fuselage": (60, 70),
    "front_foil": (1600, 2050),
    "tail": (235, 300),
    "hand_wing": (3.5, 4.5, 5.5, 6.5),
}


def trade_shelf() -> Shelf:
    """The sizes that shops of the trade keep for learners; wide, flat and thin boards, one track, one mount, all in stock."""
    return shelf(*(sized(slot, size) for slot, sizes in TRADE_SIZES.items() for size in sizes))


A_LEARNER: Mapping[str, Any] = {
    "mass_kg": 80,
    "to_feet": "average",
    "fitness": "fair",
    "board_background": "some",
    "foil_stage": "none",
}
STRONG: Mapping[str, Any] = {"to_feet": "quick", "fitness": "high", "board_background": "strong"}
TWO_FACTORS: Mapping[str, Any] = {"to_feet": "slow", "fitness": "low"}
LIVELY: Mapping[str, Any] = {"foil_stage": "long_flights"}
SHOP = catalogue()


def said(**answers_given: Any) -> dict[str, Any]:
    """The plain answers of a learner of 80 kg before the first flights, with what is told in place of the usual."""
    return {**A_LEARNER, **answers_given}


def answers(shop: Catalogue = SHOP, /, **answers_given: Any) -> Answers:
    """The answers of a learner of 80 kg before the first flights, with what is told in place of the usual."""
    return read_answers(said(**answers_given), shop)


def sizing(**answers_given: Any) -> Sizing:
    """The sizing of a learner under the ordinary terms."""
    return Sizing(answers(**answers_given), FitTerms())


def fitter(on: Shelf, **answers_given: Any) -> Fitter:
    """A learner before a shelf today."""
    return Fitter.of(answers(on.catalogue, **answers_given), on, TODAY)


def misfit_of(verdict: Verdict) -> float:
    """The misfit of a part that must fit."""
    assert isinstance(verdict, Fits), verdict
    return verdict.misfit


def is_refused(verdict: Verdict | None) -> bool:
    """Whether a part is refused, with a reason that is a sentence."""
    if not isinstance(verdict, DoesNotFit):
        return False
    assert verdict.reason.endswith(".")
    return True


def lesson(
    code: str,
    day: date,
    *,
    paid: Cents = 115_00,
    kind: str = "private",
    state: LessonState = "taken",
    later: Iterable[Entry] = (),
) -> PaidLesson:
    """A lesson whose fee was paid ten days before it, with the later entries of its ledger."""
    return PaidLesson(code, kind, day, state, (Entry(code, "paid", paid, day), *later))
