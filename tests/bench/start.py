"""How long a large shop takes from its start to its first page, and how much memory: 10,000 parts and 100,000 quotes.

`python -m tests.bench.start --parts 2000 --quotes 5000` is a smaller shop.
"""

from __future__ import annotations

import argparse
import os
import random
import subprocess
import sys
import time
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

import httpx
from sqlalchemy import insert
from sqlmodel import Session, SQLModel, func, select

from server.domain.codes import CODES, code_of
from server.domain.quotes import Quote
from server.outside.workbook import workbook_of
from server.persistence.engine import Place
from server.persistence.quotes import record_from
from server.persistence.tables import PartRow, QuoteRow, RevisionRow
from server.usecases.quotes import issue_quote
from server.usecases.work import Shop, new_token
from tests.bench.harness import ROOT, Outcome, Server, end_with, new_ground, shop_at
from tests.bench.shelves import learners
from tests.builders_imports import brought_in, many_parts

PARTS, QUOTES, KINDS = 10_000, 100_000, 60
RUNS = 3
MOST_SECONDS = 2.0
PATIENCE_SECONDS = 60
DAYS = 390  # All of them within the days that the policy keeps a quote for.
AT_ONCE = 2_000


def _issued(shop: Shop) -> list[Quote]:
    """Quotes of different learners, put together and kept by the program itself."""
    made = []
    for answers in learners(KINDS):
        with shop.writing() as work:
            made.append(issue_quote(work, answers))
    return made


def _codes(draw: random.Random, taken: set[str]) -> Iterator[str]:
    """Codes that no quote has."""
    while True:
        code = code_of(draw.randrange(CODES))
        if code is not None and code not in taken:
            taken.add(code)
            yield code


def add_quotes(shop: Shop, number: int) -> None:
    """So many quotes, copies of real ones with addresses, codes and days of their own, put in many at once.

    Each portion is committed by itself: one transaction of all would write a log as large as the database.
    """
    originals, draw = _issued(shop), random.Random(5)
    codes = _codes(draw, {quote.code for quote in originals})
    for begin in range(0, number - len(originals), AT_ONCE):
        many = min(AT_ONCE, number - len(originals) - begin)
        made = [_copy(draw, draw.choice(originals), next(codes)) for _ in range(many)]
        with shop.writing("bench") as work:
            _insert(work.session, made)
            work.commit()


def _insert(session: Session, quotes: Iterable[Quote]) -> None:
    """Rows as the program makes them, without asking for each one's number."""
    taken = session.exec(select(func.max(QuoteRow.id))).one() or 0
    rows, revisions = [], []
    for number, quote in enumerate(quotes, taken + 1):
        rows.append(
            {"id": number, "token": quote.token, "code": quote.code, "revision": 1, "started_at": quote.issued_at}
        )
        revisions.append(
            {
                "quote_id": number,
                "revision": 1,
                "issued_at": quote.issued_at,
                "valid_until": quote.valid_until,
                "made_by": "customer",
                "record": record_from(quote),
            }
        )
    session.execute(insert(QuoteRow), rows)
    session.execute(insert(RevisionRow), revisions)


def _copy(draw: random.Random, quote: Quote, code: str) -> Quote:
    ago = timedelta(days=draw.uniform(0, DAYS))
    return replace(
        quote,
        code=code,
        token=new_token(),
        issued_at=quote.issued_at - ago,
        valid_until=quote.valid_until - timedelta(days=ago.days),
    )


def _rows(shop: Shop, table: type[SQLModel]) -> int:
    with shop.reading() as work:
        return work.session.exec(select(func.count()).select_from(table)).one()


def _until(server: Server, path: str, began: float) -> float:
    """Seconds until an address has answered with 200."""
    until = began + PATIENCE_SECONDS
    while time.perf_counter() < until:
        try:
            if httpx.get(server.address + path, timeout=PATIENCE_SECONDS).status_code == 200:
                return time.perf_counter() - began
        except httpx.TransportError:
            time.sleep(0.005)
    raise RuntimeError(f"{path} was not served:\n{server.said()[-2000:]}")


def _memory_mib(server: Server) -> float:
    """What a server has in memory, of what Linux tells of a process (proc(5), VmRSS in KiB)."""
    assert server.process is not None
    status = Path(f"/proc/{server.process.pid}/status").read_text(encoding="ascii", errors="replace")
    return int(status.partition("VmRSS:")[2].split()[0]) / 1024


def _cpu_seconds(server: Server) -> float:
    """Seconds of a core that a server has used (proc(5), fields utime and stime), which others on the machine change little."""
    assert server.process is not None
    fields = Path(f"/proc/{server.process.pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _import_seconds() -> float:
    """Seconds that the imports alone take, as Python tells them (`-X importtime`, microseconds, the outermost last)."""
    command = [sys.executable, "-X", "importtime", "-c", "import gc; gc.disable(); import server.app"]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stderr.strip()
    return int(told.splitlines()[-1].split("|")[1]) / 1_000_000


def measure(place: Place, runs: int) -> Outcome:
    """Start a server so many times, one after the other, and print the medians."""
    outcome, alive, ready, first, worked, memory = Outcome(), [], [], [], [], []
    with TemporaryDirectory(prefix="slackwater-log-") as logs:
        for number in range(runs):
            server = Server(place, Path(logs) / f"{number}.log")
            began = time.perf_counter()
            try:
                server.start()
                alive.append(_until(server, "/healthz", began))
                first.append(_until(server, "/", began))
                worked.append(_cpu_seconds(server))
                ready.append(_until(server, "/readyz", began))
                memory.append(_memory_mib(server))
            finally:
                server.stop()
            outcome.done["starts"] += 1
            outcome.must_be_silent([server])
    for words, seconds in (("alive", alive), ("first page", first), ("ready", ready), ("first page", worked)):
        of = " of a core" if seconds is worked else ""
        print(f"{words} after {median(seconds):.2f} s{of} (runs {min(seconds):.2f} to {max(seconds):.2f} s)")
    imports = median(_import_seconds() for _ in range(runs))
    print(
        f"of which imports, told one by one and so slower, {imports:.2f} s; memory {median(memory):.0f} MiB", flush=True
    )
    outcome.must(median(first) < MOST_SECONDS, "the first page took", median(first))
    return outcome


def start(parts: int = PARTS, quotes: int = QUOTES, runs: int = RUNS) -> None:
    """Seconds from the start of a server over 10,000 parts and 100,000 quotes to its first answers, medians of three."""
    with new_ground("sqlite") as ground:
        with shop_at(ground.place) as shop:
            began = time.perf_counter()
            add_quotes(shop, quotes)
            brought_in(shop, {"list.xlsx": workbook_of(many_parts(parts - _rows(shop, PartRow)))})
            size = ground.place.sqlite_file.stat().st_size / 1024 / 1024
            rows = f"{_rows(shop, PartRow):,} parts and {_rows(shop, QuoteRow):,} quotes"
            print(f"{rows}, {size:.0f} MiB, made in {time.perf_counter() - began:.0f} s", flush=True)
        outcome = measure(ground.place, runs)
        outcome.tell("start")
    end_with([outcome])


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=start.__doc__)
    parser.add_argument("--parts", type=int, default=PARTS)
    parser.add_argument("--quotes", type=int, default=QUOTES)
    parser.add_argument("--runs", type=int, default=RUNS)
    given = parser.parse_args()
    start(given.parts, given.quotes, given.runs)
