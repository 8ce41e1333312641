"""A small proxy that hands requests in turn to several servers, for the tests: `python -m tests.bench.proxy --at … --to …`.

It overwrites what clients say of themselves (`X-Forwarded-…`), and gives a request to the next server where one cannot be reached. One
that broke off in the middle it sends again only if it is safe (RFC 9110, 9.2.2); for another the answer is 502, and the client decides.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
from collections import defaultdict
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field

import httptools

CONNECT_SECONDS, ANSWER_SECONDS = 2.0, 60.0
MOST_AT_ONCE = 1 << 16
SAFE = (b"GET", b"HEAD", b"OPTIONS")
OF_ONE_LINE = {b"connection", b"keep-alive", b"te", b"trailer", b"transfer-encoding", b"upgrade", b"content-length"}
"""What holds for one connection alone (RFC 9110, 7.6.1), and the length, which is told anew."""
SAID_BY_PROXIES = {b"forwarded", b"x-forwarded-for", b"x-forwarded-proto", b"x-forwarded-host", b"x-served-by"}
NOBODY_ANSWERS = b"HTTP/1.1 502 Bad Gateway\r\ncontent-length: 0\r\n\r\n"

Parser = httptools.HttpRequestParser | httptools.HttpResponseParser
Line = tuple[asyncio.StreamReader, asyncio.StreamWriter]


@dataclass
class Heard:
    """A message as it comes: its headers and its body, with chunks put together."""

    is_for_head: bool = False
    url: bytes = b""
    headers: list[tuple[bytes, bytes]] = field(default_factory=list)
    body: bytearray = field(default_factory=bytearray)
    is_whole: bool = False

    def on_url(self, url: bytes) -> None:
        """A piece of the address."""
        self.url += url

    def on_header(self, name: bytes, value: bytes) -> None:
        """A header field."""
        self.headers.append((name, value))

    def on_headers_complete(self) -> None:
        """An answer to HEAD ends here, whatever length it tells."""
        self.is_whole = self.is_for_head

    def on_body(self, data: bytes) -> None:
        """A piece of the body."""
        self.body += data

    def on_message_complete(self) -> None:
        """All of it has come."""
        self.is_whole = True

    def kept(self, *dropped: bytes) -> list[tuple[bytes, bytes]]:
        """The headers that are handed on."""
        return [(n, v) for n, v in self.headers if n.lower() not in OF_ONE_LINE and n.lower() not in dropped]


async def _hear(reader: asyncio.StreamReader, parser: Parser, heard: Heard) -> bool:
    """Read a message to its end; False where the other side went away before its first sign."""
    is_begun = False
    while not heard.is_whole:
        data = await reader.read(MOST_AT_ONCE)
        if not data:
            if is_begun:
                raise ConnectionResetError
            return False
        is_begun = True
        parser.feed_data(data)
    return True


def _message(first: bytes, headers: Sequence[tuple[bytes, bytes]], body: bytes, length: bytes | None = None) -> bytes:
    told = [*headers, (b"content-length", length or str(len(body)).encode())]
    return b"\r\n".join([first, *(name + b": " + value for name, value in told), b"", body])


class Proxy:
    """Hands requests in turn to servers, each an address and a port."""

    def __init__(
        self, servers: Sequence[tuple[str, int]], *, comes_from: str = "", known_as: str = "127.0.0.1"
    ) -> None:
        self.servers = servers
        self.comes_from = (comes_from, 0) if comes_from else None
        self.known_as = known_as
        self.turn = 0
        self.idle: dict[tuple[str, int], list[Line]] = defaultdict(list)

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One client's connection, a request after the other."""
        peer = writer.get_extra_info("peername")
        client = peer[0] if isinstance(peer, tuple) and peer else self.known_as
        with suppress(ConnectionError, httptools.HttpParserError, asyncio.CancelledError):
            while True:
                heard = Heard()
                parser = httptools.HttpRequestParser(heard)
                if not await _hear(reader, parser, heard):
                    break
                writer.write(await self.answer(parser.get_method(), heard, client.encode()))
                await writer.drain()
        writer.close()

    async def answer(self, method: bytes, asked: Heard, client: bytes) -> bytes:
        """What a server says to a request; each is asked once at most."""
        headers = [*asked.kept(*SAID_BY_PROXIES), (b"x-forwarded-for", client), (b"x-forwarded-proto", b"http")]
        request = _message(method + b" " + asked.url + b" HTTP/1.1", headers, bytes(asked.body))
        is_safe = method in SAFE
        for _ in self.servers:
            server = self.servers[self.turn % len(self.servers)]
            self.turn += 1
            try:
                line = await self._line(server, is_safe=is_safe)
            except (OSError, TimeoutError):
                continue
            try:
                async with asyncio.timeout(ANSWER_SECONDS):
                    return await self._ask(server, line, request, is_head=method == b"HEAD")
            except (OSError, TimeoutError, httptools.HttpParserError):
                line[1].close()
                if not is_safe:
                    break
        return NOBODY_ANSWERS

    async def _line(self, server: tuple[str, int], *, is_safe: bool) -> Line:
        """A connection: one that was used before only for a request that may be sent again, since the server may be closing it now."""
        while is_safe and self.idle[server]:
            line = self.idle[server].pop()
            if not line[0].at_eof() and not line[1].is_closing():
                return line
            line[1].close()
        async with asyncio.timeout(CONNECT_SECONDS):
            return await asyncio.open_connection(*server, local_addr=self.comes_from)

    async def _ask(self, server: tuple[str, int], line: Line, request: bytes, *, is_head: bool) -> bytes:
        heard = Heard(is_for_head=is_head)
        parser = httptools.HttpResponseParser(heard)
        line[1].write(request)
        await line[1].drain()
        if not await _hear(line[0], parser, heard):
            raise ConnectionResetError
        if parser.should_keep_alive() and not is_head:
            self.idle[server].append(line)
        else:
            line[1].close()
        status = parser.get_status_code()
        length = next((v for n, v in heard.headers if n.lower() == b"content-length"), None) if is_head else None
        headers = [*heard.kept(), (b"x-served-by", server[0].encode())]
        return _message(b"HTTP/1.1 %d -" % status, headers, bytes(heard.body), length)


async def _run(at: str, proxy: Proxy) -> None:
    if at.startswith("/"):
        listening = await asyncio.start_unix_server(proxy.serve, at)
    else:
        host, _, port = at.rpartition(":")
        listening = await asyncio.start_server(proxy.serve, host, int(port))
    gc.freeze()
    print("The proxy is up", flush=True)
    async with listening:
        await listening.serve_forever()


def main() -> None:
    """Serve until stopped."""
    grammar = argparse.ArgumentParser(description=__doc__)
    grammar.add_argument("--at", required=True, help="host:port, or the path of a socket")
    grammar.add_argument("--to", required=True, action="append", help="host:port of a server, more than once")
    grammar.add_argument("--comes-from", default="", help="the address that the servers see")
    grammar.add_argument("--known-as", default="127.0.0.1", help="what clients of a socket are called")
    given = grammar.parse_args()
    servers = [(host, int(port)) for host, _, port in (to.rpartition(":") for to in given.to)]
    with suppress(KeyboardInterrupt):
        asyncio.run(_run(given.at, Proxy(servers, comes_from=given.comes_from, known_as=given.known_as)))


if __name__ == "__main__":
    main()
