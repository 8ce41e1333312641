"""What whoever watches over the server asks: is it alive, can it serve; and requests named in the log."""

from __future__ import annotations

import json
import logging
import os
import sys
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, text

from server.settings import Settings
from server.web.guard import named_by_request
from server.web.log import json_handler
from tests.builders_http import Client

NAME = "x-request-id"


def test_a_server_that_serves_is_alive_and_ready(client: Client) -> None:
    assert client.get("/healthz").text == "alive\n"
    answer = client.get("/readyz")
    assert (answer.status_code, answer.text) == (200, "database: ok\nschema: ok\ndisk: ok\nclock: ok\n")
    assert answer.headers["cache-control"] == "no-store"


def test_it_is_alive_but_not_ready_over_another_schema(client: Client, engine: Engine) -> None:
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '0001'"))
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert "schema: it is 0001, this program wants 0" in answer.text
    assert client.get("/healthz").status_code == 200


def test_it_is_not_ready_without_its_schema_its_database_or_its_folder(
    client: Client, app: FastAPI, engine: Engine, tmp_path: Path
) -> None:
    with engine.begin() as connection:
        connection.execute(text("DROP TABLE alembic_version"))
    assert "schema: it is empty" in client.get("/readyz").text
    app.state.settings = Settings(data=tmp_path / "nowhere", public_burst=0)
    answer = client.get("/readyz")
    assert (answer.status_code, "disk: the data folder cannot be written" in answer.text) == (503, True)
    assert str(tmp_path) not in answer.text


class Kept(logging.Handler):
    """Keeps the lines of a log."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[logging.LogRecord] = []
        self.addFilter(named_by_request)

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(record)


@pytest.fixture
def kept() -> Iterator[Kept]:
    """The log of the program, as it is written."""
    log, handler = logging.getLogger("slackwater"), Kept()
    level = log.level
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    yield handler
    log.removeHandler(handler)
    log.setLevel(level)


def test_every_line_of_a_request_has_the_name_that_its_answer_carries(client: Client, app: FastAPI, kept: Kept) -> None:
    app.state.shop = None  # So that the page breaks, and says so in the log.
    answers = [client.get("/used", headers={NAME: "mine"}) for _ in range(2)]
    names = [answer.headers[NAME] for answer in answers]
    assert all(answer.headers["x-content-type-options"] == "nosniff" for answer in answers), "as every answer"
    assert [answer.status_code for answer in answers] == [500, 500]
    assert len({*names, "mine"}) == 3
    told = [(record.name, getattr(record, "request_id", "")) for record in kept.lines]
    for name in names:
        assert ("slackwater.errors", name) in told
        assert ("slackwater.requests", name) in told


def test_a_trace_is_part_of_one_line_of_json(capsys: pytest.CaptureFixture[str]) -> None:
    handler = json_handler()
    try:
        raise ValueError("two\nlines")
    except ValueError:
        record = logging.LogRecord("some.library", logging.ERROR, __file__, 1, "it %s", ("broke",), sys.exc_info())
    handler.handle(record)
    [line] = capsys.readouterr().err.splitlines()
    told = json.loads(line)
    assert (told["level"], told["logger"], told["message"], told["process"]) == (
        "ERROR",
        "some.library",
        "it broke",
        os.getpid(),
    )
    assert told["exc_info"].startswith("ValueError\n")
    assert datetime.fromisoformat(told["time"]).utcoffset() == timedelta(0)
