"""What is said about a kit, in words a beginner knows; the numbers come from the domain."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from server.domain.catalogue import Gear
from server.domain.fit import Target
from server.domain.kits import Neighbour, size_words
from server.domain.quotes import QuotedKit
from server.domain.slots import MEASURE_WORDS, SIZES, SLOT_WORDS
from server.domain.units import kmh_from_kn
from server.domain.wind import window_words
from server.web.units import Units, ends_in, mass_in, wind_beside

UNIT_WORDS = {"l": "l", "cm": "cm", "cm2": "cm²", "m2": "m²"}


FIELD_WORDS = {
    "mass_kg": "Your weight",
    "to_feet": "Kneeling to standing",
    "fitness": "Fitness",
    "board_background": "What you have ridden",
    "foil_stage": "Flown on a foil",
    "wing_handling": "Hand wing handled",
    "water": "Which water",
    "usual_wind_kn": "Usual wind",
    "spot": "Where you ride",
    "min_depth_m": "Depth at low tide",
    "extras": "Extras",
    "delivery": "Delivery",
    "zone": "Delivered where",
    "budget": "The most you want to pay",
    "deposit_codes": "Lesson codes",
    "under_18": "Under 18",
    "swims_100m": "Swims 100 m",
}
TRADE_WORDS = {
    "slot": "what it is",
    "price_new": "what was paid",
    "months": "age",
    "condition": "condition",
    "faults": "faults",
    "invoice": "invoice number",
}


def field_words(name: str) -> str:
    """What a field of the form asks for, in a few words."""
    kind, _, rest = name.partition("-")
    inner = rest.rpartition("-")[2]
    if kind == "keeps":
        slot = rest.partition("-")[0]
        return f"Your {SLOT_WORDS.get(slot, 'gear')}: {MEASURE_WORDS.get(inner, inner)}"
    if kind == "trades":
        return f"Traded in: {TRADE_WORDS.get(inner, inner)}"
    return FIELD_WORDS.get(name, "")


def title_of(setup: str) -> str:
    """The headline of a kit."""
    return "A steady kit that floats you home" if setup == "steady" else "A lively kit for linking flights"


def lead_of(mass_kg: float, setup: str, water: str, wind_kn: float, units: Units) -> str:
    """Whom a kit is sized for, in a sentence."""
    stage = "first flights" if setup == "steady" else "flights that link up"
    where = "on the sea" if water == "sea" else "on a lake"
    return f"Sized for {mass_in(mass_kg, units)}, {stage}, a usual {wind_beside(wind_kn, units)} {where}."


def target_words(target: Target, units: Units) -> str:
    """A target as a number and its range: 104 l, from 99 to 125."""
    low, ideal, high = ends_in(target, units)
    unit = units.length if target.unit == "cm" else UNIT_WORDS[target.unit]
    return f"Asked for: {ideal} {unit}, from {low} to {high}"


def sentence_of(slot: str, kit: QuotedKit, targets: Mapping[str, Target], setup: str) -> str:
    """Why a part is the size it is: one sentence with the number that decided it."""
    target = targets[slot]
    if slot == "board":
        spare = kit.float_margin_l
        if spare >= 0:
            return f"Floats you home on your knees with {spare:.0f} litres to spare, in flat water."
        return f"Too small to kneel on at rest by {-spare:.0f} litres: it brings you home lying down."
    if slot == "front_foil":
        return f"Lifts off at {kit.takeoff_kn:.1f} knots, about {kmh_from_kn(kit.takeoff_kn):.0f} km/h."
    if slot == "tail":
        cut = kit.gear_in("tail").number_or("cut_to_cm2", 0)
        later = f" It can be cut to {cut:g} cm² later." if cut else ""
        calm = "calm on first flights" if setup == "steady" else "small enough to turn with you"
        return f"Broad enough to keep {size_words(kit.gear_in('front_foil'))} of front foil level, {calm}.{later}"
    return target.because[0]


def more_reasons(slot: str, targets: Mapping[str, Target]) -> tuple[str, ...]:
    """The further reasons of a target, for those who want to know."""
    because = targets[slot].because
    return because if slot in ("board", "front_foil") else because[1:]


@dataclass(frozen=True, slots=True)
class SizeChange:
    """A size up or down: what to call it, its SKU, what it changes, and why it cannot be chosen where it cannot."""

    label: str
    sku: str
    name: str
    changes: str
    refusal: str | None


def _signed(value: float, digits: int, unit: str) -> str | None:
    rounded = round(value, digits)
    return None if rounded == 0 else f"{'+' if rounded > 0 else '−'}{abs(rounded):.{digits}f} {unit}"


def _wind_change(neighbour: Neighbour) -> str | None:
    """The wind window in new hands, where a size changes it by a knot or more."""
    now, then = neighbour.instead_of.winds.new, neighbour.kit.winds.new
    if round(now.low) == round(then.low) and round(now.high) == round(then.high):
        return None
    return f"new hands {window_words(then).replace(' knots', ' kn')}"


def size_change(direction: str, neighbour: Neighbour | None, price_words: str) -> SizeChange | None:
    """What a neighbouring size would change, in one line."""
    if neighbour is None:
        return None
    steadier = neighbour.steadiness_change_percent
    rocks = None
    if round(steadier) != 0:
        rocks = f"rocks {abs(steadier):.0f} % {'less' if steadier > 0 else 'more'}"
    changes = [
        _signed(neighbour.margin_change_l, 0, "l float") if neighbour.part.slot == "board" else None,
        _signed(neighbour.takeoff_change_kn, 1, "kn take-off"),
        _wind_change(neighbour),
        rocks,
        price_words,
    ]
    return SizeChange(
        label=f"{direction}: {size_words(neighbour.part.gear)}",
        sku=neighbour.part.sku,
        name=neighbour.part.name,
        changes=", ".join(change for change in changes if change),
        refusal=neighbour.refusal,
    )


def kept_words(gear: Gear) -> str:
    """A kept piece's name."""
    return f"your own {SLOT_WORDS[gear.slot]}" if SIZES[gear.slot] in gear.measures else "your own"
