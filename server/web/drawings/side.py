"""The kit from the side, to scale, with the water line at rest under the learner."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

from server.domain.catalogue import Gear
from server.domain.quotes import QuotedKit
from server.web.drawings.sheet import Drawing, Lettering, Point, Shape, Sheet, across, box, down, scale_bar

USUAL_LENGTH_CM, USUAL_THICKNESS_CM = 175.0, 13.0
MAST_CHORD_CM = 12.0
MAST_PLACE = 0.60  # Share of the board's length from the nose at which the mast stands.
AHEAD_OF_MAST = 0.42  # Share of the fuselage that lies ahead of the mast.
FUSELAGE_CM = 2.4
SECTION = 0.12  # Thickness of a foil's section as a share of its chord.


@dataclass(frozen=True, slots=True)
class Layout:
    """How large a sheet is drawn: pixels to the centimetre, margins, and how much is said on it."""

    scale: float
    left: float
    top: float
    width: float
    is_narrow: bool

    def holding(self, across_cm: float, words: float = 0.0) -> Layout:
        """This layout, its scale made smaller where so many centimetres and the pixels of words would not go on the sheet."""
        room = self.width - 2 * self.left - words
        return replace(self, scale=min(self.scale, math.floor(100 * room / across_cm) / 100))


WIDE = Layout(3.0, 44.0, 62.0, 760.0, is_narrow=False)
NARROW = Layout(1.62, 12.0, 50.0, 330.0, is_narrow=True)


def draught_cm(thickness_cm: float, volume_l: float, float_margin_l: float) -> float:
    """How deep a board sits at rest, taken as a prism: thickness × displaced volume / volume, at most its thickness."""
    return thickness_cm * min(1.0, (volume_l - float_margin_l) / volume_l)


def chord_cm(foil: Gear) -> float:
    """A foil's mean chord: area over span, or by its aspect ratio where the span is not known."""
    span = foil.number_or("span_cm", 0)
    if span:
        return foil.size / span
    return math.sqrt(foil.size / foil.number_or("aspect_ratio", 6))


def _board(length: float, thickness: float) -> tuple[Point, list[tuple[Point, ...]]]:
    """A board's outline from the side, its box length × thickness, the nose at the left and the deck at 0."""
    start = (0.0, 0.30 * thickness)
    curves: list[tuple[Point, ...]] = [
        ((0.05 * length, 0.85 * thickness), (0.14 * length, thickness), (0.28 * length, thickness)),
        ((0.84 * length, thickness),),
        ((length, 0.62 * thickness),),
        ((length, 0.14 * thickness),),
        ((length, 0.05 * thickness), (0.985 * length, 0.0), (0.95 * length, 0.0)),
        ((0.10 * length, 0.0),),
        ((0.05 * length, 0.0), (0.02 * length, 0.12 * thickness), start),
    ]
    return start, curves


def _section(x: float, y: float, chord: float) -> tuple[Point, list[tuple[Point, ...]]]:
    """A foil's section, its leading edge at the left, chord long and 0.12 chord thick."""
    over, under = -0.09 * chord * 4 / 3, 0.03 * chord * 4 / 3
    return (x, y), [
        ((x, y + over), (x + 0.45 * chord, y + over), (x + chord, y)),
        ((x + 0.45 * chord, y + under), (x, y + under), (x, y)),
    ]


@dataclass(frozen=True, slots=True)
class _Built:
    """What of the side view is the kit's own, whoever is on it, and where the board's bottom and the sheet end."""

    sheet: Sheet
    shapes: tuple[Shape, ...]
    lettering: tuple[Lettering, ...]
    board_y: float
    bottom: float


def side_view(kit: QuotedKit, layout: Layout) -> Drawing:
    """The kit from the side: board, mast, fuselage, sections of front foil and tail, and the water line.

    Lengths are the kit's own by the layout's scale; a kept board whose length or thickness is not known is drawn as a
    usual one, and the words say so.
    """
    board, mast, fuselage = (kit.gear_in(slot) for slot in ("board", "mast", "fuselage"))
    length = board.number_or("length_cm", USUAL_LENGTH_CM)
    thickness = board.number_or("thickness_cm", USUAL_THICKNESS_CM)
    draught = draught_cm(thickness, board.size, kit.float_margin_l)
    layout = layout.holding(length)
    chords = chord_cm(kit.gear_in("front_foil")), chord_cm(kit.gear_in("tail"))
    built = _built(length, thickness, board.size, mast.size, fuselage.size, *chords, layout)
    line_y = built.sheet.at((0, thickness - draught))[1]
    sea = Shape("sea", box(0, line_y, layout.width, built.bottom))
    known = "length_cm" in board.measures and "thickness_cm" in board.measures
    return Drawing(
        layout.width,
        built.bottom,
        layout.scale,
        (sea, Shape("waterline", f"M0 {line_y:g}H{layout.width:g}"), *built.shapes),
        (*built.lettering, _at_rest(layout, built.board_y, draught, thickness)),
        "Your kit from the side, to scale",
        _words(kit, length, thickness, draught) + ("" if known else " The board's outline is a usual one."),
    )


@lru_cache(maxsize=256)  # As many kits at least are shown again and again, and each is drawn for two sheets.
def _built(
    length: float,
    thickness: float,
    volume_l: float,
    mast_cm: float,
    fuselage_cm: float,
    front_chord: float,
    tail_chord: float,
    layout: Layout,
) -> _Built:
    sheet = Sheet(layout.left, layout.top, layout.scale)
    mast_x, foot_y = MAST_PLACE * length, thickness + mast_cm
    front_x = mast_x - AHEAD_OF_MAST * fuselage_cm
    axis_y = foot_y + FUSELAGE_CM / 2
    bottom = sheet.at((0, axis_y))[1] + (58 if not layout.is_narrow else 66)
    mast_outline = (
        (mast_x - MAST_CHORD_CM / 2, thickness),
        (mast_x + MAST_CHORD_CM / 2, thickness),
        (mast_x + 0.42 * MAST_CHORD_CM, foot_y),
        (mast_x - 0.42 * MAST_CHORD_CM, foot_y),
    )
    rear_x = front_x + fuselage_cm
    body = ((front_x, foot_y), (rear_x, foot_y), (rear_x, foot_y + FUSELAGE_CM), (front_x, foot_y + FUSELAGE_CM))
    parts = (
        Shape("hull", sheet.curves(*_board(length, thickness))),
        Shape("metal mast", sheet.outline(mast_outline)),
        Shape("metal fuselage", sheet.outline(body)),
        Shape("metal front-foil", sheet.curves(*_section(front_x, axis_y, front_chord))),
        Shape("metal tail", sheet.curves(*_section(rear_x - tail_chord, axis_y, tail_chord))),
    )
    left, right = sheet.at((0, 0))[0], sheet.at((length, 0))[0]
    # A long board's mast stands far to the right: on a narrow sheet only the left has room for words that are spaced out.
    half_chord = -MAST_CHORD_CM / 2 if layout.is_narrow else MAST_CHORD_CM / 2
    mast_at = sheet.at((mast_x + half_chord, 0))[0] + (-16 if layout.is_narrow else 16)
    board_y, foot = sheet.at((0, thickness))[1], sheet.at((0, foot_y))[1]
    fuselage_y = sheet.at((0, axis_y))[1] + (24 if not layout.is_narrow else 20)
    ends = sheet.at((front_x, 0))[0], sheet.at((rear_x, 0))[0]
    marks = (
        across(left, right, layout.top - 18, f"{length:g} cm · {volume_l:g} litres"),
        down(mast_at, board_y, foot, f"mast {mast_cm:g} cm", after=not layout.is_narrow),
        across(*ends, fuselage_y, f"fuselage {fuselage_cm:g} cm", above=False),
        scale_bar(sheet, 12, bottom - 12, 50),
    )
    shapes, lettering = (*parts, *(shape for shape, _ in marks)), tuple(words for _, words in marks)
    return _Built(sheet, shapes, lettering, board_y, bottom)


def _at_rest(layout: Layout, board_y: float, draught: float, thickness: float) -> Lettering:
    words = (
        f"sits {draught:.0f} cm deep" if layout.is_narrow else f"at rest {draught:.0f} of {thickness:g} cm under water"
    )
    return Lettering("water-words", layout.left + 4, board_y + 22, words)


def _words(kit: QuotedKit, length: float, thickness: float, draught: float) -> str:
    board, mast, fuselage = (kit.gear_in(slot) for slot in ("board", "mast", "fuselage"))
    return (
        f"A board of {board.size:g} litres, {length:g} cm long and {thickness:g} cm thick, with you kneeling on it at rest: as a "
        f"prism it sits {draught:.1f} cm deep. Under it a mast of {mast.size:g} cm, a fuselage of {fuselage.size:g} cm, ahead a "
        f"front foil of {kit.gear_in('front_foil').size:g} cm², behind a tail of {kit.gear_in('tail').size:g} cm²."
    )
