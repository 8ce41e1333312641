"""A drawing as it stands in a page, in the colours of the stylesheet: put together here, since a template takes four times as long."""

from __future__ import annotations

from functools import lru_cache

from markupsafe import Markup

from server.web.drawings.ruler import Ruler
from server.web.drawings.sheet import Drawing, Lettering, Shape
from server.web.escaping import written


def figure(wide: Drawing, narrow: Drawing, name: str) -> Markup:
    """A drawing for a wide sheet and the same for a narrow one, of which the stylesheet shows one."""
    sheets = sheet(wide, f"{name}-w", "on-wide") + sheet(narrow, f"{name}-n", "on-narrow")
    return Markup('<figure class="drawn">\n') + sheets + Markup("</figure>\n")


@lru_cache(maxsize=256)
def kept_figure(wide: Drawing, narrow: Drawing, name: str) -> Markup:
    """As `figure`, of drawings that are kept themselves: those of a kit's parts, which are the same for whoever gets them."""
    return figure(wide, narrow, name)


def sheet(drawing: Drawing, name: str, kind: str = "") -> Markup:
    """One sheet under a name of its own on the page: one picture, or a group of links where its shapes lead somewhere."""
    name = written(name)
    is_group = any(shape.href for shape in drawing.shapes)
    said = f'role="img" aria-labelledby="{name}-t {name}-d"'
    if is_group:
        said = f'role="group" aria-labelledby="{name}-t" aria-describedby="{name}-d"'
    beside = ' aria-hidden="true"' if is_group else ""
    lines = [
        f'<svg class="sheet-svg {kind}" viewBox="0 0 {drawing.width} {drawing.height}" {said}>',
        f'<title id="{name}-t">{written(drawing.title)}</title>',
        f'<desc id="{name}-d">{written(drawing.words)}</desc>',
        *[_shape(shape, beside) for shape in drawing.shapes],
        *[_lettering(lettering, beside) for lettering in drawing.lettering],
        "</svg>\n",
    ]
    return Markup("\n".join(lines))  # noqa: S704


def ruler_sheet(mark: Ruler) -> Markup:
    """A ruler, as one picture."""
    ends = f"M{mark.low} 22H{mark.high}M{mark.low} 15V29M{mark.high} 15V29"
    pointer = f"M{mark.at} 8L{mark.at - 5} 1H{mark.at + 5}ZM{mark.at} 8V22"
    lines = (
        f'<svg class="ruler" viewBox="0 0 220 44" role="img" aria-label="{written(mark.words)}">',
        f'<path class="range" d="{ends}"/>',
        f'<path class="ideal" d="M{mark.ideal} 17V27"/>',
        f'<path class="mark" d="{pointer}"/>',
        f'<text x="{mark.low}" y="42" text-anchor="middle">{written(mark.low_words)}</text>',
        f'<text x="{mark.high}" y="42" text-anchor="middle">{written(mark.high_words)}</text>',
        "</svg>",
    )
    return Markup("\n".join(lines))  # noqa: S704


def _shape(shape: Shape, beside: str) -> str:
    """A path, whose kind and numbers are the program's own; where a link leads and is called may be anybody's."""
    if not shape.href:
        return f'<path class="{shape.kind}" d="{shape.path}"{beside}/>'
    path = f'<path class="{shape.kind}" d="{shape.path}"/>'
    return f'<a href="{written(shape.href)}"><title>{written(shape.name)}</title>{path}</a>'


def _lettering(lettering: Lettering, beside: str) -> str:
    anchor = "" if lettering.anchor == "start" else f' text-anchor="{lettering.anchor}"'
    place = f'x="{lettering.x}" y="{lettering.y}"{anchor}{beside}'
    return f'<text class="{lettering.kind}" {place}>{written(lettering.words)}</text>'
