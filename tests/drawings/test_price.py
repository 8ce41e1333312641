"""Fit against price: places in proportion, a stair that never offers what no kit gives, and links that a finger hits."""

from __future__ import annotations

import itertools
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.web.drawings import svg
from server.web.drawings.markup import sheet
from server.web.drawings.price import Step, price_chart, thin
from server.web.drawings.sheet import Drawing
from tests.drawings.paths import Point, crowded, extent, followed, of_kind, outside, overlap, the_one

WIDTHS = [640.0, 330.0]
FINGER_PX = 24  # Least side of a target: WCAG 2.2, success criterion 2.5.8.


def money(cents: int) -> str:
    """An amount as a shop in the euro writes it."""
    return f"€{cents / 100:,.2f}"


def step(price_cents: int, misfit: float, *, is_shown: bool = False) -> Step:
    words = money(price_cents)
    name = f"{words}, misfit {misfit:.2f}: show this kit"
    return Step(f"/kits/{price_cents}", name, price_cents, misfit, is_shown, words)


@st.composite
def frontiers(draw: st.DrawFn) -> list[Step]:
    """Kits each dearer and better than the one before, one of them shown or none."""
    prices = sorted(draw(st.lists(st.integers(500_00, 9_000_00), min_size=1, max_size=40, unique=True)))
    misfits = sorted(
        draw(st.lists(st.integers(0, 2000), min_size=len(prices), max_size=len(prices), unique=True)), reverse=True
    )
    shown = draw(st.integers(-1, len(prices) - 1))
    return [
        step(price, misfit / 100, is_shown=number == shown)
        for number, (price, misfit) in enumerate(zip(prices, misfits, strict=True))
    ]


def shown_of(steps: list[Step]) -> list[Step]:
    return [one for one in steps if one.is_shown]


def stair(drawing: Drawing) -> list[Point]:
    return followed(the_one(drawing, "stair").path)


def links(drawing: Drawing) -> list[tuple[str, str]]:
    return [(shape.href, shape.name) for shape in drawing.shapes if shape.href]


# --- Which steps are shown -------------------------------------------------------------------------------------------


@given(frontiers(), st.integers(3, 14))
def test_at_most_so_many_are_kept_always_with_both_ends_and_the_one_shown(steps: list[Step], most: int) -> None:
    kept = thin(steps, most)
    assert len(kept) == min(most, len(steps))
    assert kept[0] == steps[0]
    assert kept[-1] == steps[-1]
    assert set(shown_of(steps)) <= set(kept)
    assert [one.price_cents for one in kept] == sorted({one.price_cents for one in kept})


def test_the_others_are_spread_evenly_by_their_places() -> None:
    steps = [step(1_000_00 + 100 * number, 9 - number / 10) for number in range(34)]
    places = [steps.index(one) for one in thin(steps)]
    assert places == list(range(0, 34, 3))


def test_twelve_or_fewer_are_all_kept() -> None:
    steps = [step(1_000_00 + 100 * number, 9 - number / 10) for number in range(12)]
    assert thin(steps) == tuple(steps)


# --- Places ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", WIDTHS)
@given(steps=frontiers())
def test_places_are_linear_in_price_and_in_misfit_and_a_better_fit_stands_higher(
    width: float, steps: list[Step]
) -> None:
    corners = stair(price_chart(steps, width, money))
    landings = [corners[0], *corners[2::2]]  # Along a fit to the next price, then up.
    assert len(landings) == len(steps)
    for one, (x, _) in zip(steps, landings, strict=True):
        share = (one.price_cents - steps[0].price_cents) / max(1, steps[-1].price_cents - steps[0].price_cents)
        assert x == pytest.approx(landings[0][0] + share * (landings[-1][0] - landings[0][0]), abs=0.02)
    for (_, worse), (_, better) in itertools.pairwise(landings):
        assert better <= worse
    if len(steps) > 2:
        fit = [one.misfit for one in steps]
        for one, (_, y) in zip(steps, landings, strict=True):
            share = (fit[0] - one.misfit) / (fit[0] - fit[-1])
            assert y == pytest.approx(landings[0][1] + share * (landings[-1][1] - landings[0][1]), abs=0.02)


@pytest.mark.parametrize("width", WIDTHS)
def test_ticks_and_lines_stand_at_the_values_they_name(width: float) -> None:
    steps = [step(3_000_00, 4), step(3_500_00, 2), step(5_000_00, 0.5)]
    drawing = price_chart(steps, width, money)
    corners = stair(drawing)
    per_euro = (corners[-2][0] - corners[0][0]) / 2000
    per_misfit = (corners[0][1] - corners[-2][1]) / 3.5
    ticks = [extent(shape)[0] for shape in of_kind(drawing, "axis-tick")]
    prices = [words for words in drawing.lettering if words.words.startswith("€")]
    assert len(ticks) == len(prices) >= 2
    for x, words in zip(ticks, prices, strict=True):
        euros = int(words.words[1:].replace(",", ""))
        assert x == pytest.approx(corners[0][0] + (euros - 3000) * per_euro, abs=0.05)
    lines = [extent(shape)[1] for shape in of_kind(drawing, "grid")]
    misfits = [words.words for words in drawing.lettering if words.anchor == "end" and words.words.isdigit()]
    assert misfits[0] == "0"
    for y, misfit in zip(lines, misfits, strict=True):
        assert y == pytest.approx(corners[0][1] + (int(misfit) - 4) * per_misfit, abs=0.05)


def test_the_better_end_and_the_dearer_end_are_named() -> None:
    said = " / ".join(words.words for words in price_chart([step(1_000_00, 1)], 330, money).lettering)
    assert "↑ fits better; 0 is exactly the ideal" in said
    assert "costs more →" in said


# --- Links -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", WIDTHS)
@given(steps=frontiers())
def test_every_mark_is_a_link_a_finger_can_hit_without_hitting_another(width: float, steps: list[Step]) -> None:
    drawing = price_chart(steps, width, money)
    targets = [extent(shape) for shape in of_kind(drawing, "target")]
    marks = [shape for shape in drawing.shapes if shape.kind in ("step-dot", "step-shown")]
    assert len(targets) == len(marks) == len(links(drawing))
    for left, top, right, bottom in targets:
        assert right - left >= FINGER_PX
        assert bottom - top >= FINGER_PX
    assert not any(overlap(one, other) for one, other in itertools.combinations(targets, 2))
    assert outside(drawing) == []


@pytest.mark.parametrize("width", WIDTHS)
@given(steps=frontiers())
def test_both_ends_and_the_kit_shown_are_links_and_only_that_kit_is_marked_by_shape_and_word(
    width: float, steps: list[Step]
) -> None:
    drawing = price_chart(steps, width, money)
    offered = links(drawing)
    for one in (steps[0], steps[-1], *shown_of(steps)):
        assert (one.href, one.name) in offered
    assert {href for href, _ in offered} <= {one.href for one in thin(steps)}
    assert len(of_kind(drawing, "step-shown")) == len(shown_of(steps))
    said = [words.words for words in drawing.lettering]
    assert said.count("this kit") == len(shown_of(steps))
    for one in shown_of(steps):
        assert one.price_words in said


def test_steps_far_enough_apart_are_all_links() -> None:
    steps = [step(2_000_00 + 250_00 * number, 6 - number / 2) for number in range(12)]
    assert len(links(price_chart(steps, 640, money))) == 12


@pytest.mark.parametrize("width", WIDTHS)
@given(steps=frontiers())
def test_nothing_is_crowded(width: float, steps: list[Step]) -> None:
    assert crowded(price_chart(steps, width, money)) == []


# --- In words and on the page ----------------------------------------------------------------------------------------


def test_the_same_is_said_in_words() -> None:
    steps = [step(3_000_00, 4), step(3_500_00, 2, is_shown=True), step(5_000_00, 0.5)]
    words = price_chart(steps, 640, money).words
    assert "3 kits" in words
    assert "from €3,000.00 with a misfit of 4.00 to €5,000.00 with 0.50" in words
    assert "This kit costs €3,500.00 and has a misfit of 2.00." in words
    assert "One kit suits: €3,000.00" in price_chart(steps[:1], 640, money).words


def sheet_of(drawing: Drawing) -> ElementTree.Element:
    return ElementTree.fromstring(str(sheet(drawing, "fit")))


def test_on_the_page_a_chart_with_links_is_a_group_of_named_links() -> None:
    steps = [step(3_000_00, 4), step(3_500_00, 2, is_shown=True), step(5_000_00, 0.5)]
    sheet = sheet_of(price_chart(steps, 640, money))
    assert sheet.get("role") == "group"
    assert sheet.get("aria-labelledby") == "fit-t"
    assert [(link.get("href"), link.findtext("title")) for link in sheet.iter("a")] == [(s.href, s.name) for s in steps]
    assert all(link.find("path") is not None for link in sheet.iter("a"))


def test_on_the_page_a_drawing_without_links_is_one_picture() -> None:
    steps = [step(3_000_00, 4)]
    drawing = price_chart(steps, 640, money)
    without = Drawing(
        drawing.width, drawing.height, 0, tuple(s for s in drawing.shapes if not s.href), (), drawing.title, "Words."
    )
    sheet = sheet_of(without)
    assert sheet.get("role") == "img"
    assert list(sheet.iter("a")) == []


def test_every_kind_has_colours_on_paper() -> None:
    drawing = price_chart([step(3_000_00, 4), step(3_500_00, 2, is_shown=True)], 640, money)
    assert {shape.kind for shape in drawing.shapes if not set(shape.kind.split()) & svg.PAINTS.keys()} == set()
    assert {words.kind for words in drawing.lettering} <= svg.LETTERINGS.keys()
