"""Asking to hold on the quote page, and the page on privacy."""

from __future__ import annotations

from server.usecases.stock import book_movement, confirm_hold
from server.usecases.work import Shop
from tests.builders_http import Client
from tests.builders_shop import Clock
from tests.pages.reader import Reader, at_the_kit


def kept(client: Client) -> Reader:
    """A reader on their quote page."""
    return at_the_kit(client).press("Keep this quote")


def test_a_customer_asks_to_hold_the_parts_and_is_told_that_it_is_no_contract(client: Client) -> None:
    page = kept(client)
    assert "A request to hold, not yet a contract" in page.text
    page.press("Ask to hold these parts", name="Some One", phone="+353 20 910 0177")
    assert page.status == 200
    assert "The parts are set aside until 25 November 2026, 14:00" in page.text
    assert "the contract is made when the shop takes payment" in page.text
    assert "Ask to hold these parts" not in page.text


def test_what_is_wrong_with_a_contact_stands_beside_it_and_what_was_typed_stays(client: Client) -> None:
    page = kept(client).press("Ask to hold these parts", name="Some One", email="nowhere")
    assert page.status == 422
    assert page.by_id("email").get("value") == "nowhere"
    assert page.by_id("name").get("value") == "Some One"
    assert "an address such as name@example.org" in page.text


def test_a_confirmed_hold_says_until_when_we_keep_the_parts(client: Client, shop: Shop) -> None:
    page = kept(client).press("Ask to hold these parts", name="Some One", email="one@example.org")
    with shop.writing("desk") as work:
        confirm_hold(work, page.address.rsplit("/", 1)[1])
    assert "We keep these parts for you until 2 December 2026, 12:00" in Reader(client).open(page.address).text


def test_a_request_is_taken_back_on_the_page(client: Client) -> None:
    page = kept(client).press("Ask to hold these parts", name="Some One", email="one@example.org")
    page.press("Take the request back")
    assert "Ask to hold these parts" in page.text
    assert "The parts are set aside until" not in page.text


def test_a_part_that_is_gone_is_said_on_the_page_with_the_nearest(client: Client, shop: Shop) -> None:
    page = kept(client)
    with shop.writing("desk") as work:
        for part in work.catalogue.sold_in("board"):
            if part.sku in page.html:
                book_movement(work, part.sku, "count", 0, "sold")
    page.press("Ask to hold these parts", name="Some One", email="one@example.org")
    assert page.status == 409
    assert "The nearest in stock is" in page.text


def test_a_lapsed_quote_offers_no_hold(client: Client, clock: Clock) -> None:
    page = kept(client)
    clock.forward(days=20)
    assert "Ask to hold these parts" not in Reader(client).open(page.address).text


def test_who_does_not_swim_is_asked_to_talk_to_us(client: Client) -> None:
    reader = at_the_kit(client)
    reader.open(reader.address.replace("/kit", "/you")).press("next", swims_100m="no").press("kit")
    page = reader.press("Keep this quote")
    assert "talk to us first" in page.text
    assert "Ask to hold these parts" not in page.text


def test_the_winds_stand_on_kit_and_quote_page_in_words_and_in_a_table(client: Client) -> None:
    reader = at_the_kit(client)
    reader.open(reader.address.replace("/kit", "/where")).press("kit", spot="Tullaveen Strand")
    quote = Reader(client).open(reader.address).press("Keep this quote")
    for page in (reader, quote):
        assert "knots as forecast, in new hands" in page.text
        assert "± 2 knots, not a permission" in page.text
        assert "Nobody has published a measured take-off of this craft" in page.text
        assert "Days' worth of such wind at Tullaveen Strand" in page.text


def test_the_privacy_page_tells_what_why_how_long_and_whom_to_ask(client: Client) -> None:
    page = Reader(client).open("/privacy")
    for words in (
        "What:",
        "Why:",
        "How long:",
        "30 days",
        "400 days",
        "90 days",
        "hello@twoherons.example",
        "No analytics",
    ):
        assert words in page.text
    assert "/privacy" in Reader(client).open("/").html


def test_the_holder_of_the_last_board_sees_it_again_when_changing_the_answers(client: Client, shop: Shop) -> None:
    page = kept(client)
    with shop.writing("desk") as work:
        board = next(part.sku for part in work.catalogue.sold_in("board") if part.sku in page.html)
        book_movement(work, board, "count", 1, "the last")
    page.press("Ask to hold these parts", name="Some One", email="one@example.org")
    page.press("Change my answers").press("next").press("kit")
    assert board in [field.get("value") for field in page.page.iter("input") if field.get("name") == "sku"]
    assert page.press("Keep as the next revision").status == 200
