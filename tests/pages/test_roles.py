"""Roles by routes: nobody, a customer with another's link, staff and the owner before every route of the program."""

from __future__ import annotations

from dataclasses import dataclass

import httpx
import pytest
from fastapi import FastAPI

from server.usecases.learner import start_draft
from server.usecases.quotes import issue_quote
from server.usecases.worksheets import begin_worksheet
from tests.builders_http import Client
from tests.builders_shop import learner
from tests.house.test_routes import OWNER, PUBLIC, STAFF, routes_of
from tests.pages.reader import FORM

DESK = {**STAFF, **OWNER}
FRESH = {
    "step": "you",
    "slot": "board",
    "name": "mark.svg",
    "digest": "000000000000",
    "link": "abcdefghijklmnopqrstuv",
    "number": "999999",
    "place": "1",
    "entry": "999999",
}
SIGNS_OUT = '<form method="post" action="/sign-out">'
ENDS_THE_SESSION = ("/sign-out", "/account/sessions/end")


@dataclass(frozen=True)
class Stock:
    """What addresses are made of: a draft, a quote with its code, a worksheet."""

    draft: str
    quote: str
    code: str
    worksheet: str


@pytest.fixture
def stock(app: FastAPI) -> Stock:
    """One of each, made by somebody else."""
    with app.state.shop.writing() as work:
        draft = start_draft(work, learner())
        quote = issue_quote(work, learner())
    with app.state.shop.writing("Maeve") as work:
        sheet = begin_worksheet(work)
    return Stock(draft.token, quote.token, quote.code, sheet.token)


def filled(path: str, stock: Stock, *, wrong: str = "") -> str:
    """A route's address with the tokens that belong there, or with another one in their place."""
    token = stock.draft if path.startswith("/drafts") else stock.quote
    token = stock.worksheet if "/worksheets/" in path else token
    values = {**FRESH, "token": wrong or token, "other": wrong or stock.quote, "code": stock.code}
    for name, value in values.items():
        path = path.replace("{" + name + "}", value)
    assert "{" not in path, path
    return path


def asked(client: Client, method: str, address: str) -> httpx.Response:
    if method == "GET":
        return client.get(address)
    return client.post(address, content=b"", headers=FORM)


def goes_to_sign_in(answer: httpx.Response, method: str) -> bool:
    if method == "GET":
        return answer.status_code == 303 and answer.headers["location"].startswith("/sign-in?back=")
    return answer.status_code == 403


def test_nobody_comes_through_a_door_of_the_desk(app: FastAPI, client: Client, stock: Stock) -> None:
    for path, methods in DESK.items():
        for method in methods - {"HEAD"}:
            answer = asked(client, method, filled(path, stock))
            assert goes_to_sign_in(answer, method), f"{method} {path}: {answer.status_code}"
            assert stock.quote not in answer.text


def test_a_customer_with_the_link_of_something_else_finds_nothing(app: FastAPI, client: Client, stock: Stock) -> None:
    named = [path for path in PUBLIC if "{token}" in path and not path.startswith("/api")]
    assert named
    for path in named:
        others = {stock.draft, stock.quote, stock.code, stock.worksheet, "abcdefghijklmnopqrstuv"}
        for wrong in others - {filled("{token}", stock), stock.draft if path.startswith("/drafts") else stock.quote}:
            if path.startswith("/drafts") and wrong == stock.worksheet:
                continue  # A worksheet's draft is a draft: its address is the one that the desk gives away.
            for method in PUBLIC[path] - {"HEAD"}:
                answer = asked(client, method, filled(path, stock, wrong=wrong))
                if path == "/drafts/{token}" or path.endswith(("/news", "/release", "/opened")):
                    assert answer.status_code in (303, 404), f"{method} {path}"
                else:
                    assert answer.status_code in (404, 422), f"{method} {path} with {wrong}: {answer.status_code}"


def test_staff_come_through_their_doors_and_not_through_the_owners(app: FastAPI, staff: Client, stock: Stock) -> None:
    for path, methods in STAFF.items():
        for method in methods - {"HEAD"}:
            if path not in ENDS_THE_SESSION:
                answer = asked(staff, method, filled(path, stock))
                let_in = answer.status_code != 403 or path.endswith("/word")
                assert let_in, f"{method} {path}"
                assert not answer.headers.get("location", "").startswith("/sign-in"), f"{method} {path}"
    for path, methods in OWNER.items():
        for method in methods - {"HEAD"}:
            assert asked(staff, method, filled(path, stock)).status_code == 403, f"{method} {path}"


def test_the_owner_comes_through_every_door_to_what_no_browser_keeps_and_where_each_page_signs_out(
    app: FastAPI, owner: Client, stock: Stock
) -> None:
    pages = 0
    for path, methods in DESK.items():
        for method in methods - {"HEAD"}:
            if path not in ENDS_THE_SESSION:
                answer = asked(owner, method, filled(path, stock))
                assert answer.status_code not in (403, 500), f"{method} {path}"
                assert not answer.headers.get("location", "").startswith("/sign-in"), f"{method} {path}"
                assert answer.headers["cache-control"] == "no-store", f"{method} {path}"
                if "<main" in answer.text:
                    assert SIGNS_OUT in answer.text, f"{method} {path}"
                    pages += 1
    assert pages > 100


def test_no_door_of_the_desk_tells_anybody_without_a_session_whether_a_thing_exists(
    client: Client, stock: Stock
) -> None:
    there = client.get(f"/desk/quotes/{stock.code}")
    nowhere = client.get("/desk/quotes/00000000")
    assert (there.status_code, there.text) == (nowhere.status_code, nowhere.text)


def test_the_table_of_routes_is_the_programs(app: FastAPI) -> None:
    assert set(routes_of(app)) == set(PUBLIC) | set(STAFF) | set(OWNER)
