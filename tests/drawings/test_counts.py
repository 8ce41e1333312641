"""Charts of counts: every bar in proportion from zero, nothing crowded, wide and narrow."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.web.drawings.counts import Row, Told, Week, rows_chart, weeks_chart
from tests.drawings.paths import crowded, extent, of_kind, outside

WIDTHS = [640.0, 330.0]
TOLD = Told("Quotes by week", "kept", "of them bought", "Some quotes.")
counts = st.lists(st.tuples(st.integers(0, 400), st.integers(0, 400)), min_size=1, max_size=105)


def weeks(pairs: list[tuple[int, int]]) -> list[Week]:
    return [Week(date(2026, 1, 5) + timedelta(days=7 * n), whole, part) for n, (whole, part) in enumerate(pairs)]


@pytest.mark.parametrize("width", WIDTHS)
@given(pairs=counts)
def test_every_weeks_bar_is_as_high_as_its_count(width: float, pairs: list[tuple[int, int]]) -> None:
    drawing = weeks_chart(weeks(pairs), width, TOLD)
    floor = extent(of_kind(drawing, "axis-line")[0])[1]
    grid = [extent(shape)[1] for shape in of_kind(drawing, "grid")]
    steps = [int(words.words) for words in drawing.lettering if words.anchor == "end"]
    each = (floor - grid[-1]) / steps[-1]
    heights = [floor - extent(shape)[1] for shape in of_kind(drawing, "counted-whole")[1:]]
    assert heights == pytest.approx([each * whole for whole, _ in pairs if whole], abs=0.02)
    parts = [floor - extent(shape)[1] for shape in of_kind(drawing, "counted-part")[1:]]
    assert parts == pytest.approx([each * part for _, part in pairs if part], abs=0.02)


@pytest.mark.parametrize("width", WIDTHS)
@given(pairs=counts)
def test_nothing_is_crowded_over_weeks(width: float, pairs: list[tuple[int, int]]) -> None:
    drawing = weeks_chart(weeks(pairs), width, TOLD)
    assert crowded(drawing) == []
    assert outside(drawing) == []


LABELS = [["60 l", "100–102 l", "over 175 l"], ["not yet", "behind a boat or in a lesson", "50 to 100 m and more"]]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("labels", LABELS)
def test_rows_are_to_one_scale_and_nothing_is_crowded(width: float, labels: list[str]) -> None:
    pairs = [(40, 3), (0, 9), (17, 17)]
    rows = [Row(label, *pair, f"{pair[1]} of {pair[0]}, 25 %") for label, pair in zip(labels, pairs, strict=True)]
    drawing = rows_chart(rows, width, TOLD)
    wholes = [extent(shape) for shape in of_kind(drawing, "counted-whole")[1:]]
    parts = [extent(shape) for shape in of_kind(drawing, "counted-part")[1:]]
    each = (wholes[0][2] - wholes[0][0]) / 40
    assert [right - left for left, _, right, _ in wholes] == pytest.approx([40 * each, 17 * each], abs=0.02)
    assert [right - left for left, _, right, _ in parts] == pytest.approx([3 * each, 9 * each, 17 * each], abs=0.02)
    assert crowded(drawing) == []
    assert outside(drawing) == []


def test_an_empty_chart_is_still_drawn() -> None:
    assert of_kind(rows_chart([Row("60 l", 0, 0, "0 asked, 0 here")], 330, TOLD), "axis-line")
    assert of_kind(weeks_chart(weeks([(0, 0)]), 330, TOLD), "axis-line")
