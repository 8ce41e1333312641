"""Drawings as they stand in a page: whatever is written on them stays text."""

from __future__ import annotations

from xml.etree import ElementTree

from server.web.drawings.markup import figure, ruler_sheet, sheet
from server.web.drawings.ruler import Ruler
from server.web.drawings.sheet import Drawing, Lettering, Shape

ODD = "<b onclick='x'>Kestrel & \"Co\"</b>"
"""Signs that mean something in HTML (HTML standard, 13.1.2.3 and 13.1.4)."""


def drawn(*shapes: Shape) -> Drawing:
    return Drawing(100.0, 50.0, 0, shapes, (Lettering("part-words", 1.0, 2.0, ODD, "end"),), ODD, ODD)


def test_words_on_a_sheet_stay_words() -> None:
    svg = ElementTree.fromstring(sheet(drawn(Shape("hull", "M0 0H1Z")), ODD))
    assert [svg.findtext(name) for name in ("title", "desc", "text")] == [ODD, ODD, ODD]
    assert svg.get("aria-labelledby") == f"{ODD}-t {ODD}-d"
    assert {one.tag for one in svg.iter()} == {"svg", "title", "desc", "path", "text"}


def test_a_link_leads_where_it_was_meant_to_and_is_called_what_it_was_called() -> None:
    svg = ElementTree.fromstring(sheet(drawn(Shape("target", "M0 0H1Z", f"/drafts/t/kit?sku={ODD}", ODD)), "one"))
    link = next(svg.iter("a"))
    assert (link.get("href"), link.findtext("title")) == (f"/drafts/t/kit?sku={ODD}", ODD)
    assert {one.tag for one in svg.iter()} == {"svg", "title", "desc", "a", "path", "text"}


def test_both_sheets_stand_in_one_figure_under_names_of_their_own() -> None:
    both = ElementTree.fromstring(figure(drawn(), drawn(), "side"))
    assert [one.get("class") for one in both] == ["sheet-svg on-wide", "sheet-svg on-narrow"]
    ids = [one.get("id") for one in both.iter() if one.get("id")]
    assert len(set(ids)) == len(ids) == 4


def test_words_on_a_ruler_stay_words() -> None:
    svg = ElementTree.fromstring(ruler_sheet(Ruler(30.0, 100.0, 190.0, 110.0, ODD, ODD, ODD)))
    assert [svg.get("aria-label"), *(one.text for one in svg.iter("text"))] == [ODD, ODD, ODD]
