"""What an instructor sees in a lesson, and what it says of the learner in the words of the questions."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, cast, get_args

from server.domain.errors import Fault, InvalidInput
from server.domain.learner import QUESTIONS, Assessment, Setup

Control = Literal["none", "holds_a_course", "turns"]
CONTROLS: tuple[Control, ...] = get_args(Control)
HANDLINGS = ("none", "some", "practised", "not_seen")
SETUPS = ("as_worked_out", "steady", "lively")
LONG_FLIGHT_M = 50.0
"""From here on flights are long: under 50 m the learner's stage is short flights."""
MOST_FLIGHT_M = 5000.0
MOST_SENTENCE = 300
FLIGHT_ACCEPTED = f"metres from 0 to {MOST_FLIGHT_M:.0f}, or none"
SENTENCE_ACCEPTED = f"a sentence of 1 to {MOST_SENTENCE} characters on one line; the customer reads it"
_FLIGHT = re.compile(r"\d{1,4}([.,]\d)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Seen:
    """What an instructor saw in a lesson and when they wrote it down; the longest flight in metres, confidence from 1 to 5.

    `wing_handling` is None where the hand wing was not seen, `setup` None where the set-up stays as it is worked out.
    """

    to_feet: str
    control: Control
    longest_flight_m: float
    confidence: int
    wing_handling: str | None
    setup: Setup | None
    sentence: str
    seen_at: datetime


@dataclass(frozen=True, slots=True)
class Came:
    """What came of it for the customer's quote: its code and next revision, or why it was not fitted again."""

    code: str = ""
    revision: int | None = None
    because: str = ""


@dataclass(frozen=True, slots=True)
class Assessed:
    """An assessment as it was kept: under which key, of which booking, by whom, and what came of it."""

    key: str
    booking_id: int
    seen: Seen
    by: str
    received_at: datetime
    came: Came


def assessment_of(seen: Seen, *, is_behind_a_boat: bool = False) -> Assessment:
    """What was seen, in the words of the questions.

    The longest flight settles the stage: none is `towed`, since they have been in a lesson; under 50 m short flights; from 50 m on
    long ones, and whoever turns in long flights is `turning`, which is the stage after them: a turn in a short hop is no ground to
    take a board that brings its rider home lying down. Behind a boat every flight is `towed` and no hand wing is handled.
    """
    if is_behind_a_boat:
        return Assessment("towed", None, seen.to_feet, seen.setup)
    if seen.longest_flight_m <= 0:
        stage = "towed"
    elif seen.longest_flight_m < LONG_FLIGHT_M:
        stage = "short_flights"
    else:
        stage = "turning" if seen.control == "turns" else "long_flights"
    return Assessment(stage, seen.wing_handling, seen.to_feet, seen.setup)


def moment_seen(text: str, earliest: datetime, now: datetime) -> datetime:
    """When it was written down, as a phone says; now where that cannot be read, and never before the lesson or after now."""
    try:
        told = datetime.fromisoformat(text)
    except ValueError:
        return now
    return min(max(told, earliest), now) if told.tzinfo is not None else now


def read_seen(typed: Mapping[str, str], seen_at: datetime) -> Seen:
    """What was seen from what was typed; raises `InvalidInput` with every fault."""
    faults: list[Fault] = []

    def chosen(name: str, options: tuple[str, ...], message: str) -> str:
        if typed[name] not in options:
            faults.append(Fault(name, message, "one of: " + ", ".join(word.replace("_", " ") for word in options)))
        return typed[name]

    to_feet = typed["to_feet"]
    try:
        QUESTIONS["to_feet"].read(to_feet)
    except ValueError:
        faults.append(Fault("to_feet", "Say how they get to their feet.", QUESTIONS["to_feet"].accepted))
    control = chosen("control", CONTROLS, "Say what control they have.")
    flight = _flight(typed["longest_flight"])
    if flight is None:
        faults.append(Fault("longest_flight", "This is no length of a flight.", FLIGHT_ACCEPTED))
    elif flight <= 0 and control == "turns":
        faults.append(Fault("longest_flight", "Who turns while flying has flown: say how far.", FLIGHT_ACCEPTED))
    confidence = chosen("confidence", ("1", "2", "3", "4", "5"), "Say how confident they are.")
    handling = chosen("wing_handling", HANDLINGS, "Say how they handle the hand wing.")
    setup = chosen("setup", SETUPS, "Say which set-up you advise.")
    sentence = " ".join(typed["sentence"].split())
    if not 1 <= len(sentence) <= MOST_SENTENCE or not sentence.isprintable():
        faults.append(Fault("sentence", "A sentence is needed, so that they know why.", SENTENCE_ACCEPTED))
    if faults or flight is None:
        raise InvalidInput(faults)
    return Seen(
        to_feet=to_feet,
        control=cast(Control, control),
        longest_flight_m=flight,
        confidence=int(confidence),
        wing_handling=None if handling == "not_seen" else handling,
        setup=None if setup == "as_worked_out" else cast(Setup, setup),
        sentence=sentence,
        seen_at=seen_at,
    )


def _flight(text: str) -> float | None:
    if text.lower() == "none":
        return 0.0
    if not _FLIGHT.fullmatch(text):
        return None
    metres = float(text.replace(",", "."))
    return metres if metres <= MOST_FLIGHT_M else None
