"""Sets: what holds together, how many there are, how a price is split over the parts, and which set a kit is."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.catalogue import Catalogue, Gear, Part, PartSet
from server.domain.sets import faults_beside_sets, identity_faults, lines_of, parts_faults, sets_among, sets_in, skus_in


def part(sku: str, slot: str, price: int, mount: str = "cone", *, gtin: str = "", sold: bool = True) -> Part:
    return Part(sku, sku, "M", gtin or sku, price, 1, Gear(slot, MappingProxyType({"mount": mount})), sold)


PARTS = {
    one.sku: one
    for one in (
        part("MAST", "mast", 1000_00),
        part("FUSE", "fuselage", 300_00),
        part("FOIL", "front_foil", 699_99),
        part("ODD", "tail", 400_00, "saddle"),
        part("BOARD", "board", 999_00, "none"),
    )
}
FOIL_SET = PartSet("SET", "A foil set", "M", "1", 1799_99, ("MAST", "FUSE", "FOIL"))
CASES = [
    (("MAST", "FUSE", "FOIL"), []),
    (("MAST", "BOARD"), []),  # A board has no mount to agree.
    (("FOIL", "FOIL"), []),
    (("MAST",), ["at least 2 parts"]),
    (("MAST",) * 21, ["these are 21"]),
    (("MAST", "NONE"), ["no part NONE"]),
    (("MAST", "ODD", "FOIL"), ["MAST has the mount cone, ODD has the mount saddle"]),
]


@pytest.mark.parametrize(("skus", "words"), CASES)
def test_the_parts_of_a_set_are_listed_and_hold_together(skus: tuple[str, ...], words: list[str]) -> None:
    faults = parts_faults(skus, PARTS)
    assert len(faults) == len(words)
    assert all(word in fault.message for word, fault in zip(words, faults, strict=True))


def test_a_cell_names_skus_between_semicolons() -> None:
    assert skus_in(" MAST; FUSE ;;FOIL;") == ("MAST", "FUSE", "FOIL")


def test_a_set_has_a_sku_and_a_gtin_of_its_own() -> None:
    other = PartSet("OTHER", "", "", "7", 1, ("MAST", "FUSE"))
    gone = PartSet("GONE", "", "", "8", 1, ("MAST", "FUSE"), retired=True)

    def fields(sku: str, gtin: str) -> list[str]:
        made = PartSet(sku, "", "", gtin, 1, ("MAST", "FUSE"))
        return [fault.field for fault in identity_faults(made, PARTS.values(), (other, gone))]

    assert fields("SET", "1") == []
    assert fields("OTHER", "7") == []
    assert fields("mast", "MAST") == ["sku", "gtin"]
    assert fields("SET", "7") == ["gtin"]
    assert fields("GONE", "8") == []


@pytest.mark.parametrize(
    ("pieces", "sets"),
    [({"A": 5, "B": 2}, 2), ({"A": 3, "B": 9}, 1), ({"A": 1, "B": 9}, 0), ({"B": 1}, 0), ({"A": -2, "B": 1}, 0)],
)
def test_as_many_sets_as_the_least_of_their_parts_make(pieces: dict[str, int], sets: int) -> None:
    assert sets_in(PartSet("S", "", "", "", 1, ("A", "A", "B")), pieces) == sets


@given(st.integers(0, 9_999_999), st.lists(st.sampled_from(sorted(PARTS)), min_size=2, max_size=20))
def test_a_set_price_split_over_its_parts_adds_up_to_the_cent(price: int, skus: list[str]) -> None:
    one = PartSet("S", "", "", "", price, tuple(skus))
    lines = lines_of(one, price, PARTS)
    assert sum(line.price for line in lines) == price
    assert [line.sku for line in lines] == skus
    whole = sum(PARTS[sku].price for sku in skus)
    assert all(abs(line.price - price * PARTS[line.sku].price / whole) < 1 for line in lines)


def test_a_kit_is_a_set_where_all_its_parts_are_chosen_and_free() -> None:
    pair = PartSet("PAIR", "", "", "2", 1, ("MAST", "FUSE"))
    catalogue = Catalogue(PARTS, sets={"PAIR": pair, "SET": FOIL_SET})
    free = dict.fromkeys(PARTS, 1)
    assert sets_among(["FOIL", "MAST", "BOARD", "FUSE"], catalogue, free) == (FOIL_SET, pair)
    assert sets_among(["FOIL", "MAST", "BOARD", "FUSE"], catalogue, {**free, "FOIL": 0}) == (pair,)
    assert sets_among(["FOIL", "MAST"], catalogue, free) == ()
    stopped = {**PARTS, "FUSE": part("FUSE", "fuselage", 1, sold=False)}
    assert sets_among(["MAST", "FUSE"], Catalogue(stopped, sets={"PAIR": pair}), free) == ()


@pytest.mark.parametrize(
    ("changed", "fields"),
    [
        (part("FUSE", "fuselage", 350_00), []),
        (part("FUSE", "fuselage", 300_00, "saddle"), ["mount"]),
        (part("SET", "tail", 1_00), ["sku"]),
        (part("NEW", "tail", 1_00, gtin="1"), ["gtin"]),
        (replace(part("FUSE", "fuselage", 300_00), retired=True), []),
    ],
)
def test_a_changed_part_does_not_break_a_set(changed: Part, fields: list[str]) -> None:
    catalogue = Catalogue(PARTS, sets={"SET": FOIL_SET})
    assert [fault.field for fault in faults_beside_sets([changed], catalogue)] == fields
