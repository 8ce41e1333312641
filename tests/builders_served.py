"""The program as a process of its own: how it is started, asked and stopped."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import httpx

from server.usecases.opening import SEED

ROOT = SEED.parent
PATIENCE_S = 20


def environment(**variables: str) -> dict[str, str]:
    """The variables of this program without its own settings, and those that are given."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SLACKWATER_")}
    return {**kept, **variables}


def free_port() -> int:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return int(listening.getsockname()[1])


@contextmanager
def served(*arguments: str, log: Path | None = None, **variables: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A server as a program of its own, with the first line it prints; it is stopped at the end. Its log goes to a file if wanted."""
    with ExitStack() as ending:
        process = ending.enter_context(
            subprocess.Popen(
                [sys.executable, "-m", "server", *arguments],
                cwd=ROOT,
                env=environment(**variables),
                stdout=subprocess.PIPE,
                stderr=ending.enter_context(log.open("wb")) if log else subprocess.DEVNULL,
                text=True,
            )
        )
        assert process.stdout is not None
        try:
            yield process, process.stdout.readline()
        finally:
            process.terminate()
            process.wait(PATIENCE_S)


def answer_of(address: str) -> httpx.Response:
    """The answer of an address, as soon as there is one."""
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            return httpx.get(address)
        except httpx.ConnectError:
            assert time.monotonic() < until, "nothing listens there"
            time.sleep(0.02)
