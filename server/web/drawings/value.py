"""What a kit is worth over three years, as a line over months."""

from __future__ import annotations

from collections.abc import Sequence

from server.domain.money import Cents
from server.web.drawings.axis import EURO, Axis, Money, round_axis, whole_money
from server.web.drawings.sheet import Drawing, Lettering, Shape, dot, letters_wide

LAST_MONTH, TICK_MONTHS = 36, 6
NAMED_MONTHS = (12, 24, 36)
TOP, FLOOR, HEIGHT = 26.0, 206.0, 256.0
RIGHT, DOT = 18.0, 4.0


def value_chart(points: Sequence[tuple[int, Cents]], width: float, money: Money) -> Drawing:
    """The value of a kit in cents at months from 0 to 36, as a line over an axis from zero; years are named on it.

    `money` says an amount of cents. Points come in the order of their months.
    """
    dearest = max(cents for _, cents in points)
    worth = round_axis(dearest, FLOOR, TOP, most=5, least=EURO)
    left = 14 + max(letters_wide(whole_money(cents, money)) for cents in worth.steps)
    last_words = whole_money(points[-1][1], money)
    right = round(width - RIGHT - letters_wide(last_words), 2)
    place = Axis(0, LAST_MONTH, left, right, tuple(range(0, LAST_MONTH + 1, TICK_MONTHS))).at
    shapes: list[Shape] = []
    lettering: list[Lettering] = []
    for cents in worth.steps:
        y = worth.at(cents)
        shapes.append(Shape("grid", f"M{left:g} {y:g}H{right:g}"))
        lettering.append(Lettering("axis-words", left - 8, y + 5, whole_money(cents, money), "end"))
    for months in range(0, LAST_MONTH + 1, TICK_MONTHS):
        shapes.append(Shape("axis-tick", f"M{place(months):g} {FLOOR:g}V{FLOOR + 5:g}"))
        lettering.append(Lettering("axis-words", place(months), FLOOR + 22, f"{months}", "middle"))
    lettering.append(Lettering("axis-words", right, HEIGHT - 8, "months from new", "end"))
    line = "L".join(f"{place(months):g} {worth.at(cents):g}" for months, cents in points)
    first, last = place(points[0][0]), place(points[-1][0])
    shapes.append(Shape("value-under", f"M{first:g} {FLOOR:g}L{line}L{last:g} {FLOOR:g}Z"))
    shapes.append(Shape("value-line", f"M{line}"))
    named = [(months, cents) for months, cents in points if months in NAMED_MONTHS]
    for months, cents in named:
        x, y, words = place(months), worth.at(cents), whole_money(cents, money)
        shapes.append(Shape("value-dot", dot(x, y, DOT)))
        # The value only falls, so that there is room over a point to its right; beside the last one the sheet ends.
        if months == LAST_MONTH:
            lettering.append(Lettering("value-words", x + 9, y + 5, words))
        elif letters_wide(words) < place(months + 12) - x:
            lettering.append(Lettering("value-words", x, y - 10, words))
    said = "; ".join(f"after {months} months {whole_money(cents, money)}" for months, cents in named)
    return Drawing(
        width,
        HEIGHT,
        0,
        tuple(shapes),
        tuple(lettering),
        "What the kit fetches used, over three years",
        f"Used, it fetches {whole_money(points[0][1], money)} at {points[0][0]} months"
        + (f"; {said}." if said else "."),
    )
