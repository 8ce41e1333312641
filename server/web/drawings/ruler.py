"""A ruler for one part: the range that suits the learner, its ideal, and where the part lies on it."""

from __future__ import annotations

from dataclasses import dataclass

from server.domain.fit import Target

LEFT, RIGHT = 30.0, 190.0  # Where low and high stand on a sheet 220 wide.
EDGE = 8.0


@dataclass(frozen=True, slots=True)
class Ruler:
    """Places on the sheet from left to right, and the same in words."""

    low: float
    ideal: float
    high: float
    at: float
    low_words: str
    high_words: str
    words: str


def ruler(target: Target, size: str, at: float, words: tuple[str, str, str]) -> Ruler:
    """The ruler of a part of a size; a part beyond the range stands at the sheet's edge.

    `size` and `words` (low, ideal, high) are the numbers as they are to be read.
    """

    def place(value: float) -> float:
        share = (value - target.low) / (target.high - target.low)
        return round(max(EDGE, min(220 - EDGE, LEFT + share * (RIGHT - LEFT))), 1)

    low, ideal, high = words
    return Ruler(
        low=LEFT,
        ideal=place(target.ideal),
        high=RIGHT,
        at=place(at),
        low_words=low,
        high_words=high,
        words=f"{size}; suits from {low} to {high}, ideally {ideal}",
    )
