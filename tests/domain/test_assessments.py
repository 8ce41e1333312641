"""What an instructor saw, in the words of the questions, and what the answers become by it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from server.domain.assessments import Seen, assessment_of, moment_seen, read_seen
from server.domain.catalogue import Catalogue
from server.domain.errors import InvalidInput
from server.domain.learner import SEEN, Assessment, Sighting, notes_on, read_answers, read_sighting, sighting_as_answer
from tests.builders_shop import STRONG, learner
from tests.builders_strand import typed_seen

NOW = datetime(2026, 11, 28, 13, tzinfo=UTC)


def seen(**given: str) -> Seen:
    return read_seen(typed_seen(**given), NOW)


# The model's §2: towed has flown behind a boat or in a lesson, short flights are under 50 m, long ones 50 m and more, turning turns
# while flying. Its §5: lively from long flights on, or from short ones where the learner is strong.
@pytest.mark.parametrize(
    ("flight", "control", "stage", "setup", "strong_setup"),
    [
        ("none", "none", "towed", "steady", "steady"),
        ("0", "holds_a_course", "towed", "steady", "steady"),
        ("49,9", "holds_a_course", "short_flights", "steady", "lively"),
        ("50", "none", "long_flights", "lively", "lively"),
        ("300", "holds_a_course", "long_flights", "lively", "lively"),
        ("0,1", "turns", "short_flights", "steady", "lively"),
        ("49,9", "turns", "short_flights", "steady", "lively"),
        ("50", "turns", "turning", "lively", "lively"),
        ("120", "turns", "turning", "lively", "lively"),
    ],
)
def test_the_longest_flight_and_turns_settle_the_stage_and_so_the_set_up(
    flight: str, control: str, stage: str, setup: str, strong_setup: str
) -> None:
    assessment = assessment_of(seen(longest_flight=flight, control=control))
    assert assessment.foil_stage == stage
    sighting = sighting_as_answer(Sighting(assessment, NOW, NOW.date(), "Maeve", "Seen."))
    for answers, expected in ((learner(), setup), (learner(**STRONG), strong_setup)):
        after = read_answers({**answers, SEEN: sighting}, Catalogue({}))
        assert (after.foil_stage, after.setup) == (stage, expected)
        assert after.turning_was_seen is (stage == "turning")


@pytest.mark.parametrize(
    ("advised", "setup"), [("steady", "steady"), ("lively", "lively"), ("as_worked_out", "steady")]
)
def test_the_set_up_advised_wins(advised: str, setup: str) -> None:
    sighting = Sighting(assessment_of(seen(setup=advised)), NOW, NOW.date(), "Maeve", "Seen.")
    after = read_answers({**learner(), SEEN: sighting_as_answer(sighting)}, Catalogue({}))
    assert after.setup == setup


def test_what_was_seen_overrides_what_was_answered_and_what_was_not_seen_does_not() -> None:
    raw = learner(wing_handling="practised", to_feet="slow")
    for handling, expected in (("none", "none"), ("not_seen", "practised")):
        sighting = Sighting(assessment_of(seen(wing_handling=handling)), NOW, NOW.date(), "Maeve", "Seen.")
        after = read_answers({**raw, SEEN: sighting_as_answer(sighting)}, Catalogue({}))
        assert (after.to_feet, after.wing_handling) == ("quick", expected)


def test_behind_a_boat_a_long_flight_is_no_long_flight_of_ones_own() -> None:
    assert assessment_of(seen(longest_flight="300", control="turns"), is_behind_a_boat=True) == Assessment(
        "towed", None, "quick", None
    )


def test_a_sighting_comes_back_as_it_was_kept_and_is_told_as_a_note() -> None:
    sighting = Sighting(
        Assessment("turning", "some", "quick", "lively"), NOW, date(2026, 11, 28), "Maeve", "Up at once."
    )
    assert read_sighting(sighting_as_answer(sighting)) == sighting
    answers = read_answers({**learner(), SEEN: sighting_as_answer(sighting)}, Catalogue({}))
    assert notes_on(answers) == ["Seen on the water on 28 November 2026 by Maeve: Up at once."]


@pytest.mark.parametrize(
    "kept", [None, "x", [], {}, {"foil_stage": "flying"}, {**learner(), "setup": "steady", "seen_at": "never"}]
)
def test_what_is_no_sighting_is_a_fault(kept: object) -> None:
    with pytest.raises(InvalidInput) as caught:
        read_answers({**learner(), SEEN: kept}, Catalogue({}))
    assert [fault.field for fault in caught.value.faults] == [SEEN]


def test_every_fault_of_the_form_is_said_at_once() -> None:
    with pytest.raises(InvalidInput) as caught:
        read_seen(dict.fromkeys(typed_seen(), ""), NOW)
    assert [fault.field for fault in caught.value.faults] == list(typed_seen()), "in the order of the form"
    for odd in (
        {"longest_flight": "1e3"},
        {"longest_flight": "-5"},
        {"longest_flight": "5001"},
        {"longest_flight": "none", "control": "turns"},
        {"confidence": "6"},
        {"sentence": "x" * 301},
        {"sentence": "a\x07b"},
        {"setup": "turning"},
    ):
        with pytest.raises(InvalidInput) as caught:
            seen(**odd)
        assert [fault.field for fault in caught.value.faults] == [next(iter(odd))]


def test_a_phones_clock_is_believed_between_the_lesson_and_now() -> None:
    began = NOW - timedelta(hours=2)
    for text, moment in (
        ("2026-11-28T12:30:00.000Z", NOW - timedelta(minutes=30)),
        ("2026-11-28T15:00:00Z", NOW),
        ("2020-01-01T00:00:00Z", began),
        ("2026-11-28T12:30:00", NOW),
        ("", NOW),
    ):
        assert moment_seen(text, began, NOW) == moment
