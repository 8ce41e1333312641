"""Many connections that ask one after another without a pause, and how long each answer took: a client that costs little."""

from __future__ import annotations

import asyncio
import math
import statistics
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import count

CONNECTIONS = 32
Ask = Callable[[int], bytes]
"""The request of a running number, as bytes."""


@dataclass
class Rush:
    """What came back: how many answers of each status, bytes of bodies, the seconds each took, and the time of all."""

    statuses: Counter[int] = field(default_factory=Counter)
    body_bytes: int = 0
    seconds: list[float] = field(default_factory=list)
    lasted: float = 0.0

    @property
    def rate(self) -> float:
        """Answers a second."""
        return len(self.seconds) / self.lasted

    def percentile_ms(self, percent: int) -> float:
        """Milliseconds within which so many of a hundred answers came."""
        return 1000 * statistics.quantiles(self.seconds, n=100)[percent - 1]


def get(path: str, *headers: str) -> bytes:
    """A GET as bytes."""
    return _said("GET", path, headers) + b"\r\n"


def post(path: str, body: str, *headers: str) -> bytes:
    """A form sent, as bytes."""
    typed = body.encode()
    fields = ("Content-Type: application/x-www-form-urlencoded", f"Content-Length: {len(typed)}", *headers)
    return _said("POST", path, fields) + b"\r\n" + typed


def _said(method: str, path: str, headers: tuple[str, ...]) -> bytes:
    lines = (f"{method} {path} HTTP/1.1", "Host: 127.0.0.1", "Accept-Encoding: gzip", *headers)
    return "".join(f"{line}\r\n" for line in lines).encode()


def rush(port: int, ask: Ask, seconds: float, connections: int = CONNECTIONS, most: float = math.inf) -> Rush:
    """Ask for so long, or until so many were asked, over so many connections to a port of loopback."""
    return asyncio.run(_rush(port, ask, seconds, connections, most))


async def _rush(port: int, ask: Ask, seconds: float, connections: int, most: float) -> Rush:
    found, numbers = Rush(), count()
    began = time.perf_counter()
    until = began + seconds

    async def one() -> None:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        try:
            while (asked := time.perf_counter()) < until and (number := next(numbers)) < most:
                writer.write(ask(number))
                status, length = _head(await reader.readuntil(b"\r\n\r\n"))
                await reader.readexactly(length)
                found.seconds.append(time.perf_counter() - asked)
                found.statuses[status] += 1
                found.body_bytes += length
        finally:
            writer.close()

    await asyncio.gather(*(one() for _ in range(connections)))
    found.lasted = time.perf_counter() - began
    return found


def _head(head: bytes) -> tuple[int, int]:
    """Status and length of the body; raises `ValueError` where the head tells no length."""
    lines = head.lower().split(b"\r\n")
    for line in lines:
        if line.startswith(b"content-length:"):
            return int(lines[0].split()[1]), int(line.partition(b":")[2])
    raise ValueError(f"no length: {head[:200]!r}")
