"""Errors say everything at once, and all are of one tree."""

from __future__ import annotations

import pytest

from server.domain.errors import (
    Conflict,
    Fault,
    InvalidInput,
    NoSoundKit,
    NotFound,
    NotFree,
    SlackwaterError,
    Unreadable,
)

FAULTS = [Fault("mass_kg", "This is not a number.", "a number"), Fault("spot", "The shop lists no such name.")]


def test_invalid_input_keeps_every_fault_in_order_and_tells_them_all() -> None:
    error = InvalidInput(iter(FAULTS))
    assert error.faults == tuple(FAULTS)
    assert str(error) == "mass_kg: This is not a number.; spot: The shop lists no such name."


def test_a_conflict_keeps_its_faults() -> None:
    assert NotFree(FAULTS).faults == tuple(FAULTS)
    assert str(NoSoundKit(FAULTS)) == "This is not a number.; The shop lists no such name."


def test_what_is_not_found_says_where_it_was_looked_for() -> None:
    error = NotFound("sku", "The catalogue has no such SKU.")
    assert error.field == "sku"
    assert str(error) == "The catalogue has no such SKU."


@pytest.mark.parametrize("kind", [InvalidInput, NotFound, Conflict, NotFree, NoSoundKit, Unreadable])
def test_every_error_is_of_the_one_tree(kind: type[Exception]) -> None:
    assert issubclass(kind, SlackwaterError)
    assert issubclass(NotFree, Conflict)
    assert issubclass(NoSoundKit, Conflict)
