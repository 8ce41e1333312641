"""Two servers on machines of their own over one PostgreSQL on a third, behind a proxy that hands requests in turn to either."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from typing import Any

import httpx
import pytest
from sqlmodel import Session, func, select

from server.persistence.engine import Place
from server.persistence.tables import OnceRow, QuoteRow, SessionRow
from server.usecases.accounts import make_owner_link
from server.usecases.opening import open_shop
from tests.bench.harness import LEARNER, ROOT, Outcome, Server, looking
from tests.bench.machines import network
from tests.builders_accounts import WORDS
from tests.pages.reader import Reader, at_the_kit
from tests.postgres import NOT_DURABLE, cluster, free_port

PORT = 8000
CUSTOMER = "198.51.100.7"
KEPT_BEFORE, KEPT_AFTER = 5, 10
BREATH_SECONDS = 0.05


@dataclass(frozen=True)
class Site:
    """Two servers, the way to them, and the database as it is seen from here."""

    how: str
    servers: list[Server]
    socket: Path
    place: Place

    @contextmanager
    def visitor(self, **headers: str) -> Iterator[httpx.Client]:
        """Somebody who comes through the proxy."""
        way = httpx.HTTPTransport(uds=str(self.socket))
        address = "http://slackwater.example"
        with httpx.Client(transport=way, base_url=address, timeout=30, headers=headers, trust_env=False) as made:
            yield made

    def found(self, ask: Any) -> Any:
        """What one query finds in the database."""
        with looking(self.place) as session:
            return ask(session)


@contextmanager
def site() -> Iterator[Site]:
    with ExitStack() as ending:
        folder = Path(ending.enter_context(tempfile.TemporaryDirectory(prefix="slackwater-site-")))
        net = ending.enter_context(network(3))
        *shops, base = net.machines
        database = ending.enter_context(cluster(NOT_DURABLE, host=base.address, within=base.within_without_rights))
        name = database.create_database()
        seen = {"BASE_ADDRESS": "http://slackwater.example", "FORWARDED_ALLOW_IPS": net.middle.address}
        servers = [
            Server(
                Place(folder / machine.address, database.url(name)),
                folder / f"{machine.address}.log",
                seen,
                host=machine.address,
                within=machine.within,
                fixed_port=PORT if net.is_apart else free_port(),
            )
            for machine in shops
        ]
        for server in servers:
            ending.callback(server.stop)
            server.start()
        for server in servers:
            server.wait_until_served()
        socket = folder / "proxy"
        told = ["--at", str(socket), "--comes-from", net.middle.address, "--known-as", CUSTOMER]
        to = [part for server in servers for part in ("--to", f"{server.host}:{server.port}")]
        command = [*net.middle.within, sys.executable, "-m", "tests.bench.proxy", *told, *to]
        proxy = ending.enter_context(subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE))
        ending.callback(proxy.terminate)
        assert proxy.stdout is not None
        assert proxy.stdout.readline() == b"The proxy is up\n"
        yield Site(net.how, servers, socket, Place(folder, database.url_here(name)))


def count_of(table: type[QuoteRow | OnceRow]) -> Any:
    def ask(session: Session) -> int:
        return session.exec(select(func.count()).select_from(table)).one()

    return ask


def keep_on(client: httpx.Client, stop: Event, kept: dict[str, str], statuses: Counter[int]) -> None:
    """Keep one quote after another, each until it is answered under its key, as a customer who presses again would."""
    while not stop.is_set() or len(kept) < KEPT_AFTER:
        key = f"key-{len(kept)}"
        answer = client.post("/api/quotes", json={"answers": LEARNER}, headers={"Idempotency-Key": key})
        statuses[answer.status_code] += 1
        if answer.status_code == 201:
            kept[key] = answer.json()["url"].rpartition("/")[2]
        else:
            time.sleep(BREATH_SECONDS)


@pytest.mark.postgres
def test_a_journey_goes_on_over_two_machines_while_one_is_lost_and_comes_again(
    record_property: Callable[[str, object], None],
) -> None:
    outcome = Outcome()
    with site() as shop, shop.visitor() as customer, shop.visitor(**{"X-Forwarded-For": "203.0.113.66"}) as owner:
        record_property("told at the end", f"Machines of the tests are {shop.how}.")
        one, other = shop.servers
        served = Counter(customer.get("/").headers["x-served-by"] for _ in range(6))
        assert served == {one.host: 3, other.host: 3}
        first = {customer.get("/").text for _ in range(2)}
        assert len(first) == 1, "both show the same page, with the same names of files"

        opened = open_shop(shop.place, seeded=False)
        with opened.writing("command") as work:
            link = make_owner_link(work, "Orla")
        opened.close()
        Reader(owner).open(f"/welcome/{link}").press("Set the password", password=WORDS, again=WORDS)
        assert Reader(owner).open("/sign-in").press("Sign in", name="Orla", password=WORDS).status == 200
        addresses = shop.found(lambda session: session.exec(select(SessionRow.address)).all())
        assert set(addresses) == {CUSTOMER}, "what a visitor says of where they come from is written over"
        seen = {owner.get("/console").headers["x-served-by"] for _ in range(2)}
        assert seen == {one.host, other.host}, "one session opens both"

        quote = at_the_kit(customer).press("Keep this quote")
        kept: dict[str, str] = {}
        statuses: Counter[int] = Counter()
        stop = Event()
        with ThreadPoolExecutor(1) as threads, shop.visitor() as busy:
            keeping: Future[None] = threads.submit(keep_on, busy, stop, kept, statuses)
            while len(kept) < KEPT_BEFORE:
                assert not keeping.done(), keeping.result()
                time.sleep(BREATH_SECONDS)
            one.kill()
            quote.press("Ask to hold these parts", name="Some One", email="some.one@example.org")
            assert "The parts are set aside until" in quote.text
            stop.set()
            keeping.result()
        assert set(statuses) <= {201, 502}
        assert statuses[502] <= 2, "only what the lost machine was at, or took in its last moment, is asked again"
        assert len(set(kept.values())) == len(kept) >= KEPT_AFTER
        assert shop.found(count_of(QuoteRow)) == len(kept) + 1
        assert shop.found(count_of(OnceRow)) == len(kept) + 1
        assert {owner.get("/console").status_code for _ in range(4)} == {200}
        assert {customer.get(f"/quotes/{token}").headers["x-served-by"] for token in kept.values()} == {other.host}

        one.start()
        one.wait_until_served()
        again = [customer.get(f"/quotes/{token}") for token in list(kept.values())[:4]]
        assert {answer.headers["x-served-by"] for answer in again} == {one.host, other.host}
        assert {answer.status_code for answer in again} == {200}
        assert Reader(owner).open("/account").press("Sign out").status == 200
        assert {owner.get("/console").status_code for _ in range(2)} == {303}
        assert not any((server.place.data / "slackwater.sqlite3").exists() for server in shop.servers)
        assert all(list(server.place.data.iterdir()) == [] for server in shop.servers), "a machine keeps nothing"
        outcome.must_be_silent(shop.servers)
    assert outcome.violations == []
