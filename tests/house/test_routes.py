"""Every route of the program is named here with its methods, and who may come through it."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import FastAPI
from fastapi.routing import iter_route_contexts

Routes = Mapping[str, set[str]]

PUBLIC = {
    "/": {"GET"},
    "/static/{name}": {"GET"},
    "/drafts": {"POST"},
    "/drafts/{token}": {"GET"},
    "/drafts/{token}/{step}": {"GET", "POST"},
    "/drafts/{token}/kit": {"GET", "POST"},
    "/drafts/{token}/keep": {"POST"},
    "/drafts/{token}/share": {"POST"},
    "/drafts/{token}/shared": {"GET", "POST"},
    "/drafts/{token}/part": {"POST"},
    "/drafts/{token}/own/{slot}": {"POST"},
    "/quotes/{token}": {"GET"},
    "/quotes/{token}/agree": {"POST"},
    "/quotes/{token}/release": {"POST"},
    "/quotes/{token}/answers": {"POST"},
    "/quotes/{token}/pdf": {"GET"},
    "/quotes/{token}/news": {"GET"},
    "/quotes/{token}/seen": {"POST"},
    "/quotes/{token}/beside": {"POST"},
    "/quotes/{token}/beside/{other}": {"GET"},
    "/prepared/{token}": {"GET"},
    "/prepared/{token}/opened": {"POST"},
    "/lessons": {"GET"},
    "/lessons/{number}": {"GET"},
    "/lessons/{number}/book": {"POST"},
    "/bookings/{token}": {"GET"},
    "/bookings/{token}/call-off": {"POST"},
    "/bookings/{token}/move": {"POST"},
    "/bookings/{token}/lesson.ics": {"GET"},
    "/photos/{token}": {"GET"},
    "/used": {"GET"},
    "/used/pieces/{number}": {"GET"},
    "/used/pieces/{number}/hold": {"POST"},
    "/used/expected/{number}": {"GET"},
    "/used/expected/{number}/hold": {"POST"},
    "/used/reservations/{token}": {"GET"},
    "/used/reservations/{token}/take-back": {"POST"},
    "/sign-in": {"GET", "POST"},
    "/sign-in/code": {"GET", "POST"},
    "/welcome/{link}": {"GET", "POST"},
    "/privacy": {"GET"},
    "/units": {"POST"},
    "/words": {"GET"},
    "/look-{digest}.css": {"GET"},
    "/robots.txt": {"GET"},
    "/api/openapi.json": {"GET", "HEAD"},
    "/api/fit": {"POST"},
    "/api/kits": {"POST"},
    "/api/wind": {"POST"},
    "/api/quotes": {"POST"},
    "/api/quotes/{token}": {"GET"},
    "/api/quotes/{token}/agree": {"POST"},
    "/api/parts": {"GET"},
}
STAFF = {
    "/desk": {"GET"},
    "/desk/find": {"GET"},
    "/desk/calls": {"POST"},
    "/desk/calls/{number}/done": {"POST"},
    "/desk/counter": {"GET", "POST"},
    "/desk/deposits": {"GET", "POST"},
    "/desk/deposits/days": {"GET"},
    "/desk/deposits/months": {"GET"},
    "/desk/deposits/export.csv": {"GET"},
    "/desk/deposits/vat.csv": {"GET"},
    "/desk/deposits/{code}": {"GET"},
    "/desk/deposits/{code}/fee": {"POST"},
    "/desk/deposits/{code}/refund": {"POST"},
    "/desk/deposits/{code}/window": {"POST"},
    "/desk/deposits/{code}/give-back": {"POST"},
    "/desk/deposits/{code}/charge-again": {"POST"},
    "/desk/counter/{number}/take-back": {"POST"},
    "/desk/strand": {"GET", "POST"},
    "/desk/strand/call-offs": {"GET", "POST"},
    "/desk/bookings/{number}/seen": {"GET", "POST"},
    "/desk/offline.js": {"GET"},
    "/desk/lessons": {"GET", "POST"},
    "/desk/lessons/{number}": {"GET"},
    "/desk/lessons/{number}/change": {"POST"},
    "/desk/lessons/{number}/call": {"POST"},
    "/desk/lessons/{number}/book": {"POST"},
    "/desk/bookings/{number}/fee": {"POST"},
    "/desk/bookings/{number}/back": {"POST"},
    "/desk/bookings/{number}/went": {"POST"},
    "/desk/bookings/{number}/move": {"POST"},
    "/desk/bookings/{number}/quote": {"POST"},
    "/desk/messages": {"GET"},
    "/desk/messages/{number}": {"GET"},
    "/desk/messages/{number}/sent": {"POST"},
    "/desk/messages/{number}/again": {"POST"},
    "/desk/messages/{number}/stop": {"POST"},
    "/desk/holds/{code}/confirm": {"POST"},
    "/desk/holds/{code}/let-go": {"GET", "POST"},
    "/desk/quotes/{code}": {"GET"},
    "/desk/worksheets": {"POST"},
    "/desk/worksheets/{token}": {"GET", "POST"},
    "/desk/worksheets/{token}/word": {"POST"},
    "/desk/worksheets/{token}/read": {"POST"},
    "/desk/worksheets/{token}/withdraw": {"POST"},
    "/desk/worksheets/{token}/copy": {"POST"},
    "/sign-out": {"POST"},
    "/account": {"GET"},
    "/account/password": {"GET", "POST"},
    "/account/factor": {"GET", "POST"},
    "/account/factor/confirm": {"POST"},
    "/account/sessions/end": {"POST"},
    "/account/sessions/{number}/end": {"POST"},
    "/desk/pieces": {"GET", "POST"},
    "/desk/pieces/{number}": {"GET", "POST"},
    "/desk/pieces/{number}/inspect": {"POST"},
    "/desk/pieces/{number}/throw-away": {"POST"},
    "/desk/pieces/{number}/sell": {"POST"},
    "/desk/expected": {"GET", "POST"},
    "/desk/expected/{number}": {"GET", "POST"},
    "/desk/expected/{number}/arrived": {"POST"},
    "/desk/expected/{number}/call-off": {"POST"},
    "/desk/reservations/{number}": {"GET"},
    "/desk/reservations/{number}/confirm": {"POST"},
    "/desk/reservations/{number}/let-go": {"POST"},
    "/desk/reservations/{number}/sell": {"POST"},
}
OWNER: Routes = {
    "/staff": {"GET", "POST"},
    "/staff/{number}": {"GET"},
    "/staff/{number}/role": {"POST"},
    "/staff/{number}/end": {"POST"},
    "/staff/{number}/recover": {"POST"},
    "/staff/{number}/sessions/end": {"POST"},
    "/messages/wordings": {"GET"},
    "/messages/wordings/{name}": {"GET", "POST"},
}


def routes_of(app: FastAPI) -> dict[str, set[str]]:
    """The methods that each path of the program answers."""
    found: dict[str, set[str]] = {}
    for route in iter_route_contexts(app.routes):
        assert route.path is not None
        assert route.methods, f"{route.path} takes every method"
        found[route.path] = found.get(route.path, set()) | route.methods
    return found


def test_every_route_is_open_to_those_it_is_meant_for(app: FastAPI) -> None:
    assert routes_of(app) == {**PUBLIC, **STAFF, **OWNER}


def test_no_two_routes_answer_the_same_request(app: FastAPI) -> None:
    answered = [
        (route.path, method) for route in iter_route_contexts(app.routes) for method in sorted(route.methods or ())
    ]
    assert len(answered) == len(set(answered))
