"""How the margins of quotes lie now and under a draft: quotes by per cent of margin, with the floor drawn through them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from server.web.drawings.axis import Axis, round_axis
from server.web.drawings.sheet import Drawing, Lettering, Shape, box, letters_wide

STEPS = ((14, 1), (32, 2))  # Up to so many points of per cent between least and most, classes of so many.
WIDEST = 5
LEAST, MOST = -20, 70  # What lies further out is counted in the outermost class.
TOP, FLOOR, HEIGHT = 56.0, 206.0, 256.0
RIGHT, GAP = 18.0, 2.0


def class_of(percent: float, step: int = WIDEST) -> int:
    """The lower end of the class of a margin: 5 for 5 to under 10 per cent, where classes are of five."""
    return min(max(math.floor(percent / step) * step, LEAST), MOST - step)


def step_for(margins: Sequence[float]) -> int:
    """How wide classes are that show how these margins lie."""
    length = min(max(margins), MOST) - max(min(margins), LEAST)
    return next((step for most, step in STEPS if length <= most), WIDEST)


def margins_chart(
    before: Sequence[float], after: Sequence[float], floors: tuple[float, float], width: float
) -> Drawing:
    """Bars are the quotes under the draft, the dashed outline is how they lie now; per cent of margin from left to right.

    `floors` are the margin floors now and under the draft. Both lists are of the same quotes, at least one.
    """
    step = step_for([*before, *after, *floors])
    was, now = (Counter(class_of(margin, step) for margin in margins) for margins in (before, after))
    low = min(*was, *now, class_of(min(floors), step))
    high = max(*was, *now, class_of(max(floors), step)) + step
    number = round_axis(max(*was.values(), *now.values()), FLOOR, TOP, most=4, least=1)
    left = 14 + max(letters_wide(f"{count:g}") for count in number.steps)
    place = Axis(low, high, left, width - RIGHT, ())
    classes = range(low, high, step)
    shapes, lettering = _ground(number, place, low, high, width)
    for start in classes:
        if now[start]:
            edge = place.at(start) + GAP, place.at(start + classes.step) - GAP
            shapes.append(Shape("margin-now", box(edge[0], number.at(now[start]), edge[1], FLOOR)))
    shapes.append(Shape("margin-was", _outline(was, classes, place, number)))
    floor = place.at(min(max(floors[1], low), high))
    shapes.append(Shape("margin-floor", f"M{floor:g} {TOP - 12:g}V{FLOOR:g}"))
    words = f"floor {floors[1]:g} %"
    fits = floor + 6 + letters_wide(words) < width - 4
    lettering.append(Lettering("under-words", floor + (6 if fits else -6), TOP - 4, words, "start" if fits else "end"))
    title = "Quotes by their margin, now and under the draft"
    return Drawing(width, HEIGHT, 0, tuple(shapes), tuple(lettering), title, _words(before, after, floors))


def _ground(number: Axis, place: Axis, low: int, high: int, width: float) -> tuple[list[Shape], list[Lettering]]:
    shapes: list[Shape] = []
    lettering = [
        Lettering("axis-words", 6, 18, "quotes; dashed as they are now"),
        Lettering("axis-words", width - RIGHT, HEIGHT - 6, "margin in per cent", "end"),
    ]
    for count in number.steps:
        shapes.append(Shape("grid", f"M{place.start:g} {number.at(count):g}H{place.end:g}"))
        lettering.append(Lettering("axis-words", place.start - 8, number.at(count) + 5, f"{count:g}", "end"))
    apart = WIDEST
    while (place.at(low + apart) - place.at(low)) < letters_wide("−20") + 12:
        apart += WIDEST
    for percent in range(math.ceil(low / apart) * apart, high + 1, apart):
        x = place.at(percent)
        shapes.append(Shape("axis-tick", f"M{x:g} {FLOOR:g}V{FLOOR + 5:g}"))
        lettering.append(Lettering("axis-words", x, FLOOR + 22, f"{percent}".replace("-", "−"), "middle"))
    return shapes, lettering


def _outline(was: Counter[int], classes: range, place: Axis, number: Axis) -> str:
    """Along the tops of the classes as they are now, from the line and back to it."""
    path = f"M{place.start:g} {FLOOR:g}"
    for start in classes:
        path += f"V{number.at(was[start]):g}H{place.at(start + classes.step):g}"
    return path + f"V{FLOOR:g}"


def _words(before: Sequence[float], after: Sequence[float], floors: tuple[float, float]) -> str:
    def under(margins: Sequence[float], floor: float) -> int:
        return sum(margin < floor for margin in margins)

    return (
        f"Of {len(after)} quotes, {under(before, floors[0])} lie under the floor now and {under(after, floors[1])} under the draft. "
        f"The middle margin goes from {_middle(before):.1f} to {_middle(after):.1f} per cent."
    )


def _middle(margins: Sequence[float]) -> float:
    return sorted(margins)[len(margins) // 2]
