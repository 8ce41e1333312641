"""Requests counted and timed, under the pattern of their route."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.web.guard import Refuse

if TYPE_CHECKING:
    from server.outside.metrics import Meters


class Measured:
    """Counts and times each request; it stands where HEAD is GET already."""

    def __init__(self, app: ASGIApp, *, meters: Meters) -> None:
        self.app = app
        self.meters = meters

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        status = 500

        async def watch(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        self.meters.request_begins()
        began = time.perf_counter()
        try:
            await self.app(scope, receive, watch)
        finally:
            # The router leaves the route that it found in the scope.
            route = getattr(scope.get("route"), "path_format", "")
            self.meters.request_ends(scope["method"], route, status, time.perf_counter() - began)


def counting(meters: Meters, refuse: Refuse) -> Refuse:
    """The same refusal, counted."""

    async def counted(scope: Scope, receive: Receive, send: Send, status: int, words: str) -> None:
        meters.refused(status)
        await refuse(scope, receive, send, status, words)

    return counted
