"""Asking to hold a quote's parts over the interface: what is answered, and what is refused with which word."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from server.usecases.deposits import take_deposit
from server.usecases.stock import book_movement
from server.usecases.work import Shop
from tests.builders_http import Client, faults_of, fields_of, names_in
from tests.builders_shop import Clock, learner

SOMEONE = {"name": "Some One", "email": "some.one@example.org", "revision": 1}


def kept(client: Client, **given: Any) -> dict[str, Any]:
    """A quote for the recommended kit."""
    return client.told("/api/quotes", {"answers": learner(**given)}, 201)


def agree_at(quote: dict[str, Any]) -> str:
    """Where a quote is agreed to."""
    return f"/api/quotes/{quote['url'].rsplit('/', 1)[1]}/agree"


def test_agreeing_answers_with_the_quote_as_agreed_and_its_hold(client: Client) -> None:
    quote = kept(client)
    told = client.told(agree_at(quote), SOMEONE)
    assert told["state"] == "agreed"
    assert told["hold"]["expires_at"] == "2026-11-25T14:00:00+00:00"
    assert told["hold"]["is_confirmed"] is False
    assert {part["sku"] for part in told["kit"]["parts"].values()} <= set(told["hold"]["skus"])
    again = client.told(agree_at(quote), SOMEONE)
    assert again == told
    assert client.get(agree_at(quote).removesuffix("/agree")).json() == told
    assert not {"name", "email", "phone"} & set(names_in({key: told[key] for key in ("hold", "state")}))
    assert "some.one" not in str(told)


def test_a_part_gone_answers_409_and_offers_the_nearest(client: Client, shop: Shop) -> None:
    quote = kept(client)
    board = quote["kit"]["parts"]["board"]["sku"]
    with shop.writing("desk") as work:
        book_movement(work, board, "count", 0, "sold")
    (fault,) = client.faults(agree_at(quote), SOMEONE, 409)
    assert board in fault["message"]
    assert "The nearest in stock is" in fault["message"]
    assert client.get(agree_at(quote).removesuffix("/agree")).json()["state"] == "sent"


def test_a_lapsed_quote_answers_410(client: Client, clock: Clock) -> None:
    quote = kept(client)
    clock.forward(days=15)
    assert "was good until 2026-12-09" in client.faults(agree_at(quote), SOMEONE, 410)[0]["message"]


def test_another_revision_than_the_newest_answers_409(client: Client) -> None:
    quote = kept(client)
    (fault,) = client.faults(agree_at(quote), {**SOMEONE, "revision": 2}, 409)
    assert fault["field"] == "revision"
    assert "newest is revision 1" in fault["message"]


def test_who_does_not_swim_answers_409_and_is_asked_to_talk(client: Client) -> None:
    quote = kept(client, swims_100m=False)
    assert "talk to us" in client.faults(agree_at(quote), SOMEONE, 409)[0]["message"]


def test_a_third_open_request_answers_429_in_words(client: Client) -> None:
    for _ in range(2):
        client.told(agree_at(kept(client)), SOMEONE)
    assert "2 requests open" in client.faults(agree_at(kept(client)), SOMEONE, 429)[0]["message"]
    client.told(agree_at(kept(client)), {**SOMEONE, "email": "other@example.org"})


WRONG = [
    ({**SOMEONE, "name": ""}, ["name"]),
    ({**SOMEONE, "name": None, "email": None}, ["name", "email"]),
    ({**SOMEONE, "email": "nowhere"}, ["email"]),
    ({**SOMEONE, "email": 7}, ["email"]),
    ({**SOMEONE, "phone": "abc"}, ["phone"]),
    ({**SOMEONE, "phone": "1"}, ["phone"]),
    ({**SOMEONE, "revision": "1"}, ["revision"]),
    ({**SOMEONE, "revision": True}, ["revision"]),
    ({**SOMEONE, "revision": 10**30}, ["revision"]),
    ({**SOMEONE, "discount": 50}, ["discount"]),
    ({}, ["revision", "name", "email"]),
]


@pytest.mark.parametrize(("body", "fields"), WRONG)
def test_what_is_wrong_is_named_all_at_once(client: Client, body: dict[str, Any], fields: list[str]) -> None:
    assert fields_of(client.faults(agree_at(kept(client)), body)) == fields


def test_agreeing_to_what_nobody_was_given_answers_404(client: Client) -> None:
    faults_of(client.post("/api/quotes/nobody-was-given-this/agree", json=SOMEONE), 404)


def test_the_lesson_fees_are_worked_out_again_on_the_day_of_agreeing(client: Client, shop: Shop, clock: Clock) -> None:
    with shop.writing() as work:
        code = take_deposit(work, "private", 115_00, "taken", date(2026, 10, 15)).code
    quote = kept(client, deposit_codes=[code])
    assert quote["kit"]["price"]["deposit_back"] == 115_00
    clock.forward(days=5)  # The window of 45 days ends on 29 November.
    told = client.told(agree_at(quote), SOMEONE)
    assert told["hold"]["deposit_back"] == 0
    assert told["kit"]["price"]["deposit_back"] == 115_00, "the record of a quote never changes"
