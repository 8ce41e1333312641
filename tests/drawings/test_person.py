"""The hand wing beside a person: span, area and height on the sheet are those that are said."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.domain.catalogue import Gear
from server.web.drawings import svg
from server.web.drawings.person import NARROW, WIDE, hand_wing_view
from server.web.drawings.side import Layout
from tests.domain.builders import gear
from tests.drawings.paths import area, crowded, extent, of_kind, outside, overlap, the_one
from tests.pace import examples

ONE_MM = 0.1
LAYOUTS = [WIDE, NARROW]
layouts = st.sampled_from(LAYOUTS)


def wing(area_m2: float = 5.5, span_cm: float = 403) -> Gear:
    return gear("hand_wing", area_m2=area_m2, span_cm=span_cm)


@st.composite
def wings(draw: st.DrawFn) -> Gear:
    """Any hand wing: its area, and a span of an aspect ratio from stubby to slender."""
    area_m2 = draw(st.floats(1, 12))
    ratio = draw(st.floats(1.5, 6))
    return wing(round(area_m2, 1), round((ratio * area_m2) ** 0.5 * 100))


@settings(max_examples=examples(12))  # Each walks along every curve.
@given(wings(), layouts)
def test_the_outline_has_the_wings_own_area_and_span(one: Gear, layout: Layout) -> None:
    drawing = hand_wing_view(one, layout)
    outline = the_one(drawing, "hand-wing")
    left, _, right, _ = extent(outline)
    assert (right - left) / drawing.scale == pytest.approx(one.number("span_cm"), abs=ONE_MM)
    assert area(outline) / drawing.scale**2 == pytest.approx(one.size * 10_000, rel=0.01)


@settings(max_examples=examples(12))  # Each walks along every curve.
@given(wings(), layouts)
def test_the_person_is_175_cm_on_the_same_scale_and_stands_on_the_ground(one: Gear, layout: Layout) -> None:
    drawing = hand_wing_view(one, layout)
    head, body = extent(the_one(drawing, "head")), extent(the_one(drawing, "body"))
    assert (body[3] - head[1]) / drawing.scale == pytest.approx(175, abs=ONE_MM)
    # Seven and a half heads to a grown person: common practice in figure drawing.
    assert (head[3] - head[1]) / drawing.scale == pytest.approx(175 / 7.5, abs=ONE_MM)
    assert body[3] == pytest.approx(extent(the_one(drawing, "ground"))[1], abs=0.02)
    assert body[1] < head[3], "the neck reaches under the head"
    assert (head[0] + head[2]) == pytest.approx(body[0] + body[2], abs=0.05), "the figure is upright"
    assert "a person of 175 cm" in [words.words for words in drawing.lettering]


@settings(max_examples=examples(12))  # Each walks along every curve.
@given(wings(), layouts)
def test_one_scale_is_printed_and_true_and_nothing_is_crowded(one: Gear, layout: Layout) -> None:
    drawing = hand_wing_view(one, layout)
    left, _, right, _ = extent(the_one(drawing, "scale"))
    assert (right - left) / drawing.scale == pytest.approx(100, abs=ONE_MM)
    assert "100 cm" in [words.words for words in drawing.lettering]
    assert crowded(drawing) == []
    assert outside(drawing) == []


@settings(max_examples=examples(12))  # Each walks along every curve.
@given(wings(), layouts)
def test_the_wing_does_not_cover_the_person(one: Gear, layout: Layout) -> None:
    drawing = hand_wing_view(one, layout)
    for part in of_kind(drawing, "person"):
        assert not overlap(extent(the_one(drawing, "hand-wing")), extent(part))


def test_every_length_that_is_drawn_is_said() -> None:
    for layout in LAYOUTS:
        drawing = hand_wing_view(wing(), layout)
        assert {"403 cm", "5.5 m²"} <= {words.words for words in drawing.lettering}
        for said in ("5.5 m²", "403 cm", "2.3 times", "175 cm"):
            assert said in drawing.words
        assert "not known" not in drawing.words


@pytest.mark.parametrize("layout", LAYOUTS)
def test_an_unknown_span_is_that_of_a_usual_aspect_ratio_and_said_to_be(layout: Layout) -> None:
    drawing = hand_wing_view(Gear("hand_wing", {"area_m2": 4.0}), layout)
    left, _, right, _ = extent(the_one(drawing, "hand-wing"))
    # Own arithmetic: √(2.75 × 40,000 cm²) = 331.66 cm.
    assert (right - left) / drawing.scale == pytest.approx(331.66, abs=ONE_MM)
    assert area(the_one(drawing, "hand-wing")) / drawing.scale**2 == pytest.approx(40_000, rel=0.01)
    assert "span is not known" in drawing.words
    assert "usual in the trade, 2.75" in drawing.words


def test_the_narrow_sheet_is_laid_out_anew() -> None:
    wide, narrow = hand_wing_view(wing(), WIDE), hand_wing_view(wing(), NARROW)
    wide_wing, wide_person = extent(the_one(wide, "hand-wing")), extent(the_one(wide, "head"))
    narrow_wing, narrow_person = extent(the_one(narrow, "hand-wing")), extent(the_one(narrow, "head"))
    assert wide_person[2] < wide_wing[0], "on a wide sheet the person stands to the left of the wing"
    assert narrow_wing[3] < narrow_person[1], "on a narrow one under it"


def test_every_kind_has_colours_on_paper() -> None:
    drawing = hand_wing_view(wing(), WIDE)
    assert {shape.kind for shape in drawing.shapes if not set(shape.kind.split()) & svg.PAINTS.keys()} == set()
    assert {words.kind for words in drawing.lettering} <= svg.LETTERINGS.keys()
