"""Serial numbers called back: a range finds what is in it, however it was written down, and nothing else."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.errors import InvalidInput
from server.domain.recall import Recall, read_recall


def dunlins(first: str = "DUN82-0099", last: str = "DUN82-0150") -> Recall:
    return read_recall("", "DUN-82", first, last, "")


@given(st.integers(0, 2000))
def test_of_a_series_exactly_those_between_the_ends_are_named(number: int) -> None:
    assert dunlins().names(f"DUN82-{number:04d}") is (99 <= number <= 150)


@pytest.mark.parametrize(
    ("serial", "is_named"),
    [
        ("dun82-0100", True),
        ("DUN 82 100", True),
        ("DUN82-00100", True),
        ("DUN820100", True),
        ("DUN820151", False),
        ("DUN83-0100", False),
        ("DUN82-0100B", False),
        ("GDW82-0100", False),
        ("DUN82-1000", False),
        ("DUN82-10", False),
        ("", True),
    ],
)
def test_spelling_does_not_hide_an_owner(serial: str, is_named: bool) -> None:
    assert dunlins().names(serial) is is_named


def test_numbers_may_be_listed_and_without_any_all_are_called_back() -> None:
    listed = read_recall("Dunlin Boardworks", "", "", "", "DUN82-7, DUN82-9\nDUN92-0012")
    assert [listed.names(serial) for serial in ("DUN82-0007", "DUN82-8", "dun92 12")] == [True, False, True]
    assert read_recall("Dunlin Boardworks", "", "", "", "").names("anything 5")


@pytest.mark.parametrize(
    ("typed", "fields"),
    [
        (("", "", "A1", "A2", ""), ["sku"]),
        (("", "X", "A2", "A1", ""), ["last"]),
        (("", "X", "A1", "B2", ""), ["last"]),
        (("", "X", "A1-1", "A2-2", ""), ["last"]),
        (("", "X", "A1", "A1-2", ""), ["last"]),
        (("", "X", "none", "", ""), ["first"]),
        (("", "", "B2", "B1", "none"), ["sku", "last", "listed"]),
        (("", "X", "", "", "A1\n" * 501), ["listed"]),
        (("", "X", "", "", "9" * 5_000), ["listed"]),
        (("", "X", "9" * 5_000, "9" * 5_000, ""), ["first", "last"]),
    ],
)
def test_what_is_no_range_is_said(typed: tuple[str, str, str, str, str], fields: list[str]) -> None:
    with pytest.raises(InvalidInput) as caught:
        read_recall(*typed)
    assert [fault.field for fault in caught.value.faults] == fields


def test_one_end_alone_is_a_single_number() -> None:
    one = dunlins("DUN82-0099", "")
    assert [one.names(f"DUN82-00{number}") for number in (98, 99)] == [False, True]
