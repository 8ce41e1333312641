"""Kits: what a set of parts comes to for a learner, which kits are recommended, and what a size up or down would change."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property, partial
from itertools import combinations, groupby, tee
from types import MappingProxyType
from typing import NamedTuple

from server.domain import physics
from server.domain.agreed import NOTHING_AGREED, Agreed, Bounds
from server.domain.catalogue import Gear, Part, Shelf, Spot
from server.domain.choosing import choosing
from server.domain.deposits import PaidLesson
from server.domain.errors import Fault, InvalidInput, NotFree
from server.domain.fit import (
    CAREFUL_DEPTH_M,
    NOMINAL_KG,
    DoesNotFit,
    Fits,
    Fitting,
    Target,
    do_not_join,
    fitting_for,
    is_less,
    is_met,
)
from server.domain.frontier import Option
from server.domain.learner import Answers, a_step_further, notes_on
from server.domain.money import Cents
from server.domain.pricing import Breakdown, price_core, price_kit, tier_for
from server.domain.slots import CORE_SLOTS, SIZES, SLOT_WORDS, UNITS
from server.domain.wind import Winds, WingWinds, hands_of, months_at, notes_on_wind, winds_for

FOUR_PARTS_OF_FOIL = ("mast", "fuselage", "front_foil", "tail")
MAY_CLASH = (("board", "mast"), *combinations(FOUR_PARTS_OF_FOIL, 2))
"""The slots whose parts join each other."""
TALK_TO_US = "This is the nearest we have: talk to us first. It cannot be agreed to without the shop."


Judged = tuple[tuple[DoesNotFit, ...], Mapping[str, float]]
"""What is refused of a kit, and the misfit of each part, infinite where it is refused by itself."""


@dataclass(frozen=True)
class Kit:
    """A full set of parts for one learner: what is bought and kept, how well each fits, how it floats, flies and costs."""

    bought: Mapping[str, Part]
    kept: Mapping[str, Gear]
    misfits: Mapping[str, float]
    misfit: float
    refusals: tuple[DoesNotFit, ...]
    is_sound: bool
    float_margin_l: float
    takeoff_kn: float
    tail_volume: float
    winds: Winds
    pricing: Callable[[], Breakdown] = field(repr=False, compare=False)
    """What works its price out: of a dozen kits that stand beside each other few are bought."""
    notes: tuple[str, ...] = ()

    @cached_property
    def price(self) -> Breakdown:
        """What it costs."""
        return self.pricing()

    @property
    def skus(self) -> tuple[str, ...]:
        """The SKUs bought, in slot order."""
        return tuple(self.bought[slot].sku for slot in CORE_SLOTS if slot in self.bought)

    @property
    def barring(self) -> tuple[DoesNotFit, ...]:
        """The refusals that no reason of the shop's mends."""
        return tuple(refusal for refusal in self.refusals if refusal.is_final)

    @property
    def gear_by_slot(self) -> dict[str, Gear]:
        """What flies in each slot."""
        return {slot: self.gear_in(slot) for slot in CORE_SLOTS}

    def gear_in(self, slot: str) -> Gear:
        """What flies in a slot: the kept piece, else the part bought."""
        return self.kept[slot] if slot in self.kept else self.bought[slot].gear


@dataclass(frozen=True)
class Fitter:
    """One learner before one shelf on one day: everything that is needed to put kits together for them.

    With what was agreed by hand, which `bounds` may hold to less; `is_vouched` says that the shop's reason for parts refused
    was given for these very answers.
    """

    answers: Answers
    shelf: Shelf
    today: date
    lessons: tuple[PaidLesson, ...]
    fitting: Fitting
    agreed: Agreed = NOTHING_AGREED
    bounds: Bounds | None = None
    is_vouched: bool = False

    @classmethod
    def of(
        cls,
        answers: Answers,
        shelf: Shelf,
        today: date,
        lessons: Sequence[PaidLesson] = (),
        agreed: Agreed = NOTHING_AGREED,
        bounds: Bounds | None = None,
        *,
        is_vouched: bool = False,
    ) -> Fitter:
        """A fitter with the kept gear already decided on."""
        fitting = fitting_for(answers, shelf.catalogue.policy.fit)
        return cls(answers, shelf, today, tuple(lessons), fitting, agreed, bounds, is_vouched)

    @property
    def hands(self) -> str:
        """Whose wind window is shown first: `new` or `practised`."""
        return hands_of(self.answers)

    # --- one kit

    def kit(self, bought: Mapping[str, Part], judged: Judged | None = None) -> Kit:
        """What a full set of bought parts, with the kept ones, comes to; refused parts are told, not left out.

        Its parts are judged, unless they have been (`judged`).
        """
        kept = self.fitting.kept
        gear = {slot: kept[slot] if slot in kept else bought[slot].gear for slot in CORE_SLOTS}
        refusals, misfits = self._judge(gear) if judged is None else judged
        sizing = self.fitting.sizing
        all_kg = self.answers.mass_kg + sizing.terms.worn_kg + _own_kg(gear)
        foil, tail = gear["front_foil"], gear["tail"]
        chord = physics.mean_chord_cm(foil.size, foil.number("aspect_ratio"))
        takeoff = physics.takeoff_kn(all_kg, foil.size, sizing.water_kg_m3)
        winds = self._winds(all_kg, takeoff, gear["hand_wing"].size)
        margin = gear["board"].size - physics.displaced_l(all_kg, sizing.water_kg_m3)
        in_order = [bought[slot] for slot in CORE_SLOTS if slot in bought]
        return Kit(
            bought=MappingProxyType(dict(bought)),
            kept=kept,
            misfits=misfits,
            misfit=sum(sizing.terms.weights[slot] * misfits[slot] for slot in CORE_SLOTS),
            refusals=refusals,
            is_sound=not refusals and not any(sizing.is_over_cap(misfit) for misfit in misfits.values()),
            float_margin_l=margin,
            takeoff_kn=takeoff,
            tail_volume=physics.tail_volume(tail.size, gear["fuselage"].size, foil.size, chord),
            winds=winds,
            pricing=partial(
                price_kit, in_order, self.answers, self.lessons, self.shelf, self.today, self.agreed, self.bounds
            ),
            notes=(
                *self._notes_on(margin),
                *notes_on_wind(winds, self.answers),
                *self._vouched_notes(bought, refusals),
            ),
        )

    def _winds(self, all_kg: float, takeoff_kn: float, wing_m2: float) -> Winds:
        spot = self.answers.spot
        return winds_for(self.answers.mass_kg, all_kg, takeoff_kn, wing_m2, spot.gust_ratio if spot else None)

    def wings(self, kit: Kit, spot: Spot | None) -> tuple[WingWinds, ...]:
        """The winds that a kit covers with its hand wing, with one a size down and up, and with one bought beside a kept one.

        With a spot, also the flyable days' worth of each month there.
        """
        all_kg = self.answers.mass_kg + self.fitting.sizing.terms.worn_kg + _own_kg(kit.gear_by_slot)
        own = kit.gear_in("hand_wing")
        bought = kit.bought.get("hand_wing")
        is_own = "hand_wing" in kit.kept
        rows: list[tuple[str, Gear, Part | None]] = [("chosen", own, None if is_own else bought)]
        if is_own and bought is not None:
            rows.append(("beside", bought.gear, bought))
        below, above = self.shelf.outward("hand_wing", own.size)
        smaller = (part for part in below if is_less(part.gear.size, own.size))
        larger = (part for part in above if is_less(own.size, part.gear.size))
        for role, way in (("smaller", smaller), ("larger", larger)):
            nearest = next((min(alike, key=lambda part: part.sku) for _, alike in groupby(way, key=_size_of)), None)
            if nearest is not None:
                rows.append((role, nearest.gear, nearest))
        gusts = spot.gust_ratio if spot else None
        return tuple(
            WingWinds(
                role,
                wing.size,
                part.name if part else "your own hand wing",
                part.sku if part else "",
                winds := winds_for(self.answers.mass_kg, all_kg, kit.takeoff_kn, wing.size, gusts),
                months_at(spot, winds),
            )
            for role, wing, part in rows
        )

    def _judge(self, gear: Mapping[str, Gear]) -> Judged:
        sizing = self.fitting.sizing
        refusals: list[DoesNotFit] = []
        misfits: dict[str, float] = {}
        for slot in CORE_SLOTS:
            verdict = sizing.judge(gear[slot])
            if isinstance(verdict, Fits):
                misfits[slot] = verdict.misfit
            else:
                refusals.append(verdict)
                misfits[slot] = math.inf
        foil_cm2, tail_cm2 = gear["front_foil"].size, gear["tail"].size
        misfits["tail"] = sizing.tail_misfit(tail_cm2, foil_cm2)
        unbalanced = sizing.judge_balance(tail_cm2, gear["fuselage"].size, foil_cm2)
        if unbalanced is not None:
            refusals.append(unbalanced)
        for left, right in MAY_CLASH:
            clash = do_not_join(gear[left], gear[right])
            if clash:
                refusals.append(
                    DoesNotFit(
                        f"The {SLOT_WORDS[left]} and the {SLOT_WORDS[right]} do not fit together: {clash}.",
                        is_final=True,
                    )
                )
        return tuple(refusals), misfits

    def _judge_in_place(self, kit: Kit, gear: Gear) -> Judged:
        """A kit with another piece that joins the rest in a slot: where nothing else is refused, that piece alone is looked at."""
        in_place = {**kit.gear_by_slot, gear.slot: gear}
        if kit.refusals:
            return self._judge(in_place)
        sizing = self.fitting.sizing
        verdict = sizing.judge(gear)
        foil_cm2, tail_cm2 = in_place["front_foil"].size, in_place["tail"].size
        unbalanced = sizing.judge_balance(tail_cm2, in_place["fuselage"].size, foil_cm2)
        of_itself = verdict.misfit if isinstance(verdict, Fits) else math.inf
        misfits = {**kit.misfits, gear.slot: of_itself, "tail": sizing.tail_misfit(tail_cm2, foil_cm2)}
        return tuple(one for one in (verdict, unbalanced) if isinstance(one, DoesNotFit)), misfits

    def _notes_on(self, margin_l: float) -> tuple[str, ...]:
        sizing = self.fitting.sizing
        notes = []
        if is_less(margin_l, sizing.reserve_l):
            notes.append(
                f"With its own parts this kit floats you with {margin_l:.1f} l to spare, under the {sizing.reserve_l:.1f} l "
                "we keep in reserve."
            )
        depth = self.answers.min_depth_m
        if depth is not None and is_less(depth, CAREFUL_DEPTH_M):
            notes.append(
                f"Only {depth:g} m of water at low tide: mind the foil and the ground, and ask the instructor where to start."
            )
        return tuple(notes)

    def _vouched_notes(self, bought: Mapping[str, Part], refusals: Sequence[DoesNotFit]) -> tuple[str, ...]:
        """What the shop's reason was for parts that the model refuses, and what speaks against them."""
        if not self.is_vouched or {part.sku for part in bought.values()} != set(self.agreed.fixed):
            return ()
        against = (f"It speaks against this kit: {_small(refusal.reason)}" for refusal in refusals)
        return (f"The shop has put this kit together for you by hand: {self.agreed.why}", *against)

    def kit_of(self, skus: Iterable[str]) -> Kit:
        """The kit that named SKUs make, as `kit_named`; raises `NotFree` besides where a part is not sold or not free."""
        kit = self.kit_named(skus)
        gone = [part for part in kit.bought.values() if not self.shelf.is_free(part)]
        if gone:
            raise NotFree(
                Fault("skus", f"{part.sku} ({part.name}) is not free to be sold today.", "a part in stock")
                for part in gone
            )
        return kit

    def kit_named(self, skus: Iterable[str]) -> Kit:
        """The kit that named SKUs make with the kept gear, in stock or not.

        Raises `InvalidInput` where they do not fill every slot to be bought, are refused or do not fit together. A hand
        wing beside a kept one is the wing for stronger wind. A kit that the shop vouches for is refused only what is final.
        """
        bought, faults = self._parts_named(skus)
        slots = self.fitting.to_buy
        faults += [
            Fault("skus", f"A {SLOT_WORDS[slot]} is missing.", f"the SKU of a {SLOT_WORDS[slot]}")
            for slot in slots
            if slot not in bought
        ]
        if faults:
            raise InvalidInput(faults)
        kit = self.kit(bought)
        barring = kit.barring if self.vouches(kit) else kit.refusals
        if barring:
            raise InvalidInput(
                Fault("skus", refusal.reason, "parts that suit the learner and fit together") for refusal in barring
            )
        return kit

    def vouches(self, kit: Kit) -> bool:
        """Whether the shop has given its reason for this very kit and these answers."""
        return self.is_vouched and set(kit.skus) == set(self.agreed.fixed)

    def in_place_of(self, bought: Mapping[str, Part], gone: Sequence[str]) -> dict[str, Part]:
        """For the slots whose parts are gone the nearest sizes that are free, suit the learner and fit all the rest.

        Each is chosen with those before it already in place, so that together they make a kit; a slot for which there
        is none is left out, and so are all where the rest no longer makes a kit for this learner.
        """
        found: dict[str, Part] = {}
        if not set(self.fitting.to_buy) <= set(bought):
            return found
        for slot in gone:
            size = bought[slot].gear.size
            for other in sorted(self.shelf.core[slot], key=lambda part: (abs(part.gear.size - size), part.sku)):
                if not self.kit({**bought, **found, slot: other}).refusals:
                    found[slot] = other
                    break
        return found

    def _parts_named(self, skus: Iterable[str]) -> tuple[dict[str, Part], list[Fault]]:
        bought: dict[str, Part] = {}
        faults: list[Fault] = []
        may_be_named = {*self.fitting.to_buy, "hand_wing"}
        for place, sku in enumerate(skus):
            at = f"skus[{place}]"
            part = self.shelf.catalogue.parts.get(sku)
            if part is None:
                faults.append(Fault(at, "The catalogue has no such SKU.", "SKUs of the catalogue"))
            elif part.slot not in CORE_SLOTS:
                faults.append(
                    Fault(
                        at, f"A {SLOT_WORDS[part.slot]} is no core part; ask for extras in the answers.", "core parts"
                    )
                )
            elif part.slot in bought:
                faults.append(Fault(at, f"A second {SLOT_WORDS[part.slot]}.", "one part a slot"))
            elif part.slot not in may_be_named:
                faults.append(Fault(at, f"You keep your own {SLOT_WORDS[part.slot]}.", "parts of slots not kept"))
            else:
                bought[part.slot] = part
        return {slot: bought[slot] for slot in CORE_SLOTS if slot in bought}, faults

    # --- choosing

    def frontier(self, cap: float | None = None) -> list[Option]:
        """The frontier of kits within a cap of misfit; by default the policy's, so that all are sound."""
        return self._frontier_on(self.shelf, cap)

    def _frontier_on(self, shelf: Shelf, cap: float | None) -> list[Option]:
        policy = shelf.catalogue.policy
        tier = tier_for(self.fitting.to_buy, policy)
        most = policy.fit.misfit_cap if cap is None else cap
        return choosing(self.fitting, shelf, tier.percent if tier else 0, self.today, most).frontier()

    @cached_property
    def sound(self) -> tuple[Option, ...]:
        """The frontier of sound kits, worked out once: of those with the parts fixed by hand, where there are any."""
        with_fixed = self._frontier_on(self._shelf_of_fixed, None) if self.fixed else []
        return tuple(with_fixed or self.frontier())

    def kit_at(self, option: Option) -> Kit:
        """The kit of a point of the frontier, with the hand wing that the shop put beside a kept one while it is free."""
        known = self._kits.get(option.skus)
        if known is None:
            parts = self.shelf.catalogue.parts
            chosen = {slot: parts[sku] for slot, sku in zip(CORE_SLOTS, option.skus, strict=True) if sku}
            beside = {slot: part for slot, part in self._beside_kept.items() if self.shelf.is_free(part)}
            known = self._kits[option.skus] = self.kit({**beside, **chosen})
        return known

    @cached_property
    def _kits(self) -> dict[tuple[str, ...], Kit]:
        """The points of the frontier that were asked for so far."""
        return {}

    def within_budget(self, options: Sequence[Option]) -> Kit | None:
        """The best fitting kit of a frontier whose balance is within the learner's budget; None without a budget or such a kit."""
        return _within((self.kit_at(option) for option in reversed(options)), self.answers.budget)

    def unmet(self) -> tuple[str, ...]:
        """The slots to be bought for which nothing free lies within the target."""
        return tuple(
            slot for slot in self.fitting.to_buy if not is_met(slot, self.shelf.core[slot], self.fitting.sizing)
        )

    def choose(self) -> Choice:
        """The recommended kit, the frontier, and what stands beside them."""
        frontier = tuple(self.kit_at(option) for option in self.sound)
        nearest = None
        notes = [*notes_on(self.answers), *self.fitting.notes]
        if not frontier:
            nearest = self.nearest()
            notes.append(TALK_TO_US if nearest else self.why_no_kit())
        return Choice(
            fitting=self.fitting,
            frontier=frontier,
            nearest=nearest,
            within_budget=_within(reversed(frontier), self.answers.budget),
            next_step=self.next_step(),
            unmet=self.unmet(),
            notes=tuple(notes),
        )

    def recommended(self) -> Kit | None:
        """The kit the shop vouches for, else the sound kit of least misfit (with the parts fixed by hand, if there is one); or None."""
        if self.is_vouched and self.fixed:
            vouched = self.with_fixed()
            if vouched is not None and self.vouches(vouched) and not vouched.barring:
                return vouched
        return self.kit_at(self.sound[-1]) if self.sound else None

    def nearest(self) -> Kit | None:
        """The kit of least misfit with nothing refused, sound or not; None where no parts go together at all."""
        options = self.frontier(math.inf)
        return self.kit_at(options[-1]) if options else None

    # --- parts fixed by hand

    @cached_property
    def fixed(self) -> Mapping[str, Part]:
        """The parts fixed by hand in slots that are to be bought, and the hand wing beside a kept one."""
        listed = self.shelf.catalogue.parts
        named = [listed[sku] for sku in self.agreed.fixed if sku in listed]
        may_be_fixed = {*self.fitting.to_buy, "hand_wing"}
        return MappingProxyType({part.slot: part for part in named if part.slot in may_be_fixed})

    @property
    def _beside_kept(self) -> Mapping[str, Part]:
        """The parts fixed by hand whose slots are kept: the wing for stronger wind, which no choice of the model's touches."""
        return {slot: part for slot, part in self.fixed.items() if slot not in self.fitting.to_buy}

    @cached_property
    def _shelf_of_fixed(self) -> Shelf:
        """The shelf on which the slots fixed by hand hold that part alone."""
        listed = self.shelf.catalogue.parts
        free = {
            sku: pieces
            for sku, pieces in self.shelf.free.items()
            if listed[sku].slot not in self.fixed or self.fixed[listed[sku].slot].sku == sku
        }
        return Shelf(self.shelf.catalogue, free)

    def left_out(self, kit: Kit) -> tuple[Part, ...]:
        """The parts fixed by hand that a kit does not have."""
        return tuple(part for part in self.fixed.values() if part.sku not in kit.skus)

    def with_fixed(self) -> Kit | None:
        """The best kit with the parts fixed by hand in it, whatever the model says of them; its refusals are told. None where none is.

        Sound if one is sound, else the nearest, else the parts put into the best kit there is, and those that do not join them
        replaced by the best that do.
        """
        if not self.fixed:
            return self.recommended() or self.nearest()
        options = self._frontier_on(self._shelf_of_fixed, None) or self._frontier_on(self._shelf_of_fixed, math.inf)
        if options:
            return self.kit({**self._beside_kept, **self.kit_at(options[-1]).bought})
        rest = self.frontier() or self.frontier(math.inf)
        bought = {**(self.kit_at(rest[-1]).bought if rest else {}), **self.fixed}
        if not set(self.fitting.to_buy) <= set(bought):
            return None
        for slot in self.fitting.to_buy:
            if slot not in self.fixed:
                bought[slot] = self._joining(slot, bought)
        return self.kit(bought)

    def _joining(self, slot: str, bought: Mapping[str, Part]) -> Part:
        """The part itself if it joins what is fixed or kept, else the nearest in size that does, else itself."""
        others = [*(part.gear for part in self.fixed.values()), *self.fitting.kept.values()]

        def joins(part: Part) -> bool:
            return not any(do_not_join(part.gear, gear) for gear in others)

        part = bought[slot]
        if joins(part):
            return part
        size = part.gear.size
        joining = [other for other in self.shelf.core[slot] if joins(other)]
        return min(joining, key=lambda other: (abs(other.gear.size - size), other.sku), default=part)

    def next_step(self) -> Kit | None:
        """For a strong beginner the recommended kit once long flights come; None for everyone else."""
        if not self.answers.is_strong_beginner:
            return None
        later = Fitter.of(a_step_further(self.answers), self.shelf, self.today, self.lessons)
        return later.recommended()

    def why_no_kit(self) -> str:
        """What does not go together when no kit is possible, as a sentence."""
        found = {slot: self._may_be_in(slot) for slot in CORE_SLOTS}
        empty = [SLOT_WORDS[slot] for slot in CORE_SLOTS if not found[slot]]
        if empty:
            return f"No kit is possible today: no {' and no '.join(empty)} in stock may be sold to this learner."
        tracks = {gear.text("track") for gear in found["board"]} & {gear.text("track") for gear in found["mast"]}
        if not tracks:
            return "No kit is possible today: no board and mast have the same track."
        mounts = set.intersection(*({gear.text("mount") for gear in found[slot]} for slot in FOUR_PARTS_OF_FOIL))
        masts = {gear.text("mount") for gear in found["mast"] if gear.text("track") in tracks}
        if not mounts & masts:
            return "No kit is possible today: no mast (on a board's track), fuselage, front foil and tail have the same mount."
        return "No kit is possible today: no tail and fuselage that fit together hold a front foil level."

    def _may_be_in(self, slot: str) -> list[Gear]:
        """What may take a slot, however far it misses: the kept piece, else what is free and not refused by itself."""
        if slot in self.fitting.kept:
            return [self.fitting.kept[slot]]
        judge = self.fitting.sizing.judge
        return [part.gear for part in self.shelf.core[slot] if slot == "tail" or isinstance(judge(part.gear), Fits)]

    # --- a size up and down, another maker

    def neighbours(self, kit: Kit, slot: str) -> Neighbours:
        """What stands beside a bought part among those free that join the rest: a size down, a size up, another maker's.

        Another maker's is the nearest in size, but for those that a size down or up names already.
        """
        part = kit.bought.get(slot)
        if part is None:
            return Neighbours(None, None, None)
        others = [kit.gear_in(other) for other in CORE_SLOTS if other != slot]

        def nearness(other: Part) -> tuple[float, bool, Cents, str]:
            return abs(other.gear.size - size), other.maker != part.maker, other.price_on(self.today), other.sku

        def nearest_first(way: Iterable[Part]) -> Iterator[Part]:
            for _, alike in groupby(way, key=_size_of):
                yield from sorted(
                    (one for one in alike if not any(do_not_join(one.gear, gear) for gear in others)), key=nearness
                )

        size = part.gear.size
        (below, all_below), (above, all_above) = (tee(nearest_first(way)) for way in self.shelf.outward(slot, size))
        down = self._nearest(kit, (one for one in below if is_less(one.gear.size, size)))
        up = self._nearest(kit, (one for one in above if is_less(size, one.gear.size)))
        named = {part.sku} | {found.part.sku for found in (down, up) if found is not None}
        elsewhere = [
            self._nearest(kit, (one for one in way if one.maker != part.maker and one.sku not in named))
            for way in (all_below, all_above)
        ]
        found = [one for one in elsewhere if one is not None]
        other = min(found, key=lambda one: (bool(one.refusals), nearness(one.part)), default=None)
        return Neighbours(*(None if one is None else self._with(kit, one) for one in (down, up, other)))

    def _nearest(self, kit: Kit, nearest_first: Iterable[Part]) -> _Beside | None:
        """The nearest size that may be chosen; only where none may, the nearest that is refused, to say why."""
        refused: _Beside | None = None
        for other in nearest_first:
            found = _Beside(other, *self._judge_in_place(kit, other.gear))
            if not found.refusals:
                return found
            refused = refused or found
        return refused

    def _with(self, kit: Kit, beside: _Beside) -> Neighbour:
        part = beside.part
        other = self.kit({**kit.bought, part.slot: part}, (beside.refusals, beside.misfits))
        return Neighbour(part=part, kit=other, instead_of=kit)

    def price_change(self, beside: Neighbour) -> Cents:
        """Cents that the core parts of a kit with another part in it are charged more or less."""
        now, then = beside.instead_of.price.core_charged, beside.kit
        if self.agreed.discount:
            return then.price.core_charged - now
        bought = [then.bought[slot] for slot in CORE_SLOTS if slot in then.bought]
        lines, _ = price_core(
            bought, self.shelf.catalogue.policy, self.today
        )  # Nothing else changes what they are charged.
        return sum([line.charged for line in lines]) - now

    def best_ignoring_stock(self, slot: str) -> Part | None:
        """The part on sale of least misfit by itself, in stock or not; to say what would fit better but is out of stock."""
        sizing, best = self.fitting.sizing, None
        judge, ideal = sizing.judge_of(slot), sizing.ideal(slot)
        at_least = sizing.misfit_by_size(slot)
        for way in self.shelf.catalogue.outward(slot, ideal):
            for part in way:
                if best is not None and is_less(best[0], at_least(part.gear.size)):
                    break
                verdict = judge(part.gear)
                if isinstance(verdict, Fits) and (best is None or (verdict.misfit, part.sku) < best):
                    best = verdict.misfit, part.sku
        return None if best is None else self.shelf.catalogue.parts[best[1]]


class _Beside(NamedTuple):
    """A part beside a kit's, and what is said of the kit with it."""

    part: Part
    refusals: tuple[DoesNotFit, ...]
    misfits: Mapping[str, float]


def _size_of(part: Part) -> float:
    return part.gear.size


def _small(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _own_kg(gear: Mapping[str, Gear]) -> float:
    return sum(gear[slot].number_or("mass_kg", nominal) for slot, nominal in NOMINAL_KG.items())


def _within(best_first: Iterable[Kit], budget: int | None) -> Kit | None:
    if budget is None:
        return None
    return next((kit for kit in best_first if kit.price.balance <= budget), None)


@dataclass(frozen=True)
class Choice:
    """The answer to a learner: the frontier (cheapest first) and the kits that stand out."""

    fitting: Fitting
    frontier: tuple[Kit, ...]
    nearest: Kit | None
    within_budget: Kit | None
    next_step: Kit | None
    unmet: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def recommended(self) -> Kit | None:
        """The sound kit of least misfit, whatever the budget."""
        return self.frontier[-1] if self.frontier else None

    @property
    def least_money(self) -> Kit | None:
        """The cheapest sound kit."""
        return self.frontier[0] if self.frontier else None

    @property
    def targets(self) -> Mapping[str, Target]:
        """What each slot should be."""
        return self.fitting.sizing.targets


@dataclass(frozen=True, kw_only=True)
class Instead:
    """A kit in place of another, and what that changes."""

    kit: Kit
    instead_of: Kit

    @property
    def margin_change_l(self) -> float:
        """Litres of float margin more or less."""
        return self.kit.float_margin_l - self.instead_of.float_margin_l

    @property
    def takeoff_change_kn(self) -> float:
        """Knots of take-off speed more or less."""
        return self.kit.takeoff_kn - self.instead_of.takeoff_kn


@dataclass(frozen=True, kw_only=True)
class Neighbour(Instead):
    """A part one size off, the kit with it, and what that changes."""

    part: Part

    @property
    def refusal(self) -> str | None:
        """Why it may not be chosen, or None where it may."""
        return self.kit.refusals[0].reason if self.kit.refusals else None

    @property
    def steadiness_change_percent(self) -> float:
        """Tail volume more or less, in per cent."""
        return 100 * (self.kit.tail_volume / self.instead_of.tail_volume - 1)


@dataclass(frozen=True)
class Neighbours:
    """What stands beside a part, where it exists: a size down, a size up, the nearest of another maker."""

    smaller: Neighbour | None
    larger: Neighbour | None
    other_maker: Neighbour | None


def size_words(gear: Gear) -> str:
    """A piece's size with its unit: 104 l, 72 cm, 1720 cm², 5.5 m²."""
    unit = {"l": "l", "cm": "cm", "cm2": "cm²", "m2": "m²"}[UNITS[gear.slot]]
    return f"{gear.number(SIZES[gear.slot]):g} {unit}"
