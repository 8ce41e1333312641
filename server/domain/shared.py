"""One kit that two riders share: board, mast, fuselage, front foil and tail for both, a hand wing for each.

The shared kit is the one of least summed misfit, found exactly: hand wings have nothing to do with the rest; boards and masts are
joined by track, fuselages, front foils and tails by mount and by the stability guard of both riders, and both by the
mast's mount. Nothing that is refused for one of the riders is ever in it, so the heavier one's float floor holds.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import NamedTuple

from server.domain.catalogue import Gear, Part
from server.domain.fit import SAME, Fits, Sizing, do_not_join, is_less
from server.domain.kits import FOUR_PARTS_OF_FOIL, Fitter, Instead, Kit
from server.domain.money import Cents
from server.domain.pricing import price_core, tier_for
from server.domain.racks import HUNDREDTHS, exact_cost
from server.domain.slots import CORE_SLOTS, SLOT_WORDS

SHARED_SLOTS = ("board", "mast", "fuselage", "front_foil", "tail")
WING = "hand_wing"
NOT_SOUND = "No kit in stock suits you both well: this is the nearest. Talk to us before you decide on it."

Riders = tuple[Fitter, Fitter]


@dataclass(frozen=True, slots=True)
class GivenUp:
    """What one rider gives up in one slot against their own best kit, in weighted misfit; below zero is a gain."""

    slot: str
    own: Gear
    shared: Gear
    misfit: float


@dataclass(frozen=True)
class Side:
    """One rider's side of a shared kit: what it comes to for them, and the best kit they would have alone."""

    kit: Kit
    own: Kit | None
    """The recommended kit for this rider alone, else the nearest; None where they would have none."""
    weights: Mapping[str, float]

    @property
    def given_up(self) -> tuple[GivenUp, ...]:
        """Slot by slot what this rider gives up; nothing where they would have no kit alone."""
        if self.own is None:
            return ()
        return tuple(
            GivenUp(
                slot,
                self.own.gear_in(slot),
                self.kit.gear_in(slot),
                self.weights[slot] * (self.kit.misfits[slot] - self.own.misfits[slot]),
            )
            for slot in CORE_SLOTS
        )

    @property
    def misfit_given_up(self) -> float:
        """The sum of what is given up, in weighted misfit."""
        return 0.0 if self.own is None else self.kit.misfit - self.own.misfit

    @property
    def margin_change_l(self) -> float:
        """Litres of float margin more or less than with the own best kit."""
        return 0.0 if self.own is None else self.kit.float_margin_l - self.own.float_margin_l

    @property
    def takeoff_change_kn(self) -> float:
        """Knots of take-off speed more or less than with the own best kit."""
        return 0.0 if self.own is None else self.kit.takeoff_kn - self.own.takeoff_kn

    @property
    def wing_is_unchanged(self) -> bool:
        """Whether the hand wing is as large as in the own best kit."""
        return self.own is None or abs(self.kit.gear_in(WING).size - self.own.gear_in(WING).size) <= SAME


@dataclass(frozen=True, kw_only=True)
class OwnPart(Instead):
    """One rider's own best part in a shared slot, with all the rest still shared: what it costs beside the kit and wins them."""

    rider: int
    slot: str
    part: Part | None
    """None where it is a piece this rider has already."""
    price: Cents

    @property
    def misfit_won(self) -> float:
        """The weighted misfit that this rider is rid of."""
        return self.instead_of.misfit - self.kit.misfit


@dataclass(frozen=True)
class Shared:
    """A kit that two riders share, and what stands against it."""

    sides: tuple[Side, Side]
    parts: Mapping[str, Part]
    """What is bought for both, by slot."""
    kept_by: Mapping[str, int]
    """Whose own gear (0 or 1) fills a slot for both."""
    price: Cents
    """The kit with both hand wings, core parts alone; see `price_together`."""
    two_kits: Cents | None
    """The core parts of two whole kits, each at its own kit price; None where one of the riders has none alone."""
    short_of: tuple[str, ...]
    """The slots whose one free piece both own best kits would take, so that the two could not be had today."""
    instead: tuple[OwnPart, ...]
    notes: tuple[str, ...]

    @property
    def misfit(self) -> float:
        """The weighted misfits of both riders together."""
        return self.sides[0].kit.misfit + self.sides[1].kit.misfit

    @property
    def is_sound(self) -> bool:
        """Whether the kit is sound for both."""
        return all(side.kit.is_sound for side in self.sides)


@dataclass(frozen=True, slots=True)
class NotShared:
    """No kit can be shared, and why, as a sentence."""

    reason: str


def share(first: Fitter, second: Fitter) -> Shared | NotShared:
    """The kit of least summed misfit for two riders before the same shelf on the same day, or why there is none.

    Sound for both where any is; else the least misfit with nothing refused, and a note. Of kits equal in misfit (within 1e-9) the
    cheapest, then the one whose SKUs come first in slot order. A core piece that one rider keeps fills its slot for both
    unless it is refused for the other; where both keep one, the one with which the summed misfit is least.
    """
    riders = (first, second)
    cap = first.shelf.catalogue.policy.fit.misfit_cap
    best = _Walk(riders, cap).best()
    notes: tuple[str, ...] = ()
    if best is None:
        walk = _Walk(riders, math.inf)
        best, notes = walk.best(), (NOT_SOUND,)
        if best is None:
            return NotShared(walk.why_none())
    return _told(riders, best, notes)


def price_together(shared: Sequence[Part], wings: tuple[Part | None, Part | None], rider: Fitter) -> Cents:
    """What the shared parts and both hand wings cost, in cents: core parts alone, without extras, delivery or trade-in.

    They are bought as one rider's kit, with its discount, and the other's hand wing beside it at its price today; of
    the two ways round the cheaper one. A hand wing that its rider keeps is None and costs nothing.
    """
    policy = rider.shelf.catalogue.policy

    def bought_by(own: Part | None, other: Part | None) -> Cents:
        lines, _ = price_core([*shared, own] if own else shared, policy, rider.today)
        return sum(line.charged for line in lines) + (other.price_on(rider.today) if other else 0)

    return min(bought_by(wings[0], wings[1]), bought_by(wings[1], wings[0]))


# --- choosing


class _Piece(NamedTuple):
    """A piece of gear that may take a shared slot: its misfits for both riders, weighted and summed."""

    misfit: float
    gear: Gear
    part: Part | None = None
    owner: int = -1
    costs: tuple[int, int] = (0, 0)
    """Hundredths of a cent under the tier of either rider's kit."""

    @property
    def sku(self) -> str:
        """The SKU, empty where it is kept."""
        return self.part.sku if self.part else ""


class _Wing(NamedTuple):
    """A hand wing for one rider, bought or kept."""

    misfit: float
    part: Part | None

    @property
    def sku(self) -> str:
        """The SKU, empty where it is kept."""
        return self.part.sku if self.part else ""


class _Set(NamedTuple):
    """Pieces joined, and their misfits summed."""

    misfit: float
    pieces: tuple[_Piece, ...]


class _Chosen(NamedTuple):
    """The five shared pieces in slot order, and a hand wing for each rider."""

    pieces: tuple[_Piece, ...]
    wings: tuple[_Wing, _Wing]


def _nearest(sets: Iterable[_Set]) -> list[_Set]:
    """The sets of least misfit, with all that may yet be equal to it when it is joined with others."""
    nearest: list[_Set] = []
    least = math.inf
    for one in sets:
        if one.misfit <= least + 2 * SAME:
            nearest.append(one)
            least = min(least, one.misfit)
    return [one for one in nearest if one.misfit <= least + 2 * SAME]


class _Walk:
    """The candidates of every slot for two riders within a cap of misfit, and the walk over them."""

    def __init__(self, riders: Riders, cap: float) -> None:
        self._riders, self._cap = riders, cap
        self._sizings = (riders[0].fitting.sizing, riders[1].fitting.sizing)
        self._weights = self._sizings[0].terms.weights
        self._percents = self._percents_of(self._kept_slots())
        self.candidates = {slot: self._candidates(slot) for slot in SHARED_SLOTS}
        self.wings = (self._wings_for(0), self._wings_for(1))

    # --- candidates

    def _own(self, slot: str) -> list[_Piece]:
        """The riders' own pieces for a slot that neither is refused."""
        own: list[_Piece] = []
        for owner, rider in enumerate(self._riders):
            gear = rider.fitting.kept.get(slot)
            misfit = None if gear is None else self._misfit(gear, math.inf)
            if gear is not None and misfit is not None:
                own.append(_Piece(misfit, gear, owner=owner))
        return own

    def _kept_slots(self) -> set[str]:
        return {slot for slot in SHARED_SLOTS if self._own(slot)}

    def _percents_of(self, kept: set[str]) -> tuple[int, int]:
        """The percentage of the tier that holds where the kit is bought with one's hand wing, and with the other's."""
        policy = self._riders[0].shelf.catalogue.policy
        percents = []
        for rider in self._riders:
            bought = [slot for slot in SHARED_SLOTS if slot not in kept]
            bought += [WING] if WING in rider.fitting.to_buy else []
            tier = tier_for(bought, policy)
            percents.append(tier.percent if tier else 0)
        return percents[0], percents[1]

    def _misfit(self, gear: Gear, cap: float) -> float | None:
        """Both riders' misfits with a piece by itself (a tail's come with its front foil); None where one may not have it."""
        total = 0.0
        for sizing in self._sizings:
            verdict = Fits(0.0) if gear.slot == "tail" else sizing.judge(gear)
            if not isinstance(verdict, Fits) or is_less(cap, verdict.misfit):
                return None
            total += self._weights[gear.slot] * verdict.misfit
        return total

    def _candidates(self, slot: str) -> list[_Piece]:
        own = self._own(slot)
        if own:
            within = [(piece, self._misfit(piece.gear, self._cap)) for piece in own]
            return [piece for piece, misfit in within if misfit is not None]
        shelf, today = self._riders[0].shelf, self._riders[0].today
        ties = shelf.catalogue.policy.markdown_wins_ties
        pieces = []
        for part in shelf.core[slot]:
            misfit = self._misfit(part.gear, self._cap)
            if misfit is not None:
                one, other = (exact_cost(part, percent, today, ties) for percent in self._percents)
                pieces.append(_Piece(misfit, part.gear, part, costs=(one, other)))
        return _thinned(pieces)

    def _wings_for(self, rider: int) -> list[_Wing]:
        sizing, kept = self._sizings[rider], self._riders[rider].fitting.kept.get(WING)
        parts = self._riders[0].shelf.core[WING]
        pieces: list[tuple[Gear, Part | None]] = [(kept, None)] if kept else [(part.gear, part) for part in parts]
        wings = []
        for gear, part in pieces:
            verdict = sizing.judge(gear)
            if isinstance(verdict, Fits) and not is_less(self._cap, verdict.misfit):
                wings.append(_Wing(self._weights[WING] * verdict.misfit, part))
        return wings

    # --- joining

    def best(self) -> _Chosen | None:
        """The kit of least summed misfit; of equal ones the cheapest, then by SKU; None where nothing goes together."""
        upper, lower = self._boards_on_masts(), self._foils()
        cores = _nearest(
            _Set(above.misfit + below.misfit, above.pieces + below.pieces)
            for mount in upper.keys() & lower.keys()
            for above in upper[mount]
            for below in lower[mount]
        )
        pairs = list(self._pairs_of_wings())
        least_core = min((core.misfit for core in cores), default=math.inf)
        least = least_core + min((one.misfit + other.misfit for one, other in pairs), default=math.inf)
        tied = [
            _Chosen(core.pieces, pair)
            for pair in pairs
            if not is_less(least - least_core, pair[0].misfit + pair[1].misfit)
            for core in cores
            if not is_less(least, core.misfit + pair[0].misfit + pair[1].misfit)
        ]
        return min(tied, key=self._rank, default=None)

    def _rank(self, chosen: _Chosen) -> tuple[Cents, tuple[str, ...], tuple[float, ...]]:
        shared = [piece.part for piece in chosen.pieces if piece.part]
        one, other = chosen.wings
        price = price_together(shared, (one.part, other.part), self._riders[0])
        skus = (*(piece.sku for piece in chosen.pieces), one.sku, other.sku)
        return price, skus, tuple(piece.gear.size for piece in chosen.pieces)

    def _pairs_of_wings(self) -> Iterator[tuple[_Wing, _Wing]]:
        """A hand wing for each; the same one for both only where two pieces are free."""
        free = self._riders[0].shelf.free
        for one in self.wings[0]:
            for other in self.wings[1]:
                if one.part is None or one.sku != other.sku or free[one.sku] > 1:
                    yield one, other

    def _boards_on_masts(self) -> dict[str, list[_Set]]:
        boards: dict[str, list[_Set]] = {}
        for board in self.candidates["board"]:
            boards.setdefault(board.gear.text("track"), []).append(_Set(board.misfit, (board,)))
        nearest = {track: _nearest(sets) for track, sets in boards.items()}
        joined: dict[str, list[_Set]] = {}
        for mast in self.candidates["mast"]:
            joined.setdefault(mast.gear.text("mount"), []).extend(
                _Set(board.misfit + mast.misfit, (*board.pieces, mast))
                for board in nearest.get(mast.gear.text("track"), [])
            )
        return {mount: _nearest(sets) for mount, sets in joined.items() if sets}

    def _foils(self) -> dict[str, list[_Set]]:
        by_mount: dict[str, dict[str, list[_Piece]]] = {}
        for slot in ("fuselage", "front_foil", "tail"):
            for piece in self.candidates[slot]:
                by_mount.setdefault(piece.gear.text("mount"), {}).setdefault(slot, []).append(piece)
        found = {
            mount: _nearest(self._foils_of(slots["fuselage"], slots["front_foil"], slots["tail"]))
            for mount, slots in by_mount.items()
            if len(slots) == 3
        }
        return {mount: sets for mount, sets in found.items() if sets}

    def _foils_of(
        self, fuselages: Sequence[_Piece], foils: Sequence[_Piece], tails: Sequence[_Piece]
    ) -> Iterator[_Set]:
        """Sets that the guard of neither rider refuses, the nearest first tried; what cannot be nearest is passed over."""
        lengths = sorted(fuselages, key=lambda piece: piece.misfit)
        best = math.inf
        for foil in sorted(foils, key=lambda piece: piece.misfit):
            if foil.misfit + lengths[0].misfit > best + 2 * SAME:
                return
            guard = max(sizing.least_tail_times_fuselage(foil.gear.size) for sizing in self._sizings)
            behind = self._tails_behind(foil, tails)
            for fuselage in lengths:
                so_far = fuselage.misfit + foil.misfit
                for misfit, tail in behind:
                    if so_far + misfit > best + 2 * SAME:
                        break
                    if not is_less(tail.gear.size * fuselage.gear.size, guard):
                        best = min(best, so_far + misfit)
                        yield _Set(so_far + misfit, (fuselage, foil, tail))

    def _tails_behind(self, foil: _Piece, tails: Sequence[_Piece]) -> list[tuple[float, _Piece]]:
        """The tails within the cap with a front foil, each with both riders' misfits, the nearest first."""
        behind = []
        for tail in tails:
            misfits = [sizing.tail_misfit(tail.gear.size, foil.gear.size) for sizing in self._sizings]
            if not is_less(self._cap, max(misfits)):
                behind.append((self._weights["tail"] * sum(misfits), tail))
        return sorted(behind, key=lambda pair: pair[0])

    # --- why not

    def why_none(self) -> str:
        """What does not go together where no kit can be shared, as a sentence."""
        found = self.candidates
        empty = [SLOT_WORDS[slot] for slot in SHARED_SLOTS if not found[slot]]
        if empty:
            return f"No kit can be shared today: no {' and no '.join(empty)} in stock may be sold to you both."
        if not all(self.wings) or not any(True for _ in self._pairs_of_wings()):
            return "No kit can be shared today: there are not two hand wings in stock, one for each of you."
        own = {slot: found[slot] for slot in SHARED_SLOTS if found[slot][0].part is None}
        for left, right in ((a, b) for a in own for b in own if SHARED_SLOTS.index(a) < SHARED_SLOTS.index(b)):
            if all(do_not_join(one.gear, other.gear) for one in own[left] for other in own[right]):
                return (
                    f"No kit can be shared: the {SLOT_WORDS[left]} and the {SLOT_WORDS[right]} that you have already do "
                    "not fit together. Leave one of them out of the gear you keep."
                )
        tracks = {piece.gear.text("track") for piece in found["board"]}
        masts = [piece.gear for piece in found["mast"] if piece.gear.text("track") in tracks]
        if not masts:
            return "No kit can be shared today: no board and mast that suit you both have the same track."
        mounts = set.intersection(*({piece.gear.text("mount") for piece in found[slot]} for slot in FOUR_PARTS_OF_FOIL))
        if not mounts & {mast.text("mount") for mast in masts}:
            return (
                "No kit can be shared today: no mast (on a board's track), fuselage, front foil and tail that suit you "
                "both have the same mount."
            )
        return (
            "No kit can be shared today: no tail and fuselage that fit together hold a front foil level for you both."
        )


def _thinned(pieces: Iterable[_Piece]) -> list[_Piece]:
    """Without the parts that another one alike outdoes: at least as cheap and first by SKU, or a whole cent cheaper."""
    alike: dict[tuple[object, ...], list[_Piece]] = {}
    for piece in sorted(pieces, key=lambda p: (p.costs, p.sku)):
        measures = piece.gear.measures
        key = (piece.misfit, measures.get("track"), measures.get("mount"), piece.gear.size)
        kept = alike.setdefault(key, [])
        if not any(_outdoes(other, piece) for other in kept):
            kept.append(piece)
    return [piece for kept in alike.values() for piece in kept]


def _outdoes(one: _Piece, other: _Piece) -> bool:
    less_by = [theirs - ours for ours, theirs in zip(one.costs, other.costs, strict=True)]
    return min(less_by) >= HUNDREDTHS or (min(less_by) >= 0 and one.sku <= other.sku)


# --- telling


def _told(riders: Riders, chosen: _Chosen, notes: tuple[str, ...]) -> Shared:
    kept_by = {piece.gear.slot: piece.owner for piece in chosen.pieces if piece.part is None}
    kept = {piece.gear.slot: piece.gear for piece in chosen.pieces if piece.part is None}
    parts = {piece.part.slot: piece.part for piece in chosen.pieces if piece.part}
    sides = tuple(_side(rider, kept, parts, wing.part) for rider, wing in zip(riders, chosen.wings, strict=True))
    one, other = sides[0].own, sides[1].own
    return Shared(
        sides=(sides[0], sides[1]),
        parts=MappingProxyType(parts),
        kept_by=MappingProxyType(kept_by),
        price=price_together(list(parts.values()), (chosen.wings[0].part, chosen.wings[1].part), riders[0]),
        two_kits=one.price.core_charged + other.price.core_charged if one and other else None,
        short_of=_short_of(one, other, riders[0]) if one and other else (),
        instead=tuple(_own_parts(riders, (sides[0].kit, sides[1].kit))),
        notes=notes,
    )


def _putting(rider: Fitter, kept: Mapping[str, Gear], parts: Mapping[str, Part]) -> Kit:
    """What pieces already there and parts bought come to for a rider, whoever's the pieces are."""
    fitting = replace(rider.fitting, kept=MappingProxyType(dict(kept)))
    return replace(rider, fitting=fitting).kit({slot: parts[slot] for slot in CORE_SLOTS if slot in parts})


def _side(rider: Fitter, kept: Mapping[str, Gear], parts: Mapping[str, Part], wing: Part | None) -> Side:
    own_wing = rider.fitting.kept.get(WING)
    there = {**kept, WING: own_wing} if own_wing else kept
    kit = _putting(rider, there, {**parts, WING: wing} if wing else parts)
    return Side(kit, rider.recommended() or rider.nearest(), rider.fitting.sizing.terms.weights)


def _short_of(one: Kit, other: Kit, rider: Fitter) -> tuple[str, ...]:
    both = [slot for slot in CORE_SLOTS if slot in one.bought and slot in other.bought]
    same = [slot for slot in both if one.bought[slot].sku == other.bought[slot].sku]
    return tuple(slot for slot in same if rider.shelf.free[one.bought[slot].sku] < 2)


def _own_parts(riders: Riders, kits: tuple[Kit, Kit]) -> Iterator[OwnPart]:
    """In slot order and for each rider the own part that wins them most, where one wins them anything."""
    for slot in SHARED_SLOTS:
        for place, (rider, kit) in enumerate(zip(riders, kits, strict=True)):
            own = rider.fitting.kept.get(slot)
            pieces: list[tuple[Gear, Part | None]] = [(part.gear, part) for part in rider.shelf.core[slot]]
            if own is not None:
                pieces.append((own, None))
            best = _best_with(rider, kit, slot, pieces)
            if best is not None:
                gear, part = best
                others = {name: piece for name, piece in kit.kept.items() if name != slot}
                with_it = _putting(
                    rider,
                    others if part else {**others, slot: gear},
                    {
                        **{name: one for name, one in kit.bought.items() if name != slot},
                        **({slot: part} if part else {}),
                    },
                )
                price = part.price_on(rider.today) if part else 0
                yield OwnPart(rider=place, slot=slot, part=part, price=price, kit=with_it, instead_of=kit)


def _best_with(
    rider: Fitter, kit: Kit, slot: str, pieces: Sequence[tuple[Gear, Part | None]]
) -> tuple[Gear, Part | None] | None:
    """The piece with which a kit misses least for its rider, the cheapest of equal ones; None where none betters it."""
    sizing, gear = rider.fitting.sizing, kit.gear_by_slot
    now = _misfit_with(sizing, gear, slot)
    judged = [(_misfit_with(sizing, {**gear, slot: piece[0]}, slot), piece) for piece in pieces]
    better = [(misfit, piece) for misfit, piece in judged if is_less(misfit, now)]
    least = min((misfit for misfit, _ in better), default=math.inf)
    equal = [piece for misfit, piece in better if not is_less(least, misfit)]
    return min(
        equal, key=lambda piece: (piece[1].price_on(rider.today), piece[1].sku) if piece[1] else (0, ""), default=None
    )


def _misfit_with(sizing: Sizing, gear: Mapping[str, Gear], slot: str) -> float:
    """The weighted misfits that depend on the piece in a slot; endless where it is refused or does not join the rest."""
    piece, weights = gear[slot], sizing.terms.weights
    verdict = sizing.judge(piece)
    foil_cm2, tail_cm2 = gear["front_foil"].size, gear["tail"].size
    if (
        not isinstance(verdict, Fits)
        or any(do_not_join(piece, other) for name, other in gear.items() if name != slot)
        or sizing.judge_balance(tail_cm2, gear["fuselage"].size, foil_cm2) is not None
    ):
        return math.inf
    by_itself = 0.0 if slot == "tail" else weights[slot] * verdict.misfit
    return by_itself + weights["tail"] * sizing.tail_misfit(tail_cm2, foil_cm2)
