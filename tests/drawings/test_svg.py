"""A drawing as a file for paper: well-formed, every kind in its colours, and those the stylesheet's light ones."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from server.domain.quotes import quoted_kit
from server.web.drawings import svg
from server.web.drawings.sheet import Drawing, Lettering, Shape
from server.web.drawings.side import WIDE, side_view
from server.web.static import STATIC
from tests.drawings.test_kit import kit

NAME = "{http://www.w3.org/2000/svg}"
TOKENS = ("ink", "soft", "raised", "water", "wave", "kelp", "line", "flag", "paper")


def test_the_file_has_every_shape_and_word_of_the_drawing_at_its_place() -> None:
    drawing = side_view(quoted_kit(kit()), WIDE)
    root = ElementTree.fromstring(svg.svg_of(drawing, "Some Serif"))
    assert root.tag == f"{NAME}svg"
    assert root.get("viewBox") == f"0 0 {drawing.width:g} {drawing.height:g}"
    assert [path.get("d") for path in root.iter(f"{NAME}path")] == [shape.path for shape in drawing.shapes]
    assert [text.text for text in root.iter(f"{NAME}text")] == [words.words for words in drawing.lettering]


def test_every_kind_of_the_side_view_has_colours_of_its_own() -> None:
    drawing = side_view(quoted_kit(kit()), WIDE)
    assert {kind for kind in drawing.shapes if not set(kind.kind.split()) & svg.PAINTS.keys()} == set()
    assert {words.kind for words in drawing.lettering} <= svg.LETTERINGS.keys()


@pytest.mark.parametrize("token", TOKENS)
def test_the_colours_are_the_light_ones_of_the_stylesheet(token: str) -> None:
    light = (STATIC / "slackwater.css").read_text(encoding="utf-8").split("@media", 1)[0]
    found = re.search(rf"--{token}: (#\w+);", light)
    assert found is not None
    assert getattr(svg, token.upper()) == found[1]


def test_words_that_look_like_markup_stay_words_and_an_unknown_kind_is_a_thin_line() -> None:
    words = (Lettering("new-words", 1, 2, '<b>&"', "end"),)
    root = ElementTree.fromstring(svg.svg_of(Drawing(9, 9, 0, (Shape("new", "M0 0H9"),), words, "", ""), "Serif"))
    [text], [path] = root.iter(f"{NAME}text"), root.iter(f"{NAME}path")
    assert text.text == '<b>&"'
    assert text.get("text-anchor") == "end"
    assert path.get("stroke") == svg.INK
