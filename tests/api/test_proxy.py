"""Whom the server believes about where a request came from: the proxies of the settings, and nobody else."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from server.app import configured, create_app
from server.settings import Settings
from tests.builders_http import ADDRESS, Client
from tests.builders_shop import learner

PROXY, NETWORK, PERSON, LIAR = "192.0.2.7", "10.0.0.0/8", "203.0.113.9", "198.51.100.1"


async def who(request: Request) -> Response:
    assert request.client is not None
    return PlainTextResponse(f"{request.url.scheme} {request.client.host}")


def behind(settings: Settings, app: FastAPI) -> Any:
    """An application as the server runs it with these settings."""
    config = configured(settings, app)
    config.load()
    return config.loaded_app


SEEN_AS = [
    ("", PROXY, PERSON, f"http {PROXY}"),
    ("", "127.0.0.1", PERSON, "http 127.0.0.1"),
    (PROXY, PROXY, PERSON, f"https {PERSON}"),
    (PROXY, PROXY, f"{PERSON}:4711", f"https {PERSON}"),
    (PROXY, PERSON, LIAR, f"http {PERSON}"),
    (PROXY, PROXY, f"{LIAR}, {PERSON}", f"https {PERSON}"),
    (PROXY, PROXY, f"{PROXY}, {PERSON}", f"https {PERSON}"),
    (f"{NETWORK}, {PROXY}", "10.3.2.1", f"{LIAR}, {PERSON}, {PROXY}", f"https {PERSON}"),
    (NETWORK, "11.0.0.1", PERSON, "http 11.0.0.1"),
    ("2001:db8::/32", "2001:db8::7", "2001:db9::1", "https 2001:db9::1"),
]


@pytest.mark.parametrize(("believed", "peer", "said", "seen"), SEEN_AS)
def test_the_last_address_that_is_no_proxy_of_ours_is_the_clients(
    believed: str, peer: str, said: str, seen: str
) -> None:
    app = behind(Settings(forwarded_allow_ips=believed), FastAPI(routes=[Route("/", who)]))
    with Client(app, (peer, 1)) as client:
        headers = {"X-Forwarded-For": said, "X-Forwarded-Proto": "https"}
        # The client's own address says https; the server has http, as it does behind a proxy that ends TLS.
        assert client.get("http://shop/", headers=headers).text == seen


def test_throttling_counts_the_client_and_no_header_makes_a_link(data: Path) -> None:
    settings = Settings(data=data, base_address=ADDRESS, forwarded_allow_ips=PROXY, public_burst=3)
    app = create_app(settings)
    lies = {"X-Forwarded-Host": "elsewhere.example", "X-Forwarded-Proto": "http", "Host": "elsewhere.example"}
    with Client(behind(settings, app), (PROXY, 1)) as client:
        forwarded = [f"198.51.100.{number}, {PERSON}" for number in range(4)]
        answers = [client.get("/api/parts", headers={"X-Forwarded-For": said}) for said in forwarded]
        assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
        made = client.post_json("/api/quotes", {"answers": learner()}, headers={"X-Forwarded-For": LIAR, **lies})
        assert made.json()["url"].startswith(f"{ADDRESS}/quotes/")
        # What is kept counts for several, so somebody else looks at it.
        page = client.get(made.json()["url"], headers={"X-Forwarded-For": "192.0.2.77", **lies})
        assert page.status_code == 200
        assert "elsewhere.example" not in page.text + str(page.headers)
    app.state.shop.close()
