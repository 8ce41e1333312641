"""What each part should be for a learner, how far a part misses it, and what must not be sold to them.

Lengths and thicknesses in cm, areas in cm² (hand wing m²), volumes in litres, masses in kg, speeds in knots. A misfit has no
unit: 0 is exactly the ideal. Percentages of allowance and shapes are common practice of the trade, without a source;
lift coefficients and speeds were chosen so that the lift equation meets that practice.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from server.domain import physics
from server.domain.catalogue import Gear, Part
from server.domain.learner import Answers, Setup
from server.domain.policy import FitTerms
from server.domain.slots import CORE_SLOTS, MEASURE_WORDS, SLOT_WORDS, UNITS

SAME = 1e-9  # Two numbers closer than this are equal.

NOMINAL_KG = {"board": 6.0, "mast": 2.0, "fuselage": 0.5, "front_foil": 2.0, "tail": 1.0}
NOMINAL_FOIL_KG = 5.5
NOMINAL_KIT_KG = NOMINAL_KG["board"] + NOMINAL_FOIL_KG

ALLOWANCE = {"steady": (0.30, 0.10, 0.50, 45.0), "lively": (0.15, 0.05, 0.30, 35.0)}
STEADY_FLOAT_EXTRA_L = 4.0
COMES_HOME_LYING = 0.10
LONGEST_STEADY_SHAPE = 3.3
TAKEOFF_KN = {"steady": 6.72, "lively": 7.30}
NEVER_ABOVE_KN = {"steady": 7.6, "lively": 8.6}
MAST_CM = {"steady": (68.0, 72.0, 78.0), "lively": (78.0, 85.0, 90.0)}
MAST_STRONG_CM, MAST_NEW_HANDS_CM = 76.0, 80.0
FUSELAGE_CM = {"steady": (66.0, 70.0, 74.0), "lively": (56.0, 60.0, 64.0)}
FUSELAGE_STRONG_CM = 67.0
TAIL_CM2 = {"steady": 290.0, "lively": 230.0}
TAIL_FOIL_CM2 = 1800.0
TAIL_STEP = 1.25
GUARD = {"steady": (0.80, 70.0), "lively": (0.75, 60.0)}
LEAST_DEPTH_M, DEPTH_UNDER_MAST_M, CAREFUL_DEPTH_M = 1.0, 0.35, 1.5
HAND_WING_LIMITS_M2 = (2.5, 7.5)
FIRST_SESSIONS_KN = 18.0
STRONGER_WIND = 1.33


def is_less(left: float, right: float) -> bool:
    """Whether a number is really less than another, not just by the noise of arithmetic."""
    return left < right - SAME


@dataclass(frozen=True, slots=True)
class Target:
    """What a slot should be for a learner, with the reasons as sentences."""

    low: float
    ideal: float
    high: float
    unit: str
    because: tuple[str, ...] = ()

    def holds(self, size: float) -> bool:
        """Whether a size lies between low and high."""
        return not is_less(size, self.low) and not is_less(self.high, size)


@dataclass(frozen=True, slots=True)
class Fits:
    """A part that may be sold to this learner, and how far it misses the ideal."""

    misfit: float


@dataclass(frozen=True, slots=True)
class DoesNotFit:
    """A part that must not be sold to this learner, and why, as a sentence.

    What is final no reason of the shop's mends: parts that do not join, or a board that would not float a beginner home.
    """

    reason: str
    is_final: bool = False


Verdict = Fits | DoesNotFit


def squared_log(size: float, ideal: float, step: float) -> float:
    """(ln(size/ideal) / ln step)²: 1 where the size is one step of that ratio off."""
    return (math.log(size / ideal) / math.log(step)) ** 2


@dataclass(frozen=True)
class Sizing:
    """A learner under the shop's terms: all targets, verdicts on parts and pairs of parts.

    Targets, misfits and refusals use the nominal mass of a kit (but for the board's own mass when it is refused); figures of a
    chosen kit, with the masses of its own parts, are worked out where kits are.
    """

    answers: Answers
    terms: FitTerms
    wing_ideal_m2: float | None = None
    """The hand wing's ideal where gear that is kept changes it; None: by mass and wind."""

    @cached_property
    def setup(self) -> Setup:
        return self.answers.setup

    @cached_property
    def water_kg_m3(self) -> float:
        return physics.density_kg_m3(self.answers.water)

    @cached_property
    def nominal_kg(self) -> float:
        """All that has to float and rise, with a nominal kit."""
        return self.answers.mass_kg + self.terms.worn_kg + NOMINAL_KIT_KG

    @cached_property
    def on_new_hands(self) -> bool:
        """Lively by its flights, but the hand wing is still to be learned."""
        return self.setup == "lively" and self.answers.wing_handling == "none"

    # --- board

    @cached_property
    def allowance(self) -> float:
        """The share of body mass to add in litres: 30 % and 10 % a factor when steady, half of that when lively."""
        base, each, most, most_l = ALLOWANCE["steady" if self.on_new_hands else self.setup]
        return min(base + each * self.answers.ease_factors, most, most_l / self.answers.mass_kg)

    @cached_property
    def volume_by_rule_l(self) -> float:
        """Body mass in litres with its allowance. 80 kg without a factor, steady: 104 l."""
        return self.answers.mass_kg * (1 + self.allowance)

    @cached_property
    def reserve_l(self) -> float:
        """Litres beyond bare floating; less than none for one who was seen turning and comes home lying down."""
        if self.answers.turning_was_seen:
            return -COMES_HOME_LYING * self.answers.mass_kg
        return self.terms.reserve_l

    @cached_property
    def float_floor_l(self) -> float:
        """Below this a board does not carry the learner home on their knees. 80 kg in the sea: 99.05 l."""
        return physics.displaced_l(self.nominal_kg, self.water_kg_m3) + self.reserve_l

    @cached_property
    def floor_decides(self) -> bool:
        """Whether the float floor asks for more than the percentage does."""
        return is_less(self.volume_by_rule_l, self._ideal_volume_l)

    @cached_property
    def _ideal_volume_l(self) -> float:
        extra = STEADY_FLOAT_EXTRA_L if self.setup == "steady" else 0.0
        return max(self.volume_by_rule_l, self.float_floor_l + extra)

    @cached_property
    def board(self) -> Target:
        ideal = self._ideal_volume_l
        low = max(self.float_floor_l, 0.95 * self.volume_by_rule_l)
        return Target(low, ideal, 1.20 * ideal, UNITS["board"], self._why_board())

    def _why_board(self) -> tuple[str, ...]:
        mass = self.answers.mass_kg
        why = [
            f"{100 * self.allowance:.0f} % over your {mass:g} kg, a kilogram counted as a litre: "
            f"{self.volume_by_rule_l:.0f} litres"
            + (" for first flights." if self.setup == "steady" else " for someone who already flies.")
        ]
        if self.answers.ease_factors:
            why.append("A little more because slow to the feet, not so fit or new to boards asks for a calmer board.")
        if self.answers.turning_was_seen:
            why.append(f"You were seen turning: from {self.float_floor_l:.0f} litres it brings you home lying down.")
        elif self.floor_decides:
            why.append(
                f"The float decides: suit and kit do not shrink with the rider, and under {self.float_floor_l:.0f} litres "
                "a board does not carry you home on your knees."
            )
        else:
            why.append(f"From {self.float_floor_l:.0f} litres it carries you home on your knees when the wind drops.")
        return tuple(why)

    @cached_property
    def least_width_cm(self) -> float:
        """The width from which a board stands still enough under first flights."""
        return 52 + 0.2 * self.answers.mass_kg

    def _judge_board(self, board: Gear) -> Verdict:
        volume, own_kg = board.number("volume_l"), board.number_or("mass_kg", NOMINAL_KG["board"])
        mass = self.answers.mass_kg
        laden_kg = mass + self.terms.worn_kg + NOMINAL_FOIL_KG + own_kg
        least_l = physics.displaced_l(laden_kg, self.water_kg_m3) + self.reserve_l
        if is_less(volume, least_l):
            words = f"{volume:g} l would not float you home: it takes {least_l:.1f} l."
            return DoesNotFit(words, is_final=self.setup == "steady")
        if is_less(board.number_or("rider_max_kg", math.inf), mass):
            return DoesNotFit(f"It is built for riders up to {board.number('rider_max_kg'):g} kg.")
        width = board.number("width_cm")
        if self.setup == "steady" and is_less(LONGEST_STEADY_SHAPE, board.number_or("length_cm", 0) / width):
            return DoesNotFit("It is too long for its width to learn on: it rolls.")
        misfit = self._volume_misfit(volume)
        return Fits(misfit + (self._shape_misfit(board) if self.setup == "steady" else 0.0))

    def _volume_misfit(self, volume_l: float) -> float:
        misfit = squared_log(volume_l, self._ideal_volume_l, 1.10)
        return 2 * misfit if volume_l < self._ideal_volume_l else misfit

    def _shape_misfit(self, board: Gear) -> float:
        thickest_cm = 16 if board.number("volume_l") > 130 else 14
        misfit = (max(0.0, self.least_width_cm - board.number("width_cm")) / 4) ** 2
        misfit += 0.5 if board.measures.get("bottom", "flat") != "flat" else 0.0
        return misfit + (0.5 if is_less(thickest_cm, board.number_or("thickness_cm", 0)) else 0.0)

    # --- front foil

    @cached_property
    def ideal_takeoff_kn(self) -> float:
        """The take-off speed to aim for: slower for first flights, a little faster where the usual wind is stronger."""
        base = TAKEOFF_KN["steady" if self.on_new_hands else self.setup]
        return base + max(-0.3, min(0.3, 0.06 * (self.answers.usual_wind_kn - 15)))

    def _area_for(self, speed_kn: float) -> float:
        return physics.foil_area_cm2(self.nominal_kg, speed_kn, self.water_kg_m3)

    @cached_property
    def front_foil(self) -> Target:
        ideal = self._area_for(self.ideal_takeoff_kn)
        never_above = NEVER_ABOVE_KN[self.setup]
        low = self._area_for(never_above)
        why = (
            f"Lifts all {self.nominal_kg:.0f} kg of you and your gear off at about {self.ideal_takeoff_kn:.1f} knots.",
            f"Under {low:.0f} cm² take-off would need more than {never_above:g} knots.",
        )
        return Target(low, ideal, 1.35 * ideal, UNITS["front_foil"], why)

    def _judge_front_foil(self, foil: Gear) -> Verdict:
        area = foil.size
        if is_less(area, self.front_foil.low):
            takeoff = physics.takeoff_kn(self.nominal_kg, area, self.water_kg_m3)
            return DoesNotFit(
                f"{area:g} cm² would lift you off only at {takeoff:.1f} knots: never above {NEVER_ABOVE_KN[self.setup]:g}."
            )
        return Fits(self._foil_misfit(area))

    def _foil_misfit(self, area_cm2: float) -> float:
        return squared_log(area_cm2, self.front_foil.ideal, 1.15)

    # --- mast and fuselage

    @cached_property
    def mast(self) -> Target:
        low, ideal, high = MAST_CM[self.setup]
        if self.setup == "steady":
            ideal = MAST_STRONG_CM if self.answers.is_strong else ideal
            why = ["Short enough to fall from, long enough to fly over chop."]
            if self.answers.is_strong:
                why.append("A little longer for you: you will use the height soon.")
        else:
            ideal = MAST_NEW_HANDS_CM if self.on_new_hands else ideal
            why = ["Long enough to lean into turns without the foil coming out of the water."]
            if self.on_new_hands:
                why.append("A little shorter while the hand wing is still new.")
        return Target(low, ideal, high, UNITS["mast"], tuple(why))

    def _judge_mast(self, mast: Gear) -> Verdict:
        length, depth = mast.size, self.answers.min_depth_m
        needed_m = max(LEAST_DEPTH_M, length / 100 + DEPTH_UNDER_MAST_M)
        if depth is not None and is_less(depth, needed_m):
            return DoesNotFit(f"It needs {needed_m:.2f} m of water; at low tide you have {depth:g} m.")
        return Fits(self._mast_misfit(length))

    def _mast_misfit(self, length_cm: float) -> float:
        return ((length_cm - self.mast.ideal) / 6) ** 2

    @cached_property
    def fuselage(self) -> Target:
        low, ideal, high = FUSELAGE_CM[self.setup]
        if self.setup == "lively":
            why = ["A short one turns more easily."]
        elif self.answers.is_strong:
            ideal, why = (
                FUSELAGE_STRONG_CM,
                ["A long one rocks less; yours may be a little shorter, with your years on boards."],
            )
        else:
            why = ["A long one rocks less, nose up and nose down."]
        return Target(low, ideal, high, UNITS["fuselage"], tuple(why))

    def _judge_fuselage(self, fuselage: Gear) -> Verdict:
        return Fits(self._fuselage_misfit(fuselage.size))

    def _fuselage_misfit(self, length_cm: float) -> float:
        return ((length_cm - self.fuselage.ideal) / 6) ** 2

    # --- tail, and the guard over tail and fuselage together

    def ideal_tail_cm2(self, foil_cm2: float) -> float:
        """The tail that goes with a front foil: 290 cm² (steady) or 230 cm² (lively) × √(front foil / 1800 cm²)."""
        return TAIL_CM2[self.setup] * math.sqrt(foil_cm2 / TAIL_FOIL_CM2)

    @property
    def fuselage_of_ideal_tail_cm(self) -> float:
        """The length from which a fuselage holds any front foil level with the tail that is its ideal."""
        share, length = GUARD[self.setup]
        return share * length

    def least_tail_times_fuselage(self, foil_cm2: float) -> float:
        """The stability guard in cm³: tail area times fuselage length below this is refused with that front foil."""
        share, length = GUARD[self.setup]
        return share * self.ideal_tail_cm2(foil_cm2) * length

    def tail_misfit(self, tail_cm2: float, foil_cm2: float) -> float:
        """How far a tail misses what its front foil asks for."""
        return squared_log(tail_cm2, self.ideal_tail_cm2(foil_cm2), TAIL_STEP)

    def judge_balance(self, tail_cm2: float, fuselage_cm: float, foil_cm2: float) -> DoesNotFit | None:
        """Whether tail and fuselage together hold this front foil level; None where they do."""
        if not is_less(tail_cm2 * fuselage_cm, self.least_tail_times_fuselage(foil_cm2)):
            return None
        return DoesNotFit(
            f"A tail of {tail_cm2:g} cm² on {fuselage_cm:g} cm would not hold a front foil of {foil_cm2:g} cm² level."
        )

    @cached_property
    def tail(self) -> Target:
        foil = self.front_foil.ideal
        ideal = self.ideal_tail_cm2(foil)
        why = (
            f"Broad enough to keep a front foil of {foil:.0f} cm² level"
            + (", and calm on first flights." if self.setup == "steady" else ", and small enough to turn with you."),
        )
        return Target(ideal / 1.25, ideal, 1.25 * ideal, UNITS["tail"], why)

    def _judge_tail(self, tail: Gear) -> Verdict:
        return Fits(self.tail_misfit(tail.size, self.front_foil.ideal))

    # --- hand wing

    @cached_property
    def wing_wind_kn(self) -> float:
        """The wind the hand wing is sized for: the usual one, but first sessions are chosen, not suffered."""
        wind = self.answers.usual_wind_kn
        early = self.answers.foil_stage in ("none", "towed", "short_flights")
        return min(wind, FIRST_SESSIONS_KN) if early else wind

    @cached_property
    def plain_wing_ideal_m2(self) -> float:
        """The hand wing by mass and wind alone. 85 kg at 15 kn: 5.5 m²."""
        by_mass = along(self.terms.hand_wing_knots, self.answers.mass_kg)
        by_wind = by_mass * max(0.80, min(1.25, 15 / self.wing_wind_kn))
        least, most = HAND_WING_LIMITS_M2
        return max(least, min(most, by_wind))

    @cached_property
    def hand_wing(self) -> Target:
        ideal = self.plain_wing_ideal_m2 if self.wing_ideal_m2 is None else self.wing_ideal_m2
        if self.wing_ideal_m2 is None:
            why = [f"The area that pulls {self.answers.mass_kg:.3g} kg up in about {self.wing_wind_kn:.0f} knots."]
        else:
            why = ["For stronger wind, beside the larger hand wing you keep."]
        if is_less(self.wing_wind_kn, self.answers.usual_wind_kn):
            why.append(
                f"Sized for {self.wing_wind_kn:.0f} knots, not your usual {self.answers.usual_wind_kn:.0f}: "
                "first sessions are chosen, not suffered."
            )
        return Target(ideal / 1.12, ideal, 1.12 * ideal, UNITS["hand_wing"], tuple(why))

    def _judge_hand_wing(self, wing: Gear) -> Verdict:
        return Fits(self._wing_misfit(wing.size))

    def _wing_misfit(self, area_m2: float) -> float:
        return squared_log(area_m2, self.hand_wing.ideal, 1.12)

    # --- all slots

    @cached_property
    def targets(self) -> Mapping[str, Target]:
        """The six targets in slot order."""
        return {slot: getattr(self, slot) for slot in CORE_SLOTS}

    def judge(self, gear: Gear) -> Verdict:
        """A part by itself (a tail: against the ideal front foil), before it is put together with others."""
        return self.judge_of(gear.slot)(gear)

    def judge_of(self, slot: str) -> Callable[[Gear], Verdict]:
        """What judges the parts of a slot by themselves."""
        judge: Callable[[Gear], Verdict] = getattr(self, f"_judge_{slot}")
        return judge

    def ideal(self, slot: str) -> float:
        """The ideal size of a slot."""
        target: Target = getattr(self, slot)
        return target.ideal

    def misfit_by_size(self, slot: str) -> Callable[[float], float]:
        """How far a size misses the ideal of a slot (a tail: that of the ideal front foil): a part misses it by so much at least.

        It never falls on the way from the ideal outward, up or down. A board's shape may add to it.
        """
        of_slot: dict[str, Callable[[float], float]] = {
            "board": self._volume_misfit,
            "mast": self._mast_misfit,
            "fuselage": self._fuselage_misfit,
            "front_foil": self._foil_misfit,
            "tail": lambda size: self.tail_misfit(size, self.front_foil.ideal),
            "hand_wing": self._wing_misfit,
        }
        return of_slot[slot]

    def is_over_cap(self, misfit: float) -> bool:
        """Whether a misfit is more than a sound kit may have."""
        return is_less(self.terms.misfit_cap, misfit)


def along(knots: tuple[tuple[float, float], ...], x: float) -> float:
    """The value at x of straight lines through knots, the end lines carried on. (50, 4), (70, 5) at 60: 4.5."""
    place = next((n for n, (knot, _) in enumerate(knots[1:-1], start=1) if x < knot), len(knots) - 1)
    (x0, y0), (x1, y1) = knots[place - 1], knots[place]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


@dataclass(frozen=True)
class Fitting:
    """What is to be filled for a learner: the sizing, the kept gear that fills slots, and what was said about the rest."""

    sizing: Sizing
    kept: Mapping[str, Gear]
    notes: tuple[str, ...] = ()
    stronger_wind_m2: float | None = None
    """The hand wing to offer beside a kept one that fills its slot."""

    @property
    def to_buy(self) -> tuple[str, ...]:
        """The core slots that a part must be bought for."""
        return tuple(slot for slot in CORE_SLOTS if slot not in self.kept)


def fitting_for(answers: Answers, terms: FitTerms) -> Fitting:
    """Decide which kept gear is built on, and what that changes for the hand wing."""
    sizing = Sizing(answers, terms)
    kept: dict[str, Gear] = {}
    notes: list[str] = []
    for piece in answers.keeps:
        if piece.slot == "hand_wing":
            continue
        why_not = _why_not_built_on(sizing, piece.gear, piece.missing)
        if why_not is None:
            kept[piece.slot] = piece.gear
        else:
            word = SLOT_WORDS[piece.slot]
            notes.append(f"We do not build on your {word}: {why_not} Bring it in and we will look at it together.")
    fitting = Fitting(sizing, kept, tuple(notes))
    wings = [piece.gear for piece in answers.keeps if piece.slot == "hand_wing" and not piece.missing]
    if any(piece.slot == "hand_wing" and piece.missing for piece in answers.keeps):
        fitting = replace(fitting, notes=(*fitting.notes, "We need the area of your hand wing in m² to build on it."))
    return _with_wings(fitting, wings) if wings else fitting


def _why_not_built_on(sizing: Sizing, gear: Gear, missing: tuple[str, ...]) -> str | None:
    if missing:
        return "we do not know its " + ", ".join(MEASURE_WORDS[name] for name in missing) + "."
    verdict = sizing.judge(gear)
    if isinstance(verdict, DoesNotFit):
        return verdict.reason
    if sizing.is_over_cap(verdict.misfit):
        target = sizing.targets[gear.slot]
        return f"its size is too far from the {target.ideal:.0f} {UNITS[gear.slot]} that suit you."
    return None


def _with_wings(fitting: Fitting, wings: list[Gear]) -> Fitting:
    sizing = fitting.sizing
    ideal = sizing.plain_wing_ideal_m2
    nearest = min(wings, key=lambda wing: squared_log(wing.size, ideal, 1.12))
    notes = [*fitting.notes]
    notes += [f"Your hand wing of {wing.size:g} m² stays yours as it is." for wing in wings if wing is not nearest]
    area = nearest.size
    if not is_less(1.0, squared_log(area, ideal, 1.12)):
        stronger = area / STRONGER_WIND
        notes.append(
            f"Your hand wing of {area:g} m² fills its place; one of about {stronger:.1f} m² beside it would serve stronger wind."
        )
        return replace(
            fitting, kept={**fitting.kept, "hand_wing": nearest}, notes=tuple(notes), stronger_wind_m2=stronger
        )
    if area > ideal:
        changed = min(ideal, max(area / STRONGER_WIND, ideal / 1.2))
        notes.append(
            f"Your hand wing of {area:g} m² is for lighter wind; the one to buy is for stronger wind, about {changed:.1f} m²."
        )
        return replace(fitting, sizing=replace(sizing, wing_ideal_m2=changed), notes=tuple(notes))
    notes.append(f"Your hand wing of {area:g} m² is too small for your usual wind; keep it for stronger wind.")
    return replace(fitting, notes=tuple(notes))


def do_not_join(left: Gear, right: Gear) -> str | None:
    """Why two parts cannot be put together, or None where they can (or have nothing to do with each other)."""
    pair = {left.slot, right.slot}
    if pair == {"board", "mast"} and left.text("track") != right.text("track"):
        return f"track {left.text('track')} and track {right.text('track')}"
    foil = {"mast", "fuselage", "front_foil", "tail"}
    if pair <= foil and left.text("mount") != right.text("mount"):
        return f"mount {left.text('mount')} and mount {right.text('mount')}"
    return None


def is_met(slot: str, parts: tuple[Part, ...], sizing: Sizing) -> bool:
    """Whether some part of those free lies within the target and is not refused by itself (depth and mount set aside)."""
    target = sizing.targets[slot]
    return any(
        target.holds(part.gear.size) and (slot == "mast" or isinstance(sizing.judge(part.gear), Fits)) for part in parts
    )
