"""The winds that suit, as bars over an axis in knots, and their days' worth month by month."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from math import ceil

from server.domain.wind import UNCERTAINTY_KN, Window, WingWinds
from server.web.drawings.sheet import Drawing, Lettering, Shape, box, letters_wide, words_box

FIRST_KN, LAST_KN = 6.0, 34.0
BEAUFORT = ((3, 7, 10), (4, 11, 16), (5, 17, 21), (6, 22, 27), (7, 28, 33))  # World Meteorological Organization, knots.
BAR = 20.0
SPACE = 8.0  # Between words side by side, in pixels.
MONTH_LETTERS = "JFMAMJJASOND"
LEFT, RIGHT = 34.0, 14.0


def place_of(wind_kn: float, width: float) -> float:
    """Where a wind stands on a sheet of a width; winds beyond the axis stand at its end."""
    share = (min(max(wind_kn, FIRST_KN), LAST_KN) - FIRST_KN) / (LAST_KN - FIRST_KN)
    return round(LEFT + share * (width - LEFT - RIGHT), 2)


def window_chart(hands: Sequence[tuple[str, Window]], usual_kn: float, width: float) -> Drawing:
    """A bar for each pair of hands over knots, with the Beaufort forces, the usual wind, and ends that are soft by 2 kn.

    Where a bar is too narrow for its two numbers they stand beside it; the line of the usual wind leaves room for words.
    """
    top, row, height = 28.0, 48.0, 28.0 + 48.0 * len(hands) + 54.0
    floor = top + row * len(hands) + 8
    usual = place_of(usual_kn, width)
    forces, names, ticks = _axis(width, floor, height - 6)
    shapes, lettering = list(forces), list(names)
    for number, (name, window) in enumerate(hands):
        y = top + row * number + 22
        low, high = place_of(window.low, width), place_of(window.high, width)
        lettering.append(_clear_of(usual, Lettering("bar-words", low, y - 6, f"{name} hands"), width))
        if not window.is_open:
            lettering.append(_clear_of(usual, Lettering("bar-words", low, y + 15, "no wind that suits"), width))
            continue
        middle = y + BAR / 2
        for start, end in ((window.low - UNCERTAINTY_KN, window.low), (window.high, window.high + UNCERTAINTY_KN)):
            shapes.append(Shape("soft-end", f"M{place_of(start, width):g} {middle:g}H{place_of(end, width):g}"))
        shapes.append(Shape(f"bar {name}", box(low, y, high, y + BAR)))
        lettering += _numbers(window, middle + 5, width)
    shapes.append(Shape("usual-wind", _broken(usual, 30, floor, lettering)))
    anchor = "start" if usual < width / 2 else "end"
    beside = usual + (6 if anchor == "start" else -6)
    lettering.append(Lettering("usual-words", beside, floor + 15, f"usual {usual_kn:.0f} kn", anchor))
    lettering += ticks
    said = "; ".join(
        f"{name} hands {window.low:.0f} to {window.high:.0f} knots" if window.is_open else f"{name} hands none"
        for name, window in hands
    )
    words = f"Winds that suit, ± 2 knots: {said}. The usual wind is {usual_kn:.0f} knots."
    return Drawing(width, height, 0, tuple(shapes), tuple(lettering), "Winds this kit suits", words)


@lru_cache(maxsize=16)
def _axis(
    width: float, floor: float, y: float
) -> tuple[tuple[Shape, ...], tuple[Lettering, ...], tuple[Lettering, ...]]:
    """What stands behind every chart of a width: the Beaufort forces, their names, and the knots under them."""
    ends = [(force, place_of(first - 0.5, width), place_of(last + 0.5, width)) for force, first, last in BEAUFORT]
    forces = [Shape(f"force{' odd' if force % 2 else ''}", box(left, 8, right, floor)) for force, left, right in ends]
    names = [
        Lettering("axis-words", round((left + right) / 2, 2), 23, f"F{force}", "middle") for force, left, right in ends
    ]
    unit = Lettering("axis-words", width - RIGHT, y, "knots", "end")
    ticks = [Lettering("axis-words", place_of(knots, width), y, f"{knots}", "middle") for knots in range(10, 34, 4)]
    clear = [tick for tick in ticks if words_box(tick)[2] + SPACE <= words_box(unit)[0]]
    return tuple(forces), tuple(names), (*clear, unit)


def _numbers(window: Window, y: float, width: float) -> list[Lettering]:
    """The two ends of a bar: inside it, else to its left and right, else both on the side where the sheet has room."""
    low, high = place_of(window.low, width), place_of(window.high, width)
    first, last = f"{window.low:.0f}", f"{window.high:.0f} kn"
    if letters_wide(first) + letters_wide(last) + 12 + SPACE <= high - low:
        return [Lettering("bar-number", low + 6, y, first), Lettering("bar-number", high - 6, y, last, "end")]
    left = round(place_of(window.low - UNCERTAINTY_KN, width) - 5, 2)
    right = round(place_of(window.high + UNCERTAINTY_KN, width) + 5, 2)
    if right + letters_wide(last) > width:
        return [Lettering("bar-number", left, y, f"{first} to {last}", "end")]
    if left - letters_wide(first) < 0:
        return [Lettering("bar-number", right, y, f"{first} to {last}")]
    return [Lettering("bar-number", left, y, first, "end"), Lettering("bar-number", right, y, last)]


def _clear_of(line: float, words: Lettering, width: float) -> Lettering:
    """Words moved beside an upright line that would run through them, and back onto a sheet that they would leave."""
    wide = letters_wide(words.words)
    x = min(words.x, width - wide)
    if x - SPACE / 2 < line < x + wide + SPACE / 2:
        x = line + 6 if line + 6 + wide <= width else line - 6 - wide
    return replace(words, x=round(x, 2))


def _broken(x: float, top: float, bottom: float, lettering: Sequence[Lettering]) -> str:
    """An upright line from top to bottom, interrupted where words stand."""
    path, y = "", top
    for left, over, right, under in sorted(map(words_box, lettering), key=lambda words: words[1]):
        if left - 2 < x < right + 2 and over < bottom and under > y:
            if over > y:
                path += f"M{x:g} {y:g}V{over:g}"
            y = under
    return path + f"M{x:g} {y:g}V{bottom:g}"


def _spread(wanted: Sequence[float], gap: float, last: float) -> list[float]:
    """Places in rising order, each at least `gap` after the one before and none beyond the last place."""
    places: list[float] = []
    for place in wanted:
        places.append(max(place, places[-1] + gap) if places else place)
    for number in range(len(places) - 1, -1, -1):
        places[number] = min(places[number], last - gap * (len(places) - 1 - number))
    return places


def months_chart(wings: Sequence[WingWinds], hands: str, spot: str, width: float) -> Drawing:
    """A line for each hand wing over the months, in days' worth of wind that suits; the chosen one drawn full."""
    top, floor = 18.0, 168.0
    most = max([1.0, *(day for wing in wings for day in wing.months[hands])])
    tick = next(size for size in (1, 2, 5, 10, 15) if most / size <= 5 or size == 15)
    most = tick * ceil(most / tick)  # The topmost line of the grid stands over all that is drawn.
    step = (width - LEFT - 74) / 11
    shapes: list[Shape] = []
    lettering: list[Lettering] = []

    def height_of(days: float) -> float:
        return round(floor - days / most * (floor - top), 2)

    for days in range(0, most + 1, tick):
        y = height_of(days)
        shapes.append(Shape("grid", f"M{LEFT:g} {y:g}H{width - 70:g}"))
        lettering.append(Lettering("axis-words", LEFT - 6, y + 5, f"{days}", "end"))
    lettering += [
        Lettering("axis-words", round(LEFT + step * number, 2), floor + 20, letter, "middle")
        for number, letter in enumerate(MONTH_LETTERS)
    ]
    drawn = []
    for wing in sorted(wings, key=lambda wing: -wing.months[hands][-1]):
        points = [(round(LEFT + step * n, 2), height_of(day)) for n, day in enumerate(wing.months[hands])]
        shapes.append(Shape(f"months {wing.role}", "M" + "L".join(f"{x:g} {y:g}" for x, y in points)))
        drawn.append((wing, points[-1]))
    labels = _spread([y + 5 for _, (_, y) in drawn], 17, floor + 24)
    for (wing, (x, _)), y in zip(drawn, labels, strict=True):
        lettering.append(Lettering(f"months-words {wing.role}", x + 8, round(y, 2), f"{wing.area_m2:g} m²"))
    said = "; ".join(f"{wing.area_m2:g} m² {sum(wing.months[hands]):.0f} days' worth a year" for wing in wings)
    return Drawing(
        width,
        floor + 30,
        0,
        tuple(shapes),
        tuple(lettering),
        f"Days' worth of wind that suits at {spot}, by month",
        f"In {hands} hands: {said}.",
    )
