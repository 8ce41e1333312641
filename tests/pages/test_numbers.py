"""The owner's numbers and order list over the front door: first things first, tables as their files, changes kept."""

from __future__ import annotations

import csv
import io

import pytest
from fastapi import FastAPI

from server.domain.order_list import MakersOrder
from server.outside.workbook import read_workbook
from server.web.pages.order_files import COLUMNS, sheets_of
from tests.builders_http import Client
from tests.builders_numbers import order_form, traded
from tests.domain.builders import part
from tests.pages.reader import FORM, Reader, encoded, text_of

SECTIONS = ("quotes", "unmet", "sizes", "money", "answers", "lessons")
"""In the order of the page."""


def rows_of(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"))))


def test_money_comes_first_then_what_was_missed(app: FastAPI, owner: Client) -> None:
    sale = traded(app.state.shop)
    page = Reader(owner).open("/console/numbers")
    whole = f"€{sum(item.charged for item in sale.items) / 100:,.0f}"
    assert f"{whole} in 1 contract, 31 August 2026 to 25 November 2026" in page.text
    assert "Of the quotes kept in these days, bought so far: 1 of 6." in page.text
    assert "2 of 2 asked in vain" in page.text
    assert "Before: 5 June 2026 to 30 August 2026" in page.text


def test_each_file_has_the_table_of_the_page(app: FastAPI, owner: Client) -> None:
    traded(app.state.shop)
    query = "?from=2026-10-01&to=2026-11-25&slot=board&by=spot"
    page = Reader(owner).open(f"/console/numbers{query}")
    links = [link.get("href", "") for link in page.page.iter("a") if ".csv?" in (link.get("href") or "")]
    assert [link.split("/")[3].split(".csv")[0] for link in links] == list(SECTIONS)
    for section, link in zip(SECTIONS, links, strict=True):
        rows = rows_of(owner.get(link).content)
        table = page.by_id(section).iter("tr")
        shown = [[text_of(cell) for cell in (*row.iter("th"), *row.iter("td"))] for row in table]
        assert len(rows) == max(len(shown), 1), section
        for plain, said in zip(rows[1:], shown[1:], strict=True):
            assert len(plain) == len(said)
            figures = [number for number, words in enumerate(said) if words.isdigit()]
            assert [plain[number] for number in figures] == [said[number] for number in figures]
    assert owner.get(f"/console/numbers/everything.csv{query}").status_code == 404


def test_wrong_days_come_back_as_typed_with_the_fault_beside_them(owner: Client) -> None:
    page = Reader(owner).open("/console/numbers?from=2026-13-01&to=2026-11-01")
    assert page.status == 422
    assert "This is not a day." in text_of(page.by_id("from-fault"))
    assert page.by_id("from").get("value") == "2026-13-01"
    assert owner.get("/console/numbers/quotes.csv?from=x").status_code == 422


def test_a_list_says_how_thin_it_is_and_why_so_many(app: FastAPI, owner: Client) -> None:
    page = Reader(owner).open("/console/orders")
    assert "No quote was kept here yet" in page.text
    traded(app.state.shop)
    page = Reader(owner).open("/console/orders")
    assert "6 quotes kept in these days, 2 of them decided, 1 bought." in page.text
    assert "Quotes are kept here only since 16 October 2026" in page.text
    assert "little more than a guess" in page.text
    assert "one missed loses €" in page.text
    assert "6 quotes in 183 days: about 3 kits in the season." in page.text
    assert "over 165 l: nothing stocked fits" in page.text
    assert "a size the shop does not list: about 177 l" in page.text


def test_the_owners_number_is_kept_said_and_ordered(app: FastAPI, owner: Client) -> None:
    shop = app.state.shop
    traded(shop)
    form = order_form(shop, "board:105", "7")
    answer = owner.post("/console/orders", content=encoded(list(form.items())), headers=FORM)
    assert answer.status_code == 303
    assert answer.headers["location"].endswith("#board")
    page = Reader(owner).open(answer.headers["location"].split("#")[0])
    assert "changed by you, suggested" in text_of(page.by_id("board"))
    header, *rows = rows_of(owner.get("/console/orders/list.csv").content)
    assert header == list(COLUMNS)
    [row] = [row for row in rows if row[1] == form["sku-board:105"]]
    assert row[4] == "7"
    assert float(row[6]) == pytest.approx(7 * float(row[5]))
    sheets = read_workbook(owner.get("/console/orders/list.xlsx").content)
    plain = [[float(cell) if place >= 4 else cell for place, cell in enumerate(row)] for row in rows]
    written = sheets["Order"][1:-1]
    assert [[float(cell) if place >= 4 else cell for place, cell in enumerate(row)] for row in written] == plain
    assert float(sheets["Order"][-1][6]) == pytest.approx(sum(float(row[6]) for row in rows))
    assert set(sheets) == {"Order", *(row[0] for row in rows)}


def test_a_size_that_is_not_listed_is_exported_with_the_size_in_place_of_a_sku(app: FastAPI, owner: Client) -> None:
    traded(app.state.shop)
    Reader(owner).open("/console/orders").press("Keep my numbers: board", **{"pieces-board:over": "2"})
    wanted = ["", "about 177 l", "", "board, a size the shop does not list", "2", "", ""]
    assert wanted in rows_of(owner.get("/console/orders/list.csv").content)
    assert wanted in read_workbook(owner.get("/console/orders/list.xlsx").content)["Order"]
    assert "and 2 of sizes the shop does not list" in Reader(owner).open("/console/orders").text


def test_ready_periods_keep_what_is_narrowed_and_all_days_are_a_link_away(app: FastAPI, owner: Client) -> None:
    traded(app.state.shop)
    page = Reader(owner).open("/console/numbers?water=lake")
    links = {text_of(link): link.get("href") for link in page.page.iter("a")}
    assert links["last month"] == "/console/numbers?from=2026-10-01&to=2026-10-31&water=lake&slot=board&by=foil_stage"
    assert "from=2026-04-01&to=2026-09-30&water=lake" in str(links["this season"])
    page = Reader(owner).open("/console/orders?from=2026-04-01&to=2026-09-30")
    links = {text_of(link): link.get("href") for link in page.page.iter("a")}
    all_days = str(links["Count all days since 16 October 2026 (6 quotes)"])
    assert "6 quotes in 41 days" in Reader(owner).open(all_days).text


def test_a_wrong_number_comes_back_as_typed_and_what_was_right_beside_it_is_not_lost(
    app: FastAPI, owner: Client
) -> None:
    traded(app.state.shop)
    page = Reader(owner).open("/console/orders")
    page.press("Keep my numbers: board", **{"pieces-board:105": "seven", "pieces-board:over": "4"})
    assert page.status == 422
    assert "This is not a number of pieces." in text_of(page.by_id("board-105-fault"))
    assert {"seven", "4"} <= {field.get("value") for field in page.by_id("board").iter("input")}
    page.press("Keep my numbers: board", **{"pieces-board:105": "7"})
    assert text_of(page.by_id("board")).count("changed by you") == 2


def test_sheets_have_names_that_a_workbook_takes_and_none_twice() -> None:
    makers = [
        MakersOrder(name, ((part("board", "A"), 1),))
        for name in (
            "Up/Down [Boards]: the very best of all of them",
            "Up/Down [Boards]: the very best of all",
            "Order",
        )
    ]
    names = list(sheets_of(makers))
    assert len({name.lower() for name in names}) == 4
    assert all(len(name) <= 31 and not set(name) & set("[]:*?/\\") for name in names)
