"""The run itself: load, kill, look at the books, start again, send again, look at pages; and at the end everything once more."""

from __future__ import annotations

import random
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from threading import Event

from sqlalchemy import text
from sqlmodel import Session, col, func, select

from server.domain.stock import Movement
from server.persistence.engine import Place, engine_for, sessions
from server.persistence.stock import load_on_hand, save_movements
from server.persistence.tables import PaperRow, SaleRow
from server.usecases.messages import send_due
from server.usecases.work import Shop, now_utc
from tests.bench.crash.books import Books, Memory, check_file
from tests.bench.crash.books_catalogue import check_catalogue, remember_catalogue
from tests.bench.crash.books_fees import check_fees
from tests.bench.crash.books_outbox import check_all_arrived, check_outbox
from tests.bench.crash.books_quotes import check_answered, check_confirmed, check_quotes
from tests.bench.crash.books_sales import check_sales, check_series
from tests.bench.crash.books_shelf import check_shelf
from tests.bench.crash.counter import Floor
from tests.bench.crash.journal import DONE_WORDS, OF_A_SALE, OF_QUOTES, Form, Journal
from tests.bench.crash.owner import PRICED, Owner
from tests.bench.crash.traces import Again, check_forms
from tests.bench.crash.worker import Worker, visitor
from tests.bench.harness import Outcome, Server, count_stock, end_with, looking, new_ground, servers, shop_at
from tests.bench.nursery import nursery
from tests.builders_accounts import seat
from tests.builders_mail import Post, post
from tests.postgres import DURABLE, Cluster

ON_THE_FLOOR = 5
PIECES = 4
LEAST_ANSWERS, MOST_ANSWERS = 30, 190
"""So much is answered before a kill, however busy the machine is."""
LONGEST_SECONDS = 12
MOST_LATER_SECONDS = 0.05
QUIET_SECONDS = 10
BY_LETTER = 0.3
"""The share of kills that come when a letter is announced, or has arrived and its sender has not heard so yet."""
MOST_LETTERS = 12
MOST_HEARD_SECONDS = 5
MUST_ALL_HAPPEN = 10
"""From so many kills on, every act has to have succeeded at least once."""
ROUND = timedelta(minutes=10)
"""Longer than a lease of a message, and than the first waits between tries."""
PAGES = (
    "/desk",
    "/desk/sales",
    "/desk/papers",
    "/desk/deposits",
    "/desk/messages",
    "/desk/counter",
    "/desk/cases",
    "/desk/pieces",
    "/console",
    "/console/steps",
    "/console/files",
    "/console/catalogue",
    "/api/parts",
)
PAGES_A_KILL = 3
FLOOR, OWNER = "Maeve", "Orla"


@dataclass
class Run:
    """Everything of one run: the place, who is signed in, what was sent, what was seen, and the mail server."""

    place: Place
    outcome: Outcome
    draw: random.Random
    post: Post
    journals: list[Journal]
    memory: Memory
    seats: dict[str, str] = field(default_factory=dict)
    interrupted: list[tuple[Journal, Form]] = field(default_factory=list)
    finished: list[Form] = field(default_factory=list)
    """What was in flight at a kill and was sent again since the last look."""
    moment: Event = field(default_factory=Event)
    """A letter has come at which everybody is to be killed."""
    killed: Event = field(default_factory=Event)
    is_hurried: bool = False
    """Whether the next kill comes at a letter, before anything is sent again."""

    @property
    def floor(self) -> list[Journal]:
        """The journals of those who serve customers."""
        return self.journals[:-1]

    @property
    def owner(self) -> Journal:
        """The journal of the owner, who alone changes the catalogue."""
        return self.journals[-1]

    def workers(self, running: Sequence[Server]) -> Iterator[Worker]:
        """Somebody at a server for each journal."""
        for number, journal in enumerate(self.journals):
            address = running[number % len(running)].address
            if journal is self.owner:
                yield Owner(journal, address, self.seats[OWNER])
            else:
                yield Floor(journal, address, self.seats[FLOOR])

    def open_shop(self) -> None:
        """Count the shelf, sign everybody in, and remember the catalogue."""
        with shop_at(self.place) as shop:
            count_stock(shop, PIECES)
            self.seats = {FLOOR: seat(shop, FLOOR, "staff"), OWNER: seat(shop, OWNER, "owner")}
            with shop.reading() as work:
                self.memory.day_of = work.catalogue.policy.shop.day_of
        with looking(self.place) as session:
            books = Books(session, self.outcome, self.memory)
            remember_catalogue(books)
            check_shelf(books)

    def lie_in_wait(self) -> None:
        """Now and then the next kill is to come at a letter, announced or just arrived, of those that are sent after the restart."""
        moment, killed = self.moment, self.killed = Event(), Event()
        self.is_hurried = self.draw.random() < BY_LETTER
        most = max(1, min(MOST_LETTERS, len(self.memory.unsent)))
        letters_left = iter(range(self.draw.randint(1, most) if self.is_hurried else 0, 0, -1))

        def met() -> None:
            """At the last of them its sender hears nothing more before everybody is killed."""
            if next(letters_left, 0) == 1:
                moment.set()
                killed.wait(MOST_HEARD_SECONDS)

        is_before = self.draw.random() < 0.5
        self.post.on_recipient, self.post.on_arrival = met if is_before else bool, bool if is_before else met

    def load_and_kill(self, running: Sequence[Server]) -> None:
        """Work at all the servers, and kill them all at a random moment, or at the worst one for a letter."""
        stop = Event()
        with ThreadPoolExecutor(len(self.journals)) as pool:
            working = [pool.submit(worker.work, stop) for worker in self.workers(running)]
            if self._wait_for(self.moment):
                self.outcome.done["kills at a letter"] += 1
            for server in running:
                server.kill()
            self.killed.set()
            stop.set()
            for worker in working:
                worker.result()
        self.outcome.done["kills"] += 1

    def _wait_for(self, moment: Event) -> bool:
        """Until a letter has come at its moment, or so much was answered and a little later; whether it was the letter."""
        answers = self._answered() + self.draw.randint(LEAST_ANSWERS, MOST_ANSWERS)
        until = time.monotonic() + LONGEST_SECONDS
        while self._answered() < answers and time.monotonic() < until:
            if moment.wait(0.01):
                return True
        return moment.wait(self.draw.uniform(0, MOST_LATER_SECONDS))

    def _answered(self) -> int:
        return sum(sum(journal.statuses.values()) for journal in self.journals)

    def look(self, session: Session, processes: int, *, is_whole: bool = False) -> None:
        """All books: what was answered is there, nothing is there by halves, and everything agrees."""
        books = Books(session, self.outcome, self.memory, is_whole)
        self.interrupted += [(one, form) for one in self.journals for form in one.new_forms() if form.state == "sent"]
        touched = {int(form.subject) for one in self.journals for form in one.new_forms() if form.act in OF_A_SALE}
        touched |= {int(form.subject) for form in self.finished if form.act in OF_A_SALE}
        for journal in self.journals:
            check_forms(books, journal)
        touched |= {sold.number for one in self.journals for sold in one.sales[-3:]}
        check_quotes(books)
        for journal in self.journals:
            check_answered(books, journal)
        check_shelf(books)
        check_series(books)
        check_sales(books, touched)
        check_confirmed(books)
        check_fees(books, self.floor)
        check_catalogue(books, self.owner)
        check_outbox(books, self.post, self.outcome.done["kills"] * processes)
        check_file(session, self.outcome)

    def send_again(self, session: Session, address: str) -> None:
        """What was in flight at the kill, and a few of the things that were done."""
        again = {name: Again(session, self.outcome, address, cookie) for name, cookie in self.seats.items()}
        for journal in self.journals:
            who = again[OWNER if journal is self.owner else FLOOR]
            who.forms(journal, [form for one, form in self.interrupted if one is journal])
            who.onces(once for once in journal.onces[-1:] if once.answered is None)
        journal = self.draw.choice(self.floor)
        again[FLOOR].onces(journal.draw.sample(journal.onces, min(2, len(journal.onces))))
        self.finished = [form for _, form in self.interrupted]
        self.interrupted.clear()
        for one in again.values():
            one.close()

    def look_at_pages(self, session: Session, address: str) -> None:
        """A few pages of the desk and the console, and all of a sale, a fee and a paper."""
        paths = self.draw.sample(PAGES, PAGES_A_KILL)
        sales = [sold.number for journal in self.floor for sold in journal.sales]
        if sales:
            number = self.draw.choice(sales)
            row = session.get_one(SaleRow, number)
            paper = session.exec(select(func.max(PaperRow.number)).where(col(PaperRow.sale_id) == number)).one()
            more = [f"/desk/quotes/{row.code}", f"/owned/{row.token}", f"/desk/papers/{paper}"]
            paths += [f"/desk/sales/{number}", self.draw.choice(more)]
        fees = [code for journal in self.floor for code in journal.fees]
        paths += [f"/desk/deposits/{self.draw.choice(fees)}"] if fees else []
        with visitor(address, self.seats[OWNER]) as client:
            for path in paths:
                answer = client.get(path, follow_redirects=True)
                self.outcome.done["requests"] += 1
                self.outcome.done["pages looked at"] += 1
                self.outcome.must(answer.status_code == 200, "a page is not served", path, answer.status_code)

    def deliver_all(self) -> None:
        """Send what still waits, on a clock that goes on by more than a lease, until nothing does."""
        ahead = timedelta(0)

        def clock() -> datetime:
            return now_utc() + ahead

        self.post.on_recipient, self.post.on_arrival = bool, bool
        engine = engine_for(self.place)
        shop, mailer = Shop(sessions(engine), clock), self.post.mailer()
        for _ in range(3):
            while not send_due(shop, mailer).is_nothing:
                pass
            ahead += ROUND
        engine.dispose()

    def tell(self, running: Sequence[Server]) -> None:
        """What happened, act by act; in a run that is long enough each must have."""
        outcome = self.outcome
        for journal in self.journals:
            outcome.statuses += journal.statuses
            outcome.done["requests"] += sum(journal.statuses.values())
            outcome.done["in flight at a kill"] += journal.in_flight
        for word in (*OF_QUOTES, *DONE_WORDS.values()):
            outcome.done[word] = sum(journal.done[word] for journal in self.journals)
            outcome.must(outcome.done[word] > 0 or outcome.done["kills"] < MUST_ALL_HAPPEN, "never happened", word)
        outcome.done["messages sent"] = len(self.memory.letters)
        outcome.done["messages that came twice"] = self.memory.letters.total() - len(self.memory.letters)
        outcome.must(outcome.done["messages sent"] > 0 or outcome.done["kills"] < MUST_ALL_HAPPEN, "no messages")
        outcome.must(max(outcome.statuses) < 500, "a server answered", max(outcome.statuses))
        outcome.must_be_silent(running)


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


def restock(place: Place) -> None:
    """A delivery of every part of which the shelf has fewer than it began with."""
    engine = engine_for(place)
    with sessions(engine)(True) as session:
        _deliver(session)
    engine.dispose()


def _deliver(session: Session) -> None:
    low = [Movement(sku, "delivery", PIECES - there, "full again") for sku, there in load_on_hand(session).items()]
    save_movements(session, [one for one in low if one.pieces > 0 and one.sku not in PRICED], now_utc(), "bench")
    session.commit()


def crash(
    place: Place, kills: int, *, seed: int, processes: int = 1, database: Cluster | None = None, outages: int = 0
) -> Outcome:
    """Kill all servers so many times; before the first `outages` restarts PostgreSQL itself fails and comes again."""
    outcome, draw = Outcome(seed), random.Random(seed)
    journals = [Journal(number, random.Random(draw.random())) for number in range(ON_THE_FLOOR + 1)]
    with ExitStack() as ending:
        copies = ending.enter_context(nursery())
        mail = ending.enter_context(post())
        run = Run(place, outcome, draw, mail, journals, Memory(random.Random(draw.random())))
        run.open_shop()
        by_mail = servers(
            place,
            processes,
            copied_from=copies,
            SMTP_HOST="127.0.0.1",
            SMTP_PORT=str(mail.port),
            SMTP_SECURITY="none",
        )
        running = ending.enter_context(by_mail)
        for kill in range(kills):
            run.load_and_kill(running)
            if database is not None and kill < outages:
                database.stop("immediate")
                database.start()
                outcome.done["outages of the database"] += 1
            wait_until_quiet(place)
            with looking(place) as session:
                run.look(session, processes)
            run.lie_in_wait()
            for server in running:
                server.start()
            restock(place)
            for server in running:
                server.wait_until_served()
            if run.is_hurried and kill < kills - 1:
                continue
            with looking(place) as session:
                run.send_again(session, running[0].address)
                run.look_at_pages(session, running[-1].address)
        for server in running:
            server.kill()
        wait_until_quiet(place)
        run.deliver_all()
        with looking(place) as session:
            run.look(session, processes, is_whole=True)
            check_all_arrived(Books(session, outcome, run.memory), mail)
        run.tell(running)
    return outcome


def crashes(kills: dict[str, int] | None = None, seed: int | None = None) -> None:
    """Two servers under load killed at random moments, 100 times on SQLite and 30 on PostgreSQL, which itself fails five times."""
    outcomes = []
    seed = random.SystemRandom().randrange(1_000_000) if seed is None else seed
    for name, number in (kills or KILLS).items():
        print(f"crash on {name}: seed {seed}", flush=True)
        with new_ground(name, DURABLE) as ground:
            outages = OUTAGES if ground.cluster else 0
            outcomes.append(
                crash(ground.place, number, seed=seed, processes=2, database=ground.cluster, outages=outages)
            )
        outcomes[-1].tell(f"crash on {name}")
    end_with(outcomes)


KILLS = {"sqlite": 100, "postgres": 30}
OUTAGES = 5
