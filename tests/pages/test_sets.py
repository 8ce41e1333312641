"""Sets over the front door: at the counter, on the owner's pages, and beside a quote whose kit is one."""

from __future__ import annotations

from fastapi import FastAPI

from server.domain.catalogue import PartSet
from server.usecases.quotes import issue_quote
from server.usecases.sets import put_set
from tests.builders_http import Client
from tests.builders_shop import learner
from tests.pages.reader import Reader


def test_a_scanned_set_is_sold_with_one_button(staff: Client) -> None:
    counter = Reader(staff).open("/desk/counter?item=2180041000745")
    assert "Kelpline foil set 1720" in counter.text
    assert "Kelpline tail 320 TUR-T320, 3 free" in counter.text
    counter.press("Sell", pieces="4")
    assert counter.status == 409
    assert "Kelpline tail 320, TUR-T320: Only 3 on hand." in counter.text
    counter.press("Sell", pieces="2")
    assert "Sold: 2 × Kelpline foil set 1720, €7,498.00. 1 on hand now." in counter.text
    assert "the set of TUR-M85T, TUR-F70, TUR-1720, TUR-T320" in counter.text
    assert "3 on hand now" in counter.press("Take it back").text


def test_the_owner_adds_changes_and_retires_a_set(owner: Client) -> None:
    page = Reader(owner).open("/console/sets/edit")
    new = {"sku": "PAIR", "name": "A pair", "maker": "Wrackline", "gtin": "2190041000379", "price": "70,00"}
    page.press("Add the set", **{**new, "maker": ""}, parts="WRK-BLM\nNO-SUCH")
    assert (page.status, "This is blank." in page.text) == (422, True)
    assert "The catalogue has no part NO-SUCH." in page.text
    assert page.by_id("price").get("value") == "70,00"
    page.press("Add the set", maker="Wrackline", parts="WRK-BLM\nWRK-WLM")
    assert page.address.startswith("/console/sets?kept=")
    assert "Kept. Set A pair added. Undo this" in page.text
    assert "€70.00" in page.text
    assert "one by one €84.00" in page.text
    page.open("/console/sets/edit?sku=PAIR").press("Save", price="69")
    assert "€69.00" in page.text
    page.open("/console/sets/edit?sku=PAIR").press("Retire A pair")
    assert "Kept. Set A pair retired." in page.text
    assert "A pair" not in page.open("/console/sets").text
    assert Reader(owner).open("/console/sets/edit?sku=PAIR").status == 404


def test_a_quote_at_the_desk_says_which_set_its_parts_are(app: FastAPI, staff: Client) -> None:
    with app.state.shop.writing() as work:
        quote = issue_quote(work, learner())
    pair = tuple(quote.kit.parts[slot].sku for slot in ("mast", "front_foil"))
    with app.state.shop.writing("Orla") as work:
        put_set(work, PartSet("PAIR", "A foil on its mast", "M", "2190041000379", 999_00, pair))
    page = Reader(staff).open(f"/desk/quotes/{quote.code}")
    assert "These are the parts of the set A foil on its mast (PAIR), €999.00 by itself." in page.text
