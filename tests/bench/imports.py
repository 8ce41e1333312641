"""Catalogues that are spoilt at random, and how long a season's prices take: a file is read right or its faults are told.

`python -m tests.bench.imports --files 300 --seed 7` is a short run.
"""

from __future__ import annotations

import argparse
import random
import re
import time
from collections.abc import Callable

import httpx

from server.usecases.catalogue import catalogue_files, catalogue_workbook
from server.usecases.imports import ARCHIVE, Choices, export, plan_import
from server.usecases.uploads import open_upload
from server.usecases.work import Shop
from server.web.guard import SESSION_COOKIES
from tests.bench.harness import Outcome, end_with, new_ground, servers, shop_at
from tests.builders_accounts import account_token
from tests.builders_imports import many_parts, prices_of
from tests.builders_odd_files import spoilt, spoilt_inside, spreadsheet_of

PARTS = 2000


def spoil(shop: Shop, files: int, seed: int) -> Outcome:
    """Spoilt files, each looked at as an upload is; nothing is ever changed by looking."""
    outcome, draw = Outcome(seed), random.Random(seed)
    with shop.reading("Orla") as work:
        before = export(work, ARCHIVE)
        tables = {**catalogue_files(work), "list.xlsx": catalogue_workbook(work)}
        for _ in range(files):
            name = draw.choice(sorted(tables))
            how: Callable[[bytes, int], bytes] = (
                spoilt_inside if name == "list.xlsx" and draw.random() < 0.7 else spoilt
            )
            number = draw.randrange(10**9)
            try:
                plan = plan_import(work, open_upload([(name, how(tables[name], number))]), Choices())
            except Exception as error:  # noqa: BLE001  # Whatever it is, it must not be.
                outcome.must(False, "a spoilt file raised", name, number, how.__name__, error)
                continue
            outcome.done["spoilt files"] += 1
            outcome.done["with faults" if plan.faults else "read all the same"] += 1
            told = all(fault.file and fault.message for fault in plan.faults)
            outcome.must(told, "a fault without its place", name, number)
        outcome.must(export(work, ARCHIVE) == before, "looking changed something")
    return outcome


def season(address: str, session: str) -> None:
    """Print how long a workbook of 2,000 new parts and then one of their prices take, looked at, brought in and undone."""
    cookie = "; ".join(f"{name}={session}" for name in SESSION_COOKIES)
    parts = many_parts(PARTS)
    with httpx.Client(base_url=address, headers={"Cookie": cookie}, timeout=120) as client:
        for words, sheets in (("new parts", parts), *[("prices", prices_of(parts, 1 + n / 100)) for n in (2, 3, 4)]):
            began = time.perf_counter()
            shown = client.post("/console/files/preview", files={"files": ("list.xlsx", spreadsheet_of(sheets))}).text
            looked = time.perf_counter()
            carried = dict(re.findall(r'name="(content|shown)" value="([^"]*)"', shown))
            step = client.post("/console/files/apply", data=carried).headers["location"]
            print(f"{PARTS} {words}: looked at {looked - began:.2f} s, brought in {time.perf_counter() - looked:.2f} s")
        began = time.perf_counter()
        client.post(f"{step}/undo")
        print(f"undone {time.perf_counter() - began:.2f} s", flush=True)


def imports(files: int = 3000, seed: int | None = None) -> None:
    """3,000 spoilt files looked at, and the time that 2,000 prices take on a real server."""
    seed = random.SystemRandom().randrange(1_000_000) if seed is None else seed
    with new_ground("sqlite") as ground:
        with shop_at(ground.place) as shop:
            print(f"spoilt files: seed {seed}", flush=True)
            outcome = spoil(shop, files, seed)
            outcome.tell("spoilt files")
            session = account_token(shop, "Orla", "owner")
        with servers(ground.place, 1) as running:
            season(running[0].address, session)
            outcome.must_be_silent(running)
    end_with([outcome])


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=imports.__doc__)
    parser.add_argument("--files", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=None)
    given = parser.parse_args()
    imports(given.files, given.seed)
