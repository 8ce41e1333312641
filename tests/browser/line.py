"""The line between a phone and the shop, which can be cut: nothing comes through it then, whatever the browser believes."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Iterator
from contextlib import contextmanager


class Line:
    """A port on loopback that hands everything on to another one, until it is cut, and again once it is mended."""

    def __init__(self, to_port: int) -> None:
        self.to_port = to_port
        self.port = 0
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
        self._thread.start()
        self._server: asyncio.Server | None = None
        self._open: set[asyncio.StreamWriter] = set()
        self.mend()

    @property
    def address(self) -> str:
        """Where the phone finds the shop."""
        return f"http://127.0.0.1:{self.port}"

    def cut(self) -> None:
        """Nobody is let in any more, and who is in falls out."""
        asyncio.run_coroutine_threadsafe(self._cut(), self._loop).result(10)

    def mend(self) -> None:
        """It is as it was."""
        asyncio.run_coroutine_threadsafe(self._mend(), self._loop).result(10)

    def end(self) -> None:
        """For good."""
        self.cut()
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(10)
        self._loop.close()

    async def _cut(self) -> None:
        if self._server is not None:
            self._server.close()
            self._server = None
        for writer in tuple(self._open):
            writer.transport.abort()
        await asyncio.sleep(0)

    async def _mend(self) -> None:
        self._server = await asyncio.start_server(self._hand_on, "127.0.0.1", self.port, reuse_address=True)
        self.port = self._server.sockets[0].getsockname()[1]

    async def _hand_on(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        there_reader, there = await asyncio.open_connection("127.0.0.1", self.to_port)
        self._open |= {writer, there}
        await asyncio.gather(_copy(reader, there), _copy(there_reader, writer))
        self._open -= {writer, there}


async def _copy(source: asyncio.StreamReader, to: asyncio.StreamWriter) -> None:
    with contextlib.suppress(OSError):
        while piece := await source.read(65536):
            to.write(piece)
            await to.drain()
    with contextlib.suppress(OSError):
        to.close()


@contextmanager
def line_to(port: int) -> Iterator[Line]:
    """A line that is ended when it is left."""
    line = Line(port)
    try:
        yield line
    finally:
        line.end()
