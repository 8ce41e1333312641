"""What tests measure on drawings: the points of a path, its extent and area, and the room that words take."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator

from server.web.drawings.sheet import Drawing, Lettering, Shape

LETTER_EM = 0.56  # Of a letter's height: digits of the common sans faces are 0.556 em wide.
LETTER_PX = 15.0
Point = tuple[float, float]
Box = tuple[float, float, float, float]


def followed(path: str) -> list[Point]:
    """Points along a path, its Bézier curves in two hundred steps each; of an arc only where it ends."""
    points: list[Point] = []
    for letter, numbers in re.findall(r"([MLCHVZa])([^MLCHVZa]*)", path):
        values = [float(number) for number in numbers.split()]
        if letter in "ML":
            points.append((values[0], values[1]))
        elif letter == "H":
            points.append((values[0], points[-1][1]))
        elif letter == "V":
            points.append((points[-1][0], values[0]))
        elif letter == "a":
            points.append((points[-1][0] + values[5], points[-1][1] + values[6]))
        elif letter == "C":
            points += _bezier(points[-1], values)
    return points


def _bezier(start: Point, values: list[float]) -> list[Point]:
    control = [start, *zip(values[::2], values[1::2], strict=True)]

    def along(t: float, axis: int) -> float:
        return sum(math.comb(3, n) * (1 - t) ** (3 - n) * t**n * control[n][axis] for n in range(4))

    return [(along(step / 200, 0), along(step / 200, 1)) for step in range(201)]


def of_kind(drawing: Drawing, *kinds: str) -> list[Shape]:
    """The shapes that have all of some kinds, in their order."""
    return [shape for shape in drawing.shapes if set(kinds) <= set(shape.kind.split())]


def the_one(drawing: Drawing, *kinds: str) -> Shape:
    """The only shape of its kinds."""
    (shape,) = of_kind(drawing, *kinds)
    return shape


def extent(shape: Shape) -> Box:
    """Left, top, right and bottom of a shape, curves followed."""
    xs, ys = zip(*followed(shape.path), strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def area(shape: Shape) -> float:
    """The area inside an outline in square pixels, by the surveyor's formula."""
    points = followed(shape.path)
    return abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in itertools.pairwise([*points, points[0]]))) / 2


def words_room(words: Lettering) -> Box:
    """The room that words take, by 0.56 em for each letter."""
    wide = LETTER_EM * LETTER_PX * len(words.words)
    left = {"start": words.x, "middle": words.x - wide / 2, "end": words.x - wide}[words.anchor]
    return left, words.y - 0.72 * LETTER_PX, left + wide, words.y + 0.21 * LETTER_PX


def overlap(one: Box, other: Box) -> bool:
    """Whether two boxes share more than an edge."""
    return (
        one[0] < other[2] - 1e-6 and other[0] < one[2] - 1e-6 and one[1] < other[3] - 1e-6 and other[1] < one[3] - 1e-6
    )


def crowded(drawing: Drawing) -> list[str]:
    """What is wrong with the lettering: words that run into each other, and words that leave the sheet."""
    return [*_collisions(drawing), *_off_the_sheet(drawing)]


def _collisions(drawing: Drawing) -> Iterator[str]:
    for one, other in itertools.combinations(drawing.lettering, 2):
        if overlap(words_room(one), words_room(other)):
            yield f"“{one.words}” runs into “{other.words}”"


def _off_the_sheet(drawing: Drawing) -> Iterator[str]:
    for words in drawing.lettering:
        left, top, right, bottom = words_room(words)
        if left < 0 or top < 0 or right > drawing.width or bottom > drawing.height:
            yield f"“{words.words}” leaves the sheet"


def outside(drawing: Drawing) -> list[str]:
    """The kinds of shapes that leave the sheet."""
    found = []
    for shape in drawing.shapes:
        left, top, right, bottom = extent(shape)
        if left < -0.01 or top < -0.01 or right > drawing.width + 0.01 or bottom > drawing.height + 0.01:
            found.append(shape.kind)
    return found
