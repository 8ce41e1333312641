"""The shop in every state that people meet, made beside the running server, one state after another while the run goes on."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Collection
from contextlib import suppress
from dataclasses import dataclass, field

from sqlmodel import delete

from server.domain.accounts import Role
from server.domain.catalogue import Catalogue
from server.domain.errors import SlackwaterError
from server.persistence.accounts import account_named
from server.persistence.folder import read_folder
from server.persistence.tables import FailureRow
from server.usecases.catalogue import replace_catalogue
from server.usecases.opening import SEED
from server.usecases.work import Shop
from tests.bench.fuzz.routes import Route
from tests.bench.harness import Outcome
from tests.builders_accounts import CHEAP, WORDS, seat
from tests.builders_seen import Seen, World
from tests.builders_states import STATES

PEOPLE: tuple[tuple[str, Role], ...] = (("Orla", "owner"), ("Maeve", "staff"))
MOST_UNMADE = 0.2
UNMADE = "states that could not be made in the shop as it was by then"
AGAIN = 0.5


def sit_down(shop: Shop) -> tuple[str, ...]:
    """New sessions of the owner and of somebody of the staff, whose accounts are as they were, whatever became of them."""
    sessions = tuple(seat(shop, name, role) for name, role in PEOPLE)
    with shop.writing() as work:
        for name, role in PEOPLE:
            row = account_named(work.session, name.casefold())
            assert row is not None
            row.role, row.ended_at, row.seed, row.seed_offered = role, None, None, None
            row.password_hash = CHEAP.hashed(WORDS)
        work.session.exec(delete(FailureRow))
        work.commit()
    return sessions


def put_catalogue_back(shop: Shop) -> None:
    """The parts that states are made of are sold again, whatever forms of the owner have retired; what forbids that stays."""
    with suppress(SlackwaterError), shop.writing("owner") as work:
        replace_catalogue(work, read_folder(SEED, Catalogue({}), None))


@dataclass
class Scenes:
    """States one after another in a drawn order; what requests made of the shop meanwhile may stand in the way of some.

    Once each had its turn, every other one is a state that shows a form which the shop has not yet taken from anybody.
    """

    world: World
    draw: random.Random
    outcome: Outcome
    to_come: list[str] = field(default_factory=list)
    shown: dict[str, set[Route]] = field(default_factory=dict)
    """What the forms of each state are sent to."""
    unmade: Counter[str] = field(default_factory=Counter)

    def make(self, lacking: Collection[Route]) -> tuple[str, Seen]:
        """The next state that can be made, and its name; `lacking` are the routes that have taken nothing so far."""
        while True:
            name = self._next(lacking)
            self.outcome.done["states"] += 1
            try:
                return name, STATES[name](self.world.fill())
            except (SlackwaterError, AssertionError, LookupError, StopIteration, ValueError) as error:
                self.outcome.done[UNMADE] += 1
                self.unmade[f"{name}: {error!r}"[:200]] += 1
                put_catalogue_back(self.world.shop)

    def _next(self, lacking: Collection[Route]) -> str:
        if len(self.shown) == len(STATES) and self.draw.random() < AGAIN:
            wanted = [name for name, shown in self.shown.items() if not shown.isdisjoint(lacking)]
            if wanted:
                return self.draw.choice(wanted)
        self.to_come = self.to_come or self.draw.sample(list(STATES), len(STATES))
        name = self.to_come.pop()
        self.shown.setdefault(name, set())  # It had its turn, whether it can be made or not.
        return name


def must_mostly_be_made(outcome: Outcome, unmade: Counter[str]) -> None:
    """What cannot be made is not fuzzed; `unmade` says what could not, and why."""
    states, number = outcome.done["states"], outcome.done[UNMADE]
    few = max(1, MOST_UNMADE * states)
    outcome.must(number <= few, "too many states could not be made", number, states, unmade.most_common(5))
