"""What the long runs share: a place of their own, the real server over it as processes, the shelf, and an outcome to tell."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlmodel import Session, SQLModel, func, select

from server.domain.stock import free
from server.persistence.engine import Place, engine_for, sessions
from server.persistence.stock import load_held, load_on_hand
from server.usecases.opening import open_shop
from server.usecases.stock import book_movement
from server.usecases.work import Shop, now_utc
from tests.bench.nursery import Child, Nursery
from tests.postgres import NOT_DURABLE, Cluster, cluster, free_port

ROOT = Path(__file__).parents[2]
ALLOCATOR = {"MALLOC_TRIM_THRESHOLD_": "1048576", "MALLOC_ARENA_MAX": "2"}
"""As the image sets them, and README.md says for whatever else starts a server."""
START_SECONDS = 60
STOP_SECONDS = 15
KEPT_OPEN_SECONDS = 1.0  # The server closes idle connections after 5; reusing one at that very moment would break it.
LEARNER = {
    "mass_kg": 80,
    "to_feet": "average",
    "fitness": "fair",
    "board_background": "some",
    "foil_stage": "none",
}


@dataclass
class Server:
    """The program as a process of its own; what it logs goes to a file. Settings are variables without their prefix.

    It listens at loopback unless another address is named; `within` stands before its command where it runs on another machine.
    """

    place: Place
    log: Path
    settings: Mapping[str, str] = field(default_factory=dict)
    port: int = 0
    process: subprocess.Popen[bytes] | Child | None = None
    host: str = "127.0.0.1"
    within: tuple[str, ...] = ()
    fixed_port: int = 0
    workers: int = 1
    nursery: Nursery | None = None
    """Where it is copied from, in a run that starts very many."""
    _said_before: int = 0

    @property
    def address(self) -> str:
        """Where it is served."""
        return f"http://{self.host}:{self.port}"

    def start(self) -> None:
        """Start it, at a free port where none is named, and do not wait."""
        self.port = self.fixed_port or free_port()
        arguments = ["--data", str(self.place.data), "--host", self.host, "--port", str(self.port)]
        arguments += ["--workers", str(self.workers)]
        self._said_before = len(self.said())
        wanted = {"PUBLIC_BURST": "0", "LOG_LEVEL": "warning", "DATABASE_URL": self.place.url, **self.settings}
        variables = {f"SLACKWATER_{name}": value for name, value in wanted.items()}
        if self.nursery is not None:
            self.process = self.nursery.start(arguments, variables, self.log)
            return
        command = [*self.within, sys.executable, "-m", "server", *arguments]
        with self.log.open("ab") as log:
            environment = {**os.environ, **ALLOCATOR, **variables}
            self.process = subprocess.Popen(command, env=environment, cwd=ROOT, stdout=log, stderr=log)

    def wait_until_served(self) -> None:
        """Wait until it says that it takes connections; raises `RuntimeError` with its log where it does not come up."""
        until = time.monotonic() + START_SECONDS
        while time.monotonic() < until:
            if self.process is None or self.process.poll() is not None:
                break
            if "is served at" in self.said()[self._said_before :]:
                return
            time.sleep(0.02)
        raise RuntimeError(f"the server did not come up:\n{self.said()[-2000:]}")

    def kill(self) -> None:
        """End it as a failing machine would: no handler runs."""
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()
            self.process = None

    def stop(self) -> None:
        """Ask it to end, and make sure that it did."""
        if self.process is None:
            return
        self.process.terminate()
        try:
            self.process.wait(STOP_SECONDS)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self.process = None

    def said(self) -> str:
        """Its log."""
        return self.log.read_text(encoding="utf-8", errors="replace") if self.log.exists() else ""


@contextmanager
def servers(
    place: Place, number: int, *, workers: int = 1, copied_from: Nursery | None = None, **settings: str
) -> Iterator[list[Server]]:
    """Several servers over one database, of so many processes each, ended at the end however it comes; all have the same settings."""
    with tempfile.TemporaryDirectory(prefix="slackwater-log-") as logs, ExitStack() as ending:
        logged = [Path(logs) / f"{n}.log" for n in range(number)]
        made = [Server(place, log, settings, workers=workers, nursery=copied_from) for log in logged]
        for server in made:
            ending.callback(server.stop)
            server.start()
        for server in made:
            server.wait_until_served()
        yield made


@dataclass(frozen=True)
class Ground:
    """A place for a run; under PostgreSQL also the database server, to be stopped and started."""

    name: str
    place: Place
    cluster: Cluster | None = None


@contextmanager
def new_ground(name: str, options: tuple[str, ...] = NOT_DURABLE) -> Iterator[Ground]:
    """An empty place on `sqlite` or `postgres`, gone with all its files at the end."""
    with tempfile.TemporaryDirectory(prefix="slackwater-run-") as folder, ExitStack() as ending:
        if name == "sqlite":
            yield Ground(name, Place(Path(folder)))
            return
        database = ending.enter_context(cluster(options))
        yield Ground(name, Place(Path(folder), database.url(database.create_database())), database)


@contextmanager
def shop_at(place: Place) -> Iterator[Shop]:
    """The shop of a place, opened in this process beside the servers."""
    shop = open_shop(place)
    try:
        yield shop
    finally:
        shop.close()


@contextmanager
def looking(place: Place) -> Iterator[Session]:
    """A session that only looks, past the use cases."""
    engine = engine_for(place)
    try:
        with sessions(engine)(False) as session:
            yield session
    finally:
        engine.dispose()


def count_stock(shop: Shop, pieces: int, **otherwise: int) -> None:
    """Book a count of every part on sale: so many pieces, or what is named for a SKU (with `_` for `-`)."""
    named = {sku.replace("_", "-"): number for sku, number in otherwise.items()}
    with shop.reading() as work:
        skus = [sku for sku, part in work.catalogue.parts.items() if not part.retired]
    for sku in skus:
        with shop.writing("bench") as work:
            book_movement(work, sku, "count", named.get(sku, pieces), "counted for a run")


def shelf_of(shop: Shop, sku: str) -> tuple[int, int, int]:
    """Pieces of a part on hand, held and free."""
    with shop.reading() as work:
        on_hand, held = load_on_hand(work.session).get(sku, 0), load_held(work.session, now_utc()).get(sku, 0)
    return on_hand, held, free(on_hand, held)


def rows_of(session: Session, tables: Iterable[type[SQLModel]]) -> dict[str, int]:
    """How many rows each table has."""
    return {str(t.__tablename__): session.exec(select(func.count()).select_from(t)).one() for t in tables}


@dataclass
class Outcome:
    """What a run did, and what it found that must not be."""

    seed: int = 0
    done: Counter[str] = field(default_factory=Counter)
    statuses: Counter[int] = field(default_factory=Counter)
    violations: list[str] = field(default_factory=list)
    began: float = field(default_factory=time.monotonic)

    def must(self, holds: bool, otherwise: str, *facts: Any) -> None:
        """Count a check; where it does not hold, note what was found."""
        self.done["checks"] += 1
        if not holds:
            self.violations.append(" ".join([otherwise, *map(repr, facts)])[:600])

    def must_be_silent(self, running: Iterable[Server]) -> None:
        """The servers have logged nothing worse than a warning."""
        for server in running:
            wrong = {line[-500:] for line in server.said().splitlines() if '"ERROR"' in line or "Traceback" in line}
            for line in sorted(wrong)[:10] or [""]:
                self.must(not line, "a server logged", line)

    def tell(self, name: str) -> None:
        """Print it in one line, and the violations in a line each."""
        counts = ", ".join(f"{number:,} {word}" for word, number in self.done.items())
        told = "".join(f" {status}: {number:,}" for status, number in sorted(self.statuses.items()))
        seconds = time.monotonic() - self.began
        print(f"{name}: {counts}; statuses{told}; violations {len(self.violations)}; {seconds:.0f} s", flush=True)
        for violation in [*self.violations[:15], *self.violations[15:][-10:]]:
            print(f"  {violation}", flush=True)


def end_with(outcomes: Iterable[Outcome]) -> None:
    """End the command with a failure where anything was violated."""
    if any(outcome.violations for outcome in outcomes):
        raise SystemExit(1)
