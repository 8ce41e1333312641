"""What stands before every route: headers, forged requests, too many requests; and what no answer ever tells."""

from __future__ import annotations

import time
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from starlette.types import Receive, Scope, Send

from server.app import create_app
from server.settings import Settings
from server.web.guard import SESSION_COOKIES, ForgeryGuard, Throttle
from tests.builders_http import ADDRESS, Client, faults_of, names_in
from tests.builders_shop import STRONG, learner

HOST = ADDRESS.removeprefix("https://")


def answers_of_every_kind(client: Client) -> list[tuple[str, Any]]:
    """An answer of every route and status that the interface has."""
    quote = client.post_json("/api/quotes", {"answers": learner()})
    token = quote.json()["url"].rsplit("/", 1)[1]
    return [
        ("/api/quotes", quote),
        ("/api/fit", client.post_json("/api/fit", learner())),
        ("/api/kits", client.post_json("/api/kits", learner(budget=100_000_00, **STRONG))),
        ("/api/parts", client.get("/api/parts")),
        (f"/api/quotes/{token}", client.get(f"/api/quotes/{token}")),
        ("/api/openapi.json", client.get("/api/openapi.json")),
        ("/api/fit", client.post_json("/api/fit", {})),
        ("/api/nothing", client.get("/api/nothing")),
        ("/api/fit", client.get("/api/fit")),
        ("/api/fit", client.post("/api/fit", content=b"x" * 70_000)),
        ("/api/fit", client.post_json("/api/fit", learner(), headers={"Origin": "https://elsewhere.example"})),
        ("/api/quotes", client.post_json("/api/quotes", {"answers": learner(mass_kg=150)})),
    ]


def test_every_answer_carries_the_safe_headers_and_sets_no_cookie(client: Client) -> None:
    answers = answers_of_every_kind(client)
    assert {answer.status_code for _, answer in answers} == {200, 201, 403, 404, 405, 409, 413, 422}
    for path, answer in answers:
        headers = answer.headers
        assert "set-cookie" not in headers
        assert "server" not in headers
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["cross-origin-opener-policy"] == headers["cross-origin-resource-policy"] == "same-origin"
        assert not [name for name in headers if name.startswith("access-control-")]
        assert headers["strict-transport-security"].startswith("max-age=31536000")
        rules = dict(rule.strip().split(" ", 1) for rule in headers["content-security-policy"].split(";"))
        assert rules["default-src"] == rules["frame-ancestors"] == rules["base-uri"] == rules["object-src"] == "'none'"
        assert rules["script-src"] == rules["style-src"] == rules["form-action"] == "'self'"
        assert "unsafe" not in headers["content-security-policy"]
        private = path.startswith("/api/quotes/")
        assert headers["cache-control"] == ("private, no-cache" if private else "no-store")
        assert ("x-robots-tag" in headers) == private


def test_no_answer_tells_what_is_the_shops_own_affair(client: Client) -> None:
    told = [answer.json() for path, answer in answers_of_every_kind(client) if path != "/api/openapi.json"]
    names = {name for value in told for name in names_in(value)}
    assert {"parts", "price", "float_margin_l", "in_stock"} <= names
    assert not {name for name in names if "cost" in name or "on_hand" in name or "free" in name}
    assert {name for name in names if "margin" in name} == {"float_margin_l"}
    assert not names & {"gtin", "stock", "pieces", "token", "catalogue_version", "retired", "sold"}


def test_over_plain_http_no_header_asks_for_https(data: Path) -> None:
    with Client(create_app(Settings(data=data, base_address="http://slackwater.example", public_burst=0))) as client:
        assert "strict-transport-security" not in client.get("/api/parts").headers


# --- forged requests


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Sec-Fetch-Site": "same-origin"},
        {"Sec-Fetch-Site": "none"},
        {"Origin": ADDRESS},
        {"Origin": "https://proxied.example", "Host": "proxied.example"},
        {"Sec-Fetch-Site": "same-origin", "Origin": "https://elsewhere.example"},
    ],
    ids=str,
)
def test_requests_of_our_own_pages_and_of_programs_pass(client: Client, headers: dict[str, str]) -> None:
    assert client.post_json("/api/fit", learner(), headers=headers).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "cross-site", "Origin": ADDRESS},
        {"Sec-Fetch-Site": ""},
        {"Origin": "https://elsewhere.example"},
        {"Origin": f"https://{HOST}.elsewhere.example"},
        {"Origin": f"https://{HOST}:8443"},
        {"Origin": ""},
        {"Origin": "http://[::1"},
    ],
    ids=str,
)
def test_requests_that_another_site_sends_are_refused_and_change_nothing(
    client: Client, headers: dict[str, str]
) -> None:
    for path in ("/api/fit", "/api/quotes"):
        faults_of(client.post_json(path, {"answers": learner()}, headers=headers), 403)


NULL = {"Origin": "null"}
COOKIES_OVER_PLAIN_HTTP = [
    ({"Cookie": "units=kg.in.knots"}, 200),
    ({"Cookie": "other=1; units=kg.in.knots"}, 200),
    ({"Cookie": "units=session"}, 200),
    ({"Cookie": "session=1"}, 403),
    ({"Cookie": "units=kg.in.knots; session=1"}, 403),
    ({"Cookie": "units=kg.in.knots;session="}, 403),
]


@pytest.mark.parametrize(("headers", "status"), COOKIES_OVER_PLAIN_HTTP, ids=str)
def test_over_plain_http_a_cookie_counts_only_where_it_says_who_is_there(headers: dict[str, str], status: int) -> None:
    # A page without a referrer sends `Origin: null` (Fetch, "serialize a request origin"): its forms must go on working with a
    # choice of units remembered, and must not be taken for somebody's who is signed in.
    async def refuse(scope: Scope, receive: Receive, send: Send, status: int, words: str) -> None:
        await PlainTextResponse(words, status)(scope, receive, send)

    guarded = FastAPI(routes=[Route("/", lambda request: PlainTextResponse("done"), methods=["POST"])])
    guarded.add_middleware(ForgeryGuard, refuse=refuse, own_address=ADDRESS, session_cookies=("session",))
    with Client(guarded) as client:
        assert client.post("/", headers={**NULL, **headers}).status_code == status


def test_a_remembered_unit_does_not_shut_the_forms_over_plain_http(client: Client) -> None:
    assert "units" not in SESSION_COOKIES
    headers = {**NULL, "Cookie": "units=lb.in.beaufort"}
    assert client.post("/drafts", headers=headers).status_code == 303
    assert client.post_json("/api/fit", learner(), headers=headers).status_code == 200


LED_HERE = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}


def test_a_link_leads_here_from_anywhere(client: Client) -> None:
    for headers in (LED_HERE, {"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example"}):
        assert client.get("/", headers=headers).status_code == 200
        assert client.get("/api/parts", headers=headers).status_code == 200


# W3C, Fetch Metadata Request Headers: what a browser says of requests that a page of another site makes without a link.
@pytest.mark.parametrize(
    ("mode", "dest"), [("no-cors", "image"), ("no-cors", "script"), ("cors", "empty"), ("navigate", "iframe")]
)
def test_no_other_site_draws_anything_into_a_page_of_its_own(client: Client, mode: str, dest: str) -> None:
    for site in ("cross-site", "same-site"):
        headers = {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": mode, "Sec-Fetch-Dest": dest}
        answers = [client.request(method, "/", headers=headers) for method in ("GET", "HEAD", "OPTIONS")]
        assert {answer.status_code for answer in answers} == {403}
        assert "access-control-allow-origin" not in answers[-1].headers
    assert client.get("/", headers={**headers, "Sec-Fetch-Site": "same-origin"}).status_code == 200


# --- too many requests


def test_past_the_burst_every_public_request_of_an_address_is_told_to_wait(data: Path) -> None:
    app = create_app(Settings(data=data, public_burst=4))
    with Client(app) as client, Client(app, ("198.51.100.8", 1)) as other:
        for path in ("/api/parts", "/api/quotes/guessed", "/api/nothing"):
            assert client.get(path).status_code in (200, 404)
        assert client.post_json("/api/fit", learner()).status_code == 200
        for number in range(3):
            made_up = {"X-Forwarded-For": f"192.0.2.{number}", "Forwarded": f"for=192.0.2.{number}"}
            faults_of(client.get("/api/parts", headers=made_up), 429)
            faults_of(client.post_json("/api/fit", learner()), 429)
        assert client.get("/").status_code == 429
        assert "content-security-policy" in client.get("/api/parts").headers
        assert other.get("/api/parts").status_code == 200


def test_a_household_of_ipv6_counts_as_one_and_what_costs_much_counts_for_ten(data: Path) -> None:
    app = create_app(Settings(data=data, public_burst=20))
    with ExitStack() as open_doors:
        told = ("2001:db8:1:7::1", "2001:db8:1:7:ffff::1", "2001:db8:1:8::1")
        one, same_household, another = (open_doors.enter_context(Client(app, (address, 1))) for address in told)
        assert [who.post("/drafts").status_code for who in (one, same_household, another)] == [303, 303, 303]
        assert [who.get("/privacy").status_code for who in (one, same_household, another)] == [429, 429, 200]


def test_without_being_told_the_burst_is_three_hundred() -> None:
    assert Settings.model_fields["public_burst"].default == 300


def test_a_burst_of_none_is_no_limit(data: Path) -> None:
    with Client(create_app(Settings(data=data, public_burst=0))) as client:
        assert {client.get("/api/nothing").status_code for _ in range(310)} == {404}


def test_an_address_or_header_fields_too_large_for_any_are_refused(client: Client) -> None:
    faults_of(client.get("/api/parts?slot=" + "x" * 3000), 414)
    faults_of(client.get("/api/parts", headers={"X-Much": "x" * 20_000}), 431)


def test_head_is_get_without_the_body(client: Client) -> None:
    """RFC 9110, 9.3.2: the same header fields as for GET, and no content."""
    for path in ("/", "/privacy", "/api/parts", "/nothing"):
        got, head = client.get(path), client.request("HEAD", path)
        assert head.status_code == got.status_code
        assert head.content == b""
        assert head.headers["content-type"] == got.headers["content-type"]


def test_robots_are_asked_to_leave_private_addresses_alone(client: Client) -> None:
    rules = client.get("/robots.txt").text.splitlines()
    assert rules[0] == "User-agent: *"  # RFC 9309, 2.2.
    assert {"Disallow: /drafts/", "Disallow: /quotes/", "Disallow: /api/"} <= set(rules)


def test_a_clock_that_is_put_back_makes_nobody_wait_until_it_gets_there_again(monkeypatch: pytest.MonkeyPatch) -> None:
    app, moment = FastAPI(), time.time()

    async def refuse(scope: Scope, receive: Receive, send: Send, status: int, words: str) -> None:
        await PlainTextResponse(words, status)(scope, receive, send)

    app.add_api_route("/here", lambda: "here")
    app.add_middleware(Throttle, refuse=refuse, burst=2)
    with Client(app) as client:
        for at in (moment + 70 * 365 * 86400, moment):
            monkeypatch.setattr(time, "time", lambda at=at: at)
            assert [client.get("/here").status_code for _ in range(3)] == [200, 200, 429]
