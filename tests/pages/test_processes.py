"""Two processes over one database take turns at each request of a journey: neither needs anything that the other has in mind."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import cycle
from typing import Any, cast

import pytest
from fastapi import FastAPI

from server.app import create_app
from server.persistence.engine import Place, engine_for, sessions
from server.settings import Settings
from server.usecases.work import Shop
from tests.builders_accounts import CHEAP, WORDS, seat, signed_in_as
from tests.builders_http import ADDRESS, Client
from tests.builders_imports import price_list, send_files
from tests.builders_policy import posted
from tests.builders_shop import Clock
from tests.conftest import COMPILED
from tests.pages.reader import FORM, Reader, at_the_kit

TURNS = (0, 1, 1, 0, 1, 0, 0, 1)
"""So that neither pages nor forms stay with one of the two."""


class InTurn:
    """What stands before two processes: it hands each request to the one whose turn it is."""

    def __init__(self, apps: tuple[FastAPI, FastAPI]) -> None:
        self.apps = apps
        self.turns = cycle(TURNS)
        self.state = apps[0].state

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        await self.apps[next(self.turns)](scope, receive, send)


@pytest.fixture(scope="module")
def built_beside(tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    """The second application, built once."""
    made = create_app(Settings(data=tmp_path_factory.mktemp("beside"), base_address=ADDRESS, public_burst=0), COMPILED)
    made.state.shop.close()
    return made


@pytest.fixture
def both(app: FastAPI, built_beside: FastAPI, place: Place, clock: Clock) -> Iterator[InTurn]:
    """Two applications over the test's own database, each with its own connections and its own memory."""
    engine = engine_for(place)
    built_beside.state.settings = app.state.settings
    built_beside.state.shop = Shop(sessions(engine), clock, address=ADDRESS)
    built_beside.state.passwords = CHEAP
    yield InTurn((app, built_beside))
    engine.dispose()


@pytest.fixture
def people(both: InTurn) -> Iterator[tuple[Client, Client, Client]]:
    """A customer, staff and the owner; whoever they are, each of their requests goes to the process whose turn it is."""
    door = cast(FastAPI, both)
    with Client(door) as customer, Client(door) as staff, Client(door) as owner:
        yield customer, signed_in_as(staff, door, "Maeve", "staff"), signed_in_as(owner, door, "Orla", "owner")


def test_a_sale_goes_from_the_first_page_to_its_invoice(people: tuple[Client, Client, Client]) -> None:
    customer, staff, _ = people
    kit = at_the_kit(customer)
    larger = kit.by_id("put-front_foil-larger").get("value", "")
    quote = kit.press(larger).press("Keep this quote")
    assert larger in quote.text
    token = quote.address.rpartition("/")[2]
    quote.press("Ask to hold these parts", name="Some One", email="some.one@example.org")
    assert "The parts are set aside until" in Reader(customer).open(quote.address).text
    code = customer.get(f"/api/quotes/{token}").json()["code"]
    assert "Requests to hold, to confirm" not in Reader(staff).open("/desk").press("Confirm").text
    contract = Reader(staff).open(f"/desk/quotes/{code}/contract")
    made = {"concluded": "distance", "means": "terminal"}
    sale = contract.press("Make the contract and record the payment", address="1 The Strand\r\nTullaveen", **made)
    assert sale.address.startswith("/desk/sales/"), sale.text
    assert "Nothing is owed" in Reader(staff).open("/desk/sales/1").text
    assert "Bought and paid" in Reader(customer).open(quote.address).text


def test_a_worksheets_link_and_a_sale_at_the_counter(people: tuple[Client, Client, Client]) -> None:
    customer, staff, _ = people
    sheet = Reader(staff).open("/desk").press("New worksheet")
    caller = {"mass_kg": "92", "to_feet": "average", "fitness": "fair", "board_background": "some"}
    sheet.press("Make the link", **caller, foil_stage="none", name="Some One")
    given = sheet.by_id("given-address").get("value", "")
    prepared = Reader(customer).open("/prepared/" + given.rpartition("/")[2])
    assert "92 kg" in prepared.text
    assert "/quotes/" in prepared.press("Keep this quote").address
    assert "Kept as quote" in Reader(staff).open(sheet.address).text
    counter = Reader(staff).open("/desk/counter?item=wrk-pump1")
    address, body = counter.sending("Sell", pieces="2")
    places = {staff.post(address, content=body, headers=FORM).headers["location"] for _ in range(4)}
    assert len(places) == 1, "one form sells once, whoever it comes to"
    assert Reader(staff).open(places.pop()).press("Take it back").text.count("8 on hand now") == 1


def test_what_the_owner_changes_shows_at_once_whoever_is_asked(
    people: tuple[Client, Client, Client], both: InTurn
) -> None:
    customer, _, owner = people
    for _ in TURNS:
        customer.get("/api/parts")  # Both have the catalogue in mind now.
    page = send_files(owner, price_list(DUN__72="2549.00"))
    assert "1 up, 0 down" in page.text
    assert page.press("Bring it in").address == "/console/files?done=2"
    for _ in TURNS:
        parts = customer.get("/api/parts?slot=board").json()["parts"]
        assert {part["sku"]: part["price"] for part in parts}["DUN-72"] == 2549_00
    shops = [app.state.shop for app in both.apps]
    body = posted(shops[1], "kit", do="save", note="Spring", tiers__1__percent="9")
    assert owner.post("/console/policy/pages/kit", content=body, headers=FORM).status_code == 303
    for shop in shops:
        with shop.reading() as work:
            assert (work.catalogue.version, work.catalogue.policy.tiers[0].percent) == (2, 9)
    page.open("/console/steps/2/undo").press("Undo this step")
    for shop in shops:
        with shop.reading() as work:
            assert work.catalogue.version == 3


def test_a_session_begins_and_ends_for_both_and_guesses_are_counted_together(both: InTurn) -> None:
    door = cast(FastAPI, both)
    seat(both.state.shop, "Orla", "owner")
    with Client(door) as client, Client(door, ("198.51.100.9", 1)) as stranger:
        page = Reader(client).open("/sign-in").press("Sign in", name="Orla", password=WORDS)
        assert page.status == 200
        assert {client.get("/console").status_code for _ in TURNS} == {200}
        Reader(client).open("/account").press("Sign out")
        assert {client.get("/console").status_code for _ in TURNS} == {303}
        wrong = [Reader(stranger).open("/sign-in").press("Sign in", name="Orla", password="x" * 16) for _ in range(6)]
        assert [guess.status for guess in wrong] == [422] * 5 + [429]


def test_both_name_the_same_files_and_answer_for_them(both: InTurn) -> None:
    with Client(both.apps[0]) as here, Client(both.apps[1]) as there:
        page = here.get("/")
        assert page.text == there.get("/").text
        names = {word for word in page.text.split('"') if word.startswith("/static/")}
        assert len(names) > 1
        for name in names:
            one, other = here.get(name), there.get(name)
            assert (one.status_code, one.content) == (other.status_code, other.content) == (200, one.content)
            told = [{**answer.headers, "x-request-id": ""} for answer in (one, other)]
            assert told[0] == told[1]
