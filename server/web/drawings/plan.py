"""Board, front foil and tail from above, to one scale."""

from __future__ import annotations

from functools import lru_cache

from server.domain.catalogue import Gear
from server.domain.quotes import QuotedKit
from server.web.drawings.sheet import Drawing, Lettering, Point, Shape, Sheet, across, down, scale_bar
from server.web.drawings.side import USUAL_LENGTH_CM, Layout, chord_cm

WIDE = Layout(1.9, 12.0, 34.0, 760.0, is_narrow=False)
NARROW = Layout(1.5, 12.0, 34.0, 330.0, is_narrow=True)
TAIL_WORDS = 80.0  # What the tail's span takes beside it, in pixels.


def _board(length: float, width: float) -> tuple[Point, list[tuple[Point, ...]]]:
    """A board's outline from above, its box length × width, the nose at the left."""
    half = width / 2
    start = (0.0, half)
    return start, [
        ((0.0, 0.35 * half), (0.16 * length, 0.0), (0.42 * length, 0.0)),
        ((0.72 * length, 0.0), (0.92 * length, 0.10 * half), (length, 0.42 * half)),
        ((length, width - 0.42 * half),),
        ((0.92 * length, width - 0.10 * half), (0.72 * length, width), (0.42 * length, width)),
        ((0.16 * length, width), (0.0, width - 0.35 * half), start),
    ]


def _wing(x: float, y: float, span: float, area: float) -> list[Point]:
    """A foil from above, span from top to bottom, of the area given: a straight middle and tips of a third of the root."""
    root = area / span * 1.5  # A taper of one to a third has the mean chord at two thirds of the root's.
    tip = root / 3
    sweep = (root - tip) * 0.7
    return [
        (x, y + span / 2),
        (x + sweep, y),
        (x + sweep + tip, y),
        (x + root, y + span / 2),
        (x + sweep + tip, y + span),
        (x + sweep, y + span),
    ]


def span_cm(foil: Gear) -> float:
    """A foil's span, or what its area and chord make it where the span is not known."""
    return foil.number_or("span_cm", foil.size / chord_cm(foil))


def plan_view(kit: QuotedKit, layout: Layout) -> Drawing:
    """Board, front foil and tail seen from above, side by side (on a narrow sheet the foils under the board)."""
    board, foil, tail = (kit.gear_in(slot) for slot in ("board", "front_foil", "tail"))
    length, width = board.number_or("length_cm", USUAL_LENGTH_CM), board.number("width_cm")
    return _drawn(length, width, foil.size, span_cm(foil), tail.size, span_cm(tail), layout)


@lru_cache(maxsize=256)  # As many kits at least are shown again and again, and each is drawn for two sheets.
def _drawn(
    length: float, width: float, foil_cm2: float, foil_span: float, tail_cm2: float, tail_span: float, layout: Layout
) -> Drawing:
    below = layout.is_narrow
    foil_x = 0.0 if below else length + 34
    foil_y = width + 40 if below else 0.0
    root = foil_cm2 / foil_span * 1.5
    tail_x = foil_x + root + (52 if below else 50)
    rear = tail_x + tail_cm2 / tail_span * 1.5
    layout = layout.holding(max(length, rear), 0.0 if below and length > rear else TAIL_WORDS)
    sheet = Sheet(layout.left, layout.top, layout.scale)
    parts = (
        Shape("hull", sheet.curves(*_board(length, width))),
        Shape("metal front-foil", sheet.outline(_wing(foil_x, foil_y, foil_span, foil_cm2))),
        Shape("metal tail", sheet.outline(_wing(tail_x, foil_y + (foil_span - tail_span) / 2, tail_span, tail_cm2))),
    )
    left, right = sheet.at((0, 0))[0], sheet.at((length, 0))[0]
    top, bottom = sheet.at((0, foil_y))[1], sheet.at((0, foil_y + foil_span))[1]
    tail_top = sheet.at((0, foil_y + (foil_span - tail_span) / 2))[1]
    height = max(sheet.at((0, width))[1], bottom) + 46
    marks = (
        across(left, right, layout.top - 14, f"{length:g} cm"),
        down(sheet.at((length * 0.5, 0))[0], layout.top, sheet.at((0, width))[1], f"{width:g} cm"),
        down(sheet.at((foil_x + root, 0))[0] + 10, top, bottom, f"{foil_span:.0f} cm"),
        down(
            sheet.at((rear, 0))[0] + 10,
            tail_top,
            tail_top + layout.scale * tail_span,
            f"{tail_span:.0f} cm",
        ),
        scale_bar(sheet, layout.left, height - 12, 50),
    )
    names = (
        Lettering("part-words", sheet.at((foil_x, 0))[0], bottom + 20, f"front foil {foil_cm2:g} cm²"),
        Lettering("part-words", sheet.at((tail_x, 0))[0] - 6, tail_top - 10, f"tail {tail_cm2:g} cm²"),
    )
    return Drawing(
        layout.width,
        round(height, 2),
        layout.scale,
        (*parts, *(shape for shape, _ in marks)),
        (*(words for _, words in marks), *names),
        "Board, front foil and tail from above, to scale",
        f"The board is {length:g} cm long and {width:g} cm wide; the front foil spans {foil_span:.0f} cm with {foil_cm2:g} cm², "
        f"the tail {tail_span:.0f} cm with {tail_cm2:g} cm².",
    )
