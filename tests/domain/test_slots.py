"""The places of a kit, and what must be known of a part there."""

from __future__ import annotations

import pytest

from server.domain.slots import (
    CORE_SLOTS,
    EXTRA_SLOTS,
    MEASURE_WORDS,
    MEASURES,
    SIZED_AT_THE_SHOP,
    SIZES,
    SLOT_WORDS,
    UNITS,
    measures_of,
)

# Slot, measures without which a piece of gear can neither be judged nor joined to others.
NEEDED = [
    ("board", {"volume_l", "width_cm", "track"}),
    ("mast", {"length_cm", "track", "mount"}),
    ("fuselage", {"length_cm", "mount"}),
    ("front_foil", {"area_cm2", "aspect_ratio", "mount"}),
    ("tail", {"area_cm2", "mount"}),
    ("hand_wing", {"area_m2"}),
]


def test_core_slots_stand_in_their_order() -> None:
    assert CORE_SLOTS == ("board", "mast", "fuselage", "front_foil", "tail", "hand_wing")


def test_extras_are_those_a_learner_can_be_sold() -> None:
    assert set(EXTRA_SLOTS) == {
        *("pump", "board_leash", "wing_leash", "helmet", "buoyancy_vest", "covers", "tool_kit", "wetsuit", "travel_bag")
    }
    assert set(SIZED_AT_THE_SHOP) == {"helmet", "buoyancy_vest", "wetsuit"}


@pytest.mark.parametrize(("slot", "needed"), NEEDED)
def test_what_must_be_known_of_gear_is_what_its_slot_is_judged_and_joined_by(slot: str, needed: set[str]) -> None:
    assert {measure.name for measure in measures_of(slot) if measure.to_fit} == needed
    assert SIZES[slot] in needed


@pytest.mark.parametrize("slot", CORE_SLOTS + EXTRA_SLOTS)
def test_every_slot_and_every_measure_has_its_words(slot: str) -> None:
    assert slot in SLOT_WORDS
    for measure in measures_of(slot):
        assert measure.name in MEASURE_WORDS
        assert measure.accepted


def test_a_measure_is_a_number_in_a_range_or_text() -> None:
    known = {measure.name: measure for measure in MEASURES["board"]}
    assert known["volume_l"].is_number
    assert known["volume_l"].accepted == "a number from 20 to 300"
    assert not known["bottom"].is_number
    assert known["bottom"].accepted == "one of: flat, rounded, vee"
    assert known["track"].accepted == "text of 1 to 60 characters"


def test_extras_may_be_sized_by_the_mass_of_the_rider() -> None:
    names = {measure.name for measure in measures_of("buoyancy_vest")}
    assert {"mass_from_kg", "mass_to_kg"} <= names
    assert not any(measure.to_fit for measure in measures_of("pump"))


def test_every_core_slot_has_a_unit() -> None:
    assert UNITS == {
        "board": "l",
        "mast": "cm",
        "fuselage": "cm",
        "front_foil": "cm2",
        "tail": "cm2",
        "hand_wing": "m2",
    }
