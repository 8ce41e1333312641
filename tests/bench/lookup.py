"""Whether the desk finds a quote as quickly among 200,000 quotes as among 1,000: two shops, a server each, side by side in one run.

`python -m tests.bench.lookup --quotes 20000` takes a minute.
"""

from __future__ import annotations

import argparse
import random
import statistics
import time
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

from sqlalchemy import insert
from sqlmodel import Session, col, select

from server.domain.stock import Contact
from server.persistence.engine import Place
from server.persistence.tables import HoldRow, QuoteRow
from server.usecases.work import now_utc
from tests.bench.harness import Outcome, Server, end_with, looking, new_ground, servers, shop_at
from tests.bench.memory import OWNER, STAFF, session_of
from tests.bench.rush import CONNECTIONS, Ask, Rush, get, post, rush
from tests.bench.start import add_quotes

FEW, MANY = 1_000, 200_000
RUNS = 3
SECONDS = 5.0
MOST_TIMES = 1.2
ONE_IN = 10
"""Of the quotes one in so many was once asked to be held, and let go of."""
DAYS = 25
GIVEN = ("Aoife", "Tadhg", "Niamh", "Eoin", "Ciara", "Ronan")
FAMILY = ("Quill", "Farrow", "Wren", "Teal", "Marsh", "Dunlin")
JUDGED = "look-up by code"
ALONE = ("look-up by name", "the owner's numbers", "the owner's orders")
"""Asked by one at a time, and less often: nobody does so 32 times at once."""


@dataclass
class Side:
    """One of two shops: its server, its requests by kind, and what came of them."""

    server: Server
    asks: Mapping[str, Ask]
    found: dict[str, list[Rush]] = field(default_factory=dict)

    def ask(self, kind: str, seconds: float) -> None:
        """Ask one kind for so long; raises `RuntimeError` where something else than the page, or the way to it, comes back."""
        connections = 1 if kind in ALONE else CONNECTIONS
        one = rush(self.server.port, self.asks[kind], seconds, connections)
        if not set(one.statuses) <= {200, 303}:
            raise RuntimeError(f"{kind}: answers {dict(one.statuses)}")
        self.found.setdefault(kind, []).append(one)


def shop_of(place: Place, quotes: int) -> None:
    """A shop of so many quotes, of which one in ten was held for somebody of a name."""
    began = time.perf_counter()
    with shop_at(place) as shop:
        add_quotes(shop, quotes)
        with shop.writing("bench") as work:
            work.session.execute(insert(HoldRow), _holds(work.session))
            work.commit()
    mb = place.sqlite_file.stat().st_size / 1e6
    print(f"{quotes:,} quotes, {mb:,.0f} MB, made in {time.perf_counter() - began:.0f} s", flush=True)


def _holds(session: Session) -> list[dict[str, Any]]:
    draw = random.Random(3)
    quotes = session.exec(select(QuoteRow.id).order_by(col(QuoteRow.id))).all()[::ONE_IN]
    return [_hold(draw, place, quote or 0) for place, quote in enumerate(quotes)]


def _hold(draw: random.Random, place: int, quote: int) -> dict[str, Any]:
    """A hold of the last weeks, so that its person is not forgotten yet."""
    at = now_utc() - timedelta(days=draw.uniform(3, DAYS))
    who = Contact(_name(place), f"rider{place}@example.org")
    return {
        "quote_id": quote,
        "revision": 1,
        "skus": "[]",
        "name": who.name,
        "email": who.email,
        "phone": who.phone,
        "email_key": who.email_key,
        "phone_key": who.phone_key,
        "deposit_back": 0,
        "made_at": at,
        "expires_at": at + timedelta(days=3),
        "ended_at": at + timedelta(days=1),
    }


def _name(number: int) -> str:
    return f"{GIVEN[number % len(GIVEN)]} {FAMILY[number // len(GIVEN) % len(FAMILY)]}"


def asks_of(place: Place, seed: int = 9) -> dict[str, Ask]:
    """The desk's and the owner's requests; who or what is looked for differs from one to the next."""
    staff, owner = session_of(place, STAFF), session_of(place, OWNER)
    with looking(place) as session:
        codes = list(session.exec(select(QuoteRow.code)))
        emails = list(session.exec(select(HoldRow.email)))
    for names in (codes, emails):
        random.Random(seed).shuffle(names)

    def find(text: str) -> bytes:
        return post("/desk/find", urlencode({"q": text}), staff)

    return {
        JUDGED: lambda n: find(codes[n % len(codes)]),
        "the quote at the desk": lambda n: get(f"/desk/quotes/{codes[n % len(codes)]}", staff),
        "look-up by e-mail": lambda n: find(emails[n % len(emails)]),
        "look-up by name": lambda n: find(_name(n)),
        "the desk's first page": lambda n: get("/desk", staff),
        "the owner's first page": lambda n: get("/console", owner),
        "the owner's numbers": lambda n: get("/console/numbers", owner),
        "the owner's orders": lambda n: get("/console/orders", owner),
    }


def compare(sides: Sequence[Side], runs: int, seconds: float) -> None:
    """Ask every kind of both shops by turns, so many times, each first for a moment that does not count."""
    few, many = sides
    for _ in range(runs):
        for kind in few.asks:
            for side in (few, many):
                side.ask(kind, seconds / 5)
                side.found[kind].pop()
                side.ask(kind, seconds)


def _p99_ms(one: Rush) -> float:
    return one.percentile_ms(99) if len(one.seconds) > 1 else 1000 * one.seconds[0]


def tell(sides: Sequence[Side], numbers: Sequence[int], outcome: Outcome) -> None:
    """A line a kind: how many a second of both shops, and how many times as long one takes among the more quotes."""
    few, many = sides
    for kind in few.asks:
        rates = [statistics.median(one.rate for one in side.found[kind]) for side in sides]
        slow = [statistics.median(_p99_ms(one) for one in side.found[kind]) for side in sides]
        times = sorted(a.rate / b.rate for a, b in zip(few.found[kind], many.found[kind], strict=True))
        middle = statistics.median(times)
        wanted = f", wanted at most {MOST_TIMES}" if kind == JUDGED else ""
        print(
            f"{kind:<24}{rates[0]:>8.1f} a second among {numbers[0]:,}, {rates[1]:.1f} among {numbers[1]:,} quotes: "
            f"{middle:.2f} times as long (runs {times[0]:.2f} to {times[-1]:.2f}{wanted}); p99 {slow[0]:.0f} and {slow[1]:.0f} ms",
            flush=True,
        )
        outcome.done["requests"] += sum(len(one.seconds) for side in sides for one in side.found[kind])
        outcome.must(
            kind != JUDGED or middle <= MOST_TIMES, f"{kind}, times as long among more quotes", round(middle, 2)
        )


def lookup(quotes: int = MANY, runs: int = RUNS, seconds: float = SECONDS) -> None:
    """The desk's look-up by code among 200,000 quotes and among 1,000, one worker each, 32 connections, three runs by turns; and what
    else the desk and the owner look at."""
    outcome, numbers = Outcome(), (FEW, quotes)
    with ExitStack() as ending:
        places = [ending.enter_context(new_ground("sqlite")).place for _ in numbers]
        for place, number in zip(places, numbers, strict=True):
            shop_of(place, number)
        running = [ending.enter_context(servers(place, 1))[0] for place in places]
        sides = [Side(server, asks_of(place)) for server, place in zip(running, places, strict=True)]
        compare(sides, runs, seconds)
        tell(sides, numbers, outcome)
        outcome.must_be_silent(running)
        outcome.tell("look-up")
    end_with([outcome])


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=lookup.__doc__)
    parser.add_argument("--quotes", type=int, default=MANY)
    parser.add_argument("--runs", type=int, default=RUNS)
    parser.add_argument("--seconds", type=float, default=SECONDS)
    given = parser.parse_args()
    lookup(given.quotes, given.runs, given.seconds)
