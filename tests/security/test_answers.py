"""Every kind of answer of every address: the headers it carries, and that looking changes nothing."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace

import httpx
import pytest
from fastapi import FastAPI
from sqlmodel import Session

from server.usecases.learner import start_draft
from server.usecases.photos import keep_photos, photos_of
from server.usecases.quotes import issue_quote
from server.usecases.work import Shop
from server.usecases.worksheets import begin_worksheet
from tests.builders_http import Client
from tests.builders_pieces import drawn_photo
from tests.builders_shop import learner
from tests.house.test_routes import OWNER, PUBLIC, STAFF
from tests.pages.reader import FORM
from tests.pages.test_roles import Stock, filled

A_YEAR_EVERYWHERE = "max-age=31536000; includeSubDomains"
TEXT = re.compile(r"text/|[^;]+\+xml")
NOTES_THE_LOOK = {
    "/desk/deposits/{code}",  # A code that leads nowhere is counted, so that nobody tries them all.
}
"""What of a shop is written while somebody looks: that they looked (RFC 9110, 9.2.1, has that as no fault of a safe method)."""
FILES = {
    "/console/files/export?name=catalogue.zip": "application/zip",
    "/console/files/export?name=catalogue.xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "/console/files/export?name=boards.csv": "text/csv; charset=utf-8",
    "/console/files/export?name=policy.toml": "application/toml",
    "/console/record/export.csv": "text/csv; charset=utf-8",
    "/console/orders/list.csv": "text/csv; charset=utf-8",
    "/console/orders/list.xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "/desk/deposits/export.csv": "text/csv; charset=utf-8",
    "/desk/deposits/vat.csv": "text/csv; charset=utf-8",
    "/desk/papers/export.csv": "text/csv; charset=utf-8",
}


def rules_of(answer: httpx.Response) -> dict[str, str]:
    """The rules of an answer's content security policy."""
    pairs = (rule.strip().partition(" ") for rule in answer.headers["content-security-policy"].split(";"))
    return {name: value for name, _, value in pairs}


def check_headers(answer: httpx.Response) -> None:
    """What OWASP ASVS 5.0, V3.4 and V4.1.1, wants of every answer."""
    headers, rules = answer.headers, rules_of(answer)
    assert headers["strict-transport-security"] == A_YEAR_EVERYWHERE
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["cross-origin-opener-policy"] == headers["cross-origin-resource-policy"] == "same-origin"
    assert rules["default-src"] == rules["object-src"] == rules["base-uri"] == rules["frame-ancestors"] == "'none'"
    assert "unsafe" not in headers["content-security-policy"]
    assert not [name for name in headers if name.startswith("access-control-")]
    kind = headers.get("content-type", "")
    assert kind or not answer.content
    assert not TEXT.match(kind) or kind.endswith("; charset=utf-8"), kind


@pytest.fixture
def stock(app: FastAPI) -> Stock:
    """A draft, a quote and a worksheet, for the addresses that name one."""
    with app.state.shop.writing() as work:
        draft, quote = start_draft(work, learner()), issue_quote(work, learner())
    with app.state.shop.writing("Maeve") as work:
        return Stock(draft.token, quote.token, quote.code, begin_worksheet(work).token)


class Refusing:
    """Opens sessions to read, and none to write."""

    def __init__(self, sessions: Callable[[bool], Session]) -> None:
        self.sessions = sessions

    def __call__(self, for_writing: bool) -> Session:
        assert not for_writing, "somebody who only looks was about to write"
        return self.sessions(False)


@pytest.fixture
def read_only(app: FastAPI, stock: Stock, owner: Client) -> Iterator[Client]:
    """The owner before a shop of which nothing can be changed: whoever tries gets a 500."""
    shop: Shop = app.state.shop
    app.state.shop = replace(shop, sessions=Refusing(shop.sessions))
    yield owner
    app.state.shop = shop


def test_looking_anywhere_changes_nothing_and_every_answer_carries_the_safe_headers(
    read_only: Client, stock: Stock
) -> None:
    statuses, wanted_to_write = set(), set()
    for path, methods in {**PUBLIC, **STAFF, **OWNER}.items():
        if "GET" in methods:
            answer = read_only.get(filled(path, stock))
            check_headers(answer)
            statuses.add(answer.status_code)
            if answer.status_code == 500:
                wanted_to_write.add(path)
    assert wanted_to_write == NOTES_THE_LOOK
    assert {200, 303, 404} <= statuses
    assert read_only.post("/drafts").status_code == 500, "a shop that refuses to write is told apart"


def test_files_are_for_saving_and_nothing_in_them_runs(owner: Client) -> None:
    for address, kind in FILES.items():
        answer = owner.get(address)
        assert (answer.status_code, answer.headers["content-type"]) == (200, kind), address
        check_headers(answer)
        assert "sandbox" in rules_of(answer), address
        assert re.fullmatch(r'attachment; filename="[A-Za-z0-9._-]+"', answer.headers["content-disposition"]), address


def test_a_photograph_is_a_picture_and_nothing_else(app: FastAPI, client: Client) -> None:
    with app.state.shop.writing("Orla") as work:
        keep_photos(work, "part:DUN-72", [drawn_photo()])
        [photo] = photos_of(work, "part:DUN-72")
        work.commit()
    answer = client.get(f"/photos/{photo.token}")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "image/jpeg")
    check_headers(answer)
    assert "sandbox" in rules_of(answer)


def test_a_paper_names_its_file_by_our_own_words(client: Client, stock: Stock) -> None:
    answer = client.get(f"/quotes/{stock.quote}/pdf")
    check_headers(answer)
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["content-disposition"] == f'inline; filename="quote-{stock.code}.pdf"'


def test_what_goes_wrong_carries_them_too_and_tells_no_trace(app: FastAPI, client: Client) -> None:
    def broken(for_writing: bool) -> Session:
        raise LookupError("a secret of ours")

    shop = app.state.shop
    app.state.shop = Shop(broken, shop.clock)
    with ExitStack() as left:
        left.callback(setattr, app.state, "shop", shop)
        answers = [client.get("/"), client.get("/api/parts"), client.post("/units", content=b"x" * 70_000)]
    answers += [client.request(method, "/") for method in ("TRACE", "PUT", "OPTIONS")]
    answers += [
        client.get("/" + "x" * 3000),
        client.get("/nothing"),
        client.post("/sign-out", content=b"", headers=FORM),
    ]
    assert [answer.status_code for answer in answers] == [500, 500, 413, 405, 405, 405, 414, 404, 403]
    for answer in answers:
        check_headers(answer)
        for told in ("secret of ours", "Traceback", "LookupError", ".py"):
            assert told not in answer.text


HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(2)> {{7*7777}} ${7*7777} #{eval(1)} {a.__class__}'


def test_what_people_type_is_text_wherever_it_is_shown(client: Client, staff: Client, stock: Stock) -> None:
    """OWASP, Cross Site Scripting Prevention: output is escaped for where it stands; nor is it a template or a format."""
    said = {"name": HOSTILE[:80], "phone": "+353 20 910 0001", "about": HOSTILE, "day": "2026-11-30", "at": "10:00"}
    kept = staff.post("/desk/calls", data=said, headers=FORM)
    shown = [kept, staff.get("/desk"), staff.get("/desk/find", params={"q": HOSTILE[:90]})]
    shown.append(client.post("/units", data={"units-mass": HOSTILE}, headers=FORM))
    shown.append(client.post(f"/quotes/{stock.quote}/agree", data={"name": HOSTILE, "email": HOSTILE}, headers=FORM))
    assert any("&lt;script&gt;" in answer.text for answer in shown)
    for answer in shown:
        assert "<script>" not in answer.text
        assert "<img src=x" not in answer.text
        assert str(7 * 7777) not in answer.text
    asked = client.post("/api/quotes/guessed/agree", content=json.dumps({HOSTILE: 1}).encode())
    assert asked.headers["content-type"] == "application/json"
    assert asked.json()["errors"]


@pytest.mark.parametrize("number", [str(2**31), str(2**63), "9" * 30, "-1", "%00", "٣"])
def test_a_number_that_no_row_can_have_is_no_fault_of_the_database(owner: Client, stock: Stock, number: str) -> None:
    numbered = [path for path in {**STAFF, **OWNER} if "{number}" in path or "{entry}" in path]
    chosen = [path for path, methods in {**STAFF, **OWNER}.items() if path in numbered and "GET" in methods]
    assert len(chosen) > 15
    for path in chosen:
        odd = path.replace("{number}", number).replace("{entry}", number)
        assert owner.get(filled(odd, stock)).status_code in (404, 422), odd
