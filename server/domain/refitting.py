"""Learners fitted again under a draft policy, before today's shelf: who would be recommended another part, slot by slot."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from server.domain.catalogue import Part, Shelf
from server.domain.errors import InvalidInput
from server.domain.kits import Fitter
from server.domain.learner import read_answers
from server.domain.policy import Policy
from server.domain.repricing import Quoted, under_policy
from server.domain.slots import CORE_SLOTS

Parts = tuple[Part | None, ...]
"""The parts recommended in the order of the core slots; None where a piece of their own stays."""


@dataclass(frozen=True, slots=True)
class Swapped:
    """A slot in which another part would be recommended; None is a piece of the learner's own, kept."""

    slot: str
    before: Part | None
    after: Part | None


@dataclass(frozen=True, slots=True)
class Refitted:
    """A learner under both policies; None where no kit is sound."""

    code: str
    mass_kg: float
    before: Parts | None
    after: Parts | None

    @property
    def swapped(self) -> tuple[Swapped, ...]:
        """The slots that change; none where either side has no sound kit."""
        if self.before is None or self.after is None:
            return ()
        both = zip(CORE_SLOTS, self.before, self.after, strict=True)
        return tuple(Swapped(slot, was, now) for slot, was, now in both if was != now)


@dataclass(frozen=True)
class Refitting:
    """Learners fitted again, and how many were left out because their answers are not accepted any more."""

    learners: tuple[Refitted, ...]
    unreadable: int = 0

    @property
    def changed(self) -> tuple[Refitted, ...]:
        """Those who would be recommended something else, or for the first time, or nothing any more."""
        return tuple(one for one in self.learners if one.before != one.after)

    @property
    def gaining(self) -> int:
        """How many would have a sound kit that have none."""
        return sum(one.before is None and one.after is not None for one in self.learners)

    @property
    def losing(self) -> int:
        """How many would have none that have one."""
        return sum(one.before is not None and one.after is None for one in self.learners)

    def by_slot(self) -> dict[str, list[tuple[Swapped, int]]]:
        """For each slot the swaps that occur with their number, the most frequent first."""
        counted = Counter(
            (one.slot, _sku(one.before), _sku(one.after)) for each in self.changed for one in each.swapped
        )
        examples = {(one.slot, _sku(one.before), _sku(one.after)): one for each in self.changed for one in each.swapped}
        found: dict[str, list[tuple[Swapped, int]]] = {}
        for key, number in sorted(counted.items(), key=lambda item: (CORE_SLOTS.index(item[0][0]), -item[1], item[0])):
            found.setdefault(key[0], []).append((examples[key], number))
        return found


def _sku(part: Part | None) -> str:
    return "" if part is None else part.sku


def refit(quotes: Iterable[Quoted | None], shelf: Shelf, draft: Policy, today: date) -> Refitting:
    """The kit recommended for each quote's learner on today's shelf, under its policy and under a draft.

    What was agreed by hand is left aside, since no policy chooses it. None is a quote whose record nobody can read.
    """
    drafted = under_policy(shelf, draft)
    found: list[Refitted] = []
    unreadable = 0
    for quoted in quotes:
        if quoted is None:
            unreadable += 1
            continue
        try:
            mass_kg = read_answers(quoted.answers, shelf.catalogue).mass_kg
            found.append(
                Refitted(quoted.code, mass_kg, _recommended(quoted, shelf, today), _recommended(quoted, drafted, today))
            )
        except InvalidInput:
            unreadable += 1
    return Refitting(tuple(found), unreadable)


def _recommended(quoted: Quoted, shelf: Shelf, today: date) -> Parts | None:
    answers = read_answers(quoted.answers, shelf.catalogue)
    sound = Fitter.of(answers, shelf, today).sound
    return tuple(shelf.catalogue.parts.get(sku) for sku in sound[-1].skus) if sound else None
