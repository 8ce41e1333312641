"""Servers killed at random moments under load; after each kill the database holds all that was answered, and nothing by halves.

`python -m tests.bench.crash --kills 3 --on sqlite --seed 7` is a short run.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import random
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from threading import Event
from typing import Any, TypeVar

import httpx
from sqlalchemy import text
from sqlmodel import Session, SQLModel, select

from server.domain.errors import Unreadable
from server.persistence.engine import Place
from server.persistence.quotes import quote_from
from server.persistence.tables import DraftRow, HoldRow, OnceRow, QuoteRow, RevisionRow, StockRow
from server.usecases.work import now_utc
from tests.bench.harness import LEARNER, Outcome, Server, count_stock, end_with, looking, new_ground, servers, shop_at
from tests.postgres import DURABLE, Cluster

WORKERS = 6
PIECES = 4
LEAST_SECONDS, MOST_SECONDS = 0.3, 2.0
MASSES_KG = (60, 72, 80, 95)
QUIET_SECONDS = 10

Row = TypeVar("Row", bound=SQLModel)


@dataclass
class Kept:
    """A quote that a worker was answered: the revision answered last, and whether its parts must be held, must not, or may be."""

    token: str
    revision: int
    held: bool | None = False
    expires_at: str = ""
    skus: tuple[str, ...] = ()


@dataclass
class Once:
    """A request to keep a quote under a key, and what it was answered (None while nothing was)."""

    key: str
    body: dict[str, Any]
    answered: tuple[str, int] | None = None


@dataclass
class Journal:
    """What one worker sent and was answered; nobody else touches its quotes and drafts."""

    number: int
    draw: random.Random
    statuses: Counter[int] = field(default_factory=Counter)
    quotes: dict[str, Kept] = field(default_factory=dict)
    onces: list[Once] = field(default_factory=list)
    drafts: dict[str, dict[str, Any]] = field(default_factory=dict)
    in_flight: int = 0
    made: int = 0

    def next_name(self) -> str:
        """A name that nothing had before."""
        self.made += 1
        return f"{self.number}-{self.made}"


class Worker:
    """Sends real requests one after another until a server is gone; each is in the journal before it is sent."""

    def __init__(self, journal: Journal, address: str) -> None:
        self.journal = journal
        self.draw = journal.draw
        self.client = httpx.Client(base_url=address, timeout=30)

    def work(self, stop: Event) -> None:
        """Until told to stop, or the connection breaks."""
        acts: list[Callable[[], None]] = [self.keep, self.keep, self.agree, self.agree, self.agree_on_the_page]
        acts += [self.release, self.release, self.walk_through, self.revise, self.look]
        with self.client:
            try:
                while not stop.is_set():
                    self.draw.choice(acts)()
            except httpx.TransportError:
                self.journal.in_flight += 1

    def send(self, method: str, path: str, **said: Any) -> httpx.Response:
        """A request that is answered, or else the connection broke."""
        answer = self.client.request(method, path, **said)
        self.journal.statuses[answer.status_code] += 1
        return answer

    def somewhere(self) -> Kept | None:
        """One of the worker's quotes."""
        return self.draw.choice(list(self.journal.quotes.values())) if self.journal.quotes else None

    def keep(self) -> None:
        """Keep a quote under a new key."""
        once = Once(self.journal.next_name(), {"answers": {**LEARNER, "mass_kg": self.draw.choice(MASSES_KG)}})
        self.journal.onces.append(once)
        answer = self.send("POST", "/api/quotes", json=once.body, headers={"Idempotency-Key": once.key})
        if answer.status_code == 201:
            once.answered = made_by(answer)
            self.journal.quotes[once.answered[0]] = Kept(*once.answered)

    def agree(self) -> None:
        """Ask to hold, over the interface."""
        kept = self.somewhere()
        if kept is None:
            return
        before, kept.held = kept.held, None
        body = {**self.somebody(), "revision": kept.revision}
        answer = self.send("POST", f"/api/quotes/{kept.token}/agree", json=body)
        if answer.status_code == 200:
            hold = answer.json()["hold"]
            kept.held, kept.expires_at, kept.skus = True, hold["expires_at"], tuple(hold["skus"])
        else:
            kept.held = before

    def agree_on_the_page(self) -> None:
        """Ask to hold, by the form."""
        kept = self.somewhere()
        if kept is None:
            return
        before, kept.held = kept.held, None
        answer = self.send(
            "POST", f"/quotes/{kept.token}/agree", data={**self.somebody(), "revision": str(kept.revision)}
        )
        kept.held = True if answer.status_code == 303 else before
        if answer.status_code == 303:
            kept.expires_at, kept.skus = "", ()  # The page does not say them.

    def somebody(self) -> dict[str, str]:
        """A person who was not here before."""
        name = self.journal.next_name()
        return {"name": f"Someone {name}", "email": f"someone{name}@example.org"}

    def release(self) -> None:
        """Take a request back."""
        kept = self.somewhere()
        if kept is None:
            return
        before, kept.held = kept.held, None
        answer = self.send("POST", f"/quotes/{kept.token}/release")
        kept.held = False if answer.status_code == 303 else before

    def walk_through(self) -> None:
        """A draft through two steps to a quote."""
        answer = self.send("POST", "/drafts")
        token = answer.headers["location"].split("/")[2]
        self.journal.drafts[token] = {}
        mass_kg = self.draw.choice(MASSES_KG)
        self.step(token, "you", mass_kg=str(mass_kg), to_feet="quick", fitness="fair", go="next")
        self.step(token, "flying", board_background="some", foil_stage="towed", go="next")
        self.keep_draft(token)

    def step(self, token: str, step: str, **typed: str) -> None:
        """Answer a step; the journal has what is answered for sure."""
        if self.send("POST", f"/drafts/{token}/{step}", data=typed).status_code == 303:
            self.journal.drafts[token] |= {name: value for name, value in typed.items() if name != "go"}

    def keep_draft(self, token: str) -> None:
        """Keep a draft's kit; a quote's next revision where it revises one."""
        answer = self.send("POST", f"/drafts/{token}/keep", data={"key": self.journal.next_name()})
        if answer.status_code == 303:
            quote = answer.headers["location"].rsplit("/", 1)[1]
            before = self.journal.quotes.get(quote)
            if before is None:
                self.journal.quotes[quote] = Kept(quote, 1)
            else:
                before.revision += 1

    def revise(self) -> None:
        """Change the answers of a quote and keep it again."""
        kept = self.somewhere()
        if kept is None:
            return
        answer = self.send("POST", f"/quotes/{kept.token}/answers")
        token = answer.headers["location"].split("/")[2]
        self.journal.drafts[token] = {}
        self.step(token, "you", mass_kg=str(self.draw.choice(MASSES_KG)), to_feet="slow", fitness="high", go="next")
        self.keep_draft(token)

    def look(self) -> None:
        """Read a page and what the interface says."""
        kept = self.somewhere()
        self.send("GET", "/" if kept is None else f"/quotes/{kept.token}")
        self.send("GET", "/api/parts" if kept is None else f"/api/quotes/{kept.token}")


def made_by(answer: httpx.Response) -> tuple[str, int]:
    """The token and the revision of a quote answered by the interface."""
    told = answer.json()
    return told["url"].rsplit("/", 1)[1], told["revision"]


@dataclass
class Books:
    """All rows at one moment, and the checks of what must always hold."""

    session: Session
    outcome: Outcome
    now: datetime = field(default_factory=now_utc)

    def __post_init__(self) -> None:
        self.quotes = {row.id or 0: row for row in self.rows(QuoteRow)}
        self.by_token = {row.token: row for row in self.quotes.values()}
        self.revisions = {(row.quote_id, row.revision): row for row in self.rows(RevisionRow)}
        self.holds = self.rows(HoldRow)
        self.entries = self.rows(StockRow)
        self.onces = {row.key: row for row in self.rows(OnceRow)}
        self.drafts = {row.token: row for row in self.rows(DraftRow)}

    def rows(self, table: type[Row]) -> Sequence[Row]:
        """All rows of a table."""
        return self.session.exec(select(table)).all()

    def open_holds(self, quote_id: int | None) -> list[HoldRow]:
        """The open holds of a quote."""
        return [row for row in self.holds if row.quote_id == quote_id and self.is_open(row)]

    def is_open(self, hold: HoldRow) -> bool:
        """Whether a hold's parts are set aside."""
        return hold.ended_at is None and hold.expires_at > self.now

    def check(self, digests: dict[tuple[int, int], str]) -> None:
        """Everything that must hold whatever was sent; `digests` remembers the records seen before."""
        self._revisions(digests)
        self._ledger()
        self._holds()
        self._keys()

    def _revisions(self, digests: dict[tuple[int, int], str]) -> None:
        must = self.outcome.must
        numbers: dict[int, list[int]] = defaultdict(list)
        for (quote_id, number), row in self.revisions.items():
            numbers[quote_id].append(number)
            digest = hashlib.sha256(row.record.encode()).hexdigest()
            before = digests.setdefault((quote_id, number), digest)
            must(before == digest, "a revision has changed", quote_id, number)
            try:
                quote = quote_from(row.record)
            except Unreadable:
                must(False, "a record cannot be read", quote_id, number)
                continue
            must(quote.revision == number and quote.token == self.quotes[quote_id].token, "a record of another quote")
        for quote_id, quote_row in self.quotes.items():
            found = sorted(numbers[quote_id])
            must(found == list(range(1, quote_row.revision + 1)), "revisions are not 1 to n", quote_id, found)
        must(set(digests) <= set(self.revisions), "a revision has gone")

    def _ledger(self) -> None:
        must = self.outcome.must
        on_hand: Counter[str] = Counter()
        held: Counter[str] = Counter()
        still_open = {row.id for row in self.holds if self.is_open(row)}
        for entry in sorted(self.entries, key=lambda row: row.id or 0):
            on_hand[entry.sku] += entry.change
            must(on_hand[entry.sku] >= 0, "on hand is below zero", entry.sku, entry.id)
            held[entry.sku] += entry.held if entry.hold_id in still_open else 0
        for sku, pieces in held.items():
            must(0 <= pieces <= on_hand[sku], "held is not between zero and on hand", sku, pieces, on_hand[sku])

    def _holds(self) -> None:
        must = self.outcome.must
        booked: dict[int, Counter[tuple[str, str]]] = defaultdict(Counter)
        for entry in self.entries:
            if entry.hold_id is not None:
                booked[entry.hold_id][entry.kind, entry.sku] += 1
                wanted = {"hold": 1, "release": -1}.get(entry.kind)
                must(entry.held == wanted and entry.change == 0, "an entry of a hold has pieces", entry.held)
        must(set(booked) <= {row.id for row in self.holds}, "entries of a hold that is not there")
        for hold in self.holds:
            skus = json.loads(hold.skus)
            kinds = ["hold"] if hold.ended_at is None else ["hold", "release"]
            expected = Counter((kind, sku) for kind in kinds for sku in skus)
            must(bool(skus) and booked[hold.id or 0] == expected, "a hold's entries", hold.id, booked[hold.id or 0])
            must((hold.quote_id or 0, hold.revision) in self.revisions, "a hold of no revision", hold.id)
        for quote_id in self.quotes:
            must(len(self.open_holds(quote_id)) <= 1, "a quote has two open holds", quote_id)

    def _keys(self) -> None:
        must = self.outcome.must
        named = [(row.quote_id, row.revision) for row in self.onces.values()]
        must(len(set(named)) == len(named), "two keys made the same revision")
        must(
            set(named) == set(self.revisions), "keys and revisions are not one to one", len(named), len(self.revisions)
        )

    def check_answered(self, journal: Journal) -> None:
        """Everything that one worker was answered is there; what was in flight is there wholly or not at all."""
        must = self.outcome.must
        for kept in journal.quotes.values():
            row = self.by_token.get(kept.token)
            must(row is not None and row.revision >= kept.revision, "an answered quote is not there", kept)
            if row is not None:
                kept.revision = row.revision
                self._check_hold(kept, row)
        for once in journal.onces:
            done = self.onces.get(digest_of(once.key))
            if once.answered is not None:
                there = done is not None and (self.quotes[done.quote_id].token, done.revision) == once.answered
                must(there, "what was answered under a key is not kept under it", once.key)
        for token, typed in journal.drafts.items():
            draft = self.drafts.get(token)
            answers = json.loads(draft.answers) if draft else {}
            missing = [name for name in typed if name not in answers]
            must(draft is not None and not missing, "an answered step is not in its draft", token, missing)

    def _check_hold(self, kept: Kept, row: QuoteRow) -> None:
        must = self.outcome.must
        held = self.open_holds(row.id)
        if kept.held is True:
            must(len(held) == 1, "an answered hold is not open", kept)
        elif kept.held is False:
            must(not held, "a hold is open that nobody was answered", kept)
        if kept.held is True and held and kept.expires_at:
            same = held[0].expires_at == datetime.fromisoformat(kept.expires_at)
            must(same and json.loads(held[0].skus) == list(kept.skus), "a hold is not as it was answered", kept)
        kept.held = bool(held)
        if held:
            kept.expires_at, kept.skus = held[0].expires_at.isoformat(), tuple(json.loads(held[0].skus))


def digest_of(key: str) -> str:
    """How a key of the interface is kept."""
    return hashlib.sha256(f"api:{key}".encode()).hexdigest()


def check_file(session: Session, outcome: Outcome) -> None:
    """SQLite's own checks of its file; PostgreSQL has none to ask."""
    if session.get_bind().dialect.name == "sqlite":
        outcome.must(session.execute(text("PRAGMA integrity_check")).scalars().all() == ["ok"], "integrity_check")
        outcome.must(session.execute(text("PRAGMA foreign_key_check")).all() == [], "foreign_key_check")


def wait_until_quiet(place: Place) -> None:
    """Until PostgreSQL has noticed that the killed servers are gone; SQLite has nobody to notice."""
    if not place.url:
        return
    others = text(
        "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"
    )
    until = time.monotonic() + QUIET_SECONDS
    with looking(place) as session:
        while session.execute(others).scalar_one() and time.monotonic() < until:
            session.rollback()
            time.sleep(0.02)


def send_again(onces: Iterable[Once], address: str, place: Place, outcome: Outcome) -> None:
    """The same requests under the same keys: what was done is found again, the rest is done now or refused."""
    with httpx.Client(base_url=address, timeout=30) as client, looking(place) as session:
        for once in onces:
            done = session.get(OnceRow, digest_of(once.key))
            was = (session.get_one(QuoteRow, done.quote_id).token, done.revision) if done else None
            answer = client.post("/api/quotes", json=once.body, headers={"Idempotency-Key": once.key})
            outcome.statuses[answer.status_code] += 1
            outcome.done["requests"] += 1
            outcome.done["sent again"] += 1
            outcome.must(answer.status_code == 201 or (was is None and answer.status_code in (409, 422)), "sent again")
            if answer.status_code == 201:
                once.answered = made_by(answer)
                outcome.must(was in (None, once.answered), "sent again, it made another quote", once.key, was)


def load_and_kill(running: Sequence[Server], journals: Sequence[Journal], draw: random.Random) -> None:
    """Work at all the servers, and kill them all at a random moment."""
    stop = Event()
    with ThreadPoolExecutor(len(journals)) as pool:
        working = [
            pool.submit(Worker(journal, running[place % len(running)].address).work, stop)
            for place, journal in enumerate(journals)
        ]
        time.sleep(draw.uniform(LEAST_SECONDS, MOST_SECONDS))
        for server in running:
            server.kill()
        stop.set()
        for worker in working:
            worker.result()


def crash(
    place: Place, kills: int, *, seed: int, processes: int = 1, database: Cluster | None = None, outages: int = 0
) -> Outcome:
    """Kill all servers so many times; before the first `outages` restarts PostgreSQL itself fails and comes again."""
    outcome, draw = Outcome(seed), random.Random(seed)
    journals = [Journal(number, random.Random(draw.random())) for number in range(WORKERS)]
    digests: dict[tuple[int, int], str] = {}
    with shop_at(place) as shop:
        count_stock(shop, PIECES)
    with servers(place, processes) as running:
        for kill in range(kills):
            load_and_kill(running, journals, draw)
            outcome.done["kills"] += 1
            if database is not None and kill < outages:
                database.stop("immediate")
                database.start()
                outcome.done["outages of the database"] += 1
            wait_until_quiet(place)
            with looking(place) as session:
                books = Books(session, outcome)
                books.check(digests)
                for journal in journals:
                    books.check_answered(journal)
                check_file(session, outcome)
            for server in running:
                server.start()
            for server in running:
                server.wait_until_served()
            for journal in journals:
                unanswered = [once for once in journal.onces[-1:] if once.answered is None]
                again = [*unanswered, *journal.draw.sample(journal.onces, min(2, len(journal.onces)))]
                send_again(again, running[0].address, place, outcome)
        for journal in journals:
            outcome.statuses += journal.statuses
            outcome.done["requests"] += sum(journal.statuses.values())
            outcome.done["in flight at a kill"] += journal.in_flight
        outcome.must(max(outcome.statuses) < 500, "a server answered", max(outcome.statuses))
        outcome.must_be_silent(running)
    return outcome


def crashes(kills: dict[str, int] | None = None, seed: int | None = None) -> None:
    """Two servers under load killed at random moments, 30 times on SQLite and 10 on PostgreSQL, which itself fails twice."""
    outcomes = []
    seed = random.SystemRandom().randrange(1_000_000) if seed is None else seed
    for name, number in (kills or {"sqlite": 30, "postgres": 10}).items():
        print(f"crash on {name}: seed {seed}", flush=True)
        with new_ground(name, DURABLE) as ground:
            outage = 2 if ground.cluster else 0
            outcomes.append(
                crash(ground.place, number, seed=seed, processes=2, database=ground.cluster, outages=outage)
            )
        outcomes[-1].tell(f"crash on {name}")
    end_with(outcomes)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=crashes.__doc__)
    parser.add_argument("--kills", type=int, default=30)
    parser.add_argument("--on", nargs="+", default=["sqlite", "postgres"], choices=["sqlite", "postgres"])
    parser.add_argument("--seed", type=int, default=None)
    given = parser.parse_args()
    crashes(dict.fromkeys(given.on, given.kills), given.seed)
