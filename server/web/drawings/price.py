"""Fit against price: every kit that fits better than all that cost less, as steps that can be chosen."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from server.domain.money import Cents
from server.web.drawings.axis import EURO, Axis, Money, round_axis, snug_axis, whole_money
from server.web.drawings.sheet import Drawing, Lettering, Point, Shape, box, dot, letters_wide

MOST = 12
TARGET = (
    28.0  # A target's side in pixels; 24 is the least of WCAG 2.2, 2.5.8, with room for a sheet shown a little smaller.
)
TOP, FLOOR, BASE, HEIGHT = 66.0, 266.0, 308.0, 358.0  # Best and worst misfit, the line of prices, the sheet.
RIGHT, DOT = 22.0, 5.0
LOWEST_STEP = 0.1
ROUNDS = 60  # Two places come apart at once; three halve what is missing each time.


@dataclass(frozen=True, slots=True)
class Step:
    """A kit to choose: where it leads, its name as a link, its price, its misfit (0: exactly the ideal)."""

    href: str
    name: str
    price_cents: Cents
    misfit: float
    is_shown: bool
    price_words: str


def thin(steps: Sequence[Step], most: int = MOST) -> tuple[Step, ...]:
    """At most so many steps in their order: the first, the last and the one shown, the others spread evenly by their places.

    Needs room for three at least.
    """
    last = len(steps) - 1
    if last < most:
        return tuple(steps)
    places = {round(number * last / (most - 1)) for number in range(most)}
    shown = {place for place, step in enumerate(steps) if step.is_shown}
    for place in shown - places:
        between = places - {0, last} - shown
        places.remove(min(between, key=lambda other: (abs(other - place), other)))
        places.add(place)
    return tuple(steps[place] for place in sorted(places))


def price_chart(steps: Sequence[Step], width: float, money: Money) -> Drawing:
    """Steps by price from left to right and by misfit, the better fit higher; the shown one is named.

    `money` says an amount of cents on the axis. Steps come by price, at least one; the stair through all of them is the best
    fit that a price buys. Those of `thin` are marked and are links; where two would lie under one finger only one is, so that
    a page says the steps in words too.
    """
    prices, misfits = [step.price_cents for step in steps], [step.misfit for step in steps]
    fit = round_axis(max(misfits), TOP, FLOOR, most=6, least=LOWEST_STEP)
    left = 16 + max(letters_wide(f"{misfit:g}") for misfit in fit.steps)
    right = width - RIGHT
    most_ticks = max(1, int((right - left) / (letters_wide(whole_money(prices[-1], money)) + 34)))
    cost = snug_axis(prices[0], prices[-1], left, right, most=most_ticks, least=EURO)
    shapes, lettering = _axes(fit, cost, width, money)
    points = [(cost.at(step.price_cents), fit.at(step.misfit)) for step in steps]
    shapes.append(Shape("stair", _stair(points, right)))
    for step, (x, y), target in _with_room(thin(steps), fit, cost, width):
        if step.is_shown:
            shapes.append(Shape("step-shown", f"M{x:g} {y - 9:g}L{x + 9:g} {y:g}L{x:g} {y + 9:g}L{x - 9:g} {y:g}Z"))
            is_beaten = any(px <= x and py < y for px, py in points)
            lettering += _beside(x, y, ("this kit", step.price_words), left, width, is_beaten=is_beaten)
        else:
            shapes.append(Shape("step-dot", dot(x, y, DOT)))
        shapes.append(Shape("target", target, step.href, step.name))
    return Drawing(
        width, HEIGHT, 0, tuple(shapes), tuple(lettering), "How well kits fit, against their price", _words(steps)
    )


def _axes(fit: Axis, cost: Axis, width: float, money: Money) -> tuple[list[Shape], list[Lettering]]:
    """Lines over the chart at round misfits, ticks under it at round prices, and what either end means."""
    shapes: list[Shape] = []
    lettering = [
        Lettering("axis-words", 6, 18, "↑ fits better; 0 is exactly the ideal"),
        Lettering("axis-words", width - 8, HEIGHT - 8, "costs more →", "end"),
    ]
    for misfit in fit.steps:
        y = fit.at(misfit)
        shapes.append(Shape("grid", f"M{cost.start:g} {y:g}H{cost.end:g}"))
        lettering.append(Lettering("axis-words", cost.start - 8, y + 5, f"{misfit:g}", "end"))
    shapes.append(Shape("axis-line", f"M{cost.start:g} {BASE:g}H{cost.end:g}"))
    for cents in cost.steps:
        x, words = cost.at(cents), whole_money(cents, money)
        shapes.append(Shape("axis-tick", f"M{x:g} {BASE:g}V{BASE + 5:g}"))
        half = letters_wide(words) / 2
        middle = min(max(x, 4 + half), width - 4 - half)
        lettering.append(Lettering("axis-words", round(middle, 2), BASE + 22, words, "middle"))
    return shapes, lettering


def _stair(points: Sequence[Point], right: float) -> str:
    """Along the best fit so far to the next price that buys a better one, then up to it; the last runs to the edge."""
    (x, best), *later = points
    path = f"M{x:g} {best:g}"
    for x, y in later:
        if y < best:
            best = y
            path += f"H{x:g}V{y:g}"
    return path + f"H{right:g}"


def _with_room(steps: Sequence[Step], fit: Axis, cost: Axis, width: float) -> list[tuple[Step, Point, str]]:
    """Steps with their places and the outlines of their targets, none of which covers another.

    The shown one and the two ends are always there, pushed apart if they must; any other only where its target has room.
    """
    places = [(cost.at(step.price_cents), fit.at(step.misfit)) for step in steps]
    must = [n for n, step in enumerate(steps) if step.is_shown or n in (0, len(steps) - 1)]
    middles = dict(zip(must, _apart([places[n] for n in must], width), strict=True))
    for number, place in enumerate(places):
        if number not in middles and all(_is_clear(place, other) for other in middles.values()):
            middles[number] = place
    half = TARGET / 2
    return [
        (steps[n], places[n], box(*(round(v, 2) for v in (x - half, y - half, x + half, y + half))))
        for n, (x, y) in sorted(middles.items())
    ]


def _is_clear(one: Point, other: Point) -> bool:
    return max(abs(one[0] - other[0]), abs(one[1] - other[1])) >= TARGET


def _apart(places: Sequence[Point], width: float) -> list[Point]:
    """Up to three places from left to right, moved sideways by as little as their targets need, and kept on the sheet."""
    moved = list(places)
    for _ in range(ROUNDS):
        for number, ((x0, y0), (x1, y1)) in enumerate(itertools.pairwise(moved)):
            if not _is_clear((x0, y0), (x1, y1)):
                push = (TARGET - (x1 - x0)) / 2
                moved[number : number + 2] = [(x0 - push, y0), (x1 + push, y1)]
    over = max(0.0, moved[-1][0] + TARGET / 2 - width)
    under = max(0.0, TARGET / 2 - moved[0][0])
    return [(x - over + under, y) for x, y in moved]


def _beside(
    x: float, y: float, lines: tuple[str, str], left: float, width: float, *, is_beaten: bool
) -> list[Lettering]:
    """Two lines beside a step, where no stair runs: over it to the left, or where the sheet ends there under it to the right.

    Over a kit that others beat the stair runs, so its lines stand under it, on the side that has room.
    """
    wide = max(map(letters_wide, lines))
    if is_beaten and x + 12 + wide > width - 4:
        place, first, anchor = x - 10, y + 21, "end"
    elif is_beaten or x - 10 - wide < left:
        place, first, anchor = x + 12, y + 21, "start"
    else:
        place, first, anchor = x - 10, y - 26, "end"
    return [
        Lettering("step-words", round(place, 2), round(first + 17 * n, 2), words, anchor)
        for n, words in enumerate(lines)
    ]


def _words(steps: Sequence[Step]) -> str:
    first, last = steps[0], steps[-1]
    shown = "".join(
        f" This kit costs {step.price_words} and has a misfit of {step.misfit:.2f}." for step in steps if step.is_shown
    )
    if len(steps) == 1:
        return f"One kit suits: {first.price_words}, misfit {first.misfit:.2f}, where 0 is exactly the ideal.{shown}"
    return (
        f"{len(steps)} kits, each fitting better than all that cost less: from {first.price_words} with a misfit of "
        f"{first.misfit:.2f} to {last.price_words} with {last.misfit:.2f}, where 0 is exactly the ideal.{shown}"
    )
