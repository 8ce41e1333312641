"""The wind charts as geometry: bars where the model puts the ends, forces where the World Meteorological Organization does."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.wind import Window, WingWinds, winds_for
from server.web.drawings.ruler import ruler
from server.web.drawings.sheet import Drawing
from server.web.drawings.winds import FIRST_KN, LAST_KN, months_chart, place_of, window_chart
from tests.domain.builders import sizing
from tests.drawings.paths import crowded, outside, overlap, the_one, words_room

WIDTHS = [640.0, 330.0]


def knots_at(x: float, width: float) -> float:
    """The wind at a place, from two places of the axis."""
    left, right = place_of(10, width), place_of(30, width)
    return 10 + (x - left) / (right - left) * 20


def ends(drawing: Drawing, kind: str) -> list[tuple[float, float]]:
    """Left and right of every path of a kind."""
    found = []
    for shape in drawing.shapes:
        if shape.kind == kind:
            left = float(re.match(r"M([\d.]+)", shape.path)[1])  # type: ignore[index]
            found.append((left, float(re.search(r"H([\d.]+)", shape.path)[1])))  # type: ignore[index]
    return found


@pytest.mark.parametrize("width", WIDTHS)
def test_the_bars_reach_from_low_to_high_end_with_soft_ends_of_two_knots(width: float) -> None:
    winds = winds_for(85, 101.5, 7.14, 5.5, 1.25)
    drawing = window_chart([("new", winds.new), ("practised", winds.practised)], 15, width)
    for hands in ("new", "practised"):
        ((left, right),) = ends(drawing, f"bar {hands}")
        assert knots_at(left, width) == pytest.approx(winds.of(hands).low, abs=0.02)
        assert knots_at(right, width) == pytest.approx(winds.of(hands).high, abs=0.02)
    soft = ends(drawing, "soft-end")
    assert [round(knots_at(right, width) - knots_at(left, width), 1) for left, right in soft] == [2.0] * 4


# Beaufort forces in knots. Source: World Meteorological Organization.
FORCES = {3: (7, 10), 4: (11, 16), 5: (17, 21), 6: (22, 27), 7: (28, 33)}


@pytest.mark.parametrize("width", WIDTHS)
def test_the_forces_stand_where_the_scale_has_them(width: float) -> None:
    drawing = window_chart([("new", Window(14, 20))], 15, width)
    bands = sorted([*ends(drawing, "force"), *ends(drawing, "force odd")])
    assert len(bands) == len(FORCES)
    for (left, right), (first, last) in zip(bands, FORCES.values(), strict=True):
        assert knots_at(left, width) == pytest.approx(first - 0.5, abs=0.02)
        assert knots_at(right, width) == pytest.approx(last + 0.5, abs=0.02)
    assert [f"F{force}" for force in FORCES] == [w.words for w in drawing.lettering if w.words.startswith("F")]


def test_the_usual_wind_is_a_line_at_its_place_and_a_wind_off_the_axis_at_its_end() -> None:
    drawing = window_chart([("new", Window(14, 20))], 17, 640)
    (line,) = [shape.path for shape in drawing.shapes if shape.kind == "usual-wind"]
    assert float(line[1:].split()[0]) == place_of(17, 640)
    assert place_of(2, 640) == place_of(FIRST_KN, 640)
    assert place_of(60, 640) == place_of(LAST_KN, 640)


def test_no_window_is_said_and_not_drawn() -> None:
    drawing = window_chart([("new", Window(16, 15))], 15, 640)
    assert not ends(drawing, "bar new")
    assert "no wind that suits" in [words.words for words in drawing.lettering]
    assert "new hands none" in drawing.words


def test_a_line_by_month_is_as_high_as_its_days() -> None:
    winds = winds_for(85, 101.5, 7.14, 5.5, 1.25)
    days = tuple(float(day) for day in (5, 4, 5, 4, 4, 3, 3, 3, 4, 5, 5, 6))
    wing = WingWinds("chosen", 5.5, "A", "A", winds, {"new": days, "practised": days})
    drawing = months_chart([wing], "new", "Plover Sound", 640)
    (path,) = [shape.path for shape in drawing.shapes if shape.kind == "months chosen"]
    heights = [float(point.split()[1]) for point in path[1:].split("L")]
    zero = next(float(s.path.split()[1].split("H")[0]) for s in drawing.shapes if s.kind == "grid")
    assert len(heights) == 12
    for height, day in zip(heights, days, strict=True):
        assert (zero - height) / (zero - heights[11]) == pytest.approx(day / 6, abs=0.001)
    assert "51 days' worth a year" in drawing.words


def test_a_ruler_has_its_part_where_it_lies_between_low_and_high() -> None:
    target = sizing(mass_kg=80).board
    middle = (target.low + target.high) / 2
    drawn = ruler(target, "112 l", middle, ("99", "104", "125"))
    assert drawn.at == pytest.approx((drawn.low + drawn.high) / 2, abs=0.1)
    assert drawn.low < drawn.ideal < drawn.high
    assert ruler(target, "60 l", 60, ("99", "104", "125")).at < drawn.low
    assert drawn.words == "112 l; suits from 99 to 125, ideally 104"


# --- Lettering -------------------------------------------------------------------------------------------------------

winds = st.floats(3, 45)
windows = st.builds(lambda low, wide: Window(low, low + wide), st.floats(4, 40), st.floats(-2, 25))


@pytest.mark.parametrize("width", WIDTHS)
@given(new=windows, practised=windows, usual_kn=winds)
def test_no_words_run_into_each_other_or_into_the_line_of_the_usual_wind(
    width: float, new: Window, practised: Window, usual_kn: float
) -> None:
    drawing = window_chart([("new", new), ("practised", practised)], usual_kn, width)
    assert crowded(drawing) == []
    assert outside(drawing) == []
    x = place_of(usual_kn, width)
    pieces = re.findall(r"V([\d.]+)|M[\d.]+ ([\d.]+)", the_one(drawing, "usual-wind").path)
    heights = [float(one or other) for one, other in pieces]
    for words in drawing.lettering:
        for top, bottom in zip(heights[::2], heights[1::2], strict=True):
            assert not overlap((x - 0.5, top, x + 0.5, bottom), words_room(words)), words.words


@pytest.mark.parametrize("width", WIDTHS)
@given(window=windows)
def test_both_ends_of_a_window_are_always_numbers_beside_or_in_its_bar(width: float, window: Window) -> None:
    drawing = window_chart([("new", window)], 15, width)
    numbers = [words for words in drawing.lettering if words.kind == "bar-number"]
    if not window.is_open:
        assert numbers == []
        return
    assert re.findall(r"\d+", " ".join(words.words for words in numbers)) == [f"{window.low:.0f}", f"{window.high:.0f}"]
    assert numbers[-1].words.endswith(" kn")
    ((left, right),) = ends(drawing, "bar new")
    for words in numbers:
        box = words_room(words)
        is_inside = left <= box[0] and box[2] <= right
        assert is_inside or box[2] <= left or right <= box[0], (
            "a number is in the bar or beside it, never across its end"
        )


def test_numbers_stand_in_a_wide_bar_and_to_both_sides_of_a_narrow_one() -> None:
    for width, high, is_inside in ((640, 21, True), (330, 27, True), (330, 18, False)):
        drawing = window_chart([("new", Window(14, high))], 12, width)
        first, last = [words for words in drawing.lettering if words.kind == "bar-number"]
        ((left, right),) = ends(drawing, "bar new")
        assert (first.x > left and last.x < right) is is_inside
        assert (first.x < left and last.x > right) is not is_inside


days = st.lists(st.floats(0, 31), min_size=12, max_size=12).map(tuple)
ROLES = ("chosen", "beside", "smaller", "larger")


@pytest.mark.parametrize("width", WIDTHS)
@given(months=st.lists(days, min_size=1, max_size=4), areas=st.permutations([2.5, 4.5, 5.5, 6]))
def test_the_lines_by_month_are_named_without_crowding_in_the_order_of_their_ends(
    width: float, months: list[tuple[float, ...]], areas: list[float]
) -> None:
    both = winds_for(85, 101.5, 7.14, 5.5, 1.25)
    wings = [
        WingWinds(role, size, "A", "A", both, {"new": line})
        for role, size, line in zip(ROLES, areas, months, strict=False)
    ]
    drawing = months_chart(wings, "new", "Plover Sound", width)
    assert crowded(drawing) == []
    assert outside(drawing) == []
    names = [words.words for words in sorted(drawing.lettering, key=lambda w: w.y) if "months-words" in words.kind]
    by_end = sorted(wings, key=lambda wing: -wing.months["new"][-1])
    assert names == [f"{wing.area_m2:g} m²" for wing in by_end]
