"""One change for many parts, worked out part by part."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.bulk_changes import BulkChange, Changed, Ending, change_all, ended
from server.domain.catalogue import Part
from server.domain.prices import Markdown, PricePoint
from tests.domain.builders import TODAY, catalogue, part

# Own arithmetic: a price, an ending, the nearest price with it.
ENDED: list[tuple[int, Ending, int]] = [
    (1_248_53, "exact", 1_248_53),
    (1_248_49, "00", 1_248_00),
    (1_248_50, "00", 1_249_00),
    (1_248_24, "50", 1_248_00),
    (1_248_25, "50", 1_248_50),
    (1_248_53, "90", 1_248_90),
    (1_248_39, "90", 1_247_90),
    (1_248_40, "90", 1_248_90),
]


@pytest.mark.parametrize(("price", "ending", "nearest"), ENDED)
def test_a_price_is_rounded_to_the_nearest_with_an_ending(price: int, ending: Ending, nearest: int) -> None:
    assert ended(price, ending) == nearest


@given(st.integers(1, 10_000_000), st.sampled_from(["00", "50", "90"]))
def test_a_rounded_price_is_within_half_a_step_and_stays_when_rounded_again(price: int, ending: Ending) -> None:
    rounded = ended(price, ending)
    assert abs(rounded - price) <= (25 if ending == "50" else 50)
    assert ended(rounded, ending) == rounded


def one(change: BulkChange, piece: Part, *known: tuple[int, int]) -> Changed:
    points = [PricePoint(piece.sku, TODAY - timedelta(days=ago), price) for ago, price in known]
    (changed,) = change_all(change, [piece], catalogue([piece], history={piece.sku: points}), TODAY)
    return changed


def test_prices_go_up_and_down_by_per_cent_or_amount() -> None:
    mast = part("mast", price=1_000_00)
    for change, price in (
        (BulkChange("price", percent=Decimal("4.9"), ending="90"), 1_048_90),
        (BulkChange("price", percent=Decimal(-10)), 900_00),
        (BulkChange("price", amount=-25_50), 974_50),
    ):
        assert one(change, mast).after.price == price


# A change, a part, why it is left out.
REFUSED = [
    (BulkChange("price", amount=-100_00), part("mast", price=100_00), "price"),
    (BulkChange("price", percent=Decimal(1), ending="00"), part("mast", price=10_00), "same"),
    (BulkChange("price", percent=Decimal(-50)), part("mast", price=100_00, markdown=80_00), "markdown_above"),
    (BulkChange("markdown", percent=Decimal(1), ending="90", since=TODAY), part("mast", price=10_90), "not_below"),
    (BulkChange("markdown", percent=Decimal(10), since=TODAY - timedelta(days=2)), part("mast", "M"), "past"),
    (BulkChange("markdown_off"), part("mast"), "none"),
    (BulkChange("sold"), part("mast"), "same"),
]


@pytest.mark.parametrize(("change", "piece", "why"), REFUSED)
def test_a_part_that_it_cannot_be_done_to_is_left_out_with_the_reason(
    change: BulkChange, piece: Part, why: str
) -> None:
    assert one(change, piece, (90, piece.price)).refused == why


def test_a_markdown_is_a_percentage_off_the_price_and_says_what_it_may_be_called() -> None:
    change = BulkChange("markdown", percent=Decimal(20), ending="90", since=TODAY)
    changed = one(change, part("mast", price=100_00), (90, 100_00))
    assert changed.after.markdown == Markdown(79_90, TODAY)
    assert changed.verdict is not None
    assert changed.verdict.reduction is not None
    too_soon = one(change, part("mast", price=100_00), (90, 100_00), (20, 79_00), (10, 100_00))
    assert too_soon.refused == ""
    assert too_soon.verdict is not None
    assert too_soon.verdict.reduction is None
