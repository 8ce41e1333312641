"""How fast pages are answered, against what the stack can do at best, side by side in one run."""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

import httpx

from server.persistence.engine import Place
from tests.bench.harness import ROOT, count_stock, servers, shop_at
from tests.bench.rush import Ask, Rush, get, post, rush
from tests.bench.shelves import learners
from tests.postgres import free_port

RUNS = 3
SECONDS = 4.0
LEARNERS = 256
PLENTY = 50
STEP_FIELDS = ("mass_kg", "to_feet", "fitness")


@dataclass(frozen=True)
class Wanted:
    """A kind of page: the least share of the bare page's rate, and the most times its slowest percent may take."""

    name: str
    share: float
    most_p99: float | None = None


WANTED = (Wanted("kit page", 0.15, 4.0), Wanted("quote page", 0.5), Wanted("a step's htmx answer", 0.4))


@contextmanager
def bare_server() -> Iterator[int]:
    """The port of the bare page, served by a process of its own."""
    with tempfile.TemporaryDirectory(prefix="slackwater-bare-") as folder:
        port = free_port()
        process = subprocess.Popen([sys.executable, "-m", "tests.bench.bare", folder, str(port)], cwd=ROOT)
        try:
            _wait(port)
            yield port
        finally:
            process.terminate()
            process.wait(20)


def _wait(port: int) -> None:
    until = time.monotonic() + 30
    while time.monotonic() < until:
        try:
            httpx.get(f"http://127.0.0.1:{port}/notes/1", timeout=5).raise_for_status()
        except httpx.TransportError:
            time.sleep(0.1)
        else:
            return
    raise RuntimeError("the bare page did not come up")


def asks(client: httpx.Client) -> dict[str, Ask]:
    """The requests of each kind, for learners that differ from one to the next."""
    drafts, quotes, steps = [], [], []
    for raw in learners(LEARNERS):
        token = client.post("/drafts").headers["location"].split("/")[2]
        for step in ("you", "flying", "riding"):
            client.post(f"/drafts/{token}/{step}", data={**{k: str(v) for k, v in raw.items()}, "go": "next"})
        drafts.append(token)
        steps.append(urlencode({name: raw[name] for name in STEP_FIELDS}))
        answer = client.post("/api/quotes", json={"answers": raw})
        if answer.status_code == 201:
            quotes.append(httpx.URL(answer.json()["url"]).path)
    return {
        "kit page": lambda n: get(f"/drafts/{drafts[n % len(drafts)]}/kit"),
        "quote page": lambda n: get(quotes[n % len(quotes)]),
        "a step's htmx answer": lambda n: post(
            f"/drafts/{drafts[n % len(drafts)]}/you", steps[n % len(steps)], "HX-Request: true"
        ),
    }


def pages() -> None:
    """Kit page, quote page and a step's answer beside a bare FastAPI and Jinja page of 15 KB with one SQLite read: one worker each, 32
    connections, three runs."""
    with tempfile.TemporaryDirectory(prefix="slackwater-pages-") as folder, bare_server() as bare_port:
        place = Place(Path(folder))
        with shop_at(place) as shop:
            count_stock(shop, PLENTY)
        with servers(place, 1) as (server,):
            with httpx.Client(base_url=server.address, timeout=30) as client:
                kinds = asks(client)
            found: dict[str, list[Rush]] = {"bare page": [], **{name: [] for name in kinds}}
            for _ in range(RUNS):
                found["bare page"].append(_only_good(bare_port, lambda n: get(f"/notes/{n}")))
                for name, ask in kinds.items():
                    found[name].append(_only_good(server.port, ask))
    _tell(found)


def _only_good(port: int, ask: Ask) -> Rush:
    rush(port, ask, SECONDS / 4)
    found = rush(port, ask, SECONDS)
    if set(found.statuses) != {200}:
        raise RuntimeError(f"answers other than 200: {dict(found.statuses)}")
    return found


def _tell(found: dict[str, list[Rush]]) -> None:
    """A line a kind: rate and slowest percent, as shares of the bare page of the same run."""
    bare = found["bare page"]
    wanted = {one.name: one for one in WANTED}
    for name, runs in found.items():
        rates = sorted(run.rate for run in runs)
        p99s = [run.percentile_ms(99) for run in runs]
        shares = sorted(run.rate / base.rate for run, base in zip(runs, bare, strict=True))
        slow = [p99 / base.percentile_ms(99) for p99, base in zip(p99s, bare, strict=True)]
        size = runs[0].body_bytes / len(runs[0].seconds) / 1024
        line = (
            f"{name:<22}{_median(rates):>7.0f} a second ({rates[0]:.0f} to {rates[-1]:.0f}), "
            f"median {_median([run.percentile_ms(50) for run in runs]):.0f} ms, p99 {_median(p99s):.0f} ms, {size:.1f} KB"
        )
        if name in wanted:
            want = wanted[name]
            line += f"; {_median(shares):.2f} of the bare page (wanted {want.share}), p99 {_median(slow):.1f} times"
            line += f" (at most {want.most_p99:.0f})" if want.most_p99 else ""
        print(line, flush=True)


_median: Callable[[list[float]], float] = statistics.median

if __name__ == "__main__":
    pages()
