"""The desk's first page over the front door: what needs a hand, that it follows by itself, and finding a quote."""

from __future__ import annotations

import re

import pytest
from fastapi import FastAPI

from server.domain.stock import Contact
from server.usecases.quotes import issue_quote
from server.usecases.stock import agree_to_quote, open_hold
from tests.builders_http import Client
from tests.builders_shop import Clock, learner
from tests.pages.reader import FORM, Reader, encoded, parsed_fragment, text_of

SEAN = Contact("Seán Ó Murchú", "sean@example.org", "+353 20 910 0177")
HTMX = {"HX-Request": "true"}


def asked_to_hold(app: FastAPI, contact: Contact = SEAN) -> tuple[str, str]:
    """The token and code of a quote whose parts somebody asks to hold."""
    with app.state.shop.writing() as work:
        quote = issue_quote(work, learner())
    with app.state.shop.writing() as work:
        agree_to_quote(work, quote.token, contact, 1)
    return quote.token, quote.code


def spaced(code: str) -> str:
    return f"{code[:4]} {code[4:]}"


def address_of_news(html: str) -> str:
    found = re.search(r'data-hx-get="([^"]+)"', html)
    assert found
    return found[1]


def test_an_empty_desk_says_so_in_one_line_and_has_the_field_ready(staff: Client) -> None:
    desk = Reader(staff).open("/desk")
    assert "Nothing needs a hand: no requests to hold" in desk.text
    assert desk.by_id("q").get("autofocus") is not None
    assert list(desk.page.iter("table")) == []
    assert desk.press("New worksheet").address.startswith("/desk/worksheets/")


def test_a_request_is_confirmed_by_one_press_and_let_go_of_with_a_reason(app: FastAPI, staff: Client) -> None:
    token, code = asked_to_hold(app)
    desk = Reader(staff).open("/desk")
    assert SEAN.name in desk.text
    assert SEAN.phone in desk.text
    desk.press("Confirm")
    assert desk.address == "/desk"
    assert "Requests to hold, to confirm" not in desk.text
    with app.state.shop.reading() as work:
        hold = open_hold(work, token)
        assert hold is not None
        assert hold.is_confirmed
    reason = Reader(staff).open(f"/desk/holds/{code}/let-go")
    assert reason.press("Let go").status == 422
    assert "A reason is needed" in reason.text
    assert reason.press("Let go", because="bought elsewhere").address == "/desk"
    with app.state.shop.reading() as work:
        assert open_hold(work, token) is None
    assert Reader(staff).open(f"/desk/holds/{code}/let-go").status == 404
    assert staff.post(f"/desk/holds/{code}/confirm").status_code == 404


def test_an_open_page_hears_of_what_is_new_and_else_of_nothing(app: FastAPI, staff: Client, clock: Clock) -> None:
    news = address_of_news(Reader(staff).open("/desk").html)
    quiet = staff.get(news, headers=HTMX)
    assert (quiet.status_code, quiet.content) == (204, b"")
    _, code = asked_to_hold(app)
    told = staff.get(news, headers=HTMX)
    assert told.status_code == 200
    block = text_of(parsed_fragment(told.text))
    assert "New: requests to hold, now 1" in block
    assert spaced(code) in block
    assert 'id="q"' not in told.text, "the field is not touched while somebody types in it"
    again = address_of_news(told.text)
    assert staff.get(again, headers=HTMX).status_code == 204
    for _ in range(6):  # Somebody works at the desk meanwhile.
        clock.forward(minutes=20)
        staff.get("/desk/counter")
    assert staff.get(again, headers=HTMX).status_code == 200, "the request has lapsed by the clock alone"
    for odd in ("x", "1.2-", "9.9.9.9.9.9-zz", "%00", "'"):
        assert "New:" not in Reader(staff).open(f"/desk?shown={odd}").text


def test_a_spoken_code_leads_to_its_quote_and_a_misheard_one_is_read_back(app: FastAPI, staff: Client) -> None:
    _, code = asked_to_hold(app)
    said = spaced(code).lower().replace("0", "o").replace("1", "i")
    desk = Reader(staff).open("/desk")
    answer = staff.post("/desk/find", content=encoded([("q", said)]), headers=FORM)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/desk/quotes/{code}")
    wrong = ("A" if code[0] != "A" else "B") + code[1:]
    misheard = desk.press("Find", q=wrong)
    assert misheard.status == 422
    assert "One sign was heard wrong: ask again." in misheard.text
    assert f"Understood: {'Alfa' if wrong[0] == 'A' else 'Bravo'}, " in misheard.text
    assert misheard.by_id("q").get("value") == wrong


def test_a_caller_is_found_by_name_and_the_way_to_the_quote_has_the_focus(app: FastAPI, staff: Client) -> None:
    _, code = asked_to_hold(app)
    found = Reader(staff).open("/desk").press("Find", q="murchu")
    [first] = [link for link in found.page.iter("a") if link.get("autofocus") is not None]
    assert (found.status, first.get("href")) == (200, f"/desk/quotes/{code}")
    nobody = Reader(staff).open("/desk").press("Find", q="<b>%")
    assert (nobody.status, "Nobody was met" in nobody.text) == (404, True)
    assert "<b>%" not in nobody.html
    assert Reader(staff).open("/desk").press("Find", q=" ").address == "/desk"


def test_whoever_tries_out_codes_is_told_how_long_to_wait(app: FastAPI, staff: Client) -> None:
    for _ in range(20):
        staff.post("/desk/find", content=b"q=HKBN04QB", headers=FORM)
    refused = Reader(staff).open("/desk").press("Find", q="HKBN04QB")
    assert refused.status == 429
    assert "Wait 30 seconds" in refused.text


DOORS_WITH_A_CODE = (
    ("GET", "/desk/quotes/{}"),
    ("POST", "/desk/holds/{}/confirm"),
    ("GET", "/desk/holds/{}/let-go"),
    ("POST", "/desk/holds/{}/let-go"),
    ("GET", "/desk/deposits/{}"),
    ("POST", "/desk/deposits/{}/fee"),
    ("GET", "/desk/deposits?code={}"),
)


@pytest.mark.parametrize(("method", "door"), DOORS_WITH_A_CODE)
def test_every_door_that_takes_a_code_counts_the_wrong_ones_and_lets_nobody_in_who_has_to_wait(
    app: FastAPI, staff: Client, method: str, door: str
) -> None:
    _, code = asked_to_hold(app)
    statuses = [staff.request(method, door.format("HKBN04QA")).status_code for _ in range(21)]
    assert statuses[-1] == 429
    assert not {429, 500} & set(statuses[:20])
    for other, address in DOORS_WITH_A_CODE:
        refused = staff.request(other, address.format(code))
        assert refused.status_code == 429, address
        assert "Wait 30 seconds" in refused.text
        assert "open requests" not in refused.text
    assert "Confirm" in staff.get("/desk").text


def test_strangers_are_sent_to_sign_in(client: Client) -> None:
    for address in ("/desk", "/desk/counter", "/desk/holds/HKBN04QA/let-go"):
        answer = client.get(address)
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/sign-in")
    for address in ("/desk/calls", "/desk/calls/1/done", "/desk/counter", "/desk/counter/1/take-back"):
        assert client.post(address).status_code == 403


def test_a_page_that_only_asks_for_news_keeps_nobody_signed_in(staff: Client, clock: Clock) -> None:
    news = address_of_news(Reader(staff).open("/desk").html)
    clock.forward(minutes=29)
    assert staff.get(news, headers=HTMX).status_code == 204
    clock.forward(minutes=2)
    gone = staff.get(news, headers=HTMX)
    assert gone.status_code == 403
    assert gone.headers["hx-redirect"].startswith("/sign-in?back=")
