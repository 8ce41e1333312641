"""A drawing as an SVG file with its colours in it, for paper: the light ones of the stylesheet."""

from __future__ import annotations

from html import escape

from server.web.drawings.sheet import Drawing, Lettering, Shape

INK, SOFT, RAISED, WATER, WAVE, KELP = "#16323b", "#52666c", "#ffffff", "#dcebea", "#7fa9ab", "#1d6b57"
LINE, FLAG, PAPER = "#cfd6d2", "#a63f24", "#fbfaf5"


def _line(colour: str, width: float, rest: str = "") -> str:
    return f'fill="none" stroke="{colour}" stroke-width="{width:g}"{rest}'


BODY = f'fill="{INK}" stroke="{RAISED}" stroke-width="0.6"'
PAINTS = {
    "sea": f'fill="{WATER}"',
    "waterline": _line(WAVE, 1.5, ' stroke-dasharray="7 5"'),
    "hull": f'fill="{RAISED}" stroke="{INK}" stroke-width="2"',
    "metal": f'fill="{INK}"',
    "fuselage": BODY,
    "front-foil": BODY,
    "tail": BODY,
    "dimension": _line(KELP, 1.4),
    "scale": _line(SOFT, 1.4),
    "person": f'fill="{WAVE}" stroke="{SOFT}" stroke-width="1"',
    "ground": _line(SOFT, 1.5),
    "seam": _line(SOFT, 1.2),
    "float": f'fill="{RAISED}" stroke="{INK}" stroke-width="1.5"',
    "this": f'fill="{RAISED}" stroke="{INK}" stroke-width="3"',
    "refused": f'fill="{RAISED}" stroke="{FLAG}" stroke-width="1.5" stroke-dasharray="6 4"',
    "grid": _line(LINE, 1),
    "axis-line": _line(SOFT, 1.2),
    "axis-tick": _line(SOFT, 1.2),
    "value-under": f'fill="{WATER}" fill-opacity="0.7"',
    "value-line": _line(KELP, 2.4),
    "value-dot": f'fill="{KELP}"',
    "stair": _line(SOFT, 1.8),
    "step-dot": f'fill="{PAPER}" stroke="{KELP}" stroke-width="2.4"',
    "step-shown": f'fill="{INK}"',
    "target": 'fill="none"',
}
LETTERINGS = {
    "dimension-words": KELP,
    "scale-words": SOFT,
    "water-words": SOFT,
    "part-words": INK,
    "axis-words": SOFT,
    "role-words": SOFT,
    "role-words this": INK,
    "spare-words": INK,
    "under-words": FLAG,
    "value-words": INK,
    "step-words": INK,
}
THIN = _line(INK, 1.2)  # A kind without colours of its own.


def svg_file(width: float, height: float, content: str) -> str:
    """A file of a size in pixels."""
    size = f'width="{width:g}" height="{height:g}" viewBox="0 0 {width:g} {height:g}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{content}</svg>'


def squares_file(side: int, path: str) -> str:
    """Dark squares to fill on a sheet of so many a side, black on whatever is under it."""
    return svg_file(side, side, f'<path d="{path}" fill="#000000" shape-rendering="crispEdges"/>')


def svg_of(drawing: Drawing, family: str) -> str:
    """A drawing with its lettering in a family of letters; its title and words are for whoever sets it to say."""
    shapes = "".join(f'<path d="{escape(shape.path)}" {_paint(shape)}/>' for shape in drawing.shapes)
    words = "".join(_text(lettering) for lettering in drawing.lettering)
    letters = f'<g font-family="{escape(family)}" font-size="15">{words}</g>'
    return svg_file(drawing.width, drawing.height, shapes + letters)


def _paint(shape: Shape) -> str:
    """How a shape is drawn: by the last word of its kind that has colours."""
    return next((PAINTS[kind] for kind in reversed(shape.kind.split()) if kind in PAINTS), THIN)


def _text(lettering: Lettering) -> str:
    colour = LETTERINGS.get(lettering.kind, INK)
    place = f'x="{lettering.x:g}" y="{lettering.y:g}" text-anchor="{lettering.anchor}" fill="{colour}"'
    return f"<text {place}>{escape(lettering.words)}</text>"
