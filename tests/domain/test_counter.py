"""What is scanned at the counter, and what stands against a sale."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum import ean

from server.domain.catalogue import Catalogue, Gear, Part
from server.domain.counter import Stand, check_sale, find_item, gtin_key, read_pieces
from server.domain.errors import Conflict, InvalidInput

PUMP = Part("WRK-PUMP1", "Hand pump", "Wrackline Outfitters", "2160041000372", 5900, 2909, Gear("pump", {}))
LEASH = Part("wrk-bls", "Board leash", "Wrackline Outfitters", "614141000036", 4500, 2218, Gear("board_leash", {}))
SHELF = Catalogue({part.sku: part for part in (PUMP, LEASH)})


@given(st.sampled_from((7, 11, 12, 13)), st.data())
def test_a_gtin_is_one_where_an_independent_library_says_so(length: int, data: st.DataObject) -> None:
    """Against python-stdnum; it knows 8, 12, 13 and 14 digits."""
    digits = data.draw(st.text("0123456789", min_size=length + 1, max_size=length + 1))
    assert (gtin_key(digits) is not None) == ean.is_valid(digits)
    right = digits[:-1] + ean.calc_check_digit(digits[:-1])
    assert gtin_key(right) == right.zfill(14)


def test_the_published_example_and_its_longer_forms_are_one() -> None:
    """6291041500213 is the worked example of GS1 on check digits; 0614141 is the company prefix of its own examples."""
    assert gtin_key("6291041500213") == gtin_key("06291041500213") == "06291041500213"
    assert gtin_key("614141000036") == gtin_key("0614141000036") == gtin_key("00614141000036")
    for wrong in ("6291041500214", "6291041500", "", "²160041000372", "29104150021З"):
        assert gtin_key(wrong) is None


@pytest.mark.parametrize("typed", ["WRK-PUMP1", "wrk-pump1 ", "2160041000372", " 02160041000372", "21600 41000372"])
def test_a_part_is_found_by_sku_or_gtin(typed: str) -> None:
    assert find_item(SHELF, typed) == PUMP


@pytest.mark.parametrize("typed", ["614141000036", "0614141000036", "WRK-BLS"])
def test_a_short_gtin_is_found_by_its_long_form_too(typed: str) -> None:
    assert find_item(SHELF, typed) == LEASH


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "Nothing was scanned"),
        ("2160041000373", "no GTIN"),
        ("6291041500213", "has no 6291041500213"),
        ("X-1", "has no X-1"),
    ],
)
def test_what_the_catalogue_has_not_is_said(typed: str, words: str) -> None:
    with pytest.raises(InvalidInput, match=words):
        find_item(SHELF, typed)


def test_a_barcode_scanned_into_the_quantity_is_no_quantity() -> None:
    assert read_pieces("12") == 12
    for wrong in ("0", "", "-1", "1.5", "2160041000372", "٣", "1 2"):
        with pytest.raises(InvalidInput):
            read_pieces(wrong)


def test_no_more_is_sold_than_is_on_hand_or_free() -> None:
    stand = Stand(3, 2, ("HKBN04QA", "16JD00AB"))
    check_sale(PUMP, 1, stand)
    with pytest.raises(Conflict, match="3 on hand, 2 of them set aside for quotes HKBN 04QA and 16JD 00AB"):
        check_sale(PUMP, 2, stand)
    with pytest.raises(Conflict, match="Only 3 on hand"):
        check_sale(PUMP, 4, stand)
    for withdrawn in (replace(PUMP, sold=False), replace(PUMP, retired=True)):
        with pytest.raises(Conflict, match="not for sale"):
            check_sale(withdrawn, 1, stand)
