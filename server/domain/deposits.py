"""Lesson deposits: a lesson is paid when it is booked, and given back when a kit that includes lessons of its kind is bought.

The ledger only grows: what is paid, given back or charged again is an entry, and a balance is the fold of the entries.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from server.domain.money import Cents
from server.domain.policy import IncludedLessons

LessonState = Literal["taken", "booked", "missed", "called_off_late"]
EntryKind = Literal["paid", "given_back", "charged_again"]
SIGNS: dict[EntryKind, int] = {"paid": 1, "given_back": -1, "charged_again": 1}


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the ledger: an amount of zero or more cents under a lesson's code, at a day."""

    code: str
    kind: EntryKind
    amount: Cents
    day: date
    quote: str = ""


@dataclass(frozen=True, slots=True)
class PaidLesson:
    """A lesson under its code: its kind and day, how it went, and the ledger of its money."""

    code: str
    kind: str
    day: date
    state: LessonState
    entries: tuple[Entry, ...] = ()

    @property
    def balance(self) -> Cents:
        """What was really paid and not given back: the fold of the entries."""
        return balance_of(self.entries)

    @property
    def was_given_back(self) -> bool:
        """Whether its fee has been given back and not charged again since."""
        returned = sum(-SIGNS[entry.kind] for entry in self.entries if entry.kind != "paid")
        return returned > 0


def balance_of(entries: Iterable[Entry]) -> Cents:
    """The sum of the entries with their signs."""
    return sum(SIGNS[entry.kind] * entry.amount for entry in entries)


@dataclass(frozen=True, slots=True)
class GivenBack:
    """A fee to be given back with the kit."""

    code: str
    amount: Cents


@dataclass(frozen=True, slots=True)
class NotGivenBack:
    """A fee that stays where it is, and why, as a sentence."""

    code: str
    because: str


@dataclass(frozen=True, slots=True)
class DepositDecision:
    """What is given back of the lessons whose codes were named, and what is not."""

    given_back: tuple[GivenBack, ...] = ()
    refused: tuple[NotGivenBack, ...] = ()
    free_lessons_left: int = 0

    @property
    def total(self) -> Cents:
        """The sum given back."""
        return sum(fee.amount for fee in self.given_back)


def last_day_to_buy(lessons: Iterable[PaidLesson], kind: str, window_days: int) -> date | None:
    """The last day on which fees of this kind are given back: the window counted from the last lesson taken.

    None while no lesson of the kind was taken: the window is open.
    """
    taken = [lesson.day for lesson in lessons if lesson.kind == kind and lesson.state == "taken"]
    return max(taken) + timedelta(days=window_days) if taken else None


def decide_deposits(
    lessons: Sequence[PaidLesson], included: IncludedLessons | None, window_days: int, today: date
) -> DepositDecision:
    """Which fees a purchase today gives back: of the included kind, taken or still booked, earliest first, up to the number.

    Each fee is given back once, and only what was really paid. `included` is None for a purchase without lessons in its tier.
    It decides and writes nothing; the entry is made with the contract.
    """
    if included is None:
        part = "The fee is given back with a kit that includes lessons; buy the rest within the window and it counts."
        return DepositDecision(refused=tuple(NotGivenBack(lesson.code, part) for lesson in lessons))
    given: list[GivenBack] = []
    refused: list[NotGivenBack] = []
    last_day = last_day_to_buy(lessons, included.kind, window_days)
    for lesson in sorted(lessons, key=lambda lesson: lesson.day):
        because = _why_not(lesson, included.kind, last_day, today)
        if because is None and len(given) >= included.number:
            because = f"The kit includes {included.number} lessons; the fees of the earliest are given back."
        if because is None:
            given.append(GivenBack(lesson.code, lesson.balance))
        else:
            refused.append(NotGivenBack(lesson.code, because))
    return DepositDecision(tuple(given), tuple(refused), included.number - len(given))


def _why_not(lesson: PaidLesson, kind: str, last_day: date | None, today: date) -> str | None:
    if lesson.kind != kind:
        return f"It was a {lesson.kind} lesson; the kit includes {kind} lessons, and uses up none of these."
    if lesson.state == "missed":
        return "The lesson was missed, so its fee stays paid."
    if lesson.state == "called_off_late":
        return "The lesson was called off late, so its fee stays paid."
    if lesson.was_given_back:
        return "This fee has been given back already; each is given back once."
    if lesson.balance <= 0:
        return "Nothing was paid for it, so there is nothing to give back."
    if last_day is not None and today > last_day:
        return f"The window closed on {last_day.isoformat()}; ask the shop, it may extend it with a reason."
    return None


def give_back(lesson: PaidLesson, quote: str, day: date) -> Entry | NotGivenBack:
    """The entry that gives a lesson's fee back against a quote, or why there is none to give."""
    if lesson.was_given_back or lesson.balance <= 0:
        return NotGivenBack(lesson.code, "This fee has been given back already; each is given back once.")
    return Entry(lesson.code, "given_back", lesson.balance, day, quote)


def charge_again(lesson: PaidLesson, quote: str, day: date) -> Entry | NotGivenBack:
    """The entry that takes a given-back fee again when the kit comes back, or why there is none to take."""
    if not lesson.was_given_back:
        return NotGivenBack(lesson.code, "This fee was not given back, so there is nothing to charge again.")
    amount = -sum(SIGNS[entry.kind] * entry.amount for entry in lesson.entries if entry.kind != "paid")
    return Entry(lesson.code, "charged_again", amount, day, quote)
