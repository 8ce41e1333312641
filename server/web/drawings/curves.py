"""How old gear loses value under a draft policy, as lines over months: now dashed, under the draft drawn through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.domain.money import Cents
from server.web.drawings.axis import EURO, Axis, Money, round_axis, whole_money
from server.web.drawings.sheet import Drawing, Lettering, Shape, letters_wide

TOP, FLOOR, HEIGHT = 40.0, 206.0, 256.0
TICK_MONTHS, APART = 12, 17.0
RIGHT = 14.0


@dataclass(frozen=True, slots=True)
class Curve:
    """One part's value in cents at the start of each month, from new on, now and under the draft."""

    name: str
    before: tuple[Cents, ...]
    after: tuple[Cents, ...]


def curves_chart(curves: Sequence[Curve], width: float, money: Money) -> Drawing:
    """Curves over the same months, each named at its end; `money` says an amount of cents."""
    months = len(curves[0].after) - 1
    worth = round_axis(max(max(*one.before, *one.after) for one in curves), FLOOR, TOP, most=4, least=EURO)
    left = 14 + max(letters_wide(whole_money(cents, money)) for cents in worth.steps)
    right = width - RIGHT - max(letters_wide(one.name) for one in curves) - 6
    place = Axis(0, months, left, right, ())
    shapes = [Shape("grid", f"M{left:g} {worth.at(cents):g}H{right:g}") for cents in worth.steps]
    lettering = [
        Lettering("axis-words", left - 8, worth.at(cents) + 5, whole_money(cents, money), "end")
        for cents in worth.steps
    ]
    for month in range(0, months + 1, TICK_MONTHS):
        shapes.append(Shape("axis-tick", f"M{place.at(month):g} {FLOOR:g}V{FLOOR + 5:g}"))
        lettering.append(Lettering("axis-words", place.at(month), FLOOR + 22, f"{month}", "middle"))
    lettering.append(Lettering("axis-words", 6, 18, "what we give; dashed as it is now"))
    lettering.append(Lettering("axis-words", right, HEIGHT - 6, "months from new", "end"))
    lowest = FLOOR + APART
    for one in sorted(curves, key=lambda one: one.after[-1]):
        if one.before != one.after:
            shapes.append(Shape("value-was", _line(one.before, place, worth)))
        shapes.append(Shape("value-line", _line(one.after, place, worth)))
        lowest = min(lowest - APART, worth.at(one.after[-1]) + 5)
        lettering.append(Lettering("value-words", right + 6, round(lowest, 2), one.name))
    return Drawing(width, HEIGHT, 0, tuple(shapes), tuple(lettering), "How old gear loses value", _words(curves, money))


def _line(values: Sequence[Cents], place: Axis, worth: Axis) -> str:
    return "M" + "L".join(f"{place.at(month):g} {worth.at(cents):g}" for month, cents in enumerate(values))


def _words(curves: Sequence[Curve], money: Money) -> str:
    ends = (
        f"{one.name} from {whole_money(one.after[0], money)} to {whole_money(one.after[-1], money)}"
        + ("" if one.before == one.after else f" (now {whole_money(one.before[-1], money)})")
        for one in curves
    )
    return f"Over {len(curves[0].after) - 1} months: " + "; ".join(ends) + "."
