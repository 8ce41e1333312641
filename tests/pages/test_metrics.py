"""What whoever watches over the shop measures: who may ask, what is told, and what never is."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import NoReturn

import pytest
from fastapi import FastAPI
from prometheus_client import Metric
from pydantic import SecretStr
from sqlalchemy.exc import OperationalError

from server.app import create_app
from server.settings import Settings
from server.usecases.stock import confirm_hold
from tests.builders_http import ADDRESS, Client
from tests.builders_metrics import metrics_in, value_of
from tests.builders_sales import agreed_quote
from tests.house.test_routes import routes_of

TOKEN = "of-whoever-watches-over-it"
SAID = {"Authorization": f"Bearer {TOKEN}"}
BURST = 12


@pytest.fixture
def measured(data: Path) -> Iterator[FastAPI]:
    """The application with metrics, and throttled."""
    made = create_app(Settings(data=data, metrics_token=SecretStr(TOKEN), public_burst=BURST, base_address=ADDRESS))
    yield made
    made.state.shop.close()


def told(app: FastAPI) -> dict[str, Metric]:
    """What the metrics say to somebody at an address of their own."""
    with Client(app, ("192.0.2.200", 1)) as watcher:
        answer = watcher.get("/metrics", headers=SAID)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/plain; version=0.0.4; charset=utf-8"
    assert answer.headers["cache-control"] == "no-store"
    return metrics_in(answer.text)


def test_without_a_token_in_the_settings_there_are_no_metrics(built: FastAPI) -> None:
    with Client(built) as client:
        assert client.get("/metrics").status_code == 404
        assert client.get("/metrics", headers={"Authorization": "Bearer "}).status_code == 404


WRONG = ("", "Bearer", "Bearer ", f"Bearer {TOKEN}x", f"bearer: {TOKEN}", f"Basic {TOKEN}", TOKEN, "Bearer é")


def test_only_who_says_the_token_is_told(measured: FastAPI) -> None:
    with Client(measured) as client:
        answers = [client.get("/metrics", headers={b"authorization": said.encode()}) for said in WRONG]
        answers.append(client.get("/metrics", params={"token": TOKEN}))
    for answer in answers:
        assert answer.status_code == 401
        assert answer.headers["www-authenticate"] == "Bearer"  # RFC 6750, 3.
        assert "slackwater_" not in answer.text


def test_requests_are_counted_by_method_pattern_and_class_and_no_address_stands_in_them(measured: FastAPI) -> None:
    quote = agreed_quote(measured.state.shop)
    with Client(measured) as client:
        for path in (f"/quotes/{quote.token}", "/nothing", "/nothing/else?of=them", "/drafts/guessed-address"):
            client.get(path)
        client.request("HEAD", "/nothing")
        client.request("PURGE", "/privacy")
        client.post_json("/api/fit", {}, headers={"Origin": "https://elsewhere.example"})
        client.post("/api/fit", content=b"x" * 70_000)
        assert client.get("/", headers=[("Host", "a.example"), ("Host", "b.example")]).status_code == 400
        for _ in range(BURST):
            client.get("/words")
    found = told(measured)
    requests = "slackwater_http_requests_total"
    assert value_of(found, requests, method="GET", route="/quotes/{token}", status="2xx") == 1
    assert value_of(found, requests, method="GET", route="/drafts/{token}", status="3xx") == 1
    assert value_of(found, requests, method="GET", route="unmatched", status="4xx") == 3 + 8 + 1, (
        "and what was refused before"
    )
    assert value_of(found, requests, method="other", route="/privacy", status="4xx") == 1
    assert value_of(found, requests, method="POST", route="unmatched", status="4xx") == 2
    assert value_of(found, requests, method="GET", route="/words", status="2xx") == 4
    assert value_of(found, "slackwater_http_request_duration_seconds_count", method="GET", route="/words") == 4
    refused = "slackwater_http_requests_refused_total"
    refusals = {
        because: value_of(found, refused, because=because)
        for because in ("throttled", "forged", "too_large", "malformed")
    }
    assert refusals == {"throttled": 8, "forged": 1, "too_large": 1, "malformed": 1}
    assert value_of(found, "slackwater_http_requests_in_flight") == 1, "the question itself"

    labels = {
        (name, value) for metric in found.values() for one in metric.samples for name, value in one.labels.items()
    }
    assert {value for name, value in labels if name == "route"} <= {*routes_of(measured), "unmatched"}
    assert {value for name, value in labels if name == "method"} <= {"GET", "POST", "other"}
    assert not any(quote.token in value or "guessed" in value for _, value in labels)


def test_the_shop_is_told_in_numbers_and_the_machine_in_the_usual_ones(measured: FastAPI) -> None:
    shop = measured.state.shop
    quote = agreed_quote(shop)
    with shop.writing("Maeve") as work:
        confirm_hold(work, quote.token)
        past = work.now
    shop.clock = lambda: past + timedelta(minutes=3)
    found = told(measured)
    assert value_of(found, "slackwater_database_up") == 1
    assert value_of(found, "slackwater_holds_open") == 1
    states = {state: value_of(found, "slackwater_messages", state=state) for state in ("waiting", "sent", "given_up")}
    assert states == {"waiting": 1, "sent": 0, "given_up": 0}
    assert value_of(found, "slackwater_messages_longest_wait_seconds") == pytest.approx(180, abs=5)
    assert value_of(found, "slackwater_catalogue_version") == 1
    assert value_of(found, "slackwater_work_duration_seconds_count", kind="writing") > 0
    assert value_of(found, "process_resident_memory_bytes") > 50_000_000
    assert value_of(found, "process_start_time_seconds") > 1_700_000_000


def test_a_database_that_does_not_answer_is_told_as_such(measured: FastAPI) -> None:
    def gone(_for_writing: bool) -> NoReturn:
        raise OperationalError("SELECT", {}, Exception("gone"))

    measured.state.shop.sessions = gone
    found = told(measured)
    assert value_of(found, "slackwater_database_up") == 0
    assert "slackwater_holds_open" not in found
    assert "process_start_time_seconds" in found


def test_without_the_folder_of_the_counts_the_shop_is_told_all_the_same(measured: FastAPI, tmp_path: Path) -> None:
    measured.state.meters.folder = str(tmp_path / "tidied-away")
    found = told(measured)
    assert value_of(found, "slackwater_database_up") == 1
    assert "slackwater_http_requests_total" not in found


def test_names_are_as_the_practice_of_prometheus_wants_them(measured: FastAPI) -> None:
    """https://prometheus.io/docs/practices/naming/: one prefix, base units, plural units last, `_total` for what only grows."""
    for name, metric in told(measured).items():
        assert re.fullmatch(r"(slackwater|process)_[a-z]+(_[a-z]+)*", name)
        assert metric.documentation.endswith(".")
        assert metric.type in ("counter", "gauge", "histogram")
        assert not re.search(
            r"milli|micro|minutes|hours|days|kilo|mega|_ms|_mb|_count$|_sum$|_bucket$|gauge|counter", name
        )
        assert all(one.name.endswith("_total") == (metric.type == "counter") for one in metric.samples)
        assert metric.type != "histogram" or name.endswith(("_seconds", "_bytes"))
        assert all(
            re.fullmatch(r"[a-z]+", label) and label not in name for one in metric.samples for label in one.labels
        )
