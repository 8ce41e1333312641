"""The exact frontier of kits: no other kit is at least as well fitting, at least as cheap, and better in one.

A kit's price is a sum that is rounded once, so it is carried as whole hundredths of a cent and rounded at the end; a smaller sum
never rounds to a larger price. Options are thinned, joined and thinned again. Nothing is sampled, and of kits equal in fit and price
one stays by a stated rule.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any, NamedTuple, TypeVar

from server.domain.fit import SAME, is_less
from server.domain.money import Cents
from server.domain.racks import HUNDREDTHS

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


def thin(options: Iterable[Option]) -> list[Option]:
    """Drop every option that can be part of no kit on the frontier, whatever it is joined with; cheapest first.

    An option goes when another is at most as dear and fits better; or is dearer by a whole cent and fits no better; or is
    as good in cost, fit, stock and SKU. What differs by less is kept, since rounding may still make the two equal.
    """
    unbeaten = fitting_better(sorted(options))
    if all(a.cost <= b.cost - HUNDREDTHS and a.misfit > b.misfit for a, b in pairwise(unbeaten)):
        return unbeaten
    kept: list[Option] = []
    best_a_cent_below = math.inf
    a_cent_below = 0
    for option in sorted(unbeaten, key=lambda o: (o.cost, o.misfit, -o.free, o.skus)):
        while a_cent_below < len(kept) and kept[a_cent_below].cost <= option.cost - HUNDREDTHS:
            best_a_cent_below = min(best_a_cent_below, kept[a_cent_below].misfit)
            a_cent_below += 1
        if best_a_cent_below <= option.misfit:
            continue
        if any(
            near.misfit <= option.misfit and near.free >= option.free and near.skus <= option.skus
            for near in kept[a_cent_below:]
        ):
            continue
        kept.append(option)
    return kept


CostFirst = TypeVar("CostFirst", bound=tuple[Any, ...])


def fitting_better(by_cost: Iterable[CostFirst]) -> list[CostFirst]:
    """Of rows that begin with cost and misfit, by rising cost, those that none before fits better than."""
    left: list[CostFirst] = []
    beaten_from = best = math.inf
    for row in by_cost:
        misfit = row[1]
        if misfit <= beaten_from:
            left.append(row)
            if misfit < best:
                best, beaten_from = misfit, misfit + 2 * SAME
    return left


def join(left: Sequence[Option], right: Sequence[Option]) -> list[Option]:
    """Every option of one side with every option of the other, thinned."""
    sums = [
        (cost + other[0], misfit + other[1], one, place)
        for one, (cost, misfit, _, _) in enumerate(left)
        for place, other in enumerate(right)
    ]
    sums.sort()
    return thin(_together(cost, misfit, left[one], right[place]) for cost, misfit, one, place in fitting_better(sums))


def _together(cost: int, misfit: float, a: Option, b: Option) -> Option:
    return Option(cost, misfit, min(a.free, b.free), a.skus + b.skus)


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


class Stair:
    """The least misfit that is had for each amount of money."""

    def __init__(self, costs_and_misfits: Iterable[tuple[int, float]]) -> None:
        self._costs: list[int] = []
        self._fits: list[float] = []
        for cost, misfit in sorted(costs_and_misfits):
            if not self._fits or -misfit > self._fits[-1]:
                self._costs.append(cost)
                self._fits.append(-misfit)

    def cost_of_better(self, misfit: float) -> float:
        """For how much something fits better than that, in hundredths of a cent; endless where nothing does."""
        place = bisect_right(self._fits, 2 * SAME - misfit)
        return self._costs[place] if place < len(self._costs) else math.inf
