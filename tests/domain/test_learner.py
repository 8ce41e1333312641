"""Answers: what is accepted, what is the default, and what is wrong all at once."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.errors import Fault, InvalidInput
from server.domain.learner import (
    QUESTIONS,
    Answers,
    Assessment,
    NumberQuestion,
    a_step_further,
    notes_on,
    read_answers,
    read_some,
    seen_on_the_water,
    usual_wing_handling,
)
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS
from tests.domain.builders import A_LEARNER, LIVELY, SHOP, SPOTS, STRONG, answers, said

A_TRADE = {"slot": "board", "price_new": 1_500_00, "months": 18, "condition": "good"}


def faults_of(raw: dict[str, Any]) -> list[Fault]:
    with pytest.raises(InvalidInput) as caught:
        read_answers(raw, SHOP)
    faults = list(caught.value.faults)
    assert all(fault.message and fault.accepted for fault in faults)
    return faults


def fields_at_fault(raw: dict[str, Any]) -> list[str]:
    return [fault.field for fault in faults_of(raw)]


# --- What is accepted -----------------------------------------------------------------------------------------------

CODES = [f"L-{n}" for n in range(21)]

# Field, values that are accepted, values that are not.
ACCEPTED: list[tuple[str, list[Any], list[Any]]] = [
    ("mass_kg", [35, 160, 35.0, 79.9], [34.999, 160.001, 0, -80, "80", [80]]),
    ("to_feet", ["quick", "average", "slow"], ["", "fast", "Quick", 1, ["quick"]]),
    ("fitness", ["high", "fair", "low"], ["good", 2]),
    ("board_background", ["strong", "some", "none"], ["much", False]),
    ("foil_stage", ["none", "towed", "short_flights", "long_flights", "turning"], ["flying", {}]),
    ("wing_handling", ["none", "some", "practised"], ["practiced"]),
    ("water", ["sea", "lake"], ["river", "Sea"]),
    ("usual_wind_kn", [6, 35, 17.5], [5.99, 35.01, "15"]),
    ("spot", list(SPOTS), ["Nowhere Strand", "", 7]),
    ("min_depth_m", [0, 1.5, 200], [-0.1, 200.1, "deep"]),
    ("extras", [[], ["helmet"], list(EXTRA_SLOTS)], ["helmet", ["board"], [1], {"helmet": True}]),
    ("delivery", ["collect", "deliver"], ["post"]),
    ("zone", ["Ireland", "Far islands"], ["Nowhere", 5]),
    ("budget", [0, 1, 6_000_00.0, 100_000_00], [-1, 0.5, "6000", 100_000_01]),
    ("deposit_codes", [[], ["x" * 20], CODES[:20]], ["L-1", [1], [""], ["x" * 21], CODES]),
    ("under_18", [True, False, "yes", "no"], ["maybe", 1, 0]),
    ("swims_100m", [True, False, "yes", "no"], ["YES", []]),
]


@pytest.mark.parametrize(("field", "value"), [(field, value) for field, good, _ in ACCEPTED for value in good])
def test_a_value_within_its_range_is_accepted(field: str, value: Any) -> None:
    read_answers(said(**{field: value}), SHOP)


@pytest.mark.parametrize(("field", "value"), [(field, value) for field, _, bad in ACCEPTED for value in bad])
def test_a_value_out_of_its_range_is_an_error_beside_its_field_that_says_what_is_accepted(
    field: str, value: Any
) -> None:
    (fault,) = faults_of(said(**{field: value}))
    assert fault.field == field


def test_every_question_is_tried() -> None:
    assert {field for field, _, _ in ACCEPTED} == set(QUESTIONS)


NUMBER_FIELDS = [name for name, question in QUESTIONS.items() if isinstance(question, NumberQuestion)]


@pytest.mark.parametrize("field", NUMBER_FIELDS)
@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf"), True, False, 10**400, -(10**400), 1e308])
def test_what_is_no_ordinary_number_is_an_error_and_nothing_else(field: str, value: Any) -> None:
    (fault,) = faults_of(said(**{field: value}))
    assert fault.field == field
    if isinstance(value, bool):
        assert fault.message == "This is not a number."


@given(st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(), st.lists(st.text()), st.just({})))
def test_whatever_stands_in_a_field_is_read_or_named_but_never_breaks(value: Any) -> None:
    for field in (*QUESTIONS, "keeps", "trades"):
        _, faults = read_some(said(**{field: value}), SHOP)
        assert all(fault.field.startswith(field) for fault in faults)


def test_numbers_come_back_as_numbers_and_money_as_whole_cents() -> None:
    read = answers(mass_kg=80, budget=6_000_00.0)
    assert isinstance(read.mass_kg, float)
    assert isinstance(read.budget, int)


@pytest.mark.parametrize("mass_kg", [34.9, 20, 0])
def test_a_learner_under_35_kg_is_sent_to_a_lesson_or_a_hire(mass_kg: float) -> None:
    (fault,) = faults_of(said(mass_kg=mass_kg))
    assert "35 kg" in fault.message
    assert "book a lesson or hire" in fault.message
    assert "35 to 160" in fault.accepted


def test_a_learner_over_160_kg_is_told_the_range() -> None:
    (fault,) = faults_of(said(mass_kg=161))
    assert "hire" not in fault.message
    assert "35 to 160" in fault.accepted


@pytest.mark.parametrize("field", list(A_LEARNER))
@pytest.mark.parametrize("how", ["left out", "null"])
def test_an_answer_that_is_needed_is_asked_for(field: str, how: str) -> None:
    raw = said(**{field: None})
    if how == "left out":
        del raw[field]
    assert fields_at_fault(raw) == [field]


def test_nothing_at_all_is_answered_by_all_that_is_needed() -> None:
    assert set(fields_at_fault({})) == {"mass_kg", "to_feet", "fitness", "board_background", "foil_stage"}


def test_all_faults_come_back_together() -> None:
    raw = said(
        mass_kg=20,
        water="river",
        usual_wind_kn=99,
        colour="blue",
        keeps=[{"slot": "rudder"}, {"slot": "board", "volume_l": -1}],
        trades=[{"slot": "mast"}],
    )
    del raw["fitness"]
    assert sorted(fields_at_fault(raw)) == sorted(
        (
            *("mass_kg", "water", "usual_wind_kn", "colour", "keeps[0].slot", "keeps[1].volume_l", "fitness"),
            *("trades[0].price_new", "trades[0].months", "trades[0].condition"),
        )
    )


def test_a_question_that_is_not_asked_is_named() -> None:
    (fault,) = faults_of(said(colour="blue"))
    assert fault.field == "colour"
    assert "mass_kg" in fault.accepted


# --- Defaults -------------------------------------------------------------------------------------------------------


def test_what_is_not_answered_has_its_default() -> None:
    read = answers()
    assert (read.water, read.usual_wind_kn, read.spot, read.min_depth_m) == ("sea", 15, None, None)
    assert (read.keeps, read.trades, read.extras, read.deposit_codes) == ((), (), (), ())
    assert (read.delivery, read.zone, read.budget) == ("deliver", "Ireland", None)
    assert (read.under_18, read.swims_100m) == (False, True)


def test_what_is_accepted_says_whether_whole_numbers_only() -> None:
    assert QUESTIONS["budget"].accepted == "a whole number from 0 to 10000000 cents"
    assert QUESTIONS["usual_wind_kn"].accepted == "a number from 6 to 35 kn"


def test_null_is_the_same_as_not_answered() -> None:
    optional = set(QUESTIONS) | {"keeps", "trades"}
    nothing = {field: None for field in optional if field not in A_LEARNER}
    assert answers(**nothing) == answers()


@pytest.mark.parametrize(
    ("foil_stage", "handling"),
    [("none", "none"), ("towed", "none"), ("short_flights", "some"), ("long_flights", "some"), ("turning", "some")],
)
def test_wing_handling_is_none_before_the_first_own_flights_and_some_after(foil_stage: str, handling: str) -> None:
    assert answers(foil_stage=foil_stage).wing_handling == usual_wing_handling(foil_stage) == handling
    assert answers(foil_stage=foil_stage, wing_handling="practised").wing_handling == "practised"


def test_a_spot_brings_its_water_and_its_riding_wind() -> None:
    lake = answers(spot="Quern Lake")
    assert lake.water == "lake"
    assert lake.usual_wind_kn == SPOTS["Quern Lake"].riding_wind_kn
    assert lake.spot is SPOTS["Quern Lake"]


def test_an_answer_wins_over_the_spot() -> None:
    read = answers(spot="Quern Lake", water="sea", usual_wind_kn=20)
    assert (read.water, read.usual_wind_kn) == ("sea", 20)


# Spot, answer, least depth: Plover Sound is 2.0 m deep, Quern Lake's depth is not known.
DEPTHS: list[tuple[str | None, float | None, float | None]] = [
    (None, None, None),
    (None, 1.4, 1.4),
    ("Plover Sound", None, 2.0),
    ("Plover Sound", 1.4, 1.4),
    ("Plover Sound", 5.0, 2.0),
    ("Quern Lake", None, None),
    ("Quern Lake", 1.4, 1.4),
]


@pytest.mark.parametrize(("at", "told", "least"), DEPTHS)
def test_of_two_depths_the_smaller_counts(at: str | None, told: float | None, least: float | None) -> None:
    assert answers(spot=at, min_depth_m=told).min_depth_m == least


def test_a_depth_of_zero_is_an_answer() -> None:
    assert answers(spot="Plover Sound", min_depth_m=0).min_depth_m == 0


def test_what_is_named_twice_counts_once() -> None:
    read = answers(extras=["helmet", "wetsuit", "helmet"], deposit_codes=["L-1", "L-1"])
    assert read.extras == ("helmet", "wetsuit")
    assert read.deposit_codes == ("L-1",)


# --- Gear kept ------------------------------------------------------------------------------------------------------


def test_the_area_is_all_that_is_needed_of_a_kept_hand_wing() -> None:
    (wing,) = answers(keeps=[{"slot": "hand_wing", "area_m2": 6.0}]).keeps
    assert (wing.slot, wing.gear.size, wing.missing) == ("hand_wing", 6.0, ())


def test_measures_that_are_needed_and_missing_are_told_with_the_kept_piece() -> None:
    (board,) = answers(keeps=[{"slot": "board", "volume_l": 110, "width_cm": None}]).keeps
    assert set(board.missing) == {"width_cm", "track"}
    (foil,) = answers(keeps=[{"slot": "front_foil"}]).keeps
    assert set(foil.missing) == {"area_cm2", "aspect_ratio", "mount"}


def test_several_hand_wings_may_be_kept_but_one_of_everything_else() -> None:
    wings = [{"slot": "hand_wing", "area_m2": area} for area in (4.0, 6.0)]
    assert len(answers(keeps=wings).keeps) == 2
    masts = [{"slot": "mast", "length_cm": length} for length in (72, 85)]
    assert fields_at_fault(said(keeps=masts)) == ["keeps[1].slot"]


# Rows of kept gear, the fields at fault.
KEEPS: list[tuple[Any, list[str]]] = [
    ("a board", ["keeps"]),
    ({"slot": "board"}, ["keeps"]),
    ([{"slot": "hand_wing", "area_m2": 6}] * 21, ["keeps"]),
    (["a board"], ["keeps[0]"]),
    ([{}], ["keeps[0].slot"]),
    ([{"slot": "pump"}], ["keeps[0].slot"]),
    ([{"slot": ["board"]}], ["keeps[0].slot"]),
    ([{"slot": "board", "volume_l": "big"}], ["keeps[0].volume_l"]),
    ([{"slot": "board", "volume_l": 19.9}], ["keeps[0].volume_l"]),
    ([{"slot": "board", "volume_l": float("nan")}], ["keeps[0].volume_l"]),
    ([{"slot": "board", "volume_l": True}], ["keeps[0].volume_l"]),
    ([{"slot": "board", "bottom": "round"}], ["keeps[0].bottom"]),
    ([{"slot": "board", "track": ""}], ["keeps[0].track"]),
    ([{"slot": "board", "track": 5}], ["keeps[0].track"]),
    ([{"slot": "board", "track": "x" * 61}], ["keeps[0].track"]),
    ([{"slot": "board", "name": 5, "maker": ""}], ["keeps[0].name", "keeps[0].maker"]),
    ([{"slot": "board", "area_m2": 5}], ["keeps[0].area_m2"]),
    ([{"slot": "mast"}, {"slot": "hand_wing", "area_m2": 10**400}], ["keeps[1].area_m2"]),
    ([{"slot": "mast", "length_cm": 5, "mount": 1}], ["keeps[0].length_cm", "keeps[0].mount"]),
]


@pytest.mark.parametrize(("rows", "fields"), KEEPS)
def test_a_fault_of_kept_gear_is_named_by_its_row_and_measure(rows: Any, fields: list[str]) -> None:
    assert fields_at_fault(said(keeps=rows)) == fields


def test_name_and_maker_of_kept_gear_are_read_over_and_texts_may_be_short_or_long() -> None:
    row = {"slot": "board", "name": "x" * 60, "maker": "y", "track": "z", "volume_l": 104, "width_cm": 75}
    (board,) = answers(keeps=[row]).keeps
    assert set(board.gear.measures) == {"track", "volume_l", "width_cm"}
    assert board.missing == ()


def test_as_many_as_twenty_pieces_may_be_told() -> None:
    assert len(answers(keeps=[{"slot": "hand_wing", "area_m2": 6}] * 20).keeps) == 20


def test_a_very_long_name_of_a_question_is_told_by_its_beginning() -> None:
    assert fields_at_fault(said(**{"x" * 99: 1})) == ["x" * 60]


# --- Gear traded in -------------------------------------------------------------------------------------------------


def test_gear_to_trade_in_is_read_with_no_faults_unless_told() -> None:
    (trade,) = answers(trades=[A_TRADE]).trades
    assert (trade.slot, trade.price_new, trade.months, trade.condition) == ("board", 1_500_00, 18, "good")
    assert (trade.faults, trade.invoice) == ((), None)
    (broken,) = answers(trades=[{**A_TRADE, "faults": ["cracked", "leaking_bladder"], "invoice": "2025-17"}]).trades
    assert (broken.faults, broken.invoice) == (("cracked", "leaking_bladder"), "2025-17")


def test_several_pieces_of_one_slot_may_be_traded_in() -> None:
    assert len(answers(trades=[A_TRADE, A_TRADE]).trades) == 2


TRADES_ACCEPTED = [
    *({**A_TRADE, "slot": slot} for slot in CORE_SLOTS),
    *({**A_TRADE, "months": months} for months in (0, 240)),
    *({**A_TRADE, "condition": word} for word in ("like_new", "good", "worn", "poor")),
    {**A_TRADE, "price_new": 0},
    {
        **A_TRADE,
        "faults": ["delaminated", "cracked", "loose_track_box", "seized_bolts", "corroded_bolts", "leaking_bladder"],
    },
]


@pytest.mark.parametrize("row", TRADES_ACCEPTED)
def test_what_may_be_traded_in_is_accepted(row: dict[str, Any]) -> None:
    assert len(answers(trades=[row]).trades) == 1


# Changes to an ordinary row, the fields at fault.
TRADES: list[tuple[dict[str, Any], list[str]]] = [
    ({"slot": "pump"}, ["trades[0].slot"]),
    ({"slot": None}, ["trades[0].slot"]),
    ({"price_new": -1}, ["trades[0].price_new"]),
    ({"price_new": 0.5}, ["trades[0].price_new"]),
    ({"price_new": None}, ["trades[0].price_new"]),
    ({"price_new": 10**30}, ["trades[0].price_new"]),
    ({"months": -1}, ["trades[0].months"]),
    ({"months": 241}, ["trades[0].months"]),
    ({"months": 1.5}, ["trades[0].months"]),
    ({"months": True}, ["trades[0].months"]),
    ({"months": None}, ["trades[0].months"]),
    ({"condition": "new"}, ["trades[0].condition"]),
    ({"condition": None}, ["trades[0].condition"]),
    ({"faults": ["scratched"]}, ["trades[0].faults"]),
    ({"faults": "cracked"}, ["trades[0].faults"]),
    ({"colour": "blue"}, ["trades[0].colour"]),
    ({"invoice": "x" * 41}, ["trades[0].invoice"]),
    ({"months": -1, "condition": "new"}, ["trades[0].months", "trades[0].condition"]),
]


@pytest.mark.parametrize(("change", "fields"), TRADES)
def test_a_fault_of_traded_gear_is_named_by_its_row_and_question(change: dict[str, Any], fields: list[str]) -> None:
    assert fields_at_fault(said(trades=[{**A_TRADE, **change}])) == fields


def test_a_fault_names_the_row_it_stands_in() -> None:
    assert fields_at_fault(said(trades=[A_TRADE, {**A_TRADE, "months": 999}])) == ["trades[1].months"]
    assert fields_at_fault(said(trades=[5])) == ["trades[0]"]
    assert fields_at_fault(said(trades=5)) == ["trades"]


# --- What follows from the answers alone ----------------------------------------------------------------------------


def test_ease_factors_are_slow_feet_low_fitness_and_no_boards() -> None:
    assert answers().ease_factors == 0
    assert answers(to_feet="slow").ease_factors == 1
    assert answers(fitness="low").ease_factors == 1
    assert answers(board_background="none").ease_factors == 1
    assert answers(to_feet="slow", fitness="low", board_background="none").ease_factors == 3


# Foil stage, whether strong, set-up.
SETUPS = [
    ("none", False, "steady"),
    ("none", True, "steady"),
    ("towed", True, "steady"),
    ("short_flights", False, "steady"),
    ("short_flights", True, "lively"),
    ("long_flights", False, "lively"),
    ("turning", False, "lively"),
]


@pytest.mark.parametrize(("foil_stage", "strong", "setup"), SETUPS)
def test_who_links_flights_rides_lively_and_so_does_a_strong_learner_with_short_ones(
    foil_stage: str, strong: bool, setup: str
) -> None:
    assert answers(foil_stage=foil_stage, **(STRONG if strong else {})).setup == setup


@pytest.mark.parametrize("weaker", [{"to_feet": "average"}, {"fitness": "fair"}, {"board_background": "some"}])
def test_to_be_strong_takes_all_three(weaker: dict[str, str]) -> None:
    assert answers(**STRONG).is_strong
    almost = answers(**{**STRONG, **weaker, "foil_stage": "short_flights"})
    assert not almost.is_strong
    assert almost.setup == "steady"


def test_a_strong_beginner_has_not_flown_alone_yet() -> None:
    assert answers(**STRONG).is_strong_beginner
    assert answers(**STRONG, foil_stage="towed").is_strong_beginner
    assert not answers(**STRONG, foil_stage="short_flights").is_strong_beginner
    assert not answers().is_strong_beginner


def test_a_step_further_links_flights_and_has_at_least_some_hands() -> None:
    later = a_step_further(answers(**STRONG))
    assert (later.foil_stage, later.wing_handling, later.setup) == ("long_flights", "some", "lively")
    assert a_step_further(answers(**STRONG, wing_handling="practised")).wing_handling == "practised"
    assert later.mass_kg == 80


# What an instructor saw, set-up afterwards.
SEEN: list[tuple[Assessment, str]] = [
    (Assessment(), "steady"),
    (Assessment(foil_stage="long_flights"), "lively"),
    (Assessment(setup="lively"), "lively"),
    (Assessment(foil_stage="turning", setup="steady"), "steady"),
]


@pytest.mark.parametrize(("seen", "setup"), SEEN)
def test_what_an_instructor_saw_wins_over_the_answers(seen: Assessment, setup: str) -> None:
    assert seen_on_the_water(answers(), seen).setup == setup


def test_an_instructor_may_set_stage_hands_and_feet_and_leaves_the_rest_as_told() -> None:
    told = answers(**LIVELY, to_feet="average")
    seen = seen_on_the_water(told, Assessment(foil_stage="none", wing_handling="practised", to_feet="slow"))
    assert (seen.foil_stage, seen.wing_handling, seen.to_feet, seen.setup) == ("none", "practised", "slow", "steady")
    assert seen_on_the_water(told, Assessment(to_feet="slow")).foil_stage == "long_flights"


def test_only_an_instructor_sees_a_learner_turn() -> None:
    assert not answers(foil_stage="turning").turning_was_seen
    assert seen_on_the_water(answers(), Assessment(foil_stage="turning")).turning_was_seen
    assert not seen_on_the_water(answers(foil_stage="turning"), Assessment(to_feet="slow")).turning_was_seen


# --- Notes ----------------------------------------------------------------------------------------------------------

# Answers, words that the one note must hold; None: there is no note.
NOTES: list[tuple[dict[str, Any], tuple[str, ...]]] = [
    ({}, ()),
    ({"mass_kg": 120}, ()),
    ({"mass_kg": 120.5}, ("rare", "ask the shop")),
    ({"under_18": True}, ("parent or guardian", "growth")),
    ({"swims_100m": False}, ("lesson", "cannot be agreed to without the shop")),
]


@pytest.mark.parametrize(("told", "words"), NOTES)
def test_what_must_be_said_is_a_note_and_no_error(told: dict[str, Any], words: tuple[str, ...]) -> None:
    notes = notes_on(answers(**told))
    assert len(notes) == (1 if words else 0)
    assert all(word in note for note in notes for word in words)


def test_all_notes_are_said() -> None:
    read: Answers = answers(mass_kg=130, under_18="yes", swims_100m="no")
    assert len(notes_on(read)) == 3


HANDS_SEEN = [
    # What the learner told of their hands, what the instructor saw, and the hands that follow.
    (None, Assessment(foil_stage="turning"), "some"),
    (None, Assessment(foil_stage="towed"), "none"),
    (None, Assessment(foil_stage="turning", wing_handling="practised"), "practised"),
    ("none", Assessment(foil_stage="turning"), "none"),
    (None, Assessment(to_feet="slow"), "none"),
]


@pytest.mark.parametrize(("told", "seen", "hands"), HANDS_SEEN)
def test_hands_that_nobody_told_of_follow_from_the_stage_that_was_seen(
    told: str | None, seen: Assessment, hands: str
) -> None:
    given = {} if told is None else {"wing_handling": told}
    assert seen_on_the_water(answers(**given), seen).wing_handling == hands
