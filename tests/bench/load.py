"""Load held: people in a closed loop without thinking time over two server processes, what they wait, and that nothing is lost.

`python -m tests.bench.load --seconds 10 --on sqlite` is a short run.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from sqlmodel import Session, col, func, select

from server.domain.stock import Movement, free
from server.persistence.engine import Place
from server.persistence.stock import load_held, load_on_hand, save_movements
from server.persistence.tables import CounterSaleRow, HoldRow, QuoteRow, RevisionRow, StockRow
from server.security.passwords import Passwords
from server.usecases.work import Shop, now_utc
from server.web.signed import cookie_name
from tests.bench.harness import ROOT, Outcome, Server, end_with, looking, new_ground, servers, shop_at
from tests.bench.people import SOLD, Browser, Person, Tally
from tests.builders_accounts import WORDS, account_token
from tests.postgres import free_port

PLENTY = 100_000
AT_THE_DESK, COMING_IN = "Maeve", "Nuala"
"""Two, since of more than ten sessions of one account the oldest ends."""
KNOCKS = 3
WARM_UP = 1 / 3
"""Of the run: until then a server still reads templates, fills its pools and makes its threads."""
MOST_GROWTH, MOST_GROWTH_BYTES = 0.05, 8 * 1024 * 1024
LONG_ENOUGH_SECONDS = 30
MOST_BYTES_EACH = 400 * 1024 * 1024
PAGE_BYTES = os.sysconf("SC_PAGE_SIZE")
TICKS = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Shape:
    """How a shop is served: on which database, by how many servers of how many processes each."""

    name: str
    ground: str
    servers: int
    workers: int = 1


SHAPES = (
    Shape("SQLite, one process", "sqlite", 1),
    Shape("SQLite, one server of two processes", "sqlite", 1, 2),
    Shape("PostgreSQL, one process", "postgres", 1),
    Shape("PostgreSQL, two servers", "postgres", 2),
)


@dataclass
class Loaded(Outcome):
    """An outcome with what people waited and what the servers used."""

    waited: dict[str, list[float]] = field(default_factory=dict)
    seconds: float = 0.0
    cpu_seconds: float = 0.0
    bytes_warm: int = 0
    bytes_end: int = 0
    processes: int = 0

    @property
    def requests(self) -> int:
        """How many were answered."""
        return sum(map(len, self.waited.values()))

    def tell(self, name: str) -> None:
        """The rate and memory in a line, then each kind of request."""
        super().tell(name)
        rate, of_cpu = self.requests / self.seconds, self.requests / self.cpu_seconds
        memory = f"{self.bytes_warm / 1e6:.0f} MB warm, {self.bytes_end / 1e6:.0f} MB at the end"
        print(
            f"  {rate:.0f} requests/s, {of_cpu:.0f} for each second of the servers' processor; {memory}, {self.processes} processes"
        )
        everything = [seconds for waits in self.waited.values() for seconds in waits]
        for kind, waits in [*sorted(self.waited.items()), ("all", everything)]:
            middle, most, nearly_all = (1000 * share for share in quantiles(waits))
            print(f"  {kind:<18} {len(waits):>7,}  median {middle:6.1f}  p95 {most:6.1f}  p99 {nearly_all:6.1f} ms")


def quantiles(waits: Sequence[float]) -> tuple[float, float, float]:
    """Median, 95th and 99th of a hundred."""
    if len(waits) < 2:
        return (waits[0],) * 3 if waits else (0.0,) * 3
    cut = statistics.quantiles(waits, n=100, method="inclusive")
    return cut[49], cut[94], cut[98]


def family(pid: int) -> Iterator[int]:
    """A process and all that it started."""
    yield pid
    for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
        yield from family(int(child))


def used(running: Sequence[Server]) -> tuple[float, int, int]:
    """Seconds of processor and bytes of memory of servers, and how many processes they are."""
    seconds, kept = 0.0, 0
    pids = [pid for server in running if server.process for pid in family(server.process.pid)]
    for pid in pids:
        times = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        seconds += (int(times[11]) + int(times[12])) / TICKS
        kept += int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * PAGE_BYTES
    return seconds, kept, len(pids)


@contextmanager
def proxied(running: Sequence[Server]) -> Iterator[int]:
    """A proxy before servers as a process of its own; its port."""
    port = free_port()
    to = [part for server in running for part in ("--to", f"{server.host}:{server.port}")]
    command = [sys.executable, "-m", "tests.bench.proxy", "--at", f"127.0.0.1:{port}", *to]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE) as proxy:
        assert proxy.stdout is not None
        try:
            proxy.stdout.readline()
            yield port
        finally:
            proxy.terminate()


async def _wait_for_all(port: int, processes: int) -> None:
    """Ask so often at once that every process has answered, the last to come up too, before anything is measured."""

    async def knock() -> None:
        browser = Browser("127.0.0.1", port, Tally())
        await browser.get("first page", "/", "Start with you")
        browser.close()

    for _ in range(KNOCKS):
        await asyncio.gather(*(knock() for _ in range(4 * processes)))


async def _run(
    port: int,
    people: int,
    seconds: float,
    tally: Tally,
    session: tuple[str, str],
    outcome: Loaded,
    running: Sequence[Server],
) -> None:
    await _wait_for_all(port, sum(server.workers for server in running))
    began = time.monotonic()
    until = began + seconds
    everybody = [Person(n, "127.0.0.1", port, tally, (COMING_IN, WORDS), session) for n in range(people)]
    before = used(running)[0]

    async def look_at_memory() -> None:
        await asyncio.sleep(seconds * WARM_UP)
        outcome.bytes_warm = used(running)[1]

    async with asyncio.TaskGroup() as going:
        going.create_task(look_at_memory())
        for person in everybody:
            going.create_task(person.go_on(until))
    outcome.seconds = time.monotonic() - began
    after, outcome.bytes_end, outcome.processes = used(running)
    outcome.cpu_seconds = after - before


def load(place: Place, seconds: float, people: int, *, number: int = 2, workers: int = 1) -> Loaded:
    """People at a place served by so many servers, of so many processes each, behind a proxy; and the books afterwards."""
    outcome, tally = Loaded(), Tally()
    with ExitStack() as ending:
        shop = ending.enter_context(shop_at(place))
        stocked = _stocked(shop)
        session = (cookie_name(is_secure=False), account_token(shop, AT_THE_DESK, "staff", Passwords()))
        account_token(shop, COMING_IN, "staff", Passwords())
        running = ending.enter_context(servers(place, number, workers=workers))
        port = ending.enter_context(proxied(running))
        asyncio.run(_run(port, people, seconds, tally, session, outcome, running))
        outcome.must_be_silent(running)
        _check_books(place, tally, outcome, stocked)
    outcome.statuses, outcome.waited = tally.statuses, tally.waited
    outcome.done["requests"] = outcome.requests
    outcome.violations += tally.wrong[:20]
    outcome.must(max(outcome.statuses) < 500, "a server answered", max(outcome.statuses))
    _check_memory(outcome)
    return outcome


def _check_memory(outcome: Loaded) -> None:
    """Once warm, memory grows by a twentieth or 8 MB a process at most; a run that is too short to be warm has a bound alone."""
    each = outcome.bytes_end / max(1, outcome.processes)
    outcome.must(each < MOST_BYTES_EACH, "bytes of memory each process has", each)
    if outcome.seconds >= LONG_ENOUGH_SECONDS:
        allowed = max(MOST_GROWTH * outcome.bytes_warm, MOST_GROWTH_BYTES * outcome.processes)
        growth = outcome.bytes_end - outcome.bytes_warm
        outcome.must(growth <= allowed, "bytes of memory grew by, and might have by", growth, allowed)


def _stocked(shop: Shop) -> int:
    """Put plenty of every part on the shelf, all at once; the pieces on hand of what is sold over the counter."""
    with shop.writing("bench") as work:
        plenty = [Movement(sku, "delivery", PLENTY) for sku in work.catalogue.parts]
        save_movements(work.session, plenty, work.now, work.actor)
        work.commit()
        return load_on_hand(work.session)[SOLD]


def _check_books(place: Place, tally: Tally, outcome: Outcome, stocked: int) -> None:
    """All that was answered is there, nothing is there twice, and stock, holds and sales agree."""
    must = outcome.must
    with looking(place) as session:
        tokens = session.exec(select(QuoteRow.token)).all()
        must(
            len(tally.quotes) == len(set(tally.quotes)) == len(tokens),
            "quotes answered and there are",
            len(tally.quotes),
            len(tokens),
        )
        must(set(tally.quotes) == set(tokens), "an answered quote is not there")
        must(
            _number(session, RevisionRow) == len(tokens), "a quote has not one revision", _number(session, RevisionRow)
        )
        must(_number(session, CounterSaleRow) == tally.sold, "sales answered and there are", tally.sold)
        now = now_utc()
        is_open = (col(HoldRow.ended_at).is_(None), col(HoldRow.expires_at) > now)
        held = session.exec(
            select(QuoteRow.token).join(HoldRow, col(HoldRow.quote_id) == col(QuoteRow.id)).where(*is_open)
        )
        must(set(held) == tally.held, "what is held is not what was answered")
        on_hand, aside = load_on_hand(session), load_held(session, now)
        pieces = session.exec(select(func.sum(StockRow.held))).one()
        must(
            pieces == sum(aside.values()), "pieces set aside by entries and by open holds", pieces, sum(aside.values())
        )
        must(on_hand[SOLD] == stocked - tally.sold, "pieces on hand of what was sold", on_hand[SOLD])
        must(
            all(free(on_hand.get(sku, 0), number) >= 0 for sku, number in aside.items()),
            "more is set aside than there is",
        )


def _number(session: Session, table: type[RevisionRow | CounterSaleRow]) -> int:
    return session.exec(select(func.count()).select_from(table)).one()


def loads(seconds: float = 60, people: int = 8, grounds: Sequence[str] = ("sqlite", "postgres")) -> None:
    """A shop under load for 60 s in each shape: one process and several, SQLite and PostgreSQL, behind a proxy on the same cores."""
    outcomes = []
    for shape in SHAPES:
        if shape.ground in grounds:
            with new_ground(shape.ground) as ground:
                outcomes.append(load(ground.place, seconds, people, number=shape.servers, workers=shape.workers))
            outcomes[-1].tell(f"load on {shape.name}")
    end_with(outcomes)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=loads.__doc__)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--people", type=int, default=8)
    parser.add_argument("--on", nargs="+", default=["sqlite", "postgres"], choices=["sqlite", "postgres"])
    given = parser.parse_args()
    loads(given.seconds, given.people, given.on)
