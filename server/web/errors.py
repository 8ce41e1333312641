"""Every error in one shape: JSON for programs, a page with plain words for people; never a trace, never a version."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.domain.errors import (
    ClockIsWrong,
    Conflict,
    Damaged,
    Fault,
    InvalidInput,
    Lapsed,
    NeedsFactor,
    NoRoom,
    NotAllowed,
    NotFound,
    NotSignedIn,
    OnlyToRead,
    OutOfReach,
    TooMany,
)
from server.domain.policy import ShopTerms
from server.persistence.outages import noting_commits, outage_of
from server.web.api.bodies import errors
from server.web.guard import SAFE_METHODS, address_of, path_of
from server.web.render import PAGES_VARY, Pages, is_fragment_asked, way_back

log = logging.getLogger("slackwater.errors")
security_log = logging.getLogger("slackwater.security")

TITLES = {
    400: "That could not be read",
    403: "That was not carried out",
    404: "Nothing is here",
    405: "That cannot be done here",
    409: "Not as things stand",
    410: "This has lapsed",
    413: "That was too large",
    414: "That was too long",
    431: "That was too large",
    422: "Something is not right yet",
    429: "One moment",
    500: "Something broke on our side",
    503: "One moment",
    507: "There is no room left",
}
WORDS = {
    404: "There is nothing at this address.",
    405: "This address does not take that kind of request.",
    500: "We have noted it. Try again, or call the shop: what you kept is safe.",
    503: "The shop's records cannot be reached just now. Nothing was changed: try again in a moment.",
}

NO_ROOM = (
    "The disk of the shop's server is full, so nothing of this was kept. What was kept before is safe and can be read. "
    "Try again later, or call the shop."
)
ONLY_TO_READ = (
    "The shop's records can only be read at the moment, so nothing of this was kept. Try again later, or call the shop."
)
DAMAGED = (
    "The shop's records cannot be read at the moment, and nothing was changed. Somebody has to look after them: try again "
    "later, or call the shop."
)
UNSURE = (
    "The shop's records could not be reached to the end, so it is not certain whether what you sent was kept. Look whether it is "
    "there before you send it again."
)
SOON_SECONDS, LATER_SECONDS = 2, 60
"""When to try again: at once where the database comes back by itself, later where somebody has to do something first."""

TO_THE_FACTOR = "/account?said=needs#factor-title"
NEEDS_FACTOR = "Set a second factor first, on the page of your account. Nothing was changed."
NOT_SIGNED_IN = (
    "You are not signed in (any more), so nothing was changed. Sign in in another tab, come back to this one, "
    "and send it again."
)


@dataclass(frozen=True)
class ErrorPage:
    """What went wrong, in words."""

    title: str
    faults: tuple[Fault, ...]
    status: int


def _note(request: Request, what: str, status: int, level: int = logging.WARNING) -> None:
    """Write into the log that somebody was refused what they may not do; accounts are numbers there."""
    account = request.scope.get("state", {}).get("account")
    told = {
        "method": request.method,
        "path": path_of(request.scope),
        "status": status,
        "at": address_of(request.scope),
    }
    security_log.log(level, what, extra={**told, "who": account.id} if account else told)


class Unexpected:
    """Answers what no handler expected inside of the headers and the log that every answer gets; the framework would do so outside."""

    def __init__(self, app: ASGIApp, *, answer: Callable[[Request, Exception], Response]) -> None:
        self.app = app
        self.answer = answer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        has_begun = False

        async def watch(message: Message) -> None:
            nonlocal has_begun
            has_begun = True
            if message["type"] == "http.response.start" and message["status"] == 429:
                _note(Request(scope), "too many", 429)  # Also where a page says so itself, beside its form.
            await send(message)

        with noting_commits() as commits:
            try:
                await self.app(scope, receive, watch)
            except Exception as error:
                if has_begun or scope["type"] != "http":
                    raise
                request = Request(scope)
                request.state.may_be_kept = commits.was_sent and request.method not in SAFE_METHODS
                await self.answer(request, error)(scope, receive, send)


class Errors:
    """Answers errors for both doors; asks the running shop for its name only where that is safe."""

    def __init__(self, pages: Pages) -> None:
        self.pages = pages

    def answer(self, request: Request, faults: tuple[Fault, ...], status: int) -> Response:
        """Faults with a status, as JSON under /api/, else as a page."""
        if f"{request.url.path}/".startswith("/api/"):
            return errors(faults, status)
        page = ErrorPage(TITLES.get(status, "That did not work"), faults, status)
        return self.pages.show(request, "error.html", page, ShopTerms(), status=status)

    async def refuse(self, scope: Scope, receive: Receive, send: Send, status: int, words: str) -> None:
        """What stands before the routes refuses a request."""
        _note(Request(scope), "refused before any page", status)
        await self.answer(Request(scope), (Fault("request", words),), status)(scope, receive, send)

    def _invalid(self, request: Request, error: Exception) -> Response:
        assert isinstance(error, InvalidInput)
        return self.answer(request, error.faults, 422)

    def _not_found(self, request: Request, error: Exception) -> Response:
        assert isinstance(error, NotFound)
        return self.answer(request, (Fault(error.field, str(error)),), 404)

    def _conflict(self, request: Request, error: Exception) -> Response:
        assert isinstance(error, Conflict)
        return self.answer(request, error.faults, 409)

    def _lapsed(self, request: Request, error: Exception) -> Response:
        return self.answer(request, (Fault("valid_until", str(error)),), 410)

    def _too_many(self, request: Request, error: Exception) -> Response:
        assert isinstance(error, TooMany)
        return self.answer(request, (Fault(error.field, str(error), error.accepted),), 429)

    def _not_signed_in(self, request: Request, _error: Exception) -> Response:
        """To the sign-in and back here; a form sent without a session is not carried out, and the browser still has it."""
        _note(request, "not signed in", 403, logging.INFO)  # Mostly a session that ran out.
        to_sign_in = "/sign-in?" + urlencode({"back": way_back(request)})
        if is_fragment_asked(request):
            return Response(status_code=403, headers={"HX-Redirect": to_sign_in, "Vary": PAGES_VARY})
        if request.method in ("GET", "HEAD"):
            return RedirectResponse(to_sign_in, status_code=303, headers={"Vary": PAGES_VARY})
        return self.answer(request, (Fault("session", NOT_SIGNED_IN),), 403)

    def _needs_factor(self, request: Request, _error: Exception) -> Response:
        """On to one's own account, or a refusal where something was to be done."""
        _note(request, "second factor missing", 403)
        if request.method in ("GET", "HEAD") and not is_fragment_asked(request):
            return RedirectResponse(TO_THE_FACTOR, status_code=303, headers={"Vary": PAGES_VARY})
        return self.answer(request, (Fault("account", NEEDS_FACTOR),), 403)

    def _not_allowed(self, request: Request, error: Exception) -> Response:
        _note(request, "not allowed to this role", 403)
        return self.answer(request, (Fault("account", str(error)),), 403)

    def _framework(self, request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        words = WORDS.get(error.status_code, "The request could not be read.")
        answer = self.answer(request, (Fault("request", words),), error.status_code)
        answer.headers.update(error.headers or {})  # A refused method must name those allowed (RFC 9110, 15.5.6).
        return answer

    def _gone(self, request: Request, _error: Exception) -> Response:
        """Whoever asked hung up before all of it came: no fault of ours, and nothing was carried out."""
        return self.answer(request, (Fault("request", "The request ended before all of it came."),), 400)

    def _parameters(self, request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        faults = tuple(Fault(str(row["loc"][-1]), "This is not accepted.") for row in error.errors())
        return self.answer(request, faults, 422)

    def _out_of_reach(self, request: Request, outage: OutOfReach, error: Exception) -> Response:
        """The database is away, full, damaged, locked for too long, or gave this request up: the transaction was rolled back."""
        match outage:
            case NoRoom():
                words, status, seconds = NO_ROOM, 507, LATER_SECONDS  # RFC 4918, 11.5.
            case OnlyToRead():
                words, status, seconds = ONLY_TO_READ, 503, LATER_SECONDS
            case Damaged():
                words, status, seconds = DAMAGED, 503, LATER_SECONDS
            case ClockIsWrong():
                words, status, seconds = str(outage), 503, LATER_SECONDS
            case _:
                may_be_kept = getattr(request.state, "may_be_kept", False)
                words, status, seconds = UNSURE if may_be_kept else WORDS[503], 503, SOON_SECONDS
        trace = error if log.isEnabledFor(logging.DEBUG) else None
        log.warning("out of reach", extra={"kind": type(outage).__name__, "because": str(outage)}, exc_info=trace)
        answer = self.answer(request, (Fault("server", words),), status)
        answer.headers["Retry-After"] = str(seconds)
        return answer

    def _unexpected(self, request: Request, error: Exception) -> Response:
        outage = outage_of(error)
        if outage is not None:
            return self._out_of_reach(request, outage, error)
        log.error("unexpected error", exc_info=error)
        return self.answer(request, (Fault("server", WORDS[500]),), 500)

    def attach(self, app: FastAPI) -> None:
        """Let the application answer its errors here."""
        app.add_exception_handler(InvalidInput, self._invalid)
        app.add_exception_handler(NotFound, self._not_found)
        app.add_exception_handler(Conflict, self._conflict)
        app.add_exception_handler(Lapsed, self._lapsed)
        app.add_exception_handler(TooMany, self._too_many)
        app.add_exception_handler(NotSignedIn, self._not_signed_in)
        app.add_exception_handler(NotAllowed, self._not_allowed)
        app.add_exception_handler(NeedsFactor, self._needs_factor)
        app.add_exception_handler(HTTPException, self._framework)
        app.add_exception_handler(ClientDisconnect, self._gone)
        app.add_exception_handler(RequestValidationError, self._parameters)
        app.add_middleware(Unexpected, answer=self._unexpected)
        app.add_exception_handler(Exception, self._unexpected)
