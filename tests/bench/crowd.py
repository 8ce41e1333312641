"""A crowd of people who come through several doors of one shop, and act at once."""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from itertools import count
from typing import Any

import httpx

from tests.bench.harness import LEARNER, Outcome

Answer = httpx.Response


@dataclass
class Crowd:
    """People who come through two doors in turn, each with an e-mail address of their own."""

    doors: list[httpx.AsyncClient]
    outcome: Outcome
    numbers: count[int] = field(default_factory=lambda: count(1))

    def door(self, place: int) -> httpx.AsyncClient:
        """The door of the one at this place."""
        return self.doors[place % len(self.doors)]

    async def at_once(self, number: int, act: Callable[[int], Awaitable[Answer]]) -> list[Answer]:
        """All wait at a barrier, and then all act."""
        barrier = asyncio.Barrier(number)

        async def wait_and_act(place: int) -> Answer:
            await barrier.wait()
            return await act(place)

        answers = await asyncio.gather(*(wait_and_act(place) for place in range(number)))
        self.outcome.statuses.update(answer.status_code for answer in answers)
        self.outcome.done["requests"] += number
        return answers

    async def keep(self, number: int, skus: Sequence[str] | None = None) -> list[str]:
        """So many quotes for the same answers; their tokens."""
        body = {"answers": LEARNER, "skus": list(skus) if skus else None}
        answers = await self.at_once(number, lambda place: self.door(place).post("/api/quotes", json=body))
        self.outcome.must(statuses_of(answers) == {201: number}, "keeping quotes answered", statuses_of(answers))
        return [answer.json()["url"].rsplit("/", 1)[1] for answer in answers if answer.status_code == 201]

    def somebody(self) -> dict[str, Any]:
        """A person who was not here before, agreeing to a first revision."""
        n = next(self.numbers)
        return {"name": f"Someone {n}", "email": f"someone{n}@example.org", "revision": 1}

    async def agree(self, tokens: Sequence[str], people: Sequence[dict[str, Any]]) -> list[Answer]:
        """Each agrees to a quote, all at once."""
        return await self.at_once(
            len(tokens),
            lambda place: self.door(place).post(f"/api/quotes/{tokens[place]}/agree", json=people[place]),
        )

    async def take_back(self, tokens: Sequence[str]) -> None:
        """Take requests back, all at once."""
        answers = await self.at_once(len(tokens), lambda place: self._release(place, tokens[place]))
        self.outcome.must(statuses_of(answers) == {303: len(tokens)}, "taking back answered", statuses_of(answers))

    async def _release(self, place: int, token: str) -> Answer:
        return await self.door(place).post(f"/quotes/{token}/release")


def statuses_of(answers: Sequence[Answer]) -> dict[int, int]:
    """How many answers each status has."""
    return dict(Counter(answer.status_code for answer in answers))
