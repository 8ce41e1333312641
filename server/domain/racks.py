"""Parts hung by size: for each slot and joint two rails, made once for a catalogue's version, a day and a kit discount.

A rail leads away from an ideal size, up or down, so that a part further along fits worse. Beside each part stands the next one that
costs less: whoever wants something cheaper goes there at once, and need not look at what hangs between.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from heapq import heappop, heappush
from itertools import pairwise
from typing import NamedTuple, cast

from server.domain.catalogue import Catalogue, Gear, Part
from server.domain.fit import SAME
from server.domain.slots import CORE_SLOTS

HUNDREDTHS = 100
MOST_KEPT = 12
"""Racks of so many kit discounts and days are kept with a catalogue."""

Joint = tuple[str, ...]
"""What a part joins others by: a board's track, a mast's mount and track, the mount of the other three, nothing for a hand wing."""
Racks = Mapping[str, Mapping[Joint, "Rack"]]


class Hung(NamedTuple):
    """A piece on a rail: what it adds to a kit's price in hundredths of a cent, its SKU (empty for a kept piece), its measures."""

    cost: int
    sku: str
    gear: Gear


class Found(NamedTuple):
    """A piece that a walk has found worth looking at, with its weighted misfit and how many are free."""

    misfit: float
    free: int
    hung: Hung


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


@dataclass(frozen=True, slots=True)
class View:
    """A slot as one learner sees it; misfits are weighted.

    `at_least` is what a piece of a size misses the ideal by at least, and never falls along a rail; nothing that misses it by more
    than `most` may be in a kit. `judge` is the misfit of a piece, None where it may not be in one.
    """

    free: Mapping[str, int]
    at_least: Callable[[float], float]
    judge: Callable[[Gear], float | None]
    most: float
    limit_at: Callable[[float], float] | None = None
    """What a piece that misses by so much at least must cost less than, in hundredths of a cent, to be of use."""
    keeps_all: bool = False
    """Whether a piece is of use though another one fits better for less, as front foils are whose tails differ."""

    def of_all_below(self, limit_at: Callable[[float], float]) -> View:
        """The same, but of all pieces that cost less than a limit."""
        return View(self.free, self.at_least, self.judge, self.most, limit_at, keeps_all=True)


@dataclass(frozen=True, slots=True)
class Rail:
    """Pieces in the order of the way along it: rising sizes, or (`is_down`) falling ones; of one size the cheapest first."""

    is_down: bool
    sizes: Sequence[float]
    hung: Sequence[Hung]
    cheaper: Sequence[int]
    """For each place the next one along the way that costs less; the number of places where there is none."""
    twins: Sequence[bool]
    """For each place whether its piece costs and measures the same as the one before: either may stand for the other."""
    least_cost: int
    _way: Sequence[float]

    @classmethod
    def of(cls, pieces: Sequence[Hung], *, is_down: bool) -> Rail:
        """A rail of pieces in any order."""
        sign = -1 if is_down else 1
        along = sorted((sign * piece.gear.size, piece.cost, piece.sku, place) for place, piece in enumerate(pieces))
        way = [entry[0] for entry in along]
        costs = [entry[1] for entry in along]
        hung = [pieces[entry[3]] for entry in along]
        twins = [False, *(a.cost == b.cost and a.gear.measures == b.gear.measures for a, b in pairwise(hung))]
        return cls(is_down, [sign * size for size in way], hung, _next_less(costs), twins, min(costs), way)

    def place_of(self, size: float, *, and_itself: bool) -> int:
        """The first place that lies beyond a size, or (`and_itself`) at it."""
        find = bisect_left if and_itself else bisect_right
        return find(self._way, -size if self.is_down else size)

    def worth_having(self, place: int, view: View) -> Iterator[Found]:
        """The free pieces from a place on that can matter to a learner.

        A piece is passed by where one that was found fits better for the same money or less, or no worse for a whole cent less; and
        where a twin of it comes first by SKU of which at least as many are free.
        """
        hung, sizes, cheaper, twins, free = self.hung, self.sizes, self.cheaper, self.twins, view.free
        at_least, judge, limit_at, most = view.at_least, view.judge, view.limit_at, view.most
        limit = math.inf
        waiting: list[tuple[float, int]] = []  # What was found, until everything further on fits worse.
        places, most_free = len(hung), 0
        while place < places:
            piece = hung[place]
            cost = piece.cost
            if cost >= limit:
                place = cheaper[place]
                continue
            least = at_least(sizes[place])
            if least > most:
                return
            while waiting and waiting[0][0] < least - 2 * SAME:
                limit = min(limit, heappop(waiting)[1])
            if limit_at is not None:
                limit = min(limit, limit_at(least))
            if cost >= limit:
                place = cheaper[place]
                continue
            if not twins[place]:
                most_free = 0
            place += 1
            pieces = free.get(piece.sku, 0)
            if pieces <= most_free:
                continue
            misfit = judge(piece.gear)
            if misfit is None:
                continue
            most_free = pieces
            yield Found(misfit, pieces, piece)
            if not view.keeps_all:
                heappush(waiting, (misfit, cost))
                if misfit <= least and cost + HUNDREDTHS < limit:
                    limit = cost + HUNDREDTHS


def _next_less(costs: Sequence[int]) -> list[int]:
    """For each place the next one with a smaller number; the number of places where there is none."""
    onward = [len(costs)] * len(costs)
    waiting: list[int] = []
    for place, cost in enumerate(costs):
        while waiting and costs[waiting[-1]] > cost:
            onward[waiting.pop()] = place
        waiting.append(place)
    return onward


@dataclass(frozen=True, slots=True)
class Rack:
    """The pieces of a slot that join by the same joint, on a rail up and a rail down."""

    up: Rail
    down: Rail

    @classmethod
    def of(cls, pieces: Sequence[Hung]) -> Rack:
        """A rack of pieces in any order."""
        return cls(Rail.of(pieces, is_down=False), Rail.of(pieces, is_down=True))

    def around(self, ideal: float, view: View) -> Iterator[Found]:
        """What is worth having, from an ideal size on both ways."""
        yield from self.up.worth_having(self.up.place_of(ideal, and_itself=True), view)
        yield from self.down.worth_having(self.down.place_of(ideal, and_itself=False), view)


def joint_of(gear: Gear) -> Joint:
    """What a piece joins others by."""
    if gear.slot == "mast":
        return gear.text("mount"), gear.text("track")
    if gear.slot == "hand_wing":
        return ()
    return (gear.text("track" if gear.slot == "board" else "mount"),)


def racks_of(catalogue: Catalogue, percent: int, today: date) -> Racks:
    """All core parts on sale, in stock or not, hung under a kit discount on a day; made once and kept with the catalogue."""
    kept = catalogue.workings
    found = kept.get((percent, today))
    if found is None:
        if len(kept) >= MOST_KEPT:
            kept.clear()
        found = kept[percent, today] = _hang(catalogue, percent, today)
    return cast(Racks, found)


def _hang(catalogue: Catalogue, percent: int, today: date) -> Racks:
    ties = catalogue.policy.markdown_wins_ties
    racks: dict[str, dict[Joint, Rack]] = {}
    for slot in CORE_SLOTS:
        by_joint: dict[Joint, list[Hung]] = {}
        for part in catalogue.sold_in(slot):
            hung = Hung(exact_cost(part, percent, today, ties), part.sku, part.gear)
            by_joint.setdefault(joint_of(part.gear), []).append(hung)
        racks[slot] = {joint: Rack.of(pieces) for joint, pieces in by_joint.items()}
    return racks
