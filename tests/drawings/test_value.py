"""The value of a kit over months: every point in proportion over an axis from zero."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.policy import TradeInTerms
from server.domain.slots import CORE_SLOTS
from server.domain.trade_in import fetches
from server.web.drawings import svg
from server.web.drawings.value import value_chart
from tests.drawings.paths import crowded, extent, followed, of_kind, outside, the_one

WIDTHS = [640.0, 330.0]


def money(cents: int) -> str:
    """An amount as a shop in the euro writes it."""
    return f"€{cents / 100:,.2f}"


def kroner(cents: int) -> str:
    """An amount with its point and comma the other way round and its unit behind."""
    return f"{cents / 100:,.2f}".replace(",", " ").replace(".", ",").replace(" ", ".") + " kr."


def points_of(slot: str, price: int) -> list[tuple[int, int]]:
    return [(months, fetches(price, slot, months, TradeInTerms())) for months in range(37)]


POINTS = points_of("board", 4_000_00)
curves = st.builds(points_of, st.sampled_from(CORE_SLOTS), st.integers(0, 19_000_00))


@pytest.mark.parametrize("width", WIDTHS)
@given(points=curves)
def test_every_point_is_linear_in_months_and_in_money_from_zero(width: float, points: list[tuple[int, int]]) -> None:
    drawing = value_chart(points, width, money)
    line = followed(the_one(drawing, "value-line").path)
    zero = max(extent(shape)[1] for shape in of_kind(drawing, "grid"))
    ticks = [extent(shape)[0] for shape in of_kind(drawing, "axis-tick")]
    assert len(line) == len(points)
    for (months, cents), (x, y) in zip(points, line, strict=True):
        assert x == pytest.approx(ticks[0] + months / 36 * (ticks[-1] - ticks[0]), abs=0.02)
        if points[0][1]:
            assert zero - y == pytest.approx(cents / points[0][1] * (zero - line[0][1]), abs=0.02)


@pytest.mark.parametrize("width", WIDTHS)
def test_ticks_are_every_six_months_and_every_line_stands_at_its_amount(width: float) -> None:
    drawing = value_chart(POINTS, width, money)
    line = followed(the_one(drawing, "value-line").path)
    ticks = [extent(shape)[0] for shape in of_kind(drawing, "axis-tick")]
    assert ticks == [line[months][0] for months in range(0, 37, 6)]
    said = [words.words for words in drawing.lettering]
    assert [words for words in said if words.isdigit()] == ["0", "6", "12", "18", "24", "30", "36"]
    assert "months from new" in said
    lines = [extent(shape)[1] for shape in of_kind(drawing, "grid")]
    amounts = [words.words for words in drawing.lettering if words.kind == "axis-words" and words.words[0] == "€"]
    per_euro = (lines[0] - line[0][1]) / (POINTS[0][1] / 100)
    for y, amount in zip(lines, amounts, strict=True):
        assert lines[0] - y == pytest.approx(per_euro * int(amount[1:].replace(",", "")), abs=0.05)


@pytest.mark.parametrize("width", WIDTHS)
def test_the_value_after_each_year_is_written_at_its_point(width: float) -> None:
    drawing = value_chart(POINTS, width, money)
    # Own arithmetic, in good condition: 4000 × 0.85 × 0.68 = 2312.00, × 0.78 = 1803.36, × 0.78 = 1406.62.
    amounts = [words.words for words in drawing.lettering if words.kind == "value-words"]
    assert amounts == ["€2,312", "€1,803", "€1,407"]
    assert "after 12 months €2,312; after 24 months €1,803; after 36 months €1,407" in drawing.words
    dots = [followed(shape.path)[0] for shape in of_kind(drawing, "value-dot")]
    line = followed(the_one(drawing, "value-line").path)
    for months, (x, y) in zip((12, 24, 36), dots, strict=True):
        assert (x + 4, y) == pytest.approx(line[months], abs=0.01)


@pytest.mark.parametrize("width", WIDTHS)
@given(points=curves, says=st.sampled_from([money, kroner]))
def test_nothing_is_crowded(width: float, points: list[tuple[int, int]], says: object) -> None:
    drawing = value_chart(points, width, says)  # type: ignore[arg-type]
    assert crowded(drawing) == []
    assert outside(drawing) == []


def test_amounts_are_said_without_empty_decimals_in_either_hand() -> None:
    assert "€4,000" in [words.words for words in value_chart(POINTS, 640, money).lettering]
    assert "4.000 kr." in [words.words for words in value_chart(POINTS, 640, kroner).lettering]


def test_every_kind_has_colours_on_paper() -> None:
    drawing = value_chart(POINTS, 640, money)
    assert {shape.kind for shape in drawing.shapes if not set(shape.kind.split()) & svg.PAINTS.keys()} == set()
    assert {words.kind for words in drawing.lettering} <= svg.LETTERINGS.keys()
