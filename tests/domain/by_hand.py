"""Kits worked out the long way: every combination of parts, each number from the rules in words.

It shares no formula with the server, and is far too slow for a shop. Where it and the server differ, one of them is wrong.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from itertools import pairwise, product

from server.domain.catalogue import Gear, Part, Shelf
from server.domain.deposits import PaidLesson
from server.domain.learner import Answers
from server.domain.policy import Policy, Tier

SLOTS = ("board", "mast", "fuselage", "front_foil", "tail", "hand_wing")
FOIL = ("mast", "fuselage", "front_foil", "tail")
NEEDED = {
    "board": ("volume_l", "width_cm", "track"),
    "mast": ("length_cm", "track", "mount"),
    "fuselage": ("length_cm", "mount"),
    "front_foil": ("area_cm2", "aspect_ratio", "mount"),
    "tail": ("area_cm2", "mount"),
    "hand_wing": ("area_m2",),
}
ENDLESS = 10**12
G = 9.80665
KN = 1852 / 3600


def half_up(amount: Fraction) -> int:
    """The nearest whole number of an amount of zero or more; a half goes up."""
    return math.floor(amount + Fraction(1, 2))


def log_steps(size: float, ideal: float, step: float) -> float:
    return (math.log(size / ideal) / math.log(step)) ** 2


@dataclass(frozen=True)
class HandKit:
    """A kit with nothing refused; SKUs in slot order, empty where a piece is kept."""

    skus: tuple[str, ...]
    price: int
    misfit: float
    worst: float
    least_free: int


class Wanted:
    """Sizes for one learner; a kept hand wing may change the one to buy."""

    def __init__(self, said: Answers, policy: Policy) -> None:
        terms = policy.fit
        mass, stage = said.mass_kg, said.foil_stage
        self.said = said
        self.cap = terms.misfit_cap
        self.strong = said.board_background == "strong" and said.fitness == "high" and said.to_feet == "quick"
        lively = stage in ("long_flights", "turning") or (stage == "short_flights" and self.strong)
        self.steady = said.setup_advised == "steady" if said.setup_advised else not lively
        new_hands = not self.steady and said.wing_handling == "none"
        self.calm = self.steady or new_hands
        self.water = 1026.0 if said.water == "sea" else 999.1
        self.before_board = mass + terms.worn_kg + 5.5
        all_up = self.before_board + 6.0

        factors = [said.to_feet == "slow", said.fitness == "low", said.board_background == "none"].count(True)
        percent, litres = (min(30 + 10 * factors, 50), 45) if self.calm else (min(15 + 5 * factors, 30), 35)
        by_rule = mass + min(mass * percent / 100, litres)
        self.reserve = -mass / 10 if said.turning_was_seen else terms.reserve_l
        floor = 1000 * all_up / self.water + self.reserve
        self.volume = max(by_rule, floor + (4 if self.steady else 0))
        self.volume_low, self.volume_high = max(floor, by_rule * 0.95), self.volume * 1.2
        self.width = 52 + mass / 5

        wind = said.usual_wind_kn
        speed = (6.72 if self.calm else 7.30) + min(0.3, max(-0.3, 0.06 * (wind - 15)))
        self.area = self.area_at(speed, all_up)
        self.area_low, self.area_high = self.area_at(7.6 if self.steady else 8.6, all_up), 1.35 * self.area

        if self.steady:
            self.mast = (68.0, 76.0 if self.strong else 72.0, 78.0)
            self.fuselage = (66.0, 67.0 if self.strong else 70.0, 74.0)
        else:
            self.mast = (78.0, 80.0 if new_hands else 85.0, 90.0)
            self.fuselage = (56.0, 60.0, 64.0)

        if stage in ("none", "towed", "short_flights"):
            wind = min(wind, 18)
        by_mass = self.on_the_line(mass, terms.hand_wing_knots)
        self.wing = min(7.5, max(2.5, by_mass * min(1.25, max(0.8, 15 / wind))))

    def area_at(self, speed_kn: float, all_up_kg: float) -> float:
        return 10_000 * 2 * all_up_kg * G / (self.water * 0.90 * (speed_kn * KN) ** 2)

    @staticmethod
    def on_the_line(mass: float, knots: Sequence[tuple[float, float]]) -> float:
        pieces = list(pairwise(knots))
        fitting = [piece for piece in pieces if mass <= piece[1][0]]
        (x0, y0), (x1, y1) = fitting[0] if fitting else pieces[-1]
        return y0 + (mass - x0) / (x1 - x0) * (y1 - y0)

    def tail_for(self, foil_cm2: float) -> float:
        return (290 if self.steady else 230) * math.sqrt(foil_cm2 / 1800)

    def refuses(self, gear: Gear, depth_counts: bool = True) -> bool:
        """Whether a piece by itself must not be sold to the learner."""
        known = gear.measures
        if gear.slot == "board":
            mass = self.before_board + float(known.get("mass_kg", 6.0))
            sinks = float(known["volume_l"]) < 1000 * mass / self.water + self.reserve - 1e-9
            weak = "rider_max_kg" in known and float(known["rider_max_kg"]) < self.said.mass_kg
            longish = "length_cm" in known and float(known["length_cm"]) > 3.3 * float(known["width_cm"]) + 1e-9
            return sinks or weak or (self.steady and longish)
        if gear.slot == "mast" and depth_counts and self.said.min_depth_m is not None:
            return self.said.min_depth_m < max(1.0, float(known["length_cm"]) / 100 + 0.35) - 1e-9
        if gear.slot == "front_foil":
            return float(known["area_cm2"]) < self.area_low - 1e-9
        return False

    def misfit(self, gear: Gear, foil_cm2: float) -> float:
        """How far a piece misses the ideal; a tail beside a front foil of that area."""
        known = gear.measures
        if gear.slot == "board":
            volume = float(known["volume_l"])
            misfit = log_steps(volume, self.volume, 1.10) * (2 if volume < self.volume else 1)
            if not self.steady:
                return misfit
            narrow = self.width - float(known["width_cm"])
            misfit += (narrow / 4) ** 2 if narrow > 0 else 0
            misfit += 0.5 if known.get("bottom", "flat") != "flat" else 0
            return misfit + (0.5 if float(known.get("thickness_cm", 0)) > (16 if volume > 130 else 14) else 0)
        if gear.slot == "mast":
            return ((float(known["length_cm"]) - self.mast[1]) / 6) ** 2
        if gear.slot == "fuselage":
            return ((float(known["length_cm"]) - self.fuselage[1]) / 6) ** 2
        if gear.slot == "front_foil":
            return log_steps(float(known["area_cm2"]), self.area, 1.15)
        if gear.slot == "tail":
            return log_steps(float(known["area_cm2"]), self.tail_for(foil_cm2), 1.25)
        return log_steps(float(known["area_m2"]), self.wing, 1.12)

    def rocks(self, tail_cm2: float, fuselage_cm: float, foil_cm2: float) -> bool:
        """Whether tail and fuselage are too little together for the front foil."""
        root = math.sqrt(foil_cm2 / 1800)
        least = 0.80 * 290 * root * 70 if self.steady else 0.75 * 230 * root * 60
        return tail_cm2 * fuselage_cm < least - 1e-9

    def limits(self, slot: str) -> tuple[float, float]:
        tail = self.tail_for(self.area)
        return {
            "board": (self.volume_low, self.volume_high),
            "mast": (self.mast[0], self.mast[2]),
            "fuselage": (self.fuselage[0], self.fuselage[2]),
            "front_foil": (self.area_low, self.area_high),
            "tail": (tail / 1.25, tail * 1.25),
            "hand_wing": (self.wing / 1.12, self.wing * 1.12),
        }[slot]


class ByHand:
    """One learner before one shelf: what is kept, and every kit there is."""

    def __init__(self, said: Answers, shelf: Shelf, today: date, lessons: Sequence[PaidLesson] = ()) -> None:
        self.said, self.shelf, self.today, self.lessons = said, shelf, today, lessons
        self.policy = shelf.catalogue.policy
        self.wanted = Wanted(said, self.policy)
        self.kept = self._kept()
        self.to_buy = [slot for slot in SLOTS if slot not in self.kept]
        self.tier = self._tier()
        self.on_sale = {
            slot: [
                part
                for part in shelf.catalogue.parts.values()
                if part.slot == slot and part.sold and shelf.free.get(part.sku, 0) >= 1
            ]
            for slot in SLOTS
        }

    def _kept(self) -> dict[str, Gear]:
        kept: dict[str, Gear] = {}
        wings: list[Gear] = []
        for piece in self.said.keeps:
            known = piece.gear.measures
            if any(name not in known for name in NEEDED[piece.slot]):
                continue
            if piece.slot == "hand_wing":
                wings.append(piece.gear)
            elif not self.wanted.refuses(piece.gear) and self._is_within_the_cap(piece.gear):
                kept[piece.slot] = piece.gear
        if wings:
            ideal = self.wanted.wing
            nearest = min(wings, key=lambda wing: log_steps(float(wing.measures["area_m2"]), ideal, 1.12))
            area = float(nearest.measures["area_m2"])
            if log_steps(area, ideal, 1.12) <= 1 + 1e-9:
                kept["hand_wing"] = nearest
            elif area > ideal:
                self.wanted.wing = min(ideal, max(area / 1.33, ideal / 1.2))
        return kept

    def _is_within_the_cap(self, gear: Gear) -> bool:
        return self.wanted.misfit(gear, self.wanted.area) <= self.wanted.cap + 1e-9

    def _tier(self) -> Tier | None:
        holding = [
            tier
            for tier in self.policy.tiers
            if len([slot for slot in self.to_buy if slot in tier.slots]) >= tier.at_least
        ]
        return max(holding, key=lambda tier: tier.percent) if holding else None

    def marked_down(self, part: Part) -> int | None:
        markdown = part.markdown
        if markdown is None or (markdown.since and markdown.since > self.today):
            return None
        return markdown.price

    def price_of(self, parts: Iterable[Part]) -> int:
        """What the core lines are charged: the better of markdown and tier on each, the tier's part rounded once."""
        percent = self.tier.percent if self.tier else 0
        fixed = in_tier = 0
        for part in parts:
            now, with_tier = self.marked_down(part), Fraction(part.price * (100 - percent), 100)
            if now is not None and (now < with_tier or (now == with_tier and self.policy.markdown_wins_ties)):
                fixed += now
            else:
                in_tier += part.price
        return fixed + in_tier - half_up(Fraction(in_tier * percent, 100))

    def every_kit(self) -> Iterator[HandKit]:
        """All combinations that fit together with nothing refused, over the cap or not."""
        choices: list[list[tuple[str, Gear, Part | None]]] = []
        for slot in SLOTS:
            if slot in self.kept:
                choices.append([("", self.kept[slot], None)])
            else:
                choices.append([(part.sku, part.gear, part) for part in self.on_sale[slot]])
                choices[-1] = [choice for choice in choices[-1] if not self.wanted.refuses(choice[1])]
        weights = self.policy.fit.weights
        for chosen in product(*choices):
            gear = {slot: piece for slot, (_, piece, _) in zip(SLOTS, chosen, strict=True)}
            if gear["board"].measures["track"] != gear["mast"].measures["track"]:
                continue
            if len({gear[slot].measures["mount"] for slot in FOIL}) > 1:
                continue
            foil_cm2 = float(gear["front_foil"].measures["area_cm2"])
            tail_cm2 = float(gear["tail"].measures["area_cm2"])
            if self.wanted.rocks(tail_cm2, float(gear["fuselage"].measures["length_cm"]), foil_cm2):
                continue
            misfits = {slot: self.wanted.misfit(gear[slot], foil_cm2) for slot in SLOTS}
            bought = [part for _, _, part in chosen if part is not None]
            yield HandKit(
                skus=tuple(sku for sku, _, _ in chosen),
                price=self.price_of(bought),
                misfit=sum(weights[slot] * misfits[slot] for slot in SLOTS),
                worst=max(misfits.values()),
                least_free=min((self.shelf.free[part.sku] for part in bought), default=ENDLESS),
            )

    def frontier(self, kits: Iterable[HandKit]) -> list[HandKit]:
        """The kits that no other of them beats, one of those equal in both, cheapest first."""
        return undominated([kit for kit in kits if kit.worst <= self.wanted.cap + 1e-9])

    def unmet(self) -> list[str]:
        return [slot for slot in self.to_buy if not any(self._meets(slot, part) for part in self.on_sale[slot])]

    def _meets(self, slot: str, part: Part) -> bool:
        low, high = self.wanted.limits(slot)
        size = float(part.gear.measures[NEEDED[slot][0]])
        return low - 1e-9 <= size <= high + 1e-9 and not self.wanted.refuses(part.gear, depth_counts=False)

    # --- what is to be paid in the end

    def balance(self, kit: HandKit) -> int:
        """The price with extras, delivery, trade-in and deposit; never less than nothing."""
        due = kit.price + self._extras() + self._delivery() - self._trade_in(kit.price) - self._deposit()
        return max(0, due)

    def _extras(self) -> int:
        included = self.tier.extras if self.tier else ()
        total = 0
        for slot in self.said.extras:
            sizes = [part for part in self.shelf.catalogue.parts.values() if part.slot == slot and part.sold]
            sizes = [part for part in sizes if self._holds_the_learner(part)]
            if slot in included or not sizes:
                continue
            free = [part for part in sizes if self.shelf.free.get(part.sku, 0) >= 1]
            if free:
                total += min(self.marked_down(part) or part.price for part in free)
        return total

    def _holds_the_learner(self, part: Part) -> bool:
        low = float(part.gear.measures.get("mass_from_kg", 0))
        high = float(part.gear.measures.get("mass_to_kg", math.inf))
        return low <= self.said.mass_kg <= high

    def _delivery(self) -> int:
        at_home = self.said.zone == self.policy.shop.home_zone
        nothing_to_send = not self.to_buy and not self._extras()
        if self.said.delivery == "collect" or (at_home and len(self.to_buy) == 6) or nothing_to_send:
            return 0
        return self.shelf.catalogue.zones[self.said.zone].fee

    def _trade_in(self, core_charged: int) -> int:
        terms = self.policy.trade_in
        full = max((tier.percent for tier in self.policy.tiers if tier.at_least == 6), default=0)
        total = 0
        for trade in self.said.trades:
            dearest = [
                part.price for part in self.shelf.catalogue.parts.values() if part.slot == trade.slot and part.sold
            ]
            if trade.faults or not dearest:
                continue
            base = min(Fraction(trade.price_new), Fraction(max(dearest) * (100 - full), 100))
            years, loss = trade.months // 12, Fraction(terms.yearly_loss[trade.slot])
            assert trade.months % 12 == 0, "parts of a year are for the server"
            value = (
                base
                * (1 - loss - Fraction(terms.first_year_extra_loss) if years else 1)
                * (1 - loss) ** max(years - 1, 0)
            )
            value *= Fraction(terms.condition[trade.condition]) * (1 - Fraction(terms.handling))
            total += math.floor(value / 500) * 500
        most = math.floor(Fraction(terms.share) * core_charged / 500) * 500
        return min(total, most)

    def _deposit(self) -> int:
        included = self.tier.lessons if self.tier else None
        if included is None:
            return 0
        of_kind = sorted((one for one in self.lessons if one.kind == included.kind), key=lambda one: one.day)
        taken = [one.day for one in of_kind if one.state == "taken"]
        if taken and self.today > max(taken) + timedelta(days=self.policy.refund_window_days):
            return 0
        counting = [one for one in of_kind if one.state in ("taken", "booked")]
        return sum(one.entries[0].amount for one in counting[: included.number])


def undominated(kits: Iterable[HandKit]) -> list[HandKit]:
    """No other kit at least as well fitting and at least as cheap and better in one; numbers within 1e-9 are equal."""
    left: list[HandKit] = []
    by_price: dict[int, list[HandKit]] = {}
    for kit in kits:
        by_price.setdefault(kit.price, []).append(kit)
    best_of_cheaper = math.inf
    for price in sorted(by_price):
        best = min(kit.misfit for kit in by_price[price])
        if best < best_of_cheaper - 1e-9:
            equal = [kit for kit in by_price[price] if kit.misfit <= best + 1e-9]
            most_left = max(kit.least_free for kit in equal)
            left.append(min((kit for kit in equal if kit.least_free == most_left), key=lambda kit: kit.skus))
            best_of_cheaper = best
    return left


def best_fitting(kits: Sequence[HandKit]) -> HandKit | None:
    """The kit of least misfit; of equal ones the cheapest, then the one with most left, then by SKU."""
    best = min((kit.misfit for kit in kits), default=None)
    if best is None:
        return None
    equal = [kit for kit in kits if kit.misfit <= best + 1e-9]
    return min(equal, key=lambda kit: (kit.price, -kit.least_free, kit.skus))


def a_step_later(said: Answers) -> Answers:
    """The same learner with long flights and at least some hands."""
    hands = "some" if said.wing_handling == "none" else said.wing_handling
    return replace(said, foil_stage="long_flights", wing_handling=hands)


def literal_frontier(kits: Sequence[HandKit]) -> set[tuple[int, float]]:
    """Price and misfit of every kit that no other beats, by asking each about each."""

    def beats(one: HandKit, other: HandKit) -> bool:
        as_good = one.price <= other.price and one.misfit <= other.misfit + 1e-9
        return as_good and (one.price < other.price or one.misfit < other.misfit - 1e-9)

    left = [kit for kit in kits if not any(beats(other, kit) for other in kits)]
    return {(kit.price, round(kit.misfit, 7)) for kit in left}


def prices_and_skus(kits: Iterable[HandKit]) -> list[tuple[int, tuple[str, ...]]]:
    return [(kit.price, kit.skus) for kit in kits]
