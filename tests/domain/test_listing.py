"""The owner's list: what each part earns, what is wrong with it, and finding among them."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from server.domain.catalogue import Part
from server.domain.listing import Asked, Listed, found_among, list_parts, margin_at, price_in_kit
from server.domain.policy import Policy
from server.domain.prices import PricePoint
from tests.domain.builders import SHOP, TODAY, catalogue, part

LONG_AGO = TODAY - timedelta(days=90)
GTIN = "6291041500213"


def listed(*parts: Part, held: dict[str, int] | None = None, none: str = "") -> tuple[Listed, ...]:
    """The list of parts of a price known for long, three on hand of each but one."""
    history = {one.sku: [PricePoint(one.sku, LONG_AGO, one.price)] for one in parts}
    on_hand = {one.sku: 0 if one.sku == none else 3 for one in parts}
    return list_parts(catalogue(parts, history=history), on_hand, held or {}, TODAY)


def test_what_a_part_earns_is_its_price_without_vat_less_its_cost() -> None:
    # 123.00 with 23 % VAT is 100.00 without (check-values: 123.00 → 23.00).
    margin = margin_at(123_00, part("mast", cost=60_00), SHOP)
    assert margin.amount == 40_00
    assert margin.percent == 40


def test_in_a_whole_kit_it_costs_the_better_of_its_markdown_and_the_kit_discount() -> None:
    tier = Policy().full_tier
    assert tier is not None
    less = 1_000_00 - 10_00 * tier.percent
    for markdown, costs in ((None, less), (less + 1, less), (less - 1, less - 1)):
        assert price_in_kit(part("mast", price=1_000_00, markdown=markdown), SHOP, TODAY) == costs
    assert price_in_kit(part("pump"), SHOP, TODAY) is None


# A part, and what is said to be wrong with it or worth knowing.
FLAGGED = [
    (part("mast", "A", price=100_00), ()),
    (part("mast", "NONE", price=100_00), ("gone",)),
    (part("mast", "A", price=100_00, markdown=90_00), ("no_day",)),
    (part("mast", "A", price=100_00, markdown=90_00, since=TODAY), ("reduced",)),
    (part("mast", "A", price=100_00, markdown=90_00, since=TODAY + timedelta(days=3)), ()),
    (part("mast", "A", price=123_00, cost=95_01), ("thin",)),
    (part("mast", "A", price=123_00, cost=95_00), ()),
    (part("mast", "NONE", price=123_00, cost=200_00, sold=False), ()),
]


@pytest.mark.parametrize(("piece", "flags"), FLAGGED)
def test_what_is_wrong_with_a_part_on_sale_is_said(piece: Part, flags: tuple[str, ...]) -> None:
    assert listed(piece, none="NONE")[0].flags == flags


def test_a_markdown_that_may_not_be_called_reduced_is_found() -> None:
    piece = part("mast", "A", price=100_00, markdown=90_00, since=TODAY)
    known = [PricePoint("A", LONG_AGO, 80_00), PricePoint("A", TODAY - timedelta(days=9), 100_00)]
    rows = list_parts(catalogue([piece], history={"A": known}), {"A": 1}, {}, TODAY)
    assert rows[0].flags == ("not_reduced",)


ASKED = [
    (Asked(), "B1 M1 M2"),
    (Asked(words="mast  OYSTER"), "M1"),
    (Asked(words="bürd"), "B1"),
    (Asked(words=GTIN), "M2"),
    (Asked(words="0" + GTIN), "M2"),
    (Asked(words="m2"), "M2"),
    (Asked(words="nothing like it"), ""),
    (Asked(slot="mast"), "M1 M2"),
    (Asked(maker="Oyster Yard"), "M1"),
    (Asked(stock="none"), "M2"),
    (Asked(stock="in"), "B1 M1"),
    (Asked(stock="held"), "B1"),
    (Asked(sold="sold"), "B1 M2"),
    (Asked(sold="unsold"), "M1"),
    (Asked(sold="retired"), "R1"),
    (Asked(flag="gone", slot="mast"), "M2"),
]


@pytest.mark.parametrize(("asked", "skus"), ASKED)
def test_parts_are_found_by_what_is_asked(asked: Asked, skus: str) -> None:
    parts = [
        replace(part("mast", "M2"), gtin=GTIN),
        replace(part("mast", "M1", maker="Oyster Yard", sold=False), name="Mast one"),
        replace(part("board", "B1"), name="Burd"),
        replace(part("tail", "R1"), retired=True),
    ]
    rows = listed(*parts, held={"B1": 1}, none="M2")
    assert rows[0].part.sku == "B1", "slot by slot"
    assert " ".join(sorted(row.part.sku for row in found_among(rows, asked))) == skus
