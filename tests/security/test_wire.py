"""The real server over the wire: where a request ends is never in doubt (RFC 9112), and nothing but HTTP is spoken."""

from __future__ import annotations

import asyncio
import re
import socket
from collections.abc import Iterator
from threading import Thread

import pytest
import uvicorn
from fastapi import FastAPI
from starlette.types import Message, Receive, Scope, Send

from server.app import configured
from server.settings import Settings
from tests.builders_http import ADDRESS

HEAD = b"POST /api/fit HTTP/1.1\r\nHost: shop.example\r\n"
CHUNKED = HEAD + b"Transfer-Encoding: chunked\r\n\r\n"
HIDDEN = b"GET /healthz HTTP/1.1\r\nHost: shop.example\r\nConnection: close\r\n\r\n"
"""A second request, which a server would answer that sees the first one end too early."""


PROXY, STRANGER = ("192.0.2.1", 1), ("198.51.100.9", 1)
FORWARDED = [(b"x-forwarded-for", b"203.0.113.5"), (b"x-forwarded-proto", b"https")]


class Quiet(uvicorn.Server):
    """The server with the configuration of `python -m server`, in a thread that handles no signals."""

    def run_in(self, listening: socket.socket) -> None:
        asyncio.run(self._serve(sockets=[listening]))


@pytest.fixture(scope="module")
def port(built: FastAPI) -> Iterator[int]:
    """Where the server listens. The application's sweeping and sending are no part of this."""
    config = configured(Settings(base_address=ADDRESS, public_burst=0), built)
    config.lifespan = "off"
    with socket.create_server(("127.0.0.1", 0)) as listening:
        server = Quiet(config)
        serving = Thread(target=server.run_in, args=(listening,))
        serving.start()
        yield int(listening.getsockname()[1])
        server.should_exit = True
        serving.join()


def answered(port: int, sent: bytes) -> list[bytes]:
    """The status lines of all that comes back until the server closes the line."""
    with socket.create_connection(("127.0.0.1", port), timeout=2) as line:
        line.sendall(sent)
        said = b"".join(iter(lambda: line.recv(65536), b""))
    return re.findall(rb"HTTP/1\.1 \d{3} [A-Za-z ]+", said)


REFUSED = {
    "a length and chunks": HEAD + b"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n" + HIDDEN,
    "chunks and a length": HEAD + b"Transfer-Encoding: chunked\r\nContent-Length: 5\r\n\r\n0\r\n\r\n" + HIDDEN,
    "two lengths": HEAD + b"Content-Length: 2\r\nContent-Length: 3\r\n\r\n{}" + HIDDEN,
    "the same length twice": HEAD + b"Content-Length: 2\r\nContent-Length: 2\r\n\r\n{}" + HIDDEN,
    "a list of lengths": HEAD + b"Content-Length: 2, 2\r\n\r\n{}" + HIDDEN,
    "a length with its sign": HEAD + b"Content-Length: +2\r\n\r\n{}" + HIDDEN,
    "another coding": HEAD + b"Transfer-Encoding: xchunked\r\n\r\n0\r\n\r\n" + HIDDEN,
    "chunks that are not the last coding": HEAD + b"Transfer-Encoding: chunked, identity\r\n\r\n0\r\n\r\n" + HIDDEN,
    "a blank before the colon": HEAD + b"Transfer-Encoding : chunked\r\n\r\n0\r\n\r\n" + HIDDEN,
    "a vertical tab": HEAD + b"Transfer-Encoding:\x0bchunked\r\n\r\n0\r\n\r\n" + HIDDEN,
    "a folded field (obs-fold)": HEAD + b"X-Note: one\r\n two\r\n\r\n" + HIDDEN,
    "chunks in a folded field": HEAD + b"Transfer-Encoding:\r\n chunked\r\n\r\n0\r\n\r\n" + HIDDEN,
    "line feeds alone": HIDDEN.replace(b"\r\n", b"\n"),
    "a line feed alone in a field": HEAD + b"X-Note: a\nContent-Length: 2\r\n\r\n{}" + HIDDEN,
    "a carriage return alone": HEAD + b"X-Note: a\rContent-Length: 2\r\n\r\n{}" + HIDDEN,
    "a NUL in a field": HEAD + b"X-Note: a\x00b\r\n\r\n" + HIDDEN,
    "line feeds alone between chunks": CHUNKED + b"2\n{}\n0\n\n" + HIDDEN,
    "a chunk's size as 0x": CHUNKED + b"0x2\r\n{}\r\n0\r\n\r\n" + HIDDEN,
    "a line feed in a chunk's extension": CHUNKED + b"2;a\nb\r\n{}\r\n0\r\n\r\n" + HIDDEN,
    "chunks of HTTP/1.0": HEAD.replace(b"1.1", b"1.0") + b"Transfer-Encoding: chunked\r\nContent-Length: 2\r\n\r\n{}",
    "no host": HIDDEN.replace(b"Host: shop.example\r\n", b""),
    "two hosts": HIDDEN.replace(b"Host", b"Host: other.example\r\nHost"),
    "before there were fields": b"GET /healthz\r\n\r\n",
    "a version nobody knows": HIDDEN.replace(b"1.1", b"9.9"),
    "a method nobody knows": b"TRACK / HTTP/1.1\r\nHost: shop.example\r\n\r\n",
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_request_whose_end_is_in_doubt_is_refused_and_nothing_behind_it_is_read(port: int, name: str) -> None:
    assert answered(port, REFUSED[name]) == [b"HTTP/1.1 400 Bad Request"]


def test_what_stands_after_a_whole_request_is_the_next_one(port: int) -> None:
    first = HIDDEN.replace(b"close", b"keep-alive")
    assert answered(port, first + HIDDEN) == [b"HTTP/1.1 200 OK"] * 2
    with_body = HIDDEN.replace(b"\r\n\r\n", b"\r\nContent-Length: %d\r\n\r\n" % len(HIDDEN)) + HIDDEN
    assert answered(port, with_body) == [b"HTTP/1.1 200 OK"]


@pytest.mark.parametrize("method", [b"TRACE", b"CONNECT", b"DEBUG"])
def test_methods_that_echo_or_tunnel_are_refused(port: int, method: bytes) -> None:
    [status] = answered(port, HIDDEN.replace(b"GET", method).replace(b"/healthz", b"shop.example:80"))
    assert status in (b"HTTP/1.1 400 Bad Request", b"HTTP/1.1 404 Not Found", b"HTTP/1.1 405 Method Not Allowed")


def test_no_connection_is_turned_into_another_protocol(port: int) -> None:
    for protocol in (b"websocket", b"h2c"):
        asked = b"close, Upgrade\r\nUpgrade: %s\r\nSec-WebSocket-Version: 13" % protocol
        assert answered(port, HIDDEN.replace(b"close", asked)) == [b"HTTP/1.1 200 OK"]


@pytest.mark.parametrize(
    "path", ["/static/", "/static/../server/app.py", "/static/..%2f..%2fserver%2fapp.py", "/.git/config", "/.env"]
)
def test_no_folder_is_listed_and_no_path_leads_out(port: int, path: str) -> None:
    assert answered(port, HIDDEN.replace(b"/healthz", path.encode())) == [b"HTTP/1.1 404 Not Found"]


def believed(trusted: str, sender: tuple[str, int]) -> tuple[str, str]:
    """Whom the application takes a request for, and by which scheme, that comes from a sender with the fields of a proxy."""
    seen: list[Scope] = []

    async def application(scope: Scope, receive: Receive, send: Send) -> None:
        seen.append(scope)

    async def receive() -> Message:
        return {"type": "http.request"}

    async def send(message: Message) -> None:
        assert message

    config = configured(Settings(forwarded_allow_ips=trusted), FastAPI())
    config.app = application
    config.load()
    scope = {
        "type": "http",
        "http_version": "1.1",
        "method": "GET",
        "path": "/",
        "scheme": "http",
        "headers": FORWARDED,
    }
    asyncio.run(config.loaded_app({**scope, "client": sender}, receive, send))
    return seen[0]["client"][0], seen[0]["scheme"]


def test_only_the_proxy_that_is_named_says_who_asks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(
        "FORWARDED_ALLOW_IPS", "*"
    )  # The server's own variable, which must not open what ours leaves shut.
    assert believed("", PROXY) == (PROXY[0], "http")
    assert believed(PROXY[0], STRANGER) == (STRANGER[0], "http")
    assert believed(PROXY[0], PROXY) == ("203.0.113.5", "https")
