"""A sale over the counter over the front door: scan, quantity, done; without script."""

from __future__ import annotations

from fastapi import FastAPI

from server.domain.stock import Contact
from server.usecases.quotes import issue_quote
from server.usecases.stock import agree_to_quote, book_movement
from tests.builders_http import Client
from tests.builders_shop import learner
from tests.pages.reader import FORM, Reader

PUMP_GTIN = "2160041000372"


def test_scan_quantity_done_and_taken_back(staff: Client) -> None:
    counter = Reader(staff).open("/desk/counter")
    assert counter.by_id("scanned").get("autofocus") is not None
    counter.open(f"/desk/counter?item={PUMP_GTIN}")
    assert "Double-stroke hand pump" in counter.text
    assert "8 on hand 0 set aside 8 free" in counter.text
    assert (counter.by_id("pieces").get("value"), counter.by_id("pieces").get("autofocus")) == ("1", "")
    address, body = counter.sending("Sell", pieces="2")
    counter.press("Sell", pieces="2")
    assert "Sold: 2 × Double-stroke hand pump, €118.00. 6 on hand now." in counter.text
    assert "Sold today: €118.00" in counter.text
    assert counter.by_id("scanned").get("value") == ""
    first = counter.address
    assert staff.post(address, content=body, headers=FORM).headers["location"] == first, "the same form sells once"
    counter.press("Take it back")
    assert "Taken back: 2 × Double-stroke hand pump" in counter.text
    assert "8 on hand now" in counter.text
    assert "Sold today: €0.00" in counter.text


def test_what_cannot_be_sold_is_said_at_its_field(app: FastAPI, staff: Client) -> None:
    counter = Reader(staff).open("/desk/counter?item=2160041000373")
    assert counter.status == 422
    assert "2160041000373 is no GTIN" in counter.text
    assert counter.by_id("scanned").get("value") == "2160041000373"
    counter.open("/desk/counter?item=wrk-pump1")
    for pieces, status, words in (
        (PUMP_GTIN, 422, "This is not a number of pieces"),
        ("9", 409, "Only 8 on hand"),
    ):
        counter.press("Sell", pieces=pieces)
        assert (counter.status, counter.by_id("pieces").get("value")) == (status, pieces)
        assert words in counter.text
    assert "Sold: 8 ×" in counter.press("Sell", pieces="8").text
    assert staff.post("/desk/counter").status_code == 422


def test_a_piece_set_aside_is_refused_with_the_way_to_its_quote(app: FastAPI, staff: Client) -> None:
    with app.state.shop.writing() as work:
        quote = issue_quote(work, learner())
    board = quote.kit.parts["board"].sku
    with app.state.shop.writing() as work:
        book_movement(work, board, "count", 1, "counted")
    with app.state.shop.writing() as work:
        agree_to_quote(work, quote.token, Contact("Some One", "some.one@example.org"), 1)
    counter = Reader(staff).open(f"/desk/counter?item={board}").press("Sell")
    assert counter.status == 409
    assert "let go of the hold first" in counter.text
    assert f"/desk/quotes/{quote.code}" in [link.get("href") for link in counter.page.iter("a")]


def test_odd_numbers_of_sales_are_nobodys(staff: Client) -> None:
    for odd in ("x", "9" * 9, "9" * 30, "-1", "²"):
        assert Reader(staff).open(f"/desk/counter?sold={odd}").status == 200
    assert staff.post("/desk/counter/1/take-back").status_code == 404
