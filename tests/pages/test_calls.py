"""Promising a call and ticking it off over the front door."""

from __future__ import annotations

from fastapi import FastAPI

from server.usecases.quotes import issue_quote
from tests.builders_http import Client
from tests.builders_shop import Clock, learner
from tests.pages.reader import FORM, Reader, encoded, text_of

CALL = {"name": "Some One", "phone": "020 910 0123", "about": "the hand wing", "day": "2026-11-25", "at": "12:20"}


def test_a_call_is_promised_stands_on_the_desk_and_is_done(app: FastAPI, staff: Client, clock: Clock) -> None:
    with app.state.shop.writing() as work:
        code = issue_quote(work, learner()).code
    desk = Reader(staff).open("/desk").press("Promise the call", **CALL, code=code)
    assert (desk.status, desk.address) == (200, "/desk")
    [row] = [text_of(one) for one in desk.page.iter("tr") if "the hand wing" in text_of(one)]
    for words in ("12:20", "Some One", "020 910 0123", "promised by Maeve", f"{code[:4]} {code[4:]}"):
        assert words in row
    assert "overdue" not in row
    clock.forward(minutes=21)
    assert "12:20 overdue" in desk.open("/desk").text
    form = next(one for one in desk.page.iter("form") if one.get("action", "").endswith("/done"))
    staff.post(form.get("action", ""))
    assert "Some One" not in desk.open("/desk").text


def test_what_is_wrong_is_said_beside_its_field_and_nothing_typed_is_lost(staff: Client) -> None:
    typed = CALL | {"phone": "call me", "at": "11:00", "code": "HKBN 04QB"}
    desk = Reader(staff).open("/desk").press("Promise the call", **typed)
    assert desk.status == 422
    assert desk.by_id("promise-a-call").get("open") is not None
    assert {name: desk.by_id(name).get("value") for name in typed} == typed
    for name in ("phone", "at", "code"):
        assert desk.by_id(name).get("aria-invalid") == "true"
        assert desk.by_id(f"{name}-fault").tag == "p"
    assert desk.by_id("name").get("aria-invalid") is None


def test_a_call_promised_on_the_page_of_a_quote_leads_back_to_it(app: FastAPI, staff: Client) -> None:
    with app.state.shop.writing() as work:
        code = issue_quote(work, learner()).code
    fields = [*CALL.items(), ("code", f"{code[:4]} {code[4:]}".lower()), ("back", "quote")]
    answer = staff.post("/desk/calls", content=encoded(fields), headers=FORM)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/desk/quotes/{code}")


def test_a_call_that_was_not_promised_cannot_be_done(staff: Client) -> None:
    assert staff.post("/desk/calls/1/done").status_code == 404
    for odd in ("0", "x", "9" * 30):
        assert staff.post(f"/desk/calls/{odd}/done").status_code == 422
