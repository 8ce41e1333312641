"""What every drawing is made of: paths and lettering on a sheet, a title, and the same said in words.

Geometry is worked out in the kit's own centimetres and put on the sheet by one scale; paths are closed outlines or lines whose
numbers are rounded to a hundredth of a pixel.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

Point = tuple[float, float]
TICK = 5.0
LETTER = 15.0


@dataclass(frozen=True, slots=True)
class Shape:
    """A path with the class that gives it its colour; with an address it is a link of that name."""

    kind: str
    path: str
    href: str = ""
    name: str = ""


@dataclass(frozen=True, slots=True)
class Lettering:
    """Words at a place; `anchor` is start, middle or end."""

    kind: str
    x: float
    y: float
    words: str
    anchor: str = "start"


@dataclass(frozen=True, slots=True, eq=False)
class Drawing:
    """A sheet: its size in pixels, pixels to the centimetre (0: not to scale), what is on it, and its words.

    A drawing is itself alone, so that what is made of one that is kept can be kept beside it without comparing all that is on it.
    """

    width: float
    height: float
    scale: float
    shapes: tuple[Shape, ...]
    lettering: tuple[Lettering, ...]
    title: str
    words: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """Where centimetres land: the origin's place on the sheet, and pixels to the centimetre."""

    left: float
    top: float
    scale: float

    def at(self, point: Point) -> Point:
        """A point in centimetres as a point on the sheet."""
        return round(self.left + self.scale * point[0], 2), round(self.top + self.scale * point[1], 2)

    def outline(self, points: Iterable[Point]) -> str:
        """A closed outline of straight lines."""
        return "M" + "L".join(f"{x:g} {y:g}" for x, y in map(self.at, points)) + "Z"

    def curves(self, start: Point, curves: Iterable[Sequence[Point]]) -> str:
        """A closed outline of a start and curves: each one point (a line) or three (a cubic Bézier curve)."""
        x, y = self.at(start)
        path = f"M{x:g} {y:g}"
        for curve in curves:
            letter = "L" if len(curve) == 1 else "C"
            path += letter + " ".join(f"{x:g} {y:g}" for x, y in map(self.at, curve))
        return path + "Z"


def across(left: float, right: float, y: float, words: str, *, above: bool = True) -> tuple[Shape, Lettering]:
    """A dimension line from left to right on the sheet, with its number over or under it."""
    path = f"M{left:g} {y - TICK:g}V{y + TICK:g}M{right:g} {y - TICK:g}V{y + TICK:g}M{left:g} {y:g}H{right:g}"
    place = y - 8 if above else y + LETTER + 5
    return Shape("dimension", path), Lettering("dimension-words", round((left + right) / 2, 2), place, words, "middle")


def down(x: float, top: float, bottom: float, words: str, *, after: bool = True) -> tuple[Shape, Lettering]:
    """A dimension line from top to bottom on the sheet, with its number to the right of it or to the left."""
    path = f"M{x - TICK:g} {top:g}H{x + TICK:g}M{x - TICK:g} {bottom:g}H{x + TICK:g}M{x:g} {top:g}V{bottom:g}"
    place, anchor = (x + 9, "start") if after else (x - 9, "end")
    return Shape("dimension", path), Lettering(
        "dimension-words", place, round((top + bottom) / 2 + 5, 2), words, anchor
    )


def scale_bar(sheet: Sheet, x: float, y: float, length_cm: float = 50) -> tuple[Shape, Lettering]:
    """A bar of a known length, so that anything on the sheet can be measured."""
    right = round(x + sheet.scale * length_cm, 2)
    path = f"M{x:g} {y - TICK:g}V{y + TICK:g}M{right:g} {y - TICK:g}V{y + TICK:g}M{x:g} {y:g}H{right:g}"
    return Shape("scale", path), Lettering("scale-words", right + 8, y + 5, f"{length_cm:g} cm")


def box(left: float, top: float, right: float, bottom: float) -> str:
    """A rectangle on the sheet."""
    return f"M{left:g} {top:g}H{right:g}V{bottom:g}H{left:g}Z"


def letters_wide(words: str) -> float:
    """How wide words come out at most, in pixels: 0.56 of the letters' height for each, which digits and most words keep."""
    return 0.56 * LETTER * len(words)


def words_box(lettering: Lettering) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of the room that words take on the sheet."""
    wide = letters_wide(lettering.words)
    left = lettering.x - {"start": 0.0, "middle": wide / 2, "end": wide}[lettering.anchor]
    return left, lettering.y - 0.75 * LETTER, left + wide, lettering.y + 0.25 * LETTER


def dot(x: float, y: float, radius: float) -> str:
    """A circle about a point, of two half circles."""
    return f"M{x - radius:g} {y:g}a{radius:g} {radius:g} 0 1 0 {2 * radius:g} 0a{radius:g} {radius:g} 0 1 0 {-2 * radius:g} 0Z"
