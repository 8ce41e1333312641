"""Answers are packed as RFC 9110 (8.4.1.3) and RFC 1952 have it, and come out as they went in by Python's own gzip, which is zlib's."""

from __future__ import annotations

import asyncio
import gzip
import zlib
from collections.abc import AsyncIterator

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.responses import Response, StreamingResponse
from starlette.types import ASGIApp, Message, Scope

from server.web.packed import AS_GZIP, LEAST_BYTES, Packed

GZIP = b"\x1f\x8b\x08"
"""RFC 1952, 2.3: what every file of gzip begins with, and the method, deflate."""


async def nothing_more() -> Message:
    """Whoever asks stays until they have the answer."""
    await asyncio.Event().wait()
    return {"type": "http.disconnect"}


def asking(coding: str) -> Scope:
    """A request of somebody who can unpack what a header says."""
    return {"type": "http", "method": "GET", "path": "/", "headers": [(b"accept-encoding", coding.encode())]}


def answered(app: ASGIApp, coding: str) -> tuple[dict[str, str], bytes]:
    """Headers and body of the answer."""
    sent: list[Message] = []

    async def send(message: Message) -> None:
        sent.append(message)

    asyncio.run(Packed(app)(asking(coding), nothing_more, send))
    headers = {name.decode().lower(): value.decode() for name, value in sent[0]["headers"]}
    return headers, b"".join(message.get("body", b"") for message in sent[1:])


@given(st.binary(max_size=300), st.integers(1, 400))
def test_whoever_can_unpack_gets_it_packed_and_the_same(seed: bytes, times: int) -> None:
    body = seed * times
    headers, sent = answered(Response(body, media_type="text/html"), "br, gzip")
    if len(body) < LEAST_BYTES:
        assert (sent, "content-encoding" in headers) == (body, False)
        return
    assert headers["content-encoding"] == "gzip"
    assert sent.startswith(GZIP)
    assert gzip.decompress(sent) == body
    assert int(headers["content-length"]) == len(sent)
    assert "Accept-Encoding" in headers["vary"]  # RFC 9110, 12.5.5


@given(st.lists(st.binary(min_size=1, max_size=2000), min_size=1, max_size=20))
def test_what_comes_in_pieces_is_packed_piece_by_piece(pieces: list[bytes]) -> None:
    """Each piece can be unpacked once it has come: nobody waits for the end of a long list."""
    unpacking = zlib.decompressobj(AS_GZIP)
    arrived = []

    async def in_pieces() -> AsyncIterator[bytes]:
        for piece in pieces:
            yield piece

    async def send(message: Message) -> None:
        if message.get("body"):
            arrived.append(unpacking.decompress(message["body"]))

    asyncio.run(Packed(StreamingResponse(in_pieces()))(asking("gzip"), nothing_more, send))
    assert arrived == [*pieces, b""]  # At the end comes the checksum.
    assert unpacking.eof


@pytest.mark.parametrize(
    "coding", ["gzip", "compress, gzip", "gzip;q=1.0, identity; q=0.5, *;q=0", "br;q=0, GZip;q=0.001"]
)
def test_gzip_is_taken_however_it_is_named(coding: str) -> None:
    # RFC 9110, 12.5.3: the second and third are among its examples.
    headers, sent = answered(Response(b"page " * 1000), coding)
    assert (headers["content-encoding"], gzip.decompress(sent)) == ("gzip", b"page " * 1000)


@pytest.mark.parametrize("coding", ["", "identity", "br, zstd", "gzip;q=0", "br, GZIP ; Q=0.000", "not-gzip"])
def test_whoever_cannot_unpack_gets_it_as_it_is(coding: str) -> None:
    headers, sent = answered(Response(b"page " * 1000), coding)
    assert (sent, "content-encoding" in headers) == (b"page " * 1000, False)
    assert "Accept-Encoding" in headers["vary"]
