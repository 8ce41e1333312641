"""Every route of the program is named here with its methods; there is no sign-in yet, so each must be meant for everybody."""

from __future__ import annotations

from fastapi import FastAPI
from fastapi.routing import iter_route_contexts

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
    "/quotes/{token}/beside": {"POST"},
    "/quotes/{token}/beside/{other}": {"GET"},
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


def test_every_route_is_public_on_purpose(app: FastAPI) -> None:
    found: dict[str, set[str]] = {}
    for route in iter_route_contexts(app.routes):
        assert route.path is not None
        assert route.methods, f"{route.path} takes every method"
        found[route.path] = found.get(route.path, set()) | route.methods
    assert found == PUBLIC


def test_no_two_routes_answer_the_same_request(app: FastAPI) -> None:
    answered = [
        (route.path, method) for route in iter_route_contexts(app.routes) for method in sorted(route.methods or ())
    ]
    assert len(answered) == len(set(answered))
