"""Used pieces: their VAT either way, what looking one over decides, and what the desk may say of it."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from server.domain.errors import InvalidInput
from server.domain.pieces import Piece, earned_at, inspected, read_details, read_inspection, scheme_for, vat_at

PIECE = Piece(
    id=1,
    token="abcdefgh",
    source="bought",
    state="for_sale",
    slot="hand_wing",
    name="Shearwater 5",
    maker="Saltmarsh Wings",
    condition="good",
    bought=300_00,
    scheme="margin",
    percent=Decimal(23),
)
TRADED = replace(PIECE, source="trade_in", state="expected", from_sale=1, from_item=0)
LOOKED = {"condition": "worn", "hours": 60, "value": 300_00}


def test_vat_of_a_piece_bought_from_a_private_person_is_on_the_margin_and_nothing_at_a_loss() -> None:
    # Directive 2006/112/EC, Art. 313 to 319: (450.00 − 300.00) × 23/123 = 28.05; no margin, no tax.
    assert scheme_for("bought") == scheme_for("trade_in") == "margin"
    assert vat_at(PIECE, 450_00) == 28_05
    assert earned_at(PIECE, 450_00) == 121_95
    assert vat_at(PIECE, 280_00) == 0
    assert earned_at(PIECE, 280_00) == -20_00


def test_vat_of_what_was_the_shops_own_is_on_the_whole_price() -> None:
    # Directive 2006/112/EC, Art. 314: the margin scheme is for goods from one who could not deduct. 450.00 × 23/123 = 84.15.
    assert {scheme_for(source) for source in ("demo", "swap", "returned")} == {"standard"}
    demo = replace(PIECE, source="demo", scheme="standard")
    assert vat_at(demo, 450_00) == 84_15
    assert earned_at(demo, 450_00) == 65_85


@pytest.mark.parametrize(
    ("found", "state", "value"),
    [
        ({}, "for_sale", 300_00),
        ({"value": 250_00, "why": "The leading edge is patched."}, "for_sale", 250_00),
        ({"value": 320_00, "why": "Better than it was told."}, "for_sale", 320_00),
        ({"value": None, "faults": ["leaking_bladder"]}, "scrapped", 0),
        ({"value": 0, "faults": ["cracked", "seized_bolts"]}, "scrapped", 0),
        ({"value": 300_00, "outcome": "given_back", "why": "They keep it."}, "given_back", 0),
    ],
)
def test_looking_old_gear_over_decides_what_becomes_of_it(found: dict[str, Any], state: str, value: int) -> None:
    after = inspected(TRADED, read_inspection(TRADED, {**LOOKED, **found}, has_value=True))
    assert (after.state, after.bought, after.condition, after.hours) == (state, value, "worn", 60)
    assert (after.price is None) or state == "for_sale"


@pytest.mark.parametrize(
    ("found", "field"),
    [
        ({"value": 250_00}, "why"),
        ({"value": 320_00}, "why"),
        ({"value": 300_00, "faults": ["cracked"]}, "value"),
        ({"value": "much"}, "value"),
        ({"outcome": "given_back"}, "why"),
        ({"outcome": "burnt"}, "outcome"),
        ({"faults": ["ugly"]}, "faults"),
        ({"condition": ""}, "condition"),
        ({"hours": -1}, "hours"),
    ],
)
def test_what_cannot_be_found_of_old_gear_names_its_field(found: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        read_inspection(TRADED, {**LOOKED, **found}, has_value=True)
    assert [fault.field for fault in caught.value.faults] == [field]


def test_only_what_was_traded_in_goes_back_to_its_owner_and_has_a_value() -> None:
    returned = replace(PIECE, source="returned", state="to_inspect", scheme="standard", bought=500_00)
    found = read_inspection(returned, {"condition": "good", "hours": None}, has_value=False)
    assert (found.value, inspected(returned, found).bought) == (None, 500_00)
    with pytest.raises(InvalidInput, match="Only what was traded in"):
        read_inspection(
            returned, {"condition": "good", "outcome": "given_back", "why": "So they say."}, has_value=False
        )


def test_every_fault_of_a_piece_comes_at_once() -> None:
    raw = {
        "slot": "sail",
        "name": "",
        "condition": "shiny",
        "hours": "many",
        "price": -1,
        "maker": "x" * 61,
        "note": "\x00",
    }
    with pytest.raises(InvalidInput) as caught:
        read_details(raw)
    assert {fault.field for fault in caught.value.faults} == set(raw)
    with pytest.raises(InvalidInput, match="measure-area_m2"):
        read_details({"name": "x", "condition": "good", "measures": {"area_m2": 120}}, "hand_wing")
