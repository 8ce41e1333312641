"""What a kit is worth over the months, as a falling line over its axes."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from server.web.drawings.sheet import Drawing, Lettering, Shape

LEFT, RIGHT, TOP, FLOOR = 74.0, 22.0, 18.0, 178.0
MONTH_TICK = 6


def value_chart(points: Sequence[tuple[int, int]], width: float, money: Callable[[int], str]) -> Drawing:
    """Value in cents over months, both axes from zero; `money` writes an amount."""
    last = points[-1][0]
    most = max(1, *(cents for _, cents in points))

    def at(months: int, cents: float) -> tuple[float, float]:
        x = LEFT + months / last * (width - LEFT - RIGHT)
        return round(x, 2), round(FLOOR - cents / most * (FLOOR - TOP), 2)

    tick = next(size for size in (100_00, 200_00, 500_00, 1_000_00, 2_000_00, 5_000_00, 10**9) if most / size <= 5)
    shapes: list[Shape] = []
    lettering: list[Lettering] = []
    for cents in range(0, most + 1, tick):
        y = at(0, cents)[1]
        shapes.append(Shape("grid", f"M{LEFT:g} {y:g}H{width - RIGHT:g}"))
        lettering.append(Lettering("axis-words", LEFT - 8, y + 5, money(cents).removesuffix(".00"), "end"))
    lettering += [
        Lettering("axis-words", at(months, 0)[0], FLOOR + 20, f"{months}", "middle")
        for months in range(0, last + 1, MONTH_TICK)
    ]
    lettering.append(Lettering("axis-words", width - RIGHT, FLOOR + 40, "months from new", "end"))
    path = "M" + "L".join(f"{x:g} {y:g}" for x, y in (at(*point) for point in points))
    shapes.append(Shape("months", path))
    said = "; ".join(f"after {months} months {money(cents)}" for months, cents in points[::12] if months)
    return Drawing(
        width,
        FLOOR + 48,
        0,
        tuple(shapes),
        tuple(lettering),
        "What this kit fetches over three years",
        f"New {money(points[0][1])} in good condition; {said}.",
    )
