"""The exact frontier of kits: no other kit is at least as well fitting, at least as cheap, and better in one.

A kit's price is a sum that is rounded once, so it is carried as whole hundredths of a cent and rounded at the end; a smaller sum
never rounds to a larger price. Slots that have nothing to do with each other are thinned apart and joined: boards and masts
by track; fuselages, front foils and tails by mount, tails walked outward from what each front foil asks for; then both by the
mast's mount; then hand wings. Nothing is sampled, and of kits equal in fit and price one stays by a stated rule.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from server.domain.catalogue import Gear, Part, Shelf
from server.domain.fit import SAME, Fits, Fitting, is_less
from server.domain.money import Cents
from server.domain.slots import CORE_SLOTS

HUNDREDTHS = 100
ALWAYS_FREE = 1_000_000_000


class Option(NamedTuple):
    """One choice for a slot, or for several joined: exact cost, weighted misfit, least free stock and the SKUs."""

    cost: int
    """Hundredths of a cent, before the rounding."""
    misfit: float
    free: int
    skus: tuple[str, ...]

    @property
    def price(self) -> Cents:
        """The price in whole cents: what is left when the discount is rounded half up."""
        return -((HUNDREDTHS // 2 - self.cost) // HUNDREDTHS)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A piece of gear that may take a slot: what a part on the shelf or a kept one comes to."""

    gear: Gear
    option: Option


def exact_cost(part: Part, percent: int, today: date, markdown_wins_ties: bool = True) -> int:
    """What a bought core part adds to a kit's price under a tier, in hundredths of a cent.

    A line takes its markdown if that is at most list × (100 − percent)/100, compared exactly; else its share of the tier.
    """
    in_tier = part.price * (100 - percent)
    marked_down = part.markdown_on(today)
    if marked_down is None:
        return in_tier
    by_markdown = marked_down * HUNDREDTHS
    wins = by_markdown <= in_tier if markdown_wins_ties else by_markdown < in_tier
    return by_markdown if wins else in_tier


def thin(options: Iterable[Option]) -> list[Option]:
    """Drop every option that can be part of no kit on the frontier, whatever it is joined with; cheapest first.

    An option goes when another is at most as dear and fits better; or is dearer by a whole cent and fits no better; or is
    as good in cost, fit, stock and SKU. What differs by less is kept, since rounding may still make the two equal.
    """
    kept: list[Option] = []
    best_misfit = best_a_cent_below = math.inf
    a_cent_below = 0
    for option in sorted(options, key=lambda o: (o.cost, o.misfit, -o.free, o.skus)):
        while a_cent_below < len(kept) and kept[a_cent_below].cost <= option.cost - HUNDREDTHS:
            best_a_cent_below = min(best_a_cent_below, kept[a_cent_below].misfit)
            a_cent_below += 1
        if best_misfit < option.misfit - 2 * SAME or best_a_cent_below <= option.misfit:
            continue
        if any(
            near.misfit <= option.misfit and near.free >= option.free and near.skus <= option.skus
            for near in kept[a_cent_below:]
        ):
            continue
        kept.append(option)
        best_misfit = min(best_misfit, option.misfit)
    return kept


def join(left: Sequence[Option], right: Sequence[Option]) -> list[Option]:
    """Every option of one side with every option of the other, thinned."""
    return thin(
        Option(a.cost + b.cost, a.misfit + b.misfit, min(a.free, b.free), a.skus + b.skus) for a in left for b in right
    )


def settle(options: Iterable[Option]) -> list[Option]:
    """The frontier in whole cents, cheapest first, one kit for each price.

    Misfits within 1e-9 are equal; of kits equal in both, the one with the larger least free stock stays, then the one whose SKUs
    come first in slot order.
    """
    by_price: dict[Cents, list[Option]] = {}
    for option in options:
        by_price.setdefault(option.price, []).append(option)
    frontier: list[Option] = []
    for _, same_price in sorted(by_price.items()):
        least = min(option.misfit for option in same_price)
        if frontier and not is_less(least, frontier[-1].misfit):
            continue
        equal = [option for option in same_price if not is_less(least, option.misfit)]
        frontier.append(min(equal, key=lambda o: (-o.free, o.skus)))
    return frontier


@dataclass(frozen=True)
class Choosing:
    """The candidates of each slot for one learner, and the walk over them."""

    fitting: Fitting
    candidates: Mapping[str, Sequence[Candidate]]
    cap: float

    def frontier(self) -> list[Option]:
        """All kits of the frontier, cheapest first; SKUs in slot order, empty for a kept part."""
        upper, lower = self._boards_on_masts(), self._foils()
        joined: list[Option] = []
        for mount, boards_and_masts in upper.items():
            if mount in lower:
                joined += join(boards_and_masts, lower[mount])
        wings = thin(wing.option for wing in self.candidates["hand_wing"])
        return settle(join(thin(joined), wings))

    def _boards_on_masts(self) -> dict[str, list[Option]]:
        boards: dict[str, list[Option]] = {}
        for board in self.candidates["board"]:
            boards.setdefault(board.gear.text("track"), []).append(board.option)
        masts: dict[tuple[str, str], list[Option]] = {}
        for mast in self.candidates["mast"]:
            masts.setdefault((mast.gear.text("mount"), mast.gear.text("track")), []).append(mast.option)
        boards = {track: thin(options) for track, options in boards.items()}
        pairs: dict[str, list[Option]] = {}
        for (mount, track), options in masts.items():
            if track in boards:
                pairs.setdefault(mount, []).extend(join(boards[track], thin(options)))
        return {mount: thin(options) for mount, options in pairs.items()}

    def _foils(self) -> dict[str, list[Option]]:
        by_mount: dict[str, dict[str, list[Candidate]]] = {}
        for slot in ("fuselage", "front_foil", "tail"):
            for candidate in self.candidates[slot]:
                by_mount.setdefault(candidate.gear.text("mount"), {}).setdefault(slot, []).append(candidate)
        return {
            mount: self._foils_of(slots["fuselage"], slots["front_foil"], slots["tail"])
            for mount, slots in by_mount.items()
            if len(slots) == 3
        }

    def _foils_of(
        self, fuselages: Sequence[Candidate], foils: Sequence[Candidate], tails: Sequence[Candidate]
    ) -> list[Option]:
        sizing, weight = self.fitting.sizing, self.fitting.sizing.terms.weights["tail"]
        walk = TailWalk(tails)
        lengths = _worth_their_length(fuselages)
        found: list[Option] = []
        for foil in foils:
            foil_cm2 = foil.gear.size
            ideal, guard = sizing.ideal_tail_cm2(foil_cm2), sizing.least_tail_times_fuselage(foil_cm2)
            for fuselage in lengths:
                for tail in walk.outward_from(ideal, (guard - SAME) / fuselage.gear.size):
                    misfit = sizing.tail_misfit(tail.gear.size, foil_cm2)
                    if is_less(self.cap, misfit):
                        continue
                    found.append(_triple(fuselage.option, foil.option, tail.option, weight * misfit))
        return thin(found)


def _triple(fuselage: Option, foil: Option, tail: Option, tail_misfit: float) -> Option:
    return Option(
        fuselage.cost + foil.cost + tail.cost,
        fuselage.misfit + foil.misfit + tail_misfit,
        min(fuselage.free, foil.free, tail.free),
        fuselage.skus + foil.skus + tail.skus,
    )


def _worth_their_length(fuselages: Sequence[Candidate]) -> list[Candidate]:
    """Fuselages that another does not outdo in everything, its length included (a longer one passes the guard more easily)."""
    kept: list[Candidate] = []
    for one in sorted(
        fuselages, key=lambda f: (f.option.cost, f.option.misfit, -f.gear.size, -f.option.free, f.option.skus)
    ):
        if not any(other.gear.size >= one.gear.size and _outdoes(other.option, one.option) for other in kept):
            kept.append(one)
    return kept


def _outdoes(a: Option, b: Option) -> bool:
    """Whether a, not dearer than b, leaves b no place on any frontier (the three rules of `thin`)."""
    if a.misfit < b.misfit - 2 * SAME or (a.cost <= b.cost - HUNDREDTHS and a.misfit <= b.misfit):
        return True
    return a.misfit <= b.misfit and a.free >= b.free and a.skus <= b.skus


class TailWalk:
    """The tails of one mount by area, walked outward from an ideal: further off only where that is cheaper."""

    def __init__(self, tails: Sequence[Candidate]) -> None:
        groups: dict[float, list[Candidate]] = {}
        for tail in tails:
            groups.setdefault(tail.gear.size, []).append(tail)
        self._areas = sorted(groups)
        self._groups = [self._near_cheapest(groups[area]) for area in self._areas]
        self._costs = [min(tail.option.cost for tail in group) for group in self._groups]
        self._cheaper_above = self._next_cheaper(range(len(self._costs) - 1, -1, -1))
        self._cheaper_below = self._next_cheaper(range(len(self._costs)))

    @staticmethod
    def _near_cheapest(group: Sequence[Candidate]) -> list[Candidate]:
        by_option = {tail.option: tail for tail in group}
        return [by_option[option] for option in thin(by_option)]

    def _next_cheaper(self, order: Iterable[int]) -> dict[int, int | None]:
        """For each place the nearest one further along the way (the order walked backwards) that is cheaper."""
        onward: dict[int, int | None] = {}
        waiting: list[int] = []
        for place in order:
            while waiting and self._costs[waiting[-1]] >= self._costs[place]:
                waiting.pop()
            onward[place] = waiting[-1] if waiting else None
            waiting.append(place)
        return onward

    def outward_from(self, ideal: float, least: float) -> Iterable[Candidate]:
        """Tails of at least the least area that can matter: the nearest on each side, then only cheaper ones."""
        first = bisect_left(self._areas, least)
        above = max(bisect_left(self._areas, ideal), first)
        place: int | None = above if above < len(self._areas) else None
        while place is not None:
            yield from self._groups[place]
            place = self._cheaper_above[place]
        place = above - 1 if above > first else None
        while place is not None and place >= first:
            yield from self._groups[place]
            place = self._cheaper_below[place]


def choosing(fitting: Fitting, shelf: Shelf, percent: int, today: date, cap: float) -> Choosing:
    """The candidates a learner's kit may be made of: kept gear, else parts free today that are not refused nor over the cap.

    With `cap` infinite, parts over the cap are candidates too; refused ones never are.
    """
    ties = shelf.catalogue.policy.markdown_wins_ties
    candidates: dict[str, list[Candidate]] = {}
    for slot in CORE_SLOTS:
        gear = fitting.kept.get(slot)
        if gear is not None:
            candidates[slot] = [_kept_candidate(fitting, gear)]
            continue
        weight = fitting.sizing.terms.weights[slot]
        rows = candidates[slot] = []
        for part in shelf.core[slot]:
            verdict = Fits(0.0) if slot == "tail" else fitting.sizing.judge(part.gear)
            if isinstance(verdict, Fits) and not is_less(cap, verdict.misfit):
                cost = exact_cost(part, percent, today, ties)
                free = shelf.free[part.sku]
                rows.append(Candidate(part.gear, Option(cost, weight * verdict.misfit, free, (part.sku,))))
    return Choosing(fitting, candidates, cap)


def _kept_candidate(fitting: Fitting, gear: Gear) -> Candidate:
    verdict = Fits(0.0) if gear.slot == "tail" else fitting.sizing.judge(gear)
    misfit = verdict.misfit if isinstance(verdict, Fits) else math.inf
    return Candidate(gear, Option(0, fitting.sizing.terms.weights[gear.slot] * misfit, ALWAYS_FREE, ("",)))
