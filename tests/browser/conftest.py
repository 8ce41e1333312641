"""A real server on loopback and a real browser; where the browser is not installed the tests say so, and under CI they fail."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from server.persistence.engine import Place, engine_for, sessions, sqlite_file
from server.usecases.work import Shop
from tests.browser.chromium import CHROMIUM, QUIET
from tests.builders_seen import Seen, World
from tests.builders_states import STATES


@pytest.fixture(scope="session")
def browsed(seeded: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data folder of the server's own."""
    data = tmp_path_factory.mktemp("browsed")
    shutil.copyfile(sqlite_file(seeded), sqlite_file(data))
    return data


@contextmanager
def serving(data: Path) -> Iterator[str]:
    """A server process over a data folder; its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "server", "--data", str(data), "--port", str(port)]
    environment = {**os.environ, "SLACKWATER_PUBLIC_BURST": "0", "SLACKWATER_LOG_LEVEL": "warning"}
    server = subprocess.Popen(command, env=environment, cwd=Path(__file__).parents[2])
    base = f"http://127.0.0.1:{port}"
    for _ in range(100):
        try:
            httpx.get(base)
            break
        except httpx.TransportError:
            time.sleep(0.1)
    yield base
    server.terminate()
    server.wait(10)


@pytest.fixture(scope="session")
def address(browsed: Path) -> Iterator[str]:
    """A server of the tests' own."""
    with serving(browsed) as base:
        yield base


@pytest.fixture(scope="package")
def elsewhere(address: str, browsed: Path) -> Iterator[str]:
    """A second server process over the first one's data folder; the first has made the database."""
    with serving(browsed) as base:
        yield base


@pytest.fixture(scope="session")
def world(address: str, browsed: Path) -> Iterator[World]:
    """The server's front door, and the shop behind it over the same database."""
    engine = engine_for(Place(browsed))
    # No connection is kept: the server closes one that is idle, just when it may be used again.
    alone = httpx.Limits(max_keepalive_connections=0)
    with httpx.Client(base_url=address, limits=alone) as client:
        yield World.of(client, Shop(sessions(engine)))
    engine.dispose()


@pytest.fixture(autouse=True)
def full_shelves(world: World) -> None:
    """No test is to find shelves that others have emptied."""
    world.fill()


@pytest.fixture(scope="session")
def seen(world: World) -> Callable[[str], Seen]:
    """Where a page stands in a state; each state is made once."""
    return cache(lambda state: STATES[state](world.fill()))


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """Debian's Chromium; closed before other tests run, since its driver keeps an event loop in this thread."""
    if not Path(CHROMIUM).exists():
        words = f"no {CHROMIUM}: apt-get install chromium"
        if os.environ.get("CI") == "true":
            pytest.fail(words)
        pytest.skip(words)
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def context(browser: Browser) -> Iterator[BrowserContext]:
    """One context for all tests of a file, on a desk; without a worker, which would answer in place of what a test sends."""
    made = browser.new_context(viewport={"width": 1280, "height": 900}, service_workers="block")
    yield made
    made.close()


@pytest.fixture(params=[(360, 740), (1280, 900)], ids=["phone", "desk"])
def page(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A page on a phone and on a desk; at the end its console must not have warned of anything."""
    width, height = request.param
    context = browser.new_context(viewport={"width": width, "height": height})
    opened = context.new_page()
    said: list[str] = []
    opened.on("console", lambda message: said.append(message.text) if message.type in ("warning", "error") else None)
    opened.on("pageerror", lambda error: said.append(str(error)))
    yield opened
    context.close()
    assert said == []
