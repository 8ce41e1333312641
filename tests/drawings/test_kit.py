"""The drawings of a kit as geometry: what is measured on the sheet is what the part measures."""

from __future__ import annotations

from dataclasses import replace

import pytest

from server.domain import physics
from server.domain.kits import Fitter, Kit
from server.domain.quotes import QuotedKit, quoted_kit
from server.web.drawings import plan, side
from server.web.drawings.sheet import Drawing
from server.web.drawings.side import Layout
from tests.domain.builders import TODAY, answers, trade_shelf
from tests.drawings.paths import LETTER_PX, crowded, followed

ONE_MM = 0.1
SPACED = 0.12 * LETTER_PX  # What a reader's own letter spacing adds, by WCAG 2.2, 1.4.12.


def kit(mass_kg: float = 80, **said: object) -> Kit:
    """The recommended kit of a learner on the trade's shelf."""
    found = Fitter.of(answers(mass_kg=mass_kg, **said), trade_shelf(), TODAY).recommended()
    assert found is not None
    return found


def extent(drawing: Drawing, kind: str) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of the one path of a kind, curves followed, in pixels."""
    (path,) = [shape.path for shape in drawing.shapes if shape.kind.split()[-1] == kind]
    points = followed(path)
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


SHEETS = [side.WIDE, side.NARROW]
PLANS = [plan.WIDE, plan.NARROW]


@pytest.mark.parametrize("layout", SHEETS, ids=["wide", "narrow"])
@pytest.mark.parametrize("mass", [62, 80, 104])
def test_every_length_from_the_side_is_the_parts_own_to_a_millimetre(layout: Layout, mass: float) -> None:
    shown = quoted_kit(kit(mass))
    drawing = side.side_view(shown, layout)
    board, mast, fuselage = (shown.gear_in(slot) for slot in ("board", "mast", "fuselage"))
    left, top, right, bottom = extent(drawing, "hull")
    assert (right - left) / drawing.scale == pytest.approx(board.number("length_cm"), abs=ONE_MM)
    assert (bottom - top) / drawing.scale == pytest.approx(board.number("thickness_cm"), abs=ONE_MM)
    _, top, _, foot = extent(drawing, "mast")
    assert (foot - top) / drawing.scale == pytest.approx(mast.size, abs=ONE_MM)
    assert top == pytest.approx(bottom, abs=0.01), "the mast stands on the board's bottom"
    left, top, right, _ = extent(drawing, "fuselage")
    assert (right - left) / drawing.scale == pytest.approx(fuselage.size, abs=ONE_MM)
    assert top == pytest.approx(foot, abs=0.01)
    for kind, slot in (("front-foil", "front_foil"), ("tail", "tail")):
        left, top, right, bottom = extent(drawing, kind)
        chord = shown.gear_in(slot).size / shown.gear_in(slot).number("span_cm")
        assert (right - left) / drawing.scale == pytest.approx(chord, abs=ONE_MM)
        assert (bottom - top) / drawing.scale == pytest.approx(0.12 * chord, abs=ONE_MM)


@pytest.mark.parametrize("layout", SHEETS, ids=["wide", "narrow"])
@pytest.mark.parametrize("mass", [62, 80, 104])
def test_the_water_line_stands_where_archimedes_puts_it(layout: Layout, mass: float) -> None:
    found = kit(mass)
    shown = quoted_kit(found)
    drawing = side.side_view(shown, layout)
    own = sum(found.gear_in(slot).number("mass_kg") for slot in ("board", "mast", "fuselage", "front_foil", "tail"))
    # Archimedes: the water displaced weighs what floats on it; sea water of ITTC 7.5-02-01-03, 1026 kg/m³.
    displaced_l = 1000 * (mass + 5 + own) / 1026.0
    board = found.gear_in("board")
    draught = board.number("thickness_cm") * displaced_l / board.size  # A prism of the board's thickness.
    line = extent(drawing, "waterline")[1]
    assert (extent(drawing, "hull")[3] - line) / drawing.scale == pytest.approx(draught, abs=ONE_MM)
    assert extent(drawing, "sea")[1] == line
    assert f"sits {draught:.1f} cm deep" in drawing.words


def test_a_pontoon_sits_as_deep_as_the_textbook_says() -> None:
    # 6 × 12 m, 1059.48 kN in sea water of 1025 kg/m³: draught 1.4634 m (g 9.81). Douglas, Fluid Mechanics, Ex 3.5.
    height_m, mass_kg = 3.0, 1059.48e3 / 9.81
    volume_l = 6 * 12 * height_m * 1000
    margin_l = volume_l - physics.displaced_l(mass_kg, 1025)
    assert side.draught_cm(height_m * 100, volume_l, margin_l) / 100 == pytest.approx(1.4634, abs=5e-5)


def test_a_board_under_its_load_is_never_drawn_deeper_than_its_thickness() -> None:
    assert side.draught_cm(12.0, 80.0, -10.0) == 12.0


def area(drawing: Drawing, kind: str) -> float:
    """The area of an outline in cm², by the surveyor's formula."""
    (path,) = [shape.path for shape in drawing.shapes if shape.kind.split()[-1] == kind]
    points = followed(path)
    twice = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(points, points[1:] + points[:1], strict=True))
    return abs(twice) / 2 / drawing.scale**2


@pytest.mark.parametrize("layout", PLANS, ids=["wide", "narrow"])
def test_spans_widths_and_areas_from_above_are_the_parts_own(layout: Layout) -> None:
    shown = quoted_kit(kit())
    drawing = plan.plan_view(shown, layout)
    board = shown.gear_in("board")
    left, top, right, bottom = extent(drawing, "hull")
    assert (right - left) / drawing.scale == pytest.approx(board.number("length_cm"), abs=ONE_MM)
    assert (bottom - top) / drawing.scale == pytest.approx(board.number("width_cm"), abs=ONE_MM)
    for kind, slot in (("front-foil", "front_foil"), ("tail", "tail")):
        foil = shown.gear_in(slot)
        _, top, _, bottom = extent(drawing, kind)
        assert (bottom - top) / drawing.scale == pytest.approx(foil.number("span_cm"), abs=ONE_MM)
        assert area(drawing, kind) == pytest.approx(foil.size, rel=0.005)


@pytest.mark.parametrize("layout", [*SHEETS, *PLANS])
def test_one_scale_is_printed_on_each_sheet_and_is_true(layout: Layout) -> None:
    shown = quoted_kit(kit())
    drawing = side.side_view(shown, layout) if layout in SHEETS else plan.plan_view(shown, layout)
    left, _, right, _ = extent(drawing, "scale")
    assert (right - left) / drawing.scale == pytest.approx(50, abs=ONE_MM)
    assert "50 cm" in [words.words for words in drawing.lettering]


@pytest.mark.parametrize("layout", [*SHEETS, *PLANS])
@pytest.mark.parametrize("length", [150, 180, 199, 215, 260])
@pytest.mark.parametrize("said", [{}, {"foil_stage": "turning"}])
def test_nothing_stands_outside_its_sheet(layout: Layout, said: dict[str, str], length: int) -> None:
    shown: QuotedKit = quoted_kit(kit(92, **said))
    board = shown.parts["board"]
    long = replace(board, measures={**board.measures, "length_cm": length})
    shown = replace(shown, parts={**shown.parts, "board": long})
    drawing = side.side_view(shown, layout) if layout in SHEETS else plan.plan_view(shown, layout)
    for shape in drawing.shapes:
        for x, y in followed(shape.path):
            assert -0.01 <= x <= drawing.width + 0.01, shape.kind
            assert -0.01 <= y <= drawing.height + 0.01, shape.kind
    for words in drawing.lettering:
        wide = (7.6 + SPACED) * len(words.words)
        start = {"start": words.x, "middle": words.x - wide / 2, "end": words.x - wide}[words.anchor]
        assert start >= -2, words.words
        assert start + wide <= drawing.width + 8, words.words


def test_the_narrow_sheet_is_drawn_anew_with_the_same_lettering_size() -> None:
    shown = quoted_kit(kit())
    wide, narrow = side.side_view(shown, side.WIDE), side.side_view(shown, side.NARROW)
    assert narrow.width < 360 <= wide.width
    assert narrow.scale != wide.scale


def test_the_same_is_said_in_words() -> None:
    shown = quoted_kit(kit())
    for drawing in (side.side_view(shown, side.WIDE), plan.plan_view(shown, plan.WIDE)):
        for slot in ("board", "front_foil", "tail"):
            size = shown.gear_in(slot).number("length_cm") if slot == "board" else shown.gear_in(slot).size
            assert f"{size:g}" in drawing.words


def test_a_kept_board_of_unknown_length_is_said_to_be_drawn_as_a_usual_one() -> None:
    keeps = [{"slot": "board", "volume_l": 110, "width_cm": 80, "track": "slide"}]
    shown = quoted_kit(kit(80, keeps=keeps))
    assert "board" in shown.kept
    assert "usual one" in side.side_view(shown, side.WIDE).words


@pytest.mark.parametrize("layout", [*SHEETS, *PLANS])
@pytest.mark.parametrize("mass", [48, 62, 80, 92, 104])
def test_no_words_run_into_each_other(layout: Layout, mass: float) -> None:
    found = Fitter.of(answers(mass_kg=mass), trade_shelf(), TODAY)
    some = found.recommended() or found.nearest()
    assert some is not None
    shown = quoted_kit(some)
    assert crowded(side.side_view(shown, layout) if layout in SHEETS else plan.plan_view(shown, layout)) == []
