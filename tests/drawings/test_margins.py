"""Margins of quotes as bars and an outline, and old gear's value as curves: every height by its number, nothing off the sheet."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.web.drawings.curves import Curve, curves_chart
from server.web.drawings.margins import class_of, margins_chart, step_for
from tests.drawings.paths import extent, of_kind, outside, the_one

WIDTHS = [640.0, 330.0]
margins = st.lists(st.tuples(st.floats(-60, 95), st.floats(-60, 95)), min_size=1, max_size=40)


def money(cents: int) -> str:
    return f"€{cents / 100:,.2f}"


@pytest.mark.parametrize("width", WIDTHS)
@given(both=margins, floor=st.floats(0, 50))
def test_a_bar_stands_for_every_class_with_quotes_and_nothing_is_off_the_sheet(
    width: float, both: list[tuple[float, float]], floor: float
) -> None:
    before, after = [one for one, _ in both], [other for _, other in both]
    drawing = margins_chart(before, after, (5.0, floor), width)
    step = step_for([*before, *after, 5.0, floor])
    assert len(of_kind(drawing, "margin-now")) == len({class_of(margin, step) for margin in after})
    assert outside(drawing) == []


def test_bars_are_as_high_as_their_quotes() -> None:
    drawing = margins_chart([12.0, 12.5, 13.0], [6.2, 6.9, 13.0], (5.0, 5.0), 640.0)
    heights = [
        bottom - top
        for _, bottom, _, top in ((e[0], e[3], e[2], e[1]) for e in map(extent, of_kind(drawing, "margin-now")))
    ]
    assert heights == [pytest.approx(2 * heights[1]), heights[1]]
    assert "Of 3 quotes, 0 lie under the floor now and 0 under the draft" in drawing.words


@pytest.mark.parametrize("width", WIDTHS)
def test_a_curve_is_drawn_dashed_as_it_is_now_only_where_it_changes(width: float) -> None:
    falling = tuple(range(800_00, 800_00 - 37 * 10_00, -10_00))
    same, moved = Curve("mast", falling, falling), Curve("board", falling, tuple(one // 2 for one in falling))
    drawing = curves_chart([same, moved], width, money)
    assert len(of_kind(drawing, "value-line")) == 2
    the_one(drawing, "value-was")
    assert outside(drawing) == []
    assert "mast from €800 to €440; board from €400 to €220 (now €440)" in drawing.words
