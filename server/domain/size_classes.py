"""Sizes in classes: each size that is asked for beside the stocked size it is nearest to, so that both can be counted together."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from server.domain.slots import CORE_SLOTS

STEP: Mapping[str, float] = {
    "board": 1.10,
    "mast": 78 / 72,
    "fuselage": 76 / 70,
    "front_foil": 1.15,
    "tail": 1.25,
    "hand_wing": 1.12,
}
"""The ratio of two sizes a misfit of 1 apart, as parts are judged; of the 6 cm of masts and fuselages, at their usual length."""
Where = Literal["under", "in", "over", "any"]


@dataclass(frozen=True, slots=True)
class SizeClass:
    """Sizes from `low` up to, but not including, `high`, for which the stocked sizes `first` to `last` are the nearest.

    `under` and `over` are the sizes beyond all that is stocked, for which nothing fits well; `any` is the only class of a slot of
    which nothing is stocked.
    """

    slot: str
    where: Where
    low: float
    high: float
    first: float = 0.0
    last: float = 0.0

    @property
    def key(self) -> str:
        """What it is known by while the same sizes are stocked: board:102, board:under."""
        return f"{self.slot}:{self.first:g}" if self.where == "in" else f"{self.slot}:{self.where}"


def classes_of(slot: str, sizes: Iterable[float]) -> tuple[SizeClass, ...]:
    """The classes of a slot by the sizes stocked, smallest first.

    Stocked sizes within half a step of misfit of the smallest among them are one class, since hardly a learner tells them apart. A
    size belongs to the stocked one that is nearest in logarithm: the border between two classes is the geometric mean of the sizes
    on either side of it. Beyond the smallest and the largest by a whole step of misfit begins what nothing stocked fits.
    Boards of 80, 82 and 96 l: under 72.7, from there to 88.7, to 105.6, and over.
    """
    groups = _groups(sorted(set(sizes)), math.sqrt(STEP[slot]))
    if not groups:
        return (SizeClass(slot, "any", 0.0, math.inf),)
    borders = [math.sqrt(below[-1] * above[0]) for below, above in itertools.pairwise(groups)]
    ends = [groups[0][0] / STEP[slot], *borders, groups[-1][-1] * STEP[slot]]
    stocked = (
        SizeClass(slot, "in", low, high, group[0], group[-1])
        for group, (low, high) in zip(groups, itertools.pairwise(ends), strict=True)
    )
    return (SizeClass(slot, "under", 0.0, ends[0]), *stocked, SizeClass(slot, "over", ends[-1], math.inf))


def _groups(sizes: Sequence[float], ratio: float) -> list[list[float]]:
    groups: list[list[float]] = []
    for size in sizes:
        if groups and size <= groups[-1][0] * ratio:
            groups[-1].append(size)
        else:
            groups.append([size])
    return groups


def class_of(classes: Sequence[SizeClass], size: float) -> SizeClass:
    """The class of a size, of the classes of its slot."""
    return next(one for one in classes if size < one.high)


SizesBySlot = Mapping[str, tuple[SizeClass, ...]]


def all_classes(sizes: Mapping[str, Iterable[float]]) -> SizesBySlot:
    """The classes of every core slot by the sizes stocked of each."""
    return {slot: classes_of(slot, sizes.get(slot, ())) for slot in CORE_SLOTS}
