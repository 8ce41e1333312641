"""Pages that a browser keeps and asks about: each carries a tag of its content, and one that is still the same is not sent again.

Pure ASGI, like what stands before every route. It stands where the headers are complete and nothing is compressed yet: a page that
is still the same is not compressed either.
"""

from __future__ import annotations

import hashlib
import re

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

TAG_DIGITS = 32
ENTITY_TAG = re.compile(r'(?:W/)?("[!#-~\x80-\xff]*")')
"""An entity tag, weak or strong (RFC 9110, 8.8.3); what stands between its quotes may hold commas."""
OF_THE_BODY = ("Content-Type", "Content-Length", "Content-Encoding", "Content-Language", "Last-Modified")
"""What says something of a page and is left out where it is not sent again (RFC 9110, 15.4.5)."""


def tag_of(body: bytes) -> str:
    """The tag of a page. It is weak, since a page has the same one compressed or not (RFC 9110, 8.8.1)."""
    return f'W/"{hashlib.sha256(body).hexdigest()[:TAG_DIGITS]}"'


def is_known(headers: Headers, tag: str) -> bool:
    """Whether a request says that its sender has the page of this tag (RFC 9110, 13.1.2): compared weakly, or any page by `*`."""
    known = ", ".join(headers.getlist("if-none-match"))
    return known.strip() == "*" or tag.removeprefix("W/") in ENTITY_TAG.findall(known)


def _is_tagged(start: Message) -> bool:
    """Whether an answer is a page that may be kept."""
    if start["status"] != 200:
        return False
    headers = Headers(raw=start["headers"])
    is_page = headers.get("content-type", "").startswith("text/html")
    return is_page and "etag" not in headers and "no-store" not in headers.get("cache-control", "")


class Fresh:
    """Tags pages that may be kept, and answers 304 to whoever has the one that would be sent. What comes in pieces is passed on."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] not in ("GET", "HEAD"):
            await self.app(scope, receive, send)
            return
        held: Message | None = None

        async def compare(message: Message) -> None:
            nonlocal held
            if message["type"] == "http.response.start" and _is_tagged(message):
                held = message  # What it says of the page depends on the body.
                return
            if held is None:
                await send(message)
                return
            start, held = held, None
            if not message.get("more_body", False):
                start, message = _compared(Headers(scope=scope), start, message)
            await send(start)
            await send(message)

        await self.app(scope, receive, compare)


def _compared(asked: Headers, start: Message, body: Message) -> tuple[Message, Message]:
    """A page with its tag, or 304 with what the page would have carried of its own."""
    tag = tag_of(body.get("body", b""))
    headers = MutableHeaders(scope=start)
    headers["ETag"] = tag
    if not is_known(asked, tag):
        return start, body
    for name in OF_THE_BODY:
        del headers[name]
    headers.add_vary_header("Accept-Encoding")  # As where it is compressed: what is not sent is not.
    return {**start, "status": 304}, {**body, "body": b""}
