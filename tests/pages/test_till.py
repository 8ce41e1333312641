"""The till's day over the front door: a file is looked at, then booked as it was shown, and staff never see it."""

from __future__ import annotations

import hashlib

import httpx
import pytest
from fastapi import FastAPI

from server.domain.stock import Contact
from server.usecases.quotes import issue_quote
from server.usecases.stock import agree_to_quote, book_movement
from tests.builders_http import Client
from tests.builders_sets import ROWS, WRONG_DAY
from tests.builders_shop import learner
from tests.pages.reader import Reader

DAY = ROWS.format(day="2026-11-24")


def sent(client: Client, content: bytes) -> Reader:
    answer: httpx.Response = client.post("/console/till", files={"file": ("day.csv", content, "text/csv")})
    return Reader(client)._shown("/console/till", answer)


def test_a_file_is_looked_at_booked_and_listed(owner: Client) -> None:
    page = sent(owner, DAY.encode())
    assert "4 lines to book, €3,745.00" in page.text
    assert "Sold on 24 November 2026." in page.text
    assert "1 more sold than the ledger has: booked as found. Count the shelf." in page.text
    address, body = page.sending("Book 4 lines")
    page.press("Book 4 lines")
    assert "4 lines were booked." in page.text
    assert "WRK-TK1): 1 more sold than the ledger had: they were booked as found. Count the shelf." in page.text
    assert "/desk/counter?item=WRK-TK1" in page.html
    again = owner.post(address, content=body, headers={"Content-Type": "application/x-www-form-urlencoded"})
    assert again.headers["location"] == "/console/till?booked=0&known=4"
    assert "All 4 lines were booked before." in sent(owner, DAY.encode()).text
    counter = Reader(owner).open("/desk/counter?day=2026-11-24")
    assert "Sold on 24 November 2026: €3,745.00" in counter.text
    assert "Kelpline foil set 1720" in counter.text


def test_whose_pieces_are_missing_is_a_link_before_and_after(app: FastAPI, owner: Client) -> None:
    with app.state.shop.writing() as work:
        quote = issue_quote(work, learner())
        agree_to_quote(work, quote.token, Contact("Nuala Example", "nuala@example.org"), 1)
        sku = next(iter(quote.kit.parts.values())).sku
    page = sent(owner, f"receipt,day,code,pieces\n1,2026-11-24,{sku},99\n".encode())
    link = f'href="/desk/quotes/{quote.code}"'
    assert (link in page.html, "will be missing." in page.text) == (True, True)
    page.press("Book 1 line")
    assert (link in page.html, "are missing." in page.text) == (True, True)


def test_many_parts_counted_since_are_a_number(app: FastAPI, owner: Client) -> None:
    skus = ("WRK-PUMP1", "WRK-TK1", "WRK-TK2", "WRK-HM", "WRK-BLM", "WRK-WLM")
    with app.state.shop.writing() as work:
        for sku in skus:
            book_movement(work, sku, "count", 50, "counted")
    text = "receipt,day,code,pieces\n" + "".join(f"{sku},2026-11-24,{sku},1\n" for sku in skus)
    page = sent(owner, text.encode())
    assert "6 parts were counted after these sales." in page.text
    assert "6 parts were counted after these sales." in page.press("Book 6 lines").text
    fewer = sent(owner, text.replace("11-24", "11-23").replace("WRK-WLM,1", "WRK-HM,1").encode())
    assert "Counted after the first of these sales: WRK-" in fewer.text
    assert "Counted after these sales: WRK-BLM, " in fewer.press("Book 6 lines").text


def test_faults_are_listed_by_row_and_column_and_nothing_can_be_booked(owner: Client) -> None:
    page = sent(owner, WRONG_DAY.encode())
    assert page.status == 422
    assert "3 things are wrong in the file" in page.text
    assert "The catalogue has no NO-SUCH." in page.text
    assert "'many' is not accepted." in page.text
    assert "carried" not in page.html
    assert "No file was chosen." in sent(owner, b"").text


def test_what_changed_meanwhile_is_looked_at_again_and_a_broken_page_books_nothing(app: FastAPI, owner: Client) -> None:
    page = sent(owner, DAY.encode())
    with app.state.shop.writing() as work:
        book_movement(work, "WRK-TK1", "delivery", 5, "came")
    page.press("Book 4 lines")
    assert page.status == 409
    assert "Meanwhile it comes to something else" in page.text
    for carried in ("", "x", "eJwDAAAAAAE="):
        page.press("Book 4 lines", carried=carried)
        assert (page.status, "did not come back whole" in page.text) == (422, True)
        page = sent(owner, DAY.encode())
    page.press("Book 4 lines")
    assert "4 lines were booked." in page.text


def test_a_large_day_travels_whole(owner: Client) -> None:
    receipts = (hashlib.sha256(str(number).encode()).hexdigest() for number in range(2_500))
    rows = "".join(f"{receipt},2026-11-24,WRK-HM,1,\n" for receipt in receipts)
    page = sent(owner, b"receipt,day,code,pieces,price\n" + rows.encode())
    assert len(page.sending("Book 2500 lines")[1]) > 64 * 1024
    page.press("Book 2500 lines", shown="another")
    assert (page.status, "2500 lines to book" in page.text) == (409, True)


@pytest.mark.parametrize(
    ("name", "status"), [("day.CSV", 200), ("day.txt", 200), ("day", 200), ("day.csv.html", 422), ("day.xlsx", 422)]
)
def test_a_file_is_named_as_a_table_if_it_says_what_it_is(owner: Client, name: str, status: int) -> None:
    answer = owner.post(
        "/console/till", files={"file": (name, b"receipt,day,code,pieces\n1,2026-11-24,WRK-HM,1\n", "text/csv")}
    )
    assert answer.status_code == status
    assert ("not named as a table" in answer.text) == (status == 422)
