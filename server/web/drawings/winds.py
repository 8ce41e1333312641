"""The winds that suit, as bars over an axis in knots, and their days' worth month by month."""

from __future__ import annotations

from collections.abc import Sequence

from server.domain.wind import UNCERTAINTY_KN, Window, WingWinds
from server.web.drawings.sheet import Drawing, Lettering, Shape, box

FIRST_KN, LAST_KN = 6.0, 34.0
BEAUFORT = ((3, 7, 10), (4, 11, 16), (5, 17, 21), (6, 22, 27), (7, 28, 33))  # World Meteorological Organization, knots.
BAR = 20.0
MONTH_LETTERS = "JFMAMJJASOND"
LEFT, RIGHT = 34.0, 14.0


def place_of(wind_kn: float, width: float) -> float:
    """Where a wind stands on a sheet of a width; winds beyond the axis stand at its end."""
    share = (min(max(wind_kn, FIRST_KN), LAST_KN) - FIRST_KN) / (LAST_KN - FIRST_KN)
    return round(LEFT + share * (width - LEFT - RIGHT), 2)


def window_chart(hands: Sequence[tuple[str, Window]], usual_kn: float, width: float) -> Drawing:
    """A bar for each pair of hands over knots, with the Beaufort forces, the usual wind, and ends that are soft by 2 kn."""
    shapes: list[Shape] = []
    lettering: list[Lettering] = []
    top, row, height = 28.0, 48.0, 28.0 + 48.0 * len(hands) + 54.0
    floor = top + row * len(hands) + 8
    for force, first, last in BEAUFORT:
        left, right = place_of(first - 0.5, width), place_of(last + 0.5, width)
        shapes.append(Shape(f"force{' odd' if force % 2 else ''}", box(left, 8, right, floor)))
        lettering.append(Lettering("axis-words", round((left + right) / 2, 2), 23, f"F{force}", "middle"))
    for number, (name, window) in enumerate(hands):
        y = top + row * number + 22
        lettering.append(Lettering("bar-words", place_of(window.low, width), y - 6, f"{name} hands"))
        if not window.is_open:
            lettering.append(Lettering("bar-words", place_of(window.low, width), y + 15, "no wind that suits"))
            continue
        low, high = place_of(window.low, width), place_of(window.high, width)
        middle = y + BAR / 2
        for start, end in ((window.low - UNCERTAINTY_KN, window.low), (window.high, window.high + UNCERTAINTY_KN)):
            shapes.append(Shape("soft-end", f"M{place_of(start, width):g} {middle:g}H{place_of(end, width):g}"))
        shapes.append(Shape(f"bar {name}", box(low, y, high, y + BAR)))
        lettering.append(Lettering("bar-number", low + 6, middle + 5, f"{window.low:.0f}"))
        lettering.append(Lettering("bar-number", high - 6, middle + 5, f"{window.high:.0f} kn", "end"))
    usual = place_of(usual_kn, width)
    shapes.append(Shape("usual-wind", f"M{usual:g} 30V{floor:g}"))
    anchor = "start" if usual < width / 2 else "end"
    beside = usual + (6 if anchor == "start" else -6)
    lettering.append(Lettering("usual-words", beside, floor + 15, f"usual {usual_kn:.0f} kn", anchor))
    lettering += [
        Lettering("axis-words", place_of(knots, width), height - 6, f"{knots}", "middle") for knots in range(10, 34, 4)
    ]
    lettering.append(Lettering("axis-words", width - RIGHT, height - 6, "knots", "end"))
    said = "; ".join(
        f"{name} hands {window.low:.0f} to {window.high:.0f} knots" if window.is_open else f"{name} hands none"
        for name, window in hands
    )
    words = f"Winds that suit, ± 2 knots: {said}. The usual wind is {usual_kn:.0f} knots."
    return Drawing(width, height, 0, tuple(shapes), tuple(lettering), "Winds this kit suits", words)


def months_chart(wings: Sequence[WingWinds], hands: str, spot: str, width: float) -> Drawing:
    """A line for each hand wing over the months, in days' worth of wind that suits; the chosen one drawn full."""
    top, floor = 18.0, 168.0
    most = max([1.0, *(day for wing in wings for day in wing.months[hands])])
    step = (width - LEFT - 74) / 11
    shapes: list[Shape] = []
    lettering: list[Lettering] = []

    def height_of(days: float) -> float:
        return round(floor - days / most * (floor - top), 2)

    tick = next(size for size in (1, 2, 5, 10, 15) if most / size <= 5 or size == 15)
    for days in range(0, int(most) + 1, tick):
        y = height_of(days)
        shapes.append(Shape("grid", f"M{LEFT:g} {y:g}H{width - 70:g}"))
        lettering.append(Lettering("axis-words", LEFT - 6, y + 5, f"{days}", "end"))
    lettering += [
        Lettering("axis-words", round(LEFT + step * number, 2), floor + 20, letter, "middle")
        for number, letter in enumerate(MONTH_LETTERS)
    ]
    taken: list[float] = []
    for wing in sorted(wings, key=lambda wing: -sum(wing.months[hands])):
        points = [(round(LEFT + step * n, 2), height_of(day)) for n, day in enumerate(wing.months[hands])]
        path = "M" + "L".join(f"{x:g} {y:g}" for x, y in points)
        shapes.append(Shape(f"months {wing.role}", path))
        label = points[-1][1] + 5
        while any(abs(label - other) < 16 for other in taken):
            label += 4
        taken.append(label)
        lettering.append(
            Lettering(f"months-words {wing.role}", points[-1][0] + 8, round(label, 2), f"{wing.area_m2:g} m²")
        )
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
