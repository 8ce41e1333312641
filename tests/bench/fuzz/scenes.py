"""The shop in every state that people meet, made beside the running server, one state after another while the run goes on."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass

from sqlmodel import delete

from server.domain.accounts import Role
from server.domain.errors import SlackwaterError
from server.persistence.accounts import account_named
from server.persistence.tables import FailureRow
from server.usecases.work import Shop
from tests.bench.harness import Outcome
from tests.builders_accounts import CHEAP, WORDS, seat
from tests.builders_seen import Seen, World
from tests.builders_states import STATES

PEOPLE: tuple[tuple[str, Role], ...] = (("Orla", "owner"), ("Maeve", "staff"))
MOST_UNMADE = 0.25
UNMADE = "states that could not be made in the shop as it was by then"


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


@dataclass
class Scenes:
    """States one after another in a drawn order; what requests made of the shop meanwhile may stand in the way of some."""

    world: World
    draw: random.Random
    outcome: Outcome

    def __iter__(self) -> Iterator[Seen]:
        while True:
            for name in self.draw.sample(list(STATES), len(STATES)):
                self.outcome.done["states"] += 1
                try:
                    yield STATES[name](self.world.fill())
                except (SlackwaterError, AssertionError, LookupError, StopIteration, ValueError):
                    self.outcome.done[UNMADE] += 1
