"""How much memory a server takes with 20,000 parts: at rest, at its peak, and whether that grows over 200,000 requests.

Resident memory (proc(5), VmRSS and VmHWM) of one process, what it shares with others counted whole, in MB of 10^6 bytes.
`python -m tests.bench.memory --parts 2000 --requests 4000` is a short run.
"""

from __future__ import annotations

import argparse
import random
import statistics
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

import httpx
from sqlmodel import select

from server.outside.workbook import workbook_of
from server.persistence.engine import Place
from server.persistence.tables import PartRow, QuoteRow
from server.security.passwords import Passwords
from server.usecases.imports import Choices
from server.web.signed import cookie_name
from tests.bench.harness import Outcome, Server, end_with, looking, new_ground, rows_of, servers, shop_at
from tests.bench.pages import asks
from tests.bench.rush import Ask, get, post, rush
from tests.bench.shelves import drawn_parts
from tests.bench.start import add_quotes
from tests.builders_accounts import WORDS, account_token
from tests.builders_imports import brought_in

PARTS, QUOTES, REQUESTS = 20_000, 1_000, 200_000
MB = 1_000_000
MOST_AT_REST, MOST_AT_PEAK, MOST_GROWTH = 200.0, 320.0, 5.0
"""MB; the growth is that of the second half, by the line that fits it best."""
REST_SECONDS = 8
"""By then the first sweep is over."""
PEAK_SECONDS, AT_ONCE = 10.0, 16
PORTIONS = 50
PATIENCE_SECONDS = 3600.0
STAFF, OWNER = "Maeve", "Orla"
COMING_IN = ("Nuala", "Sive", "Dara", "Fiadh", "Oisin", "Blaithin", "Cormac", "Eithne")
"""They sign in over and over; several, since a sign-in that is not over counts as one that failed, and five of one account wait."""
CONSOLE = (
    "/console",
    "/console/catalogue",
    "/console/numbers",
    "/console/orders",
    "/console/steps",
    "/console/policy",
    "/console/files",
    "/console/record",
    "/desk",
)
LISTS = ("/console/files/export", "/console/orders/list.xlsx", "/console/orders/list.csv")
MIXTURE = {
    "first page": 480,
    "quote page": 280,
    "a step's htmx answer": 150,
    "look-up": 60,
    "kit page": 25,
    "paper": 3,
    "sign-in": 2,
}
"""Of a thousand requests."""
Asks = Mapping[str, Ask]


@dataclass(frozen=True)
class Phase:
    """What is asked for a while: kinds by 16 connections in turn, and meanwhile kinds by one connection, as the owner's are."""

    name: str
    by_many: tuple[str, ...] = ()
    by_one: tuple[str, ...] = ()


PHASES = (
    Phase("papers and sign-ins", ("paper", "sign-in")),
    Phase("kit pages", ("kit page",)),
    Phase("papers, sign-ins, kit pages and the owner's console", ("paper", "sign-in", "kit page"), ("console",)),
    Phase("the owner's lists and workbooks", by_one=("lists",)),
)


def told_mb(server: Server, what: str) -> float:
    """MB that Linux tells of a server's process under a name."""
    assert server.process is not None
    status = Path(f"/proc/{server.process.pid}/status").read_text(encoding="ascii", errors="replace")
    return int(status.partition(f"{what}:")[2].split()[0]) * 1024 / MB


def resident_mb(server: Server) -> float:
    """MB that a server has in memory."""
    return told_mb(server, "VmRSS")


def large_shop(place: Place, parts: int, quotes: int) -> None:
    """A shop of so many parts, in stock as the seed catalogue's are, and so many quotes."""
    with shop_at(place) as shop:
        add_quotes(shop, quotes)
        with shop.reading() as work:
            missing = parts - rows_of(work.session, [PartRow])[str(PartRow.__tablename__)]
        if missing > 0:
            brought_in(shop, {"list.xlsx": workbook_of(drawn_parts(missing))}, Choices(books_counts=True))


def session_of(place: Place, name: str) -> str:
    """The header of a session of the owner, or of somebody of the staff, whose password costs what it does in a shop."""
    with shop_at(place) as shop:
        token = account_token(shop, name, "owner" if name == OWNER else "staff", Passwords())
    return f"Cookie: {cookie_name(is_secure=False)}={token}"


def all_asks(place: Place, server: Server) -> Asks:
    """The requests of each kind."""
    owner, staff = session_of(place, OWNER), session_of(place, STAFF)
    for name in COMING_IN:
        session_of(place, name)
    with httpx.Client(base_url=server.address, timeout=PATIENCE_SECONDS) as client:
        kinds = asks(client)
    with looking(place) as session:
        kept = session.exec(select(QuoteRow.token, QuoteRow.code)).all()
    typed = [urlencode({"name": name, "password": WORDS, "back": ""}) for name in COMING_IN]
    return kinds | {
        "first page": lambda n: get("/"),
        "look-up": lambda n: post("/desk/find", urlencode({"q": kept[n // 4 % len(kept)][1]}), staff),
        "paper": lambda n: get(f"/quotes/{kept[n // 4 % len(kept)][0]}/pdf"),
        "sign-in": lambda n: post("/sign-in", typed[n // 4 % len(typed)]),
        "console": lambda n: get(CONSOLE[n // 4 % len(CONSOLE)], owner),
        "lists": lambda n: get(LISTS[n % len(LISTS)], owner),
    }


def at_rest(server: Server, outcome: Outcome) -> None:
    """After the first pages of 64 learners, with their steps and quotes, and the first sweep."""
    time.sleep(REST_SECONDS)
    found = resident_mb(server)
    print(f"at rest, after the first learners, {found:.0f} MB (wanted at most {MOST_AT_REST:.0f})", flush=True)
    outcome.must(found <= MOST_AT_REST, "MB at rest", round(found))


def at_peak(server: Server, kinds: Asks, outcome: Outcome) -> None:
    """What every phase takes at most."""
    for phase in PHASES:
        found = _most_in(phase, server, kinds, outcome)
        print(f"at the peak of {phase.name} {found:.0f} MB (wanted at most {MOST_AT_PEAK:.0f})", flush=True)
        outcome.must(found <= MOST_AT_PEAK, "MB at the peak of", phase.name, round(found))
    print(f"afterwards {resident_mb(server):.0f} MB", flush=True)


def _most_in(phase: Phase, server: Server, kinds: Asks, outcome: Outcome) -> float:
    """The most MB that a server has in memory meanwhile (proc(5): 5 in clear_refs begins anew)."""
    assert server.process is not None
    Path(f"/proc/{server.process.pid}/clear_refs").write_text("5", encoding="ascii")
    groups = [(names, connections) for names, connections in ((phase.by_many, AT_ONCE), (phase.by_one, 1)) if names]
    with ThreadPoolExecutor() as asking:
        going = [
            asking.submit(_ask, server, outcome, [kinds[name] for name in names], PEAK_SECONDS, connections=connections)
            for names, connections in groups
        ]
    for done in going:
        done.result()
    return told_mb(server, "VmHWM")


def _ask(
    server: Server,
    outcome: Outcome,
    turns: Sequence[Ask],
    seconds: float,
    most: float = float("inf"),
    connections: int = AT_ONCE,
) -> None:
    """Ask in turn for so long, or so often, and count what was answered; each must be a page, or lead to one."""
    found = rush(server.port, lambda n: turns[n % len(turns)](n), seconds, connections, most)
    outcome.statuses.update(found.statuses)
    outcome.done["requests"] += len(found.seconds)


def flat(server: Server, kinds: Asks, requests: int, outcome: Outcome) -> None:
    """The memory after each portion of many requests of a mixture; it must not grow over their second half."""
    turns = [kinds[kind] for kind, share in MIXTURE.items() for _ in range(share)]
    random.Random(11).shuffle(turns)
    each = max(1, requests // PORTIONS)
    found = []
    for number in range(PORTIONS):
        begin = number * each % len(turns)
        _ask(server, outcome, turns[begin:] + turns[:begin], PATIENCE_SECONDS, each)
        found.append(resident_mb(server))
    second_half = found[PORTIONS // 2 :]
    line = statistics.linear_regression(range(len(second_half)), second_half)
    growth = line.slope * (len(second_half) - 1)
    tenths = ", ".join(f"{mb:.0f}" for mb in found[PORTIONS // 10 - 1 :: PORTIONS // 10])
    print(
        f"over {requests:,} requests at every tenth: {tenths} MB; over the second half it grows by {growth:.1f} MB "
        f"(wanted less than {MOST_GROWTH:.0f})",
        flush=True,
    )
    outcome.must(growth < MOST_GROWTH, "MB grown over the second half", round(growth, 1))


def measure(place: Place, requests: int) -> Outcome:
    """One server of a shop, asked for everything."""
    outcome = Outcome()
    with servers(place, 1) as (server,):
        print(f"served at {resident_mb(server):.0f} MB", flush=True)
        kinds = all_asks(place, server)
        at_rest(server, outcome)
        at_peak(server, kinds, outcome)
        flat(server, kinds, requests, outcome)
        outcome.must_be_silent([server])
    wrong = {status: number for status, number in outcome.statuses.items() if status not in (200, 303)}
    outcome.must(not wrong, "answers other than pages and the way to them", wrong)
    return outcome


def memory(parts: int = PARTS, quotes: int = QUOTES, requests: int = REQUESTS) -> None:
    """Memory of one server of 20,000 parts: at rest, at the peak of papers, sign-ins and pages, and over 200,000 requests."""
    with new_ground("sqlite") as ground:
        large_shop(ground.place, parts, quotes)
        outcome = measure(ground.place, requests)
        outcome.tell("memory")
    end_with([outcome])


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=memory.__doc__)
    parser.add_argument("--parts", type=int, default=PARTS)
    parser.add_argument("--quotes", type=int, default=QUOTES)
    parser.add_argument("--requests", type=int, default=REQUESTS)
    given = parser.parse_args()
    memory(given.parts, given.quotes, given.requests)
