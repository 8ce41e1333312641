"""What learners asked for beside what is there: sizes by class, what nobody had in stock for them, and which answers lead where."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from server.domain.learner import QUESTIONS, ChoiceQuestion
from server.domain.numbers import AGREED, BOUGHT, SEEN, QuoteFact, came_to
from server.domain.size_classes import Asked, SizeClass, SizesBySlot, class_asked
from server.domain.slots import CORE_SLOTS

ASKED_BY = ("foil_stage", "board_background", "fitness", "to_feet", "water", "spot", "came")
"""What quotes can be told apart by: questions, the spot, and how the quote came about."""
NOT_GIVEN = ""


@dataclass(frozen=True, slots=True)
class SizeCounted:
    """A class of sizes: in how many quotes it was asked for, in how many of them nothing met it, and the pieces on hand and held."""

    size: SizeClass
    asked: int
    unmet: int
    on_hand: int
    held: int


def count_sizes(
    slot: str,
    classes: SizesBySlot,
    asked: Iterable[Asked],
    on_hand: Mapping[str, int],
    held: Mapping[str, int],
) -> tuple[SizeCounted, ...]:
    """The classes of a slot, smallest first; `on_hand` and `held` are pieces by the key of the class.

    A quote counts once in a slot, by its ideal size, unless gear for it is kept.
    """
    told = [(class_asked(classes[slot], one).key, one.is_unmet) for one in asked if one.slot == slot]
    by_class, missing = Counter(key for key, _ in told), Counter(key for key, is_unmet in told if is_unmet)
    return tuple(
        SizeCounted(size, by_class[size.key], missing[size.key], on_hand.get(size.key, 0), held.get(size.key, 0))
        for size in classes[slot]
    )


def most_missed(counted: Iterable[SizeCounted]) -> tuple[SizeCounted, ...]:
    """The classes in which anything was missed, the most missed first, then in the order of the slots."""
    missed = [one for one in counted if one.unmet]
    return tuple(sorted(missed, key=lambda one: (-one.unmet, CORE_SLOTS.index(one.size.slot), one.size.low)))


@dataclass(frozen=True, slots=True)
class AnswerCounted:
    """An answer: how many quotes were kept with it (`answer` is empty where none was given), and how far they ever came."""

    answer: str
    kept: int
    seen: int
    agreed: int
    bought: int


def answer_of(quote: QuoteFact, asked: str) -> str:
    """What a quote says to one of `ASKED_BY`; empty where nothing was answered."""
    known = {"water": quote.water, "spot": quote.spot, "came": "desk" if quote.is_desks else "customer"}
    return known[asked] if asked in known else str(quote.answers.get(asked) or NOT_GIVEN)


def count_answers(quotes: Iterable[QuoteFact], asked: str) -> tuple[AnswerCounted, ...]:
    """Quotes by their answer to one of `ASKED_BY`: in the order the question has, or else the most given first."""
    groups: dict[str, list[QuoteFact]] = {}
    for quote in quotes:
        groups.setdefault(answer_of(quote, asked), []).append(quote)
    return tuple(
        AnswerCounted(answer, len(some), came_to(some, SEEN), came_to(some, AGREED), came_to(some, BOUGHT))
        for answer, some in sorted(groups.items(), key=lambda one: (*_place(asked, one[0]), -len(one[1]), one[0]))
    )


def _place(asked: str, answer: str) -> tuple[bool, int]:
    """Where an answer stands: those not given last, the others as the question has them."""
    question = QUESTIONS.get(asked)
    options: Sequence[str] = question.options if isinstance(question, ChoiceQuestion) else ()
    return answer == NOT_GIVEN, options.index(answer) if answer in options else len(options)
