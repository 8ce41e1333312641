"""A program that talks to the application over its front door, and what every answer must hold to."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from types import TracebackType
from typing import Any, Self

import httpx
from fastapi import FastAPI

from tests.pace import IS_WHOLE

ADDRESS = "https://slackwater.example"
SOMEBODY = ("198.51.100.7", 40000)
ENCODING = {} if IS_WHOLE else {"Accept-Encoding": "identity"}
"""Under CI answers come packed, as browsers ask for them; else nobody packs each page to unpack it at once."""


class Client:
    """Sends one request after another, in the calling thread; a fault of the application is an answer of 500."""

    def __init__(self, app: FastAPI, address: tuple[str, int] = SOMEBODY) -> None:
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False, client=address)
        self._client = httpx.AsyncClient(
            transport=transport, base_url=ADDRESS, headers=ENCODING, verify=False, trust_env=False
        )
        self._runner = asyncio.Runner()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._runner.run(self._client.aclose())
        self._runner.close()

    def keep_cookie(self, name: str, value: str) -> None:
        """Send a cookie with every request from now on."""
        self._client.cookies.set(name, value)

    def request(self, method: str, path: str, **said: Any) -> httpx.Response:
        """Any request."""
        return self._runner.run(self._client.request(method, path, **said))

    def get(self, path: str, **said: Any) -> httpx.Response:
        """A GET."""
        return self.request("GET", path, **said)

    def post(self, path: str, **said: Any) -> httpx.Response:
        """A POST."""
        return self.request("POST", path, **said)

    def post_json(self, path: str, body: Any, **said: Any) -> httpx.Response:
        """A POST of JSON in plain ASCII, so that any text can be sent."""
        headers = {"Content-Type": "application/json", **said.pop("headers", {})}
        return self.post(path, content=json.dumps(body).encode("ascii"), headers=headers, **said)

    def told(self, path: str, body: Any, status: int = 200, **said: Any) -> dict[str, Any]:
        """What a POST of JSON answers, which must be of this status."""
        answer = self.post_json(path, body, **said)
        assert answer.status_code == status, answer.text
        told: dict[str, Any] = answer.json()
        return told

    def faults(self, path: str, body: Any, status: int = 422, **said: Any) -> list[dict[str, str]]:
        """The faults that a POST of JSON is answered with."""
        return faults_of(self.post_json(path, body, **said), status)


def faults_of(answer: httpx.Response, status: int) -> list[dict[str, str]]:
    """The faults of an answer, which must be in the one shape that all errors have."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/json"
    told = answer.json()
    assert set(told) == {"errors"}
    assert told["errors"]
    for fault in told["errors"]:
        assert set(fault) == {"field", "message", "accepted"}
        assert all(isinstance(text, str) for text in fault.values())
        assert fault["message"]
    faults: list[dict[str, str]] = told["errors"]
    return faults


def fields_of(faults: list[dict[str, str]]) -> list[str]:
    """Where the faults stand."""
    return [fault["field"] for fault in faults]


def names_in(value: Any) -> Iterator[str]:
    """Every name in a JSON value, at any depth."""
    if isinstance(value, dict):
        yield from value
        for inner in value.values():
            yield from names_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from names_in(inner)


def check_sums(price: dict[str, Any]) -> None:
    """Whether a whole price adds up to the cent: lines, discount, balance and the VAT's gross."""
    lines = price["lines"]
    amounts = [line[name] for line in lines for name in ("list", "charged", "discount", "worth")]
    sums = [
        price[name]
        for name in ("discount", "trade_in", "deposit_back", "voucher", "delivery", "balance", "owed_to_customer")
    ]
    assert all(type(amount) is int and amount >= 0 for amount in [*amounts, *sums])
    assert all(line["charged"] == line["list"] - line["discount"] for line in lines)
    assert price["discount"] == sum(line["discount"] for line in lines)
    charged = sum(line["charged"] for line in lines)
    due = charged + price["delivery"] - price["trade_in"] - price["deposit_back"] - price["voucher"]
    assert due == price["balance"] - price["owed_to_customer"]
    assert price["balance"] == 0 or price["owed_to_customer"] == 0
    assert sum(share["gross"] for share in price["vat"]) == charged + price["delivery"]
