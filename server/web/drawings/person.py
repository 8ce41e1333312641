"""The hand wing beside a person, to one scale, so that its size can be seen and not only read."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache

from server.domain.catalogue import Gear
from server.web.drawings.sheet import Drawing, Lettering, Point, Shape, Sheet, across, down, letters_wide, scale_bar
from server.web.drawings.side import Layout

PERSON_CM = 175.0
HEADS = 7.5  # A grown person's height in heads: common practice in figure drawing.
USUAL_ASPECT_RATIO = 2.75  # Span × span ÷ area of a hand wing: common practice of the trade.
CM2_IN_M2 = 10_000
TALLEST = 330.0  # What a hand wing may take of a sheet from nose to rear edge, in pixels.

WIDE = Layout(1.3, 16.0, 44.0, 760.0, is_narrow=False)
NARROW = Layout(0.8, 14.0, 44.0, 330.0, is_narrow=True)

Curve = tuple[Point, ...]

# A hand wing seen flat, its right half from the nose to the middle of its rear edge: x in half spans, y in lengths from
# the nose to the rear.
NOSE = (0.0, 0.0)
RIGHT_HALF: tuple[Curve, ...] = (
    ((0.42, 0.0), (1.0, 0.22), (1.0, 0.66)),
    ((1.0, 0.75), (0.94, 0.80), (0.84, 0.80)),
    ((0.56, 0.80), (0.30, 1.0), (0.0, 1.0)),
)
INNER_TUBE: tuple[Point, ...] = (
    (0.0, 0.11),
    (0.38, 0.11),
    (0.88, 0.30),
    (0.93, 0.72),
)  # Rear edge of the leading edge's tube.
STRUT_TOP = 0.11

# A standing figure from the front, its right side from neck to crotch: x from its middle and y from its crown, in heads.
# Chin at one head, crotch near the middle, knees at five and a half, soles at seven and a half.
HEAD_WIDE = 0.68
OUTER_SIDE: tuple[Point, ...] = (
    (0.20, 0.86),
    (0.22, 1.16),
    (0.50, 1.32),
    (0.84, 1.44),
    (0.98, 1.86),
    (1.04, 2.70),
    (1.12, 3.40),
    (1.13, 3.82),
    (1.04, 4.06),
    (0.95, 3.80),
    (0.90, 3.38),
    (0.80, 2.70),
    (0.70, 2.02),
    (0.58, 2.76),
    (0.66, 3.40),
    (0.69, 4.00),
    (0.56, 5.10),
    (0.49, 5.55),
    (0.51, 6.05),
    (0.34, 7.00),
    (0.46, 7.36),
    (0.46, HEADS),
)
INNER_SIDE: tuple[Point, ...] = ((0.13, HEADS), (0.16, 7.05), (0.14, 6.20), (0.13, 5.50), (0.08, 4.60), (0.0, 3.86))


def span_cm(wing: Gear) -> float:
    """A hand wing's span, or what its area and the usual aspect ratio make it: √(aspect ratio × area)."""
    return wing.number_or("span_cm", math.sqrt(USUAL_ASPECT_RATIO * wing.size * CM2_IN_M2))


def _both_halves(right: Sequence[Curve]) -> list[Curve]:
    """The curves of a right half followed by their mirror image, back to the start on the middle line."""
    ends = [NOSE, *(curve[-1] for curve in right)]
    left = [((-c2[0], c2[1]), (-c1[0], c1[1]), (-start[0], start[1])) for start, (c1, c2, _) in _backwards(ends, right)]
    return [*right, *left]


def _backwards(ends: Sequence[Point], curves: Sequence[Curve]) -> list[tuple[Point, Curve]]:
    return list(zip(reversed(ends[:-1]), reversed(curves), strict=True))


def _area(start: Point, curves: Sequence[Curve]) -> float:
    """The area inside a closed outline of cubic Bézier curves, by Green's theorem, exactly."""
    twice = 0.0
    for curve in curves:
        (x0, y0), (x1, y1), (x2, y2), (x3, y3) = start, *curve
        twice += (
            x0 * (6 * y1 + 3 * y2 + y3)
            + x1 * (-6 * y0 + 3 * y2 + 3 * y3)
            + x2 * (-3 * y0 - 3 * y1 + 6 * y3)
            + x3 * (-y0 - 3 * y1 - 6 * y2)
        ) / 10
        start = curve[-1]
    return abs(twice) / 2


OUTLINE = _both_halves(RIGHT_HALF)
FILLED = _area(NOSE, OUTLINE) / 2  # Share of the box span × length that the outline fills.


def _smooth(points: Sequence[Point]) -> list[Curve]:
    """Curves through points, each leaving a point along the line between its neighbours (Catmull and Rom)."""
    padded = [points[0], *points, points[-1]]
    return [
        ((x1 + (x2 - x0) / 6, y1 + (y2 - y0) / 6), (x2 - (x3 - x1) / 6, y2 - (y3 - y1) / 6), (x2, y2))
        for (x0, y0), (x1, y1), (x2, y2), (x3, y3) in zip(padded, padded[1:], padded[2:], padded[3:], strict=False)
    ]


def _figure(sheet: Sheet, middle: float) -> tuple[Shape, Shape]:
    """Head and body of a person who stands at a place, the crown at 0, in centimetres."""
    head = PERSON_CM / HEADS
    mirrored = [[(-x, y) for x, y in reversed(side)] for side in (INNER_SIDE, OUTER_SIDE)]
    body: list[Curve] = [
        *_smooth(OUTER_SIDE),
        (INNER_SIDE[0],),
        *_smooth(INNER_SIDE),
        *_smooth(mirrored[0]),
        (mirrored[1][0],),
        *_smooth(mirrored[1]),
    ]
    round_ = 0.5523  # Four cubic curves with this share of the radius come within 0.03 % of an ellipse.
    wide, tall = HEAD_WIDE / 2, 0.5
    skull: list[Curve] = [
        ((wide * round_, 0.0), (wide, tall * (1 - round_)), (wide, tall)),
        ((wide, tall * (1 + round_)), (wide * round_, 1.0), (0.0, 1.0)),
        ((-wide * round_, 1.0), (-wide, tall * (1 + round_)), (-wide, tall)),
        ((-wide, tall * (1 - round_)), (-wide * round_, 0.0), (0.0, 0.0)),
    ]

    def placed(point: Point) -> Point:
        return middle + head * point[0], head * point[1]

    def path(start: Point, curves: Sequence[Curve]) -> str:
        return sheet.curves(placed(start), [[placed(point) for point in curve] for curve in curves])

    return Shape("person head", path((0.0, 0.0), skull)), Shape("person body", path(OUTER_SIDE[0], body))


def hand_wing_view(wing: Gear, layout: Layout) -> Drawing:
    """A hand wing, seen flat, beside a standing person of 175 cm (on a narrow sheet over them), to one scale.

    Span and area are the wing's own; where the span is not known it is that of a usual aspect ratio, and the words say so.
    The scale is the layout's, or a smaller one where the wing would not fit on the sheet.
    """
    return _drawn(wing.size, span_cm(wing), "span_cm" in wing.measures, layout)


@lru_cache(maxsize=256)  # A shop has few hand wings, and shows them on every page of a kit.
def _drawn(size_m2: float, span: float, is_known: bool, layout: Layout) -> Drawing:
    area = size_m2 * CM2_IN_M2
    length = area / (FILLED * span)
    figure_wide = 2 * 1.13 * PERSON_CM / HEADS
    said = f"a person of {PERSON_CM:g} cm"
    room = layout.width - 2 * layout.left - (0 if layout.is_narrow else letters_wide(said) + 30)
    across_cm = span if layout.is_narrow else span + figure_wide
    scale = round(min(layout.scale, room / across_cm, TALLEST / length), 4)

    if layout.is_narrow:
        wing_left, wing_top = round(layout.width / 2 - scale * span / 2, 2), layout.top
        person_left, person_top = layout.left + 6, layout.top + scale * length + 18
        ground = person_top + scale * PERSON_CM
    else:
        ground = layout.top + scale * max(length, PERSON_CM)
        person_left, person_top = layout.left, ground - scale * PERSON_CM
        beside = person_left + scale * figure_wide + letters_wide(said) + 30
        wing_left = round(beside + (layout.width - layout.left - beside - scale * span) / 2, 2)
        wing_top = ground - scale * length
    wing_sheet = Sheet(wing_left, wing_top, scale)
    person_sheet = Sheet(person_left, person_top, scale)

    def on_wing(point: Point) -> Point:
        return span / 2 * (1 + point[0]), length * point[1]

    outline = [[on_wing(point) for point in curve] for curve in OUTLINE]
    middle_x, strut_y = wing_sheet.at(on_wing((0.0, STRUT_TOP)))
    rear_y = wing_sheet.at(on_wing((0.0, 1.0)))[1]
    shapes = [
        Shape("ground", f"M0 {ground:g}H{layout.width:g}"),
        Shape("hull hand-wing", wing_sheet.curves(on_wing(NOSE), outline)),
        Shape("seam", _tube(wing_sheet, on_wing) + f"M{middle_x:g} {strut_y:g}V{rear_y:g}"),
        *_figure(person_sheet, figure_wide / 2),
    ]
    height_x = person_left + scale * figure_wide + 14
    bottom = ground + 44
    marks = (
        across(wing_left, round(wing_left + scale * span, 2), round(wing_top - 18, 2), f"{span:.0f} cm"),
        down(round(height_x, 2), round(person_top, 2), round(ground, 2), said),
        scale_bar(wing_sheet, layout.left, round(bottom - 16, 2), 100),
    )
    name = Lettering(
        "part-words", round(middle_x + 10, 2), round(wing_top + scale * length * 0.55 + 5, 2), f"{size_m2:g} m²"
    )
    return Drawing(
        layout.width,
        round(bottom, 2),
        scale,
        (*shapes, *(shape for shape, _ in marks)),
        (*(words for _, words in marks), name),
        "Your hand wing beside a person, to scale",
        _words(size_m2, span, is_known),
    )


def _tube(sheet: Sheet, on_wing: Callable[[Point], Point]) -> str:
    """The rear edge of the leading edge's tube, from tip to tip."""
    left = [(-x, y) for x, y in reversed(INNER_TUBE)]
    points = [sheet.at(on_wing(point)) for point in (*left, *INNER_TUBE[1:])]
    start, *rest = (f"{x:g} {y:g}" for x, y in points)
    return f"M{start}C" + " ".join(rest[:3]) + "C" + " ".join(rest[3:])


def _words(size_m2: float, span: float, is_known: bool) -> str:
    times = span / PERSON_CM
    unknown = (
        ""
        if is_known
        else (f" Its span is not known: it is drawn with the aspect ratio usual in the trade, {USUAL_ASPECT_RATIO:g}.")
    )
    return (
        f"The hand wing of {size_m2:g} m² is {span:.0f} cm from tip to tip, {times:.1f} times the height of a person of "
        f"{PERSON_CM:g} cm who stands beside it.{unknown}"
    )
