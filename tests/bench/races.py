"""Many at once over two servers and one database: the last board, one key, two open requests, requests renewed and taken back, and
what there is only once.

`python -m tests.bench.races --rounds 5 --on sqlite` is a short run.
"""

from __future__ import annotations

import argparse
import asyncio
import uuid
from collections.abc import Sequence
from contextlib import AsyncExitStack

import httpx

from server.persistence.engine import Place
from server.persistence.tables import QuoteRow
from server.usecases.work import Shop
from tests.bench.crowd import Answer, Crowd, statuses_of
from tests.bench.harness import (
    KEPT_OPEN_SECONDS,
    LEARNER,
    Outcome,
    count_stock,
    end_with,
    looking,
    new_ground,
    rows_of,
    servers,
    shelf_of,
    shop_at,
)
from tests.bench.races_once import last_place, one_piece, paid_once

PEOPLE = 50
SAME_KEY = 20
SAME_PERSON = 20
RENEWING = 10
PLENTY = 1_000


async def last_board(crowd: Crowd, shop: Shop, board: str, skus: Sequence[str], people: int) -> None:
    """One board is left and all want it: one gets it, the others are told that it is gone, and then it is given back."""
    must = crowd.outcome.must
    tokens = await crowd.keep(people, skus)
    must(shelf_of(shop, board) == (1, 0, 1), "before the race on hand, held and free are", shelf_of(shop, board))
    answers = await crowd.agree(tokens, [crowd.somebody() for _ in tokens])
    must(statuses_of(answers) == {200: 1, 409: people - 1}, "the last board was answered", statuses_of(answers))
    must(shelf_of(shop, board) == (1, 1, 0), "after the race on hand, held and free are", shelf_of(shop, board))
    gone = [answer for answer in answers if answer.status_code == 409]
    must(all(board in answer.text for answer in gone), "a refusal does not name the board")
    other = next(sku for sku in skus if sku != board)
    must(shelf_of(shop, other)[1] == 1, "a refused request holds a part", other, shelf_of(shop, other))
    await crowd.take_back([t for t, answer in zip(tokens, answers, strict=True) if answer.status_code == 200])
    must(shelf_of(shop, board) == (1, 0, 1), "after taking back on hand, held and free are", shelf_of(shop, board))


async def one_key(crowd: Crowd, place: Place) -> None:
    """One request sent many times at once under one key makes one quote."""
    must = crowd.outcome.must
    with looking(place) as session:
        before = rows_of(session, [QuoteRow])
    headers, body = {"Idempotency-Key": str(uuid.uuid4())}, {"answers": LEARNER}
    answers = await crowd.at_once(
        SAME_KEY, lambda place: crowd.door(place).post("/api/quotes", json=body, headers=headers)
    )
    must(statuses_of(answers) == {201: SAME_KEY}, "one key was answered", statuses_of(answers))
    told = {answer.json()["code"] for answer in answers if answer.status_code == 201}
    with looking(place) as session:
        made = rows_of(session, [QuoteRow])["quote"] - before["quote"]
    must(len(told) == 1 and made == 1, "under one key there are quotes", made, told)


async def two_open(crowd: Crowd, field: str, spellings: Sequence[str]) -> None:
    """One person, spelt in several ways, asks for many quotes at once and gets two of them held."""
    tokens = await crowd.keep(SAME_PERSON)
    people = [
        {"name": "Some One", "revision": 1, field: spellings[place % len(spellings)]} for place in range(SAME_PERSON)
    ]
    answers = await crowd.agree(tokens, people)
    wanted = {200: 2, 429: SAME_PERSON - 2}
    crowd.outcome.must(
        statuses_of(answers) == wanted, "many requests of one person were answered", statuses_of(answers)
    )
    await crowd.take_back([t for t, answer in zip(tokens, answers, strict=True) if answer.status_code == 200])


async def renewing(crowd: Crowd, place: Place) -> None:
    """Holds of the same parts are renewed for a next revision while others are taken back and others asked for."""
    tokens = await crowd.keep(3 * RENEWING)
    renewed, returned, asked = tokens[:RENEWING], tokens[RENEWING : 2 * RENEWING], tokens[2 * RENEWING :]
    people = [crowd.somebody() for _ in tokens]
    held = await crowd.agree([*renewed, *returned], people[: 2 * RENEWING])
    crowd.outcome.must(statuses_of(held) == {200: 2 * RENEWING}, "there is plenty, and yet", statuses_of(held))
    for number, token in enumerate(renewed):
        await _next_revision(crowd.door(number), token)
    again = [{**person, "revision": 2} for person in people[:RENEWING]]

    async def act(place: int) -> Answer:
        which, number = place % 3, place // 3
        if which == 0:
            return await crowd.door(number).post(f"/api/quotes/{renewed[number]}/agree", json=again[number])
        if which == 1:
            return await crowd.door(number).post(f"/quotes/{returned[number]}/release")
        return await crowd.door(number).post(f"/api/quotes/{asked[number]}/agree", json=people[2 * RENEWING + number])

    answers = await crowd.at_once(3 * RENEWING, act)
    wanted = {200: 2 * RENEWING, 303: RENEWING}
    crowd.outcome.must(statuses_of(answers) == wanted, "renewing, returning, asking answered", statuses_of(answers))
    await crowd.take_back([*renewed, *asked])


async def _next_revision(door: httpx.AsyncClient, token: str) -> None:
    draft = (await door.post(f"/quotes/{token}/answers")).headers["location"].split("/")[2]
    await door.post(f"/drafts/{draft}/keep", data={"key": "again"})


async def _race(place: Place, shop: Shop, addresses: Sequence[str], rounds: int, people: int) -> Outcome:
    outcome = Outcome()
    async with AsyncExitStack() as closing:
        limits = httpx.Limits(
            max_connections=people, max_keepalive_connections=people, keepalive_expiry=KEPT_OPEN_SECONDS
        )
        doors = [
            await closing.enter_async_context(httpx.AsyncClient(base_url=address, limits=limits, timeout=60))
            for address in addresses
        ]
        crowd = Crowd(doors, outcome)
        kit = (await doors[0].post("/api/kits", json=LEARNER)).json()["recommended"]
        skus = [part["sku"] for part in kit["parts"].values()]
        board = kit["parts"]["board"]["sku"]
        count_stock(shop, PLENTY, **{board.replace("-", "_"): 1})
        for _ in range(rounds):
            await last_board(crowd, shop, board, skus, people)
            outcome.done["rounds of the last board"] += 1
        count_stock(shop, PLENTY)
        for number in range(max(1, rounds // 10)):
            await one_key(crowd, place)
            await two_open(crowd, "email", [f"{name}{number}@example.org" for name in ("one", "ONE")])
            await two_open(crowd, "phone", [f"+1 555 01{number:05}", f"1 (555) 01{number:05}"])
            await renewing(crowd, place)
            for race_once in (last_place, one_piece, paid_once):
                await race_once(crowd, shop, place)
            outcome.done["rounds of all other races"] += 1
    return outcome


def race(place: Place, rounds: int, people: int = PEOPLE) -> Outcome:
    """Race at a place for so many rounds, and a tenth of the rounds for the other races."""
    with servers(place, 2) as running, shop_at(place) as shop:
        outcome = asyncio.run(_race(place, shop, [server.address for server in running], rounds, people))
        outcome.must_be_silent(running)
    return outcome


def races(rounds: int = 200, grounds: Sequence[str] = ("sqlite", "postgres")) -> None:
    """The last board wanted by 50 at once over two servers, 200 rounds on each database; and a tenth as often all other races."""
    outcomes = []
    for name in grounds:
        with new_ground(name) as ground:
            outcomes.append(race(ground.place, rounds))
        outcomes[-1].tell(f"races on {name}")
    end_with(outcomes)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=races.__doc__)
    parser.add_argument("--rounds", type=int, default=200)
    parser.add_argument("--on", nargs="+", default=["sqlite", "postgres"], choices=["sqlite", "postgres"])
    given = parser.parse_args()
    races(given.rounds, given.on)
