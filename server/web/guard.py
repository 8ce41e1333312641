"""What stands before every route: size limits, forged requests, throttling, headers, and a log without addresses of people.

Pure ASGI, so that a page pays for none of it twice.
"""

from __future__ import annotations

import logging
import re
import secrets
import time
from collections.abc import Awaitable, Callable
from contextvars import ContextVar
from urllib.parse import urlsplit

from limits import RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.domain.accounts import counted_as
from server.security.tokens import pseudonym
from server.web.uploads import most_with_files

MOST_BYTES = 64 * 1024
MOST_ADDRESS = 2048
MOST_HEADERS = 16 * 1024
REQUEST_NAME_BYTES = 8
WATCHED = ("/healthz", "/readyz")
"""Asked every few seconds by what watches over the server, so they are not throttled."""
COST = 10
COSTLY = {
    "GET": re.compile(r"/quotes/[^/]+/pdf|/owned/[^/]+/papers/[^/]+/pdf"),
    "POST": re.compile(
        r"/drafts|/drafts/[^/]+/keep|/quotes/[^/]+/agree|/api/quotes|/api/quotes/[^/]+/agree|/owned/[^/]+/ask"
    ),
}
"""What sets a paper, unpacks photographs, or writes something that stays, and is open to everybody: by method, the paths."""
MOST_DIGITS = 20  # Of a length that is told; Python reads no number of more than 4300.
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; connect-src 'self'; "
    "worker-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'"
)
FILE_POLICY = (
    "default-src 'none'; form-action 'none'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'; sandbox"
)
"""For what is a file and no page of ours: photographs, and all that is to be saved. Whatever it holds, nothing in it runs."""
SESSION_COOKIE = "slackwater-session"
SESSION_COOKIES = (SESSION_COOKIE, f"__Host-{SESSION_COOKIE}")
"""The names of the cookie by which a browser is known to be somebody's: over http, and over https (RFC 6265bis, 4.1.3.2)."""
NEVER_KEPT = (
    "/desk",
    "/console",
    "/staff",
    "/account",
    "/messages/",
    "/sign-",
    "/welcome/",
    "/bookings/",
    "/owned/",
    "/used/reservations/",
)
"""What the shop alone sees, and pages on which a customer is named: not even the browser keeps them."""
PRIVATE_PATHS = (
    *NEVER_KEPT,
    "/drafts/",
    "/quotes/",
    "/prepared/",
    "/api/quotes/",
)
"""Where somebody's answers stand: no store on the way keeps them, and a browser asks each time whether they are still so."""
KEPT_AND_ASKED = "private, no-cache"
"""Any other page too: it is in the units that one browser chose, and prices and shelves change at any moment (RFC 9111, 5.2.2)."""
SECRET_IN_PATH = re.compile(
    r"(/(?:drafts|quotes|bookings|beside|prepared|welcome|worksheets|owned|photos|reservations|holds|deposits)/+)[^/]+"
)

FIRST_WORD = re.compile(r"[a-z._-]{0,16}")
"""Of our pages and of what programs look for that try every door; no code, number or token is one."""

requests_log = logging.getLogger("slackwater.requests")

Refuse = Callable[[Scope, Receive, Send, int, str], Awaitable[None]]


def masked(path: str) -> str:
    """A path for the log: the part that opens somebody's draft or quote is left out."""
    return SECRET_IN_PATH.sub(r"\1…", path)


def path_of(scope: Scope) -> str:
    """The path of a request for the log. Of one that leads nowhere the first word alone: an address may have been mistyped."""
    path = scope["path"]
    if scope.get("endpoint"):
        return masked(path)
    first, *rest = path.removeprefix("/").split("/")
    return f"/{first if FIRST_WORD.fullmatch(first) else '…'}{'/…' if rest else ''}"


def address_of(scope: Scope) -> str:
    """What stands in the log for the address that a request came from: alike for one address, and nobody can read which."""
    return pseudonym((scope.get("client") or ("unknown",))[0])


_request: ContextVar[str] = ContextVar("request", default="")


def named_by_request(record: logging.LogRecord) -> bool:
    """Give a line of the log the name of the request during which it is written, so that those of one request are found together."""
    if _request.get():
        record.request_id = _request.get()
    return True


class RequestLog:
    """A line for each request: its name, method, masked path, status and milliseconds; the name goes back with the answer.

    The name is made here: one that a stranger sends could put their words into the log.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        scope.setdefault("state", {})  # What a route puts there is found here again: every layer has the same one.
        began = time.perf_counter()
        status = 500
        name = secrets.token_hex(REQUEST_NAME_BYTES)
        _request.set(name)

        async def watch(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)["X-Request-ID"] = name
            await send(message)

        try:
            await self.app(scope, receive, watch)
        finally:
            account = scope["state"].get("account")
            requests_log.info(
                "request",
                extra={
                    **({"who": account.id} if account else {}),
                    "method": scope["method"],
                    "path": path_of(scope),
                    "status": status,
                    "ms": round(1000 * (time.perf_counter() - began), 1),
                },
            )


def _is_file(headers: Headers) -> bool:
    """Whether an answer is a photograph, or a file to be saved."""
    is_to_be_saved = headers.get("content-disposition", "").startswith("attachment")
    return is_to_be_saved or headers.get("content-type", "") == "image/jpeg"


class SafeHeaders:
    """Headers that every answer carries, those for pages that hold somebody's answers, and how long a page is kept."""

    def __init__(self, app: ASGIApp, *, https: bool) -> None:
        self.app = app
        self.https = https

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def dress(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.setdefault("Content-Security-Policy", FILE_POLICY if _is_file(headers) else CONTENT_POLICY)
                headers.setdefault("X-Content-Type-Options", "nosniff")
                headers.setdefault("Referrer-Policy", "no-referrer")
                headers.setdefault("Cross-Origin-Opener-Policy", "same-origin")
                headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
                headers.setdefault("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
                if self.https:
                    headers.setdefault("Strict-Transport-Security", "max-age=31536000; includeSubDomains")
                if scope["path"].startswith(PRIVATE_PATHS):
                    headers["X-Robots-Tag"] = "noindex, nofollow"
                    is_kept = not scope["path"].startswith(NEVER_KEPT)
                    headers.setdefault("Cache-Control", KEPT_AND_ASKED if is_kept else "no-store")
                elif scope["path"].startswith("/api/"):
                    headers.setdefault("Cache-Control", "no-store")
                elif headers.get("content-type", "").startswith("text/html"):
                    headers.setdefault("Cache-Control", KEPT_AND_ASKED)
            await send(message)

        await self.app(scope, receive, dress)


class HeadAsGet:
    """Answers HEAD as GET would be answered, without the body (RFC 9110, 9.3.2)."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return

        async def headers_only(message: Message) -> None:
            if message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        await self.app({**scope, "method": "GET"}, receive, headers_only)


class OneHost:
    """Refuses with 400 what a proxy before this server may read otherwise than it does: HTTP/1.1 without exactly one Host
    (RFC 9112, 3.2), and HTTP from before there were header fields. Where a message ends is the parser's affair, which is strict.
    """

    def __init__(self, app: ASGIApp, *, refuse: Refuse) -> None:
        self.app = app
        self.refuse = refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            hosts = sum(name == b"host" for name, _ in scope["headers"])
            if scope["http_version"] == "0.9" or hosts > 1 or (scope["http_version"] == "1.1" and not hosts):
                await self.refuse(scope, receive, send, 400, "The request does not say once which host it is for.")
                return
        await self.app(scope, receive, send)


class SizeLimit:
    """Refuses what is too large: addresses with 414, header fields with 431, bodies with 413 whether they tell their length or not."""

    def __init__(self, app: ASGIApp, *, refuse: Refuse, most: int = MOST_BYTES) -> None:
        self.app = app
        self.refuse = refuse
        self.most = most

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        if len(scope["path"]) + len(scope["query_string"]) > MOST_ADDRESS:
            await self.refuse(scope, receive, send, 414, "This address is too long to be one of ours.")
            return
        if sum(len(name) + len(value) for name, value in scope["headers"]) > MOST_HEADERS:
            await self.refuse(scope, receive, send, 431, "The header fields of the request are too large.")
            return
        if scope["method"] in SAFE_METHODS:
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        has_files = "content-length" in headers and most_with_files(scope["path"]) > 0
        most = most_with_files(scope["path"]) if has_files else self.most
        unit = f"{most // 1024 // 1024} MB" if has_files else f"{most // 1024} KiB"
        words = f"The request is too large: at most {unit}."
        told = headers.get("content-length", "0")
        if not told.isdecimal() or len(told) > MOST_DIGITS or int(told) > most:
            await self.refuse(scope, receive, send, 413, words)
            return
        if has_files:  # The server itself lets no more through than was told.
            await self.app(scope, receive, send)
            return
        body = b""
        more = True
        while more:
            message = await receive()
            if message["type"] != "http.request":
                return
            body += message.get("body", b"")
            more = message.get("more_body", False)
            if len(body) > self.most:
                await self.refuse(scope, receive, send, 413, words)
                return
        is_read = False

        async def again() -> Message:
            nonlocal is_read
            if is_read:
                return await receive()
            is_read = True
            return {"type": "http.request", "body": body, "more_body": False}

        await self.app(scope, again, send)


class ForgeryGuard:
    """Refuses requests that another site makes a browser send: by Sec-Fetch-Site, else by Origin against Host.

    With neither header it is not a browser's. `Origin: null` is what a page that sends no referrer gives over plain http;
    without a cookie that says who is there such a request has nothing to forge, and passes. A cookie that only remembers a
    choice of display must not count: with it every form over plain http would be refused.

    Another site may lead people here by a link, and no more: what it loads into a page of its own (an image, a script, a frame,
    a request of its script) is refused even for looking.
    """

    def __init__(
        self, app: ASGIApp, *, refuse: Refuse, own_address: str, session_cookies: tuple[str, ...] = SESSION_COOKIES
    ) -> None:
        self.app = app
        self.refuse = refuse
        self.session_cookies = session_cookies
        self.own_host = urlsplit(own_address).netloc

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and self._is_refused(scope["method"], Headers(scope=scope)):
            await self.refuse(
                scope, receive, send, 403, "This request came from another site, so it was not carried out."
            )
            return
        await self.app(scope, receive, send)

    def _is_refused(self, method: str, headers: Headers) -> bool:
        return _is_drawn_in(headers) if method in SAFE_METHODS else self._is_forged(headers)

    def _is_forged(self, headers: Headers) -> bool:
        site, origin = headers.get("sec-fetch-site"), headers.get("origin")
        if site is not None:
            return site not in ("same-origin", "none")
        if origin is None:
            return False
        if origin == "null":
            return self._is_somebody(headers)
        try:
            return urlsplit(origin).netloc not in (headers.get("host"), self.own_host)
        except ValueError:  # Such as http://[::1 with its bracket open.
            return True

    def _is_somebody(self, headers: Headers) -> bool:
        """Whether a request carries a session's cookie; of several header fields each may hold it."""
        pairs = (pair for line in headers.getlist("cookie") for pair in line.split(";"))
        return any(pair.partition("=")[0].strip() in self.session_cookies for pair in pairs)


def _is_drawn_in(headers: Headers) -> bool:
    """Whether a page of another site loads this into itself (W3C, Fetch Metadata Request Headers), rather than leads here."""
    if headers.get("sec-fetch-site") not in ("cross-site", "same-site"):
        return False
    mode, kind = headers.get("sec-fetch-mode", "navigate"), headers.get("sec-fetch-dest", "document")
    return mode != "navigate" or kind != "document"


def _is_unlimited(path: str) -> bool:
    return path.startswith("/static/") or path in WATCHED


def cost_of(method: str, path: str) -> int:
    """For how many requests one counts."""
    asked = COSTLY.get("GET" if method == "HEAD" else method)
    return COST if asked and asked.fullmatch(path) else 1


class Throttle:
    """At most so many requests a minute from one address, static files apart; past it 429. What costs much counts for several."""

    def __init__(self, app: ASGIApp, *, refuse: Refuse, burst: int) -> None:
        self.app = app
        self.refuse = refuse
        self.burst = burst
        self.limit = RateLimitItemPerMinute(burst) if burst else None
        self.limiter = MovingWindowRateLimiter(MemoryStorage())
        self.seen_at = time.time()

    def _forget_what_is_ahead(self) -> None:
        """Begin anew where the machine's clock was put back: what was counted ahead of it would count until it gets there."""
        now = time.time()
        if now < self.seen_at - 1:
            self.limiter = MovingWindowRateLimiter(MemoryStorage())
        self.seen_at = now

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and self.limit is not None and not _is_unlimited(scope["path"]):
            self._forget_what_is_ahead()
            address = counted_as((scope.get("client") or ("unknown",))[0])
            cost = min(cost_of(scope["method"], scope["path"]), self.burst)
            if not self.limiter.hit(self.limit, address, cost=cost):
                await self.refuse(scope, receive, send, 429, "Too many requests at once: wait a minute and try again.")
                return
        await self.app(scope, receive, send)
