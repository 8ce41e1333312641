"""What stands in the log and what never does, whatever happens: every line as the program writes it, at its most talkative."""

from __future__ import annotations

import io
import json
import logging
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import quote

import pytest
from fastapi import FastAPI
from sqlalchemy import text

from server.usecases.accounts import make_owner_link
from server.usecases.learner import start_draft
from server.usecases.quotes import issue_quote
from server.usecases.work import Shop
from server.web.guard import SESSION_COOKIES, masked
from server.web.log import CHATTY, json_handler
from tests.builders_accounts import WORDS, account_token
from tests.builders_http import SOMEBODY, Client
from tests.builders_shop import learner
from tests.house.test_routes import OWNER, PUBLIC, STAFF
from tests.pages.reader import FORM, Reader, encoded

NAME, MAIL, PHONE = "Zebedee Quillfeather", "zebedee@quillfeather.example", "+353 1 555 0188"
WRONG = "nobody wrote these words"
THE_CLIENTS_OWN = ("httpx", "httpcore")
on_one = pytest.mark.parametrize("place", ["sqlite"], indirect=True)


class Lines:
    """All that was logged."""

    def __init__(self, stream: io.StringIO) -> None:
        self.stream = stream

    @property
    def text(self) -> str:
        """As it was written."""
        return self.stream.getvalue()

    def all(self, **said: Any) -> list[dict[str, Any]]:
        """The lines that say this; each must be one JSON object."""
        read = [json.loads(line) for line in self.text.splitlines()]
        return [line for line in read if all(line.get(name) == value for name, value in said.items())]


@pytest.fixture
def lines() -> Iterator[Lines]:
    """What is logged from here on, as `serve` sets it up, at the level debug; the test's own program apart."""
    root = logging.getLogger()
    before, level = root.handlers[:], root.level
    root.handlers[:] = []
    stream = io.StringIO()
    handler = json_handler(stream)
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)
    for chatty in CHATTY:
        logging.getLogger(chatty).setLevel(logging.WARNING)
    handler.addFilter(lambda record: not record.name.startswith(THE_CLIENTS_OWN))
    yield Lines(stream)
    root.handlers[:] = before
    root.setLevel(level)


def sign_in(client: Client, name: str, password: str) -> int:
    said = encoded([("name", name), ("password", password)])
    return client.post("/sign-in", content=said, headers=FORM).status_code


@on_one
def test_nobodys_name_address_password_or_token_is_logged_even_where_a_request_fails(
    app: FastAPI, client: Client, lines: Lines
) -> None:
    shop: Shop = app.state.shop
    with shop.writing("command") as work:
        link = make_owner_link(work, "Orla Quillfeather")
    session = account_token(shop, "Orla", "owner")
    with shop.writing() as work:
        secrets = [start_draft(work, learner()).token]
        kept = issue_quote(work, learner())
    secrets += [kept.token, link, session, WORDS, WRONG, "Orla"]
    person = encoded([("name", NAME), ("email", MAIL), ("phone", PHONE), ("revision", "1")])
    for address in (
        f"/drafts/{secrets[0]}/kit",
        f"/quotes/{kept.token}",
        f"/welcome/{link}",
        f"/desk/holds/{kept.code}/let-go",
    ):
        client.get(address)
    with shop.writing() as work:
        work.session.execute(
            text("CREATE TRIGGER breaks BEFORE INSERT ON hold BEGIN SELECT RAISE(ABORT, 'broken'); END")
        )
        work.commit()
    assert client.post(f"/quotes/{kept.token}/agree", content=person, headers=FORM).status_code == 500
    with shop.writing() as work:
        work.session.execute(text("DROP TRIGGER breaks"))
        work.commit()
    assert client.post(f"/quotes/{kept.token}/agree", content=person, headers=FORM).status_code == 303
    assert sign_in(client, NAME, WRONG) == 422
    assert sign_in(client, "Orla", WORDS) == 303
    Reader(client).open("/desk").press("Find", q=NAME)
    Reader(client).open("/console/people").press("Look", email=MAIL, phone=PHONE)
    [failed] = lines.all(level="ERROR")
    assert "IntegrityError" in failed["exc_info"]
    assert "line " in failed["exc_info"], "where it happened is said"
    assert "Zebedee" not in lines.text
    assert "Quillfeather" not in lines.text
    everything = lines.text
    for secret in (NAME, MAIL, PHONE, kept.code, SOMEBODY[0], *secrets):
        for spelled in (secret, quote(secret), quote(secret, safe="")):
            assert spelled not in everything, secret


def test_a_fault_is_told_by_its_kind_and_place_without_its_words() -> None:
    stream = io.StringIO()
    handler = json_handler(stream)
    try:
        try:
            raise KeyError(MAIL)
        except KeyError as error:
            raise ValueError(f"Key (email)=({MAIL}) already exists") from error
    except ValueError as error:
        handler.handle(logging.LogRecord("x", logging.ERROR, __file__, 1, "broken", None, (type(error), error, None)))
    told = json.loads(stream.getvalue())
    assert told["exc_info"].splitlines()[0] == "ValueError"
    assert "KeyError" in told["exc_info"]
    assert "test_log.py" in told["exc_info"]
    assert MAIL not in stream.getvalue()


@on_one
def test_who_signed_in_by_what_and_who_was_refused_is_logged_with_number_moment_and_request(
    app: FastAPI, client: Client, staff: Client, lines: Lines
) -> None:
    account_token(app.state.shop, "Orla", "owner")
    sign_in(client, "Orla", WRONG)
    sign_in(client, "Nobody", WRONG)
    entered = client.post("/sign-in", content=encoded([("name", "Orla"), ("password", WORDS)]), headers=FORM)
    [refused, unknown] = lines.all(deed="sign-in refused")
    [signed] = lines.all(deed="signed in by password", request_id=entered.headers["x-request-id"])
    assert (refused["who"], unknown["who"], signed["who"]) == (1, "unknown", 1)
    assert refused["at"] == unknown["at"] == signed["at"] != SOMEBODY[0], (
        "one address is one, and nobody can read which"
    )
    assert datetime.fromisoformat(signed["time"]).utcoffset() == timedelta(0)
    staff.get("/console")
    client.keep_cookie(SESSION_COOKIES[1], "nobodys")
    client.get("/desk")
    client.post("/sign-in", headers={"Sec-Fetch-Site": "cross-site"})
    app.state.settings = app.state.settings.model_copy(update={"second_factor": "everyone"})
    staff.get("/desk")
    [lacking] = lines.all(message="second factor missing")
    assert (lacking["who"], lacking["path"], lacking["level"]) == (2, "/desk", "WARNING")
    [of_role] = lines.all(message="not allowed to this role")
    [unsigned] = lines.all(message="not signed in")
    [forged] = lines.all(message="refused before any page")
    assert (of_role["who"], of_role["path"], of_role["level"]) == (2, "/console", "WARNING")
    assert ("who" in unsigned, unsigned["path"]) == (False, "/desk")
    assert (forged["status"], forged["path"]) == (403, "/sign-in")
    assert [line["who"] for line in lines.all(message="request", path="/console")] == [2]


@on_one
def test_a_guesser_who_is_held_back_and_who_asks_for_too_much_are_logged(
    app: FastAPI, client: Client, lines: Lines
) -> None:
    for _ in range(6):
        sign_in(client, "Nobody", WRONG)
    [held] = lines.all(message="a try has to wait")
    assert held["counted"] == {"account": 5, "address": 5}
    person = encoded([("name", NAME), ("email", MAIL), ("revision", "1")])
    for _ in range(3):
        with app.state.shop.writing() as work:
            kept = issue_quote(work, learner())
        client.post(f"/quotes/{kept.token}/agree", content=person, headers=FORM)
    client.post_json(f"/api/quotes/{kept.token}/agree", {"name": NAME, "email": MAIL, "revision": 1})
    said = [(line["path"], line["status"], line["level"]) for line in lines.all(message="too many")]
    paths = ("/sign-in", "/quotes/…/agree", "/api/quotes/…/agree")
    assert said == [(path, 429, "WARNING") for path in paths], "one line each, by page and interface"
    assert MAIL not in lines.text


@on_one
@pytest.mark.parametrize("put", ["%0d%0a%7B%22level%22%3A%22ERROR%22%7D", "%E2%80%A8", "%1b%5b2J", "%00"])
def test_nobody_writes_a_line_of_their_own_into_the_log(client: Client, lines: Lines, put: str) -> None:
    client.get(f"/words{put}", headers={"X-Request-ID": "mine", "User-Agent": "Mozilla\tmine"})
    [line] = lines.all(logger="slackwater.requests")
    assert (line["status"], line["level"]) == (404, "INFO")
    assert lines.text.isascii()
    assert {one["logger"] for one in lines.all()} <= {"slackwater.requests", "asyncio"}
    assert "mine" not in lines.text


@on_one
def test_of_an_address_that_leads_nowhere_only_a_word_of_ours_is_logged(client: Client, lines: Lines) -> None:
    token = "koHEavqFWHSr4nsXH4aZz5cWEtw-yzA-"
    said = {
        f"/Quotes/{token}": "/…/…",
        f"/quotes{token}": "/…",
        f"/quote/{token}/pdf": "/quote/…",
        f"/desk/nothing/{NAME}": "/desk/…",
        "/.env": "/.env",
    }
    for path in said:
        assert client.get(path).status_code == 404
    assert [line["path"] for line in lines.all(logger="slackwater.requests")] == list(said.values())


def test_what_opens_something_is_masked_in_every_address() -> None:
    secret = "abcdefghijklmnop"
    opening = [
        path
        for path in (*PUBLIC, *STAFF, *OWNER)
        if any(part in path for part in ("{token}", "{link}", "{other}", "{code}"))
    ]
    assert len(opening) > 40
    for path in opening:
        for part in ("{token}", "{link}", "{other}", "{code}"):
            path = path.replace(part, secret)
        assert secret not in masked(path), path
        assert secret not in masked(path.replace("/", "//")), "as some mail programs mangle it"
