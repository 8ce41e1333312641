"""Contrast is what the guidelines say it is."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.colours import contrast_ratio, read_colour, relative_luminance

colours = st.integers(0, 0xFFFFFF).map(lambda number: f"#{number:06x}")

# WCAG 2.2 defines black on white as 21:1. The greys are those at which the W3C's and the usual checkers' thresholds lie:
# #767676 is the lightest that passes 4.5:1 on white, #777777 fails, #595959 is the lightest that passes 7:1.
PUBLISHED = [
    ("#000000", "#ffffff", 21.00),
    ("#767676", "#ffffff", 4.54),
    ("#777777", "#ffffff", 4.48),
    ("#595959", "#ffffff", 7.00),
    ("#949494", "#ffffff", 3.03),
    ("#ff0000", "#ffffff", 4.00),
    ("#0000ff", "#ffffff", 8.59),
]


@pytest.mark.parametrize(("text", "ground", "ratio"), PUBLISHED)
def test_the_contrast_of_published_pairs(text: str, ground: str, ratio: float) -> None:
    assert contrast_ratio(text, ground) == pytest.approx(ratio, abs=0.005)


def test_white_has_all_light_and_the_primaries_their_shares_of_it() -> None:
    # ITU-R BT.709, on whose primaries sRGB stands: 0.2126, 0.7152, 0.0722.
    assert relative_luminance("#ffffff") == pytest.approx(1, rel=1e-12)
    assert relative_luminance("#000000") == 0
    assert [relative_luminance(primary) for primary in ("#ff0000", "#00ff00", "#0000ff")] == [0.2126, 0.7152, 0.0722]


@given(colours, colours)
def test_contrast_is_the_same_both_ways_and_lies_from_1_to_21(one: str, other: str) -> None:
    assert contrast_ratio(one, other) == contrast_ratio(other, one)
    assert 1 <= contrast_ratio(one, other) <= 21
    assert contrast_ratio(one, one) == 1


@given(colours)
def test_a_colour_is_read_in_small_or_large_letters(colour: str) -> None:
    assert read_colour(colour.upper()) == read_colour(colour) == colour


@pytest.mark.parametrize(
    "value", ["", "#fff", "1d6b57", "#1d6b5", "#1d6b577", "#1d6b5g", "red", "#1d6b57\n", "#１d6b57", 7, None]
)
def test_anything_else_is_no_colour(value: object) -> None:
    with pytest.raises(ValueError):
        read_colour(value)
