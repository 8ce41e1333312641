"""The learner: the questions, what is accepted, the answers as one frozen value, and what follows from them alone."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any, Literal, Protocol, cast

from server.domain.catalogue import Catalogue, Gear, MeasureValue, Spot
from server.domain.days import day_in_words
from server.domain.errors import Fault, InvalidInput
from server.domain.money import Cents
from server.domain.policy import CONDITIONS
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS, SLOT_WORDS, Measure, measures_of

Setup = Literal["steady", "lively"]

STRENGTH = {"board_background": "strong", "fitness": "high", "to_feet": "quick"}
SAFETY_FAULTS = ("delaminated", "cracked", "loose_track_box", "seized_bolts", "corroded_bolts", "leaking_bladder")
LEAST_MASS_KG, MOST_MASS_KG = 35.0, 160.0
TOO_LIGHT = "Under 35 kg we size no kit: book a lesson or hire."
USUAL_WIND_KN = 15.0
MOST_MONEY: Cents = 100_000_00
MOST_ROWS = 20


class Question(Protocol):
    """A question reads a plain value (as JSON gives it) or raises `ValueError` with what is wrong."""

    @property
    def accepted(self) -> str: ...

    def read(self, value: Any) -> Any: ...


@dataclass(frozen=True, slots=True)
class NumberQuestion:
    """A number within a range; whole numbers only if asked for."""

    low: float
    high: float
    unit: str = ""
    whole: bool = False

    @property
    def accepted(self) -> str:
        kind = "a whole number" if self.whole else "a number"
        return f"{kind} from {self.low:.10g} to {self.high:.10g} {self.unit}".rstrip()

    def read(self, value: Any) -> float | int:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise ValueError("This is not a number.")
        if isinstance(value, float) and not math.isfinite(value):
            raise ValueError("This is not a finite number.")
        if not self.low <= value <= self.high:
            raise ValueError(f"This is not between {self.low:.10g} and {self.high:.10g}.")
        if self.whole:
            if value != int(value):
                raise ValueError("This is not a whole number.")
            return int(value)
        return float(value)


@dataclass(frozen=True, slots=True)
class ChoiceQuestion:
    """One of a few words."""

    options: tuple[str, ...]

    @property
    def accepted(self) -> str:
        return "one of: " + ", ".join(self.options)

    def read(self, value: Any) -> str:
        if not isinstance(value, str) or value not in self.options:
            raise ValueError("This is not one of the choices.")
        return value


@dataclass(frozen=True, slots=True)
class YesNoQuestion:
    """Yes or no."""

    accepted: str = "true or false (yes or no)"

    def read(self, value: Any) -> bool:
        if isinstance(value, bool):
            return value
        if isinstance(value, str) and value in ("yes", "no"):
            return value == "yes"
        raise ValueError("This is neither yes nor no.")


@dataclass(frozen=True, slots=True)
class TextQuestion:
    """A short text."""

    most: int = 60

    @property
    def accepted(self) -> str:
        return f"text of 1 to {self.most} characters"

    def read(self, value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError("This is not a text.")
        text = value.strip()
        if not 1 <= len(text) <= self.most or not text.isprintable():
            raise ValueError(f"This is not a text of 1 to {self.most} characters.")
        return text


@dataclass(frozen=True, slots=True)
class ListQuestion:
    """Several answers of one kind, each once; a fault names the place in the list."""

    each: Question
    most: int = MOST_ROWS

    @property
    def accepted(self) -> str:
        return f"a list of at most {self.most}, each {self.each.accepted}"

    def read(self, value: Any) -> tuple[Any, ...]:
        if not isinstance(value, (list, tuple)):
            raise ValueError("This is not a list.")
        if len(value) > self.most:
            raise ValueError(f"These are more than {self.most}.")
        return tuple(dict.fromkeys(self.each.read(item) for item in value))


MASS = NumberQuestion(LEAST_MASS_KG, MOST_MASS_KG, "kg")
MONEY = NumberQuestion(0, MOST_MONEY, "cents", whole=True)

QUESTIONS: dict[str, Question] = {
    "mass_kg": MASS,
    "to_feet": ChoiceQuestion(("quick", "average", "slow")),
    "fitness": ChoiceQuestion(("high", "fair", "low")),
    "board_background": ChoiceQuestion(("strong", "some", "none")),
    "foil_stage": ChoiceQuestion(("none", "towed", "short_flights", "long_flights", "turning")),
    "wing_handling": ChoiceQuestion(("none", "some", "practised")),
    "water": ChoiceQuestion(("sea", "lake")),
    "usual_wind_kn": NumberQuestion(6, 35, "kn"),
    "spot": TextQuestion(),
    "min_depth_m": NumberQuestion(0, 200, "m"),
    "extras": ListQuestion(ChoiceQuestion(EXTRA_SLOTS)),
    "delivery": ChoiceQuestion(("collect", "deliver")),
    "zone": TextQuestion(),
    "budget": MONEY,
    "deposit_codes": ListQuestion(TextQuestion(20)),
    "under_18": YesNoQuestion(),
    "swims_100m": YesNoQuestion(),
}
REQUIRED = ("mass_kg", "to_feet", "fitness", "board_background", "foil_stage")
ROWS = ("keeps", "trades")
FIELDS = (*QUESTIONS, *ROWS)
SEEN = "seen_on_the_water"
"""What an instructor saw, among the answers of a quote; only a lesson puts it there, so it is no question to a learner."""
SEEN_ANSWERS = ("foil_stage", "wing_handling", "to_feet")

SETUP = ChoiceQuestion(("steady", "lively"))

TRADE_QUESTIONS: dict[str, Question] = {
    "slot": ChoiceQuestion(CORE_SLOTS),
    "price_new": MONEY,
    "months": NumberQuestion(0, 240, "months", whole=True),
    "condition": ChoiceQuestion(CONDITIONS),
    "faults": ListQuestion(ChoiceQuestion(SAFETY_FAULTS)),
    "invoice": TextQuestion(40),
}
NEEDED_OF_TRADES = ("price_new", "months", "condition")


@dataclass(frozen=True, slots=True)
class Kept:
    """Gear a learner owns and keeps, with the measures it still lacks to be judged or fitted."""

    gear: Gear
    missing: tuple[str, ...] = ()

    @property
    def slot(self) -> str:
        """The slot it would fill."""
        return self.gear.slot


@dataclass(frozen=True, slots=True)
class Trade:
    """Gear a learner would trade in: what was paid for it new (cents), its age in months, condition and faults."""

    slot: str
    price_new: Cents
    months: int
    condition: str
    faults: tuple[str, ...] = ()
    invoice: str | None = None


@dataclass(frozen=True, slots=True)
class Assessment:
    """What an instructor saw in a lesson; each thing seen overrides the answer."""

    foil_stage: str | None = None
    wing_handling: str | None = None
    to_feet: str | None = None
    setup: Setup | None = None


@dataclass(frozen=True, slots=True)
class Sighting:
    """An instructor's assessment as the answers of a quote hold it: made when, on which day of the shop's, by whom, and a sentence."""

    assessment: Assessment
    seen_at: datetime
    day: date
    by: str
    sentence: str

    @property
    def told(self) -> str:
        """When, by whom and what, in words."""
        return f"{day_in_words(self.day)}, by {self.by}: {self.sentence}"

    @property
    def words(self) -> str:
        """The same as a note."""
        return f"Seen on the water on {day_in_words(self.day)} by {self.by}: {self.sentence}"


@dataclass(frozen=True, slots=True)
class Answers:
    """All answers with their defaults filled in."""

    mass_kg: float
    to_feet: str
    fitness: str
    board_background: str
    foil_stage: str
    wing_handling: str
    water: str
    usual_wind_kn: float
    spot: Spot | None
    min_depth_m: float | None
    keeps: tuple[Kept, ...]
    trades: tuple[Trade, ...]
    extras: tuple[str, ...]
    delivery: str
    zone: str
    budget: Cents | None
    deposit_codes: tuple[str, ...]
    under_18: bool
    swims_100m: bool
    setup_advised: Setup | None = None
    turning_was_seen: bool = False
    wing_handling_was_told: bool = True
    seen: Sighting | None = None

    @property
    def is_strong(self) -> bool:
        """Years on boards, fit and quick to the feet: all three."""
        return all(getattr(self, question) == answer for question, answer in STRENGTH.items())

    @property
    def ease_factors(self) -> int:
        """How many of the three things that ask for an easier board hold."""
        return (self.to_feet == "slow") + (self.fitness == "low") + (self.board_background == "none")

    @property
    def setup(self) -> Setup:
        """`steady` for first flights, `lively` for those who link them; an instructor's advice wins over the answers."""
        if self.setup_advised is not None:
            return self.setup_advised
        links_flights = self.foil_stage in ("long_flights", "turning")
        return "lively" if links_flights or (self.foil_stage == "short_flights" and self.is_strong) else "steady"

    @property
    def is_strong_beginner(self) -> bool:
        """A strong learner before the first flights: the lively kit is shown beside the steady one."""
        return self.is_strong and self.foil_stage in ("none", "towed")


def usual_wing_handling(foil_stage: str) -> str:
    """The hand-wing handling to expect where none was told: none before the first own flights, else some."""
    return "none" if foil_stage in ("none", "towed") else "some"


def seen_on_the_water(answers: Answers, assessment: Assessment) -> Answers:
    """The answers after a lesson: what the instructor saw in place of what the learner said."""
    seen = {name: getattr(assessment, name) for name in SEEN_ANSWERS if getattr(assessment, name) is not None}
    if assessment.foil_stage is not None and not answers.wing_handling_was_told:
        seen.setdefault("wing_handling", usual_wing_handling(assessment.foil_stage))
    return replace(answers, **seen, setup_advised=assessment.setup, turning_was_seen=assessment.foil_stage == "turning")


def a_step_further(answers: Answers) -> Answers:
    """The same learner once long flights come and the hand wing is handled at least a little."""
    handling = "some" if answers.wing_handling == "none" else answers.wing_handling
    return replace(answers, foil_stage="long_flights", wing_handling=handling, setup_advised=None)


def notes_on(answers: Answers) -> list[str]:
    """What must be said to this learner whatever kit is chosen."""
    notes = [answers.seen.words] if answers.seen else []
    if answers.mass_kg > 120:
        notes.append("Over 120 kg the sizes are rare: ask the shop before you decide.")
    if answers.under_18:
        notes.append(
            "Under 18 a parent or guardian decides, and growth is to be thought of: ask the shop about sizes that last."
        )
    if not answers.swims_100m:
        notes.append(
            "If you do not swim 100 m yet, the lesson comes first: this kit cannot be agreed to without the shop."
        )
    return notes


def read_answers(raw: Mapping[str, Any], catalogue: Catalogue) -> Answers:
    """Answers from plain values as JSON gives them; raises `InvalidInput` with every fault at once.

    It does not know whether a deposit code was ever issued: that is asked where the codes are kept. What was seen on the water
    overrides what was answered; whoever takes answers from outside refuses that name before.
    """
    given, faults = read_some(raw, catalogue)
    faults += _missing(raw, REQUIRED, QUESTIONS)
    if faults:
        raise InvalidInput(faults)
    answers = _with_defaults(given, catalogue)
    seen: Sighting | None = given.get(SEEN)
    return answers if seen is None else replace(seen_on_the_water(answers, seen.assessment), seen=seen)


def sighting_as_answer(seen: Sighting) -> dict[str, Any]:
    """A sighting as plain values, to be kept among a quote's answers."""
    assessment = seen.assessment
    return {
        **{name: getattr(assessment, name) for name in SEEN_ANSWERS},
        "setup": assessment.setup,
        "seen_at": seen.seen_at.isoformat(),
        "day": seen.day.isoformat(),
        "by": seen.by,
        "sentence": seen.sentence,
    }


def read_sighting(value: Any) -> Sighting:
    """A sighting from the plain values that were kept of it; raises `ValueError` for anything else."""
    try:
        told = {name: value[name] for name in (*SEEN_ANSWERS, "setup")}
        seen = {name: None if told[name] is None else QUESTIONS[name].read(told[name]) for name in SEEN_ANSWERS}
        setup = None if told["setup"] is None else SETUP.read(told["setup"])
        moment, day = datetime.fromisoformat(value["seen_at"]), date.fromisoformat(value["day"])
        by, sentence = TextQuestion(100).read(value["by"]), TextQuestion(300).read(value["sentence"])
    except (KeyError, TypeError, ValueError) as error:
        raise ValueError("This is not what an instructor has seen.") from error
    return Sighting(Assessment(**seen, setup=cast(Setup | None, setup)), moment, day, by, sentence)


def read_some(raw: Mapping[str, Any], catalogue: Catalogue) -> tuple[dict[str, Any], list[Fault]]:
    """The answers that are there and can be read, with a fault for each that cannot; nothing is required yet."""
    read: dict[str, Any] = {}
    faults: list[Fault] = []
    for name, value in raw.items():
        if name == SEEN:
            try:
                read[name] = read_sighting(value)
            except ValueError as error:
                faults.append(Fault(SEEN, str(error), "what a lesson's assessment put there"))
        elif name not in FIELDS:
            faults.append(Fault(name[:60], "There is no such question.", "one of: " + ", ".join(FIELDS)))
        elif name == "keeps" and value is not None:
            read[name] = _read_keeps(value, faults)
        elif name == "trades" and value is not None:
            read[name] = _read_trades(value, faults)
        elif value is not None:
            _read_into(read, name, name, QUESTIONS[name], value, faults)
    _check_names(read, catalogue, faults)
    return read, faults


def _read_into(
    read: dict[str, Any], name: str, place: str, question: Question, value: Any, faults: list[Fault]
) -> None:
    try:
        read[name] = question.read(value)
    except ValueError as error:
        message = str(error)
        if question is MASS and type(value) in (int, float) and 0 <= value < LEAST_MASS_KG:
            message = TOO_LIGHT
        faults.append(Fault(place, message, question.accepted))


def _missing(
    raw: Mapping[str, Any], needed: Sequence[str], questions: Mapping[str, Question], at: str = ""
) -> list[Fault]:
    return [
        Fault(f"{at}{name}", "This answer is needed.", questions[name].accepted)
        for name in needed
        if raw.get(name) is None
    ]


def _check_names(read: dict[str, Any], catalogue: Catalogue, faults: list[Fault]) -> None:
    for name, known in (("spot", catalogue.spots), ("zone", catalogue.zones)):
        if name in read and read[name] not in known:
            del read[name]
            faults.append(Fault(name, "The shop lists no such name.", "one of: " + ", ".join(known)))


def _rows(value: Any, name: str, faults: list[Fault]) -> list[tuple[str, Mapping[str, Any]]]:
    if not isinstance(value, (list, tuple)) or len(value) > MOST_ROWS:
        faults.append(Fault(name, "This is not a list of pieces of gear.", f"a list of at most {MOST_ROWS}"))
        return []
    rows = []
    for place, row in enumerate(value):
        at = f"{name}[{place}]"
        if not isinstance(row, Mapping) or not all(isinstance(key, str) for key in row):
            faults.append(Fault(at, "This is not a piece of gear.", "an object with slot and measures"))
        elif row.get("slot") not in CORE_SLOTS:
            faults.append(Fault(f"{at}.slot", "This is not a part of the kit.", "one of: " + ", ".join(CORE_SLOTS)))
        else:
            rows.append((at, row))
    return rows


def _read_keeps(value: Any, faults: list[Fault]) -> tuple[Kept, ...]:
    kept: list[Kept] = []
    for at, row in _rows(value, "keeps", faults):
        slot = str(row["slot"])
        if slot != "hand_wing" and any(piece.slot == slot for piece in kept):
            message = f"You have named a {SLOT_WORDS[slot]} already."
            faults.append(Fault(f"{at}.slot", message, "one piece a slot; several hand wings only"))
            continue
        kept.append(_read_kept(slot, row, at, faults))
    return tuple(kept)


def question_for(measure: Measure | None) -> Question:
    """How a measure of gear is asked for; None asks for plain text."""
    if measure is not None and measure.low is not None and measure.high is not None:
        return NumberQuestion(measure.low, measure.high)
    return ChoiceQuestion(measure.words) if measure is not None and measure.words else TextQuestion()


def _read_kept(slot: str, row: Mapping[str, Any], at: str, faults: list[Fault]) -> Kept:
    known = {measure.name: measure for measure in measures_of(slot)}
    measures: dict[str, MeasureValue] = {}
    for name, value in row.items():
        measure = known.get(name)
        if name == "slot" or value is None:
            continue
        if measure is None and name not in ("name", "maker"):
            message = f"A {SLOT_WORDS[slot]} has no such measure."
            faults.append(Fault(f"{at}.{name[:60]}", message, "one of: " + ", ".join(known)))
            continue
        read: dict[str, Any] = {}
        _read_into(read, name, f"{at}.{name}", question_for(measure), value, faults)
        if measure is not None:
            measures.update(read)
    missing = tuple(measure.name for measure in known.values() if measure.to_fit and measure.name not in measures)
    return Kept(Gear(slot, measures), missing)


def _read_trades(value: Any, faults: list[Fault]) -> tuple[Trade, ...]:
    trades = []
    for at, row in _rows(value, "trades", faults):
        read: dict[str, Any] = {}
        before = len(faults)
        for name, item in row.items():
            if name not in TRADE_QUESTIONS:
                faults.append(
                    Fault(f"{at}.{name[:60]}", "There is no such question.", "one of: " + ", ".join(TRADE_QUESTIONS))
                )
            elif item is not None:
                _read_into(read, name, f"{at}.{name}", TRADE_QUESTIONS[name], item, faults)
        faults += _missing(row, NEEDED_OF_TRADES, TRADE_QUESTIONS, f"{at}.")
        if len(faults) == before:
            trades.append(Trade(**read))
    return tuple(trades)


def _least(depths: Sequence[float | None]) -> float | None:
    return min((depth for depth in depths if depth is not None), default=None)


def _with_defaults(read: Mapping[str, Any], catalogue: Catalogue) -> Answers:
    spot = catalogue.spots.get(read["spot"]) if "spot" in read else None
    wind = spot.riding_wind_kn if spot and "usual_wind_kn" not in read else USUAL_WIND_KN
    return Answers(
        mass_kg=read["mass_kg"],
        to_feet=read["to_feet"],
        fitness=read["fitness"],
        board_background=read["board_background"],
        foil_stage=read["foil_stage"],
        wing_handling=read.get("wing_handling", usual_wing_handling(read["foil_stage"])),
        water=read.get("water", spot.water if spot else "sea"),
        usual_wind_kn=read.get("usual_wind_kn", wind),
        spot=spot,
        min_depth_m=_least((read.get("min_depth_m"), spot.min_depth_m if spot else None)),
        keeps=read.get("keeps", ()),
        trades=read.get("trades", ()),
        extras=read.get("extras", ()),
        delivery=read.get("delivery", "deliver"),
        zone=read.get("zone", catalogue.policy.shop.home_zone),
        budget=read.get("budget"),
        deposit_codes=read.get("deposit_codes", ()),
        under_18=read.get("under_18", False),
        swims_100m=read.get("swims_100m", True),
        wing_handling_was_told="wing_handling" in read,
    )
