"""Boards of neighbouring sizes on one water line, each as deep as it sits under the learner at rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.web.drawings.sheet import Drawing, Lettering, Shape, Sheet, box, down, scale_bar
from server.web.drawings.side import Layout, draught_cm

THIS = "this board"
GAP = 14.0  # Between two boards, in pixels.
DEEPEST = 190.0  # What a board's thickness may take of a sheet, in pixels.

WIDE = Layout(11.0, 24.0, 62.0, 640.0, is_narrow=False)
NARROW = Layout(9.0, 8.0, 62.0, 330.0, is_narrow=True)


@dataclass(frozen=True, slots=True)
class FloatRow:
    """A board to compare: `one smaller`, `this board` or `one larger`; refused: not for this learner."""

    role: str
    volume_l: float
    thickness_cm: float
    float_margin_l: float
    refused: bool = False


def sunk_cm(row: FloatRow) -> float:
    """How far a board's deck lies under the water, zero for one that floats: thickness × litres missing / volume.

    The litres missing are laid over the prism's deck, as deep as the water over them then is: 13 cm, 100 l, 10 l missing: 1.3 cm.
    """
    return row.thickness_cm * max(0.0, -row.float_margin_l) / row.volume_l


def floats_view(rows: Sequence[FloatRow], layout: Layout) -> Drawing:
    """Up to three boards as prisms in section side by side on one water line, their thicknesses to one scale.

    A board that floats sits as deep as Archimedes has it; the deck of one that does not lies under the line. Their widths
    on the sheet are all one and mean nothing.
    """
    scale = round(min(layout.scale, DEEPEST / max(row.thickness_cm for row in rows)), 4)
    column = (layout.width - 2 * layout.left + GAP) / 3
    wide = column - GAP if layout.is_narrow else column - 4 * GAP
    start = (layout.width - column * len(rows)) / 2
    most_dry = max(row.thickness_cm - _draught(row) for row in rows)
    line_y = round(layout.top + scale * most_dry, 2)
    bottom = line_y + scale * max(_draught(row) + sunk_cm(row) for row in rows) + 14
    lines = max(len(_said(row, layout)) for row in rows)
    height = bottom + 12 + 20 * lines + 34
    shapes = [Shape("sea", box(0, line_y, layout.width, round(bottom, 2)))]
    lettering: list[Lettering] = []
    for number, row in enumerate(rows):
        middle = round(start + column * (number + 0.5), 2)
        board, marks, words = _board(row, Sheet(middle - wide / 2, line_y, scale), wide)
        shapes += [board, marks]
        lettering.append(words)
        lettering.append(
            Lettering("role-words" + (" this" if row.role == THIS else ""), middle, 20, row.role, "middle")
        )
        lettering.append(Lettering("part-words", middle, 40, f"{row.volume_l:g} litres", "middle"))
        lettering += [
            Lettering(kind, middle, round(bottom + 22 + 20 * place, 2), said, "middle")
            for place, (kind, said) in enumerate(_said(row, layout))
        ]
    shapes.append(Shape("waterline", f"M0 {line_y:g}H{layout.width:g}"))
    bar, bar_words = scale_bar(Sheet(0, 0, scale), 12, round(height - 14, 2), 10)
    return Drawing(
        layout.width,
        round(height, 2),
        scale,
        (*shapes, bar),
        (*lettering, bar_words),
        "How deep the boards sit with you on them, thickness to scale",
        " ".join(map(_sentence, rows)),
    )


def _draught(row: FloatRow) -> float:
    return draught_cm(row.thickness_cm, row.volume_l, row.float_margin_l)


def _board(row: FloatRow, sheet: Sheet, wide: float) -> tuple[Shape, Shape, Lettering]:
    """A board's section with the water line at 0, and its draught as a dimension inside it."""
    foot = _draught(row) + sunk_cm(row)
    left, top = sheet.at((0, foot - row.thickness_cm))
    bottom = sheet.at((0, foot))[1]
    kind = "float" + (" refused" if row.refused else "") + (" this" if row.role == THIS else "")
    under = max(top, sheet.top)
    mark, words = down(round(left + 16, 2), under, bottom, f"{_draught(row):.1f} cm")
    return Shape(kind, box(left, top, round(left + wide, 2), bottom)), mark, words


def margin_words(margin_l: float) -> tuple[str, str]:
    """Litres with their sign, and what that means: +14 l, to spare; −6 l, under water; tenths where less than one."""
    if abs(margin_l) < 0.05:
        return "0 l", "just level"
    digits = 0 if abs(margin_l) >= 0.95 else 1
    return (f"−{-margin_l:.{digits}f} l", "under water") if margin_l < 0 else (f"+{margin_l:.{digits}f} l", "to spare")


def _said(row: FloatRow, layout: Layout) -> tuple[tuple[str, str], ...]:
    """What stands under a board, line by line, each with its kind."""
    litres, meaning = margin_words(row.float_margin_l)
    kind = "under-words" if row.float_margin_l < 0 else "spare-words"
    between = " " if meaning == "to spare" else ": "
    lines = ((kind, litres), (kind, meaning)) if layout.is_narrow else ((kind, litres + between + meaning),)
    return (*lines, ("under-words", "not for you")) if row.refused else lines


def _sentence(row: FloatRow) -> str:
    litres, meaning = margin_words(row.float_margin_l)
    name = row.role[:1].upper() + row.role[1:]
    sits = "its deck lies under the water" if row.float_margin_l < 0 else f"it sits {_draught(row):.1f} cm deep"
    refused = " It is not for you." if row.refused else ""
    return f"{name}: {row.volume_l:g} litres, {row.thickness_cm:g} cm thick; at rest under you {sits}, {litres} {meaning}.{refused}"
