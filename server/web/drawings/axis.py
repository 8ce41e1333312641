"""What charts with money on an axis share: round steps along an axis, and amounts without idle zeros."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass

from server.domain.money import Cents

Money = Callable[[Cents], str]
EURO = 100  # Cents.
ROOM = 0.06  # Share of an axis left free on either side of its values.


@dataclass(frozen=True, slots=True)
class Axis:
    """A straight axis: values low and high stand at two places of the sheet; `steps` are the values with a tick."""

    low: float
    high: float
    start: float
    end: float
    steps: tuple[float, ...]

    def at(self, value: float) -> float:
        """Where a value stands, in pixels."""
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 2)


def round_step(length: float, most: int) -> float:
    """The least of 1, 2 and 5 times a power of ten that divides a length into at most so many steps."""
    power = 10.0 ** math.floor(math.log10(length / most))
    return next(size * power for size in (1, 2, 5, 10, 20) if length / (size * power) <= most)


def round_axis(high: float, start: float, end: float, most: int, least: float) -> Axis:
    """An axis from zero to the first round value not under `high`, in at most so many steps of `least` or more."""
    step = max(round_step(max(high, least), most), least)
    count = max(1, math.ceil(high / step - 1e-9))
    return Axis(0, count * step, start, end, tuple(number * step for number in range(count + 1)))


def snug_axis(low: float, high: float, start: float, end: float, most: int, least: float) -> Axis:
    """An axis over values and a little on, with at most so many ticks at round values in between, `least` apart or more."""
    room = max((high - low) * ROOM, least)
    low, high = low - room, high + room
    step = max(round_step(high - low, most), least)
    ticks = range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)
    return Axis(low, high, start, end, tuple(number * step for number in ticks))


def whole_money(cents: float, money: Money) -> str:
    """An amount to the nearest whole unit, its empty decimals left out: €3,120.00 is said €3,120."""
    return re.sub(r"[.,]00(?!\d)", "", money(round(cents / EURO) * EURO))
