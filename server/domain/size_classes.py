"""Sizes in classes: each size that is asked for beside the stocked size it is nearest to, so that both can be counted together.

What nothing stocked suits is in no stocked class, however near: no piece of one could have been had in its place.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
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
Where = Literal["under", "in", "over", "between", "any"]


@dataclass(frozen=True, slots=True)
class Asked:
    """That somebody asked for a size of a slot: their ideal, the SKU they were offered ("": not known any more), if it was missed.

    `low` and `high` are the sizes that would have suited them, both 0 where that is not known any more; `day` is when they asked.
    """

    slot: str
    ideal: float
    sku: str = ""
    is_unmet: bool = False
    low: float = 0.0
    high: float = 0.0
    day: date = date.min

    def takes(self, size: float) -> bool:
        """Whether a size would have suited; where that is not known any more, one half a step of misfit away at most."""
        half = math.sqrt(STEP[self.slot])
        low, high = (self.low, self.high) if self.high else (self.ideal / half, self.ideal * half)
        return low - 1e-9 <= size <= high + 1e-9


@dataclass(frozen=True, slots=True)
class SizeClass:
    """Sizes from `low` up to, but not including, `high`, for which the stocked sizes `first` to `last` are the nearest.

    `under` and `over` are the sizes beyond all that is stocked, `first` and `last` being the outermost that is, and `between` those
    in a gap that nothing stocked fits; `any` is the only class of a slot of which nothing is stocked.
    """

    slot: str
    where: Where
    low: float
    high: float
    first: float = 0.0
    last: float = 0.0
    sizes: tuple[float, ...] = ()

    @property
    def is_stocked(self) -> bool:
        """Whether anything of it is stocked, so that something can be ordered by its SKU."""
        return self.where == "in"

    @property
    def key(self) -> str:
        """What it is known by while the same sizes are stocked: board:102, board:under."""
        return f"{self.slot}:{self.first:g}" if self.is_stocked else f"{self.slot}:{self.where}"


def classes_of(slot: str, sizes: Iterable[float]) -> tuple[SizeClass, ...]:
    """The classes of a slot by the sizes stocked, smallest first.

    Stocked sizes within half a step of misfit of the smallest among them are one class, since hardly a learner tells them apart. A
    size belongs to the stocked one that is nearest in logarithm: the border between two classes is the geometric mean of the sizes
    on either side of it. Beyond the smallest and the largest by a whole step of misfit begins what nothing stocked fits.
    Boards of 80, 82 and 96 l: under 72.7, from there to 88.7, to 105.6, and over. No size by itself is in the class between.
    """
    groups = _groups(sorted(set(sizes)), math.sqrt(STEP[slot]))
    if not groups:
        return (SizeClass(slot, "any", 0.0, math.inf),)
    borders = [math.sqrt(below[-1] * above[0]) for below, above in itertools.pairwise(groups)]
    ends = [groups[0][0] / STEP[slot], *borders, groups[-1][-1] * STEP[slot]]
    stocked = (
        SizeClass(slot, "in", low, high, group[0], group[-1], tuple(group))
        for group, (low, high) in zip(groups, itertools.pairwise(ends), strict=True)
    )
    least, most = groups[0][0], groups[-1][-1]
    return (
        SizeClass(slot, "under", 0.0, ends[0], least, least),
        *stocked,
        SizeClass(slot, "over", ends[-1], math.inf, most, most),
        SizeClass(slot, "between", 0.0, 0.0),
    )


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


def class_asked(classes: Sequence[SizeClass], asked: Asked) -> SizeClass:
    """The class in which a size that was asked for counts, of the classes of its slot.

    It is that of the size, unless it was missed and no size stocked would have suited: then it is beyond what is stocked, under,
    over or between. With boards up to 165 l, 176.8 l asked for in vain by somebody whom 168 to 212 l suit is over.
    """
    stocked = [size for one in classes for size in one.sizes]
    near = class_of(classes, asked.ideal)
    if not near.is_stocked or not asked.is_unmet or any(asked.takes(size) for size in stocked):
        return near
    where = "under" if asked.ideal < min(stocked) else "over" if asked.ideal > max(stocked) else "between"
    return next(one for one in classes if one.where == where)


SizesBySlot = Mapping[str, tuple[SizeClass, ...]]


def all_classes(sizes: Mapping[str, Iterable[float]]) -> SizesBySlot:
    """The classes of every core slot by the sizes stocked of each."""
    return {slot: classes_of(slot, sizes.get(slot, ())) for slot in CORE_SLOTS}
