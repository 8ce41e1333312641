"""Boards on one water line: thicknesses to scale, and every board as deep as Archimedes has it."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.web.drawings import svg
from server.web.drawings.floats import NARROW, WIDE, FloatRow, floats_view, margin_words
from server.web.drawings.side import Layout
from tests.drawings.paths import crowded, extent, of_kind, outside, overlap, the_one

ONE_MM = 0.1
LAYOUTS = [WIDE, NARROW]
ROLES = ("one smaller", "this board", "one larger")
ROWS = (
    FloatRow("one smaller", 92, 12.3, -6.2, refused=True),
    FloatRow("this board", 112, 13.3, 14.1),
    FloatRow("one larger", 125, 13.5, 26.9),
)


@st.composite
def boards(draw: st.DrawFn) -> list[FloatRow]:
    """One to three boards of any size under one load."""
    load_l = draw(st.floats(45, 160))
    volumes = sorted(draw(st.lists(st.integers(60, 200), min_size=1, max_size=3, unique=True)))
    return [
        FloatRow(role, volume, draw(st.integers(80, 200)) / 10, volume - load_l, draw(st.booleans()))
        for role, volume in zip(ROLES, volumes, strict=False)
    ]


@given(boards(), st.sampled_from(LAYOUTS))
def test_each_board_lies_as_archimedes_has_it(rows: list[FloatRow], layout: Layout) -> None:
    drawing = floats_view(rows, layout)
    line = extent(the_one(drawing, "waterline"))[1]
    assert extent(the_one(drawing, "sea"))[1] == line
    drawn = of_kind(drawing, "float")
    assert len(drawn) == len(rows)
    for row, board in zip(rows, drawn, strict=True):
        _, deck, _, foot = extent(board)
        assert (foot - deck) / drawing.scale == pytest.approx(row.thickness_cm, abs=ONE_MM)
        # Archimedes, for a prism: what is under the line is to its volume as the water displaced; 1 l lifts its own weight.
        displaced = row.volume_l - row.float_margin_l
        if row.float_margin_l >= 0:
            under = (foot - line) / (foot - deck) * row.volume_l
            assert under == pytest.approx(displaced, rel=0.002)
        else:
            assert deck > line, "the deck lies under the line"
            over = (deck - line) / (foot - deck) * row.volume_l
            assert over == pytest.approx(-row.float_margin_l, abs=0.2)


@given(boards(), st.sampled_from(LAYOUTS))
def test_draughts_are_dimensions_and_never_more_than_the_thickness(rows: list[FloatRow], layout: Layout) -> None:
    drawing = floats_view(rows, layout)
    said = [float(words.words.removesuffix(" cm")) for words in drawing.lettering if words.kind == "dimension-words"]
    for row, draught, mark in zip(rows, said, of_kind(drawing, "dimension"), strict=True):
        displaced = min(row.volume_l, row.volume_l - row.float_margin_l)
        assert draught == pytest.approx(row.thickness_cm * displaced / row.volume_l, abs=0.051)
        _, top, _, bottom = extent(mark)
        assert (bottom - top) / drawing.scale == pytest.approx(draught, abs=0.051 + ONE_MM)


@given(boards(), st.sampled_from(LAYOUTS))
def test_nothing_is_crowded_and_the_scale_is_true(rows: list[FloatRow], layout: Layout) -> None:
    drawing = floats_view(rows, layout)
    assert crowded(drawing) == []
    assert outside(drawing) == []
    left, _, right, _ = extent(the_one(drawing, "scale"))
    assert (right - left) / drawing.scale == pytest.approx(10, abs=ONE_MM)
    shapes = [extent(board) for board in of_kind(drawing, "float")]
    assert not any(overlap(one, other) for one, other in itertools.pairwise(shapes))


@pytest.mark.parametrize("layout", LAYOUTS)
def test_what_is_to_spare_and_what_is_missing_is_said_and_not_only_coloured(layout: Layout) -> None:
    drawing = floats_view(ROWS, layout)
    said = " / ".join(words.words for words in drawing.lettering)
    if layout.is_narrow:
        assert "−6 l / under water / not for you" in said
        assert "+14 l / to spare" in said
    else:
        assert "−6 l: under water / not for you" in said
        assert "+14 l to spare" in said
    assert "refused" in of_kind(drawing, "float")[0].kind
    assert [shape.kind for shape in of_kind(drawing, "this")] == ["float this"]


def test_the_same_is_said_in_words() -> None:
    words = floats_view(ROWS, WIDE).words
    # Own arithmetic: 13.3 × (112 − 14.1) / 112 = 11.63.
    assert "This board: 112 litres, 13.3 cm thick; at rest under you it sits 11.6 cm deep, +14 l to spare." in words
    assert "its deck lies under the water, −6 l under water. It is not for you." in words


@pytest.mark.parametrize(
    ("margin", "litres", "meaning"),
    [
        (14.1, "+14 l", "to spare"),
        (0.94, "+0.9 l", "to spare"),
        (0.0, "0 l", "just level"),
        (-0.04, "0 l", "just level"),
        (-0.4, "−0.4 l", "under water"),
        (-1.2, "−1 l", "under water"),
    ],
)
def test_litres_carry_their_sign(margin: float, litres: str, meaning: str) -> None:
    assert margin_words(margin) == (litres, meaning)


def test_the_narrow_sheet_is_drawn_anew() -> None:
    wide, narrow = floats_view(ROWS, WIDE), floats_view(ROWS, NARROW)
    assert narrow.width < 360 < wide.width
    assert len(narrow.lettering) > len(wide.lettering)


def test_every_kind_has_colours_on_paper() -> None:
    drawing = floats_view(ROWS, WIDE)
    assert {shape.kind for shape in drawing.shapes if not set(shape.kind.split()) & svg.PAINTS.keys()} == set()
    assert {words.kind for words in drawing.lettering} <= svg.LETTERINGS.keys()
