"""The owner's catalogue over the front door: found by the address, changed in the row, on a part's page and many at once."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit
from xml.etree.ElementTree import Element

import pytest
from fastapi import FastAPI

from server.domain.catalogue import Part
from server.usecases.catalogue_edits import change_part, digest_of, part_of
from server.usecases.quotes import issue_quote
from tests.builders_accounts import signed_in_as
from tests.builders_http import Client
from tests.builders_photos import phone_photo
from tests.builders_shop import Clock, learner
from tests.pages.reader import FORM, Reader, encoded, text_of

SKU = "TUR-T190"


def part(app: FastAPI, sku: str = SKU) -> Part:
    with app.state.shop.reading() as work:
        return part_of(work, sku)


def marked(app: FastAPI, sku: str, **cells: str) -> None:
    with app.state.shop.writing("Orla") as work:
        change_part(work, sku, cells, digest_of(part_of(work, sku)))


def row_of(reader: Reader, sku: str) -> tuple[str, dict[str, str]]:
    """Where the row of a part is sent, and what it would send."""
    tree = reader.page
    form = next(
        form
        for form in tree.iter("form")
        if any(field.get("name") == "sku" and field.get("value") == sku for field in form.iter("input"))
    )
    fields = [field for field in tree.iter("input") if field.get("form") == form.get("id")] + list(form.iter("input"))
    sent = {
        field.get("name", ""): field.get("value", "")
        for field in fields
        if field.get("type") != "checkbox" or field.get("checked") is not None
    }
    return form.get("action", ""), sent


def kept(reader: Reader, sku: str, **typed: str) -> Reader:
    """The row of a part kept as it is typed; a field without a value is not sent."""
    address, sent = row_of(reader, sku)
    fields = [(name, value) for name, value in {**sent, **typed}.items() if value != "-"]
    answer = reader.client.post(address, content=encoded(fields), headers=FORM)
    if answer.status_code == 303:
        return reader.open(answer.headers["location"])
    reader.status, reader.html = answer.status_code, answer.text
    return reader


def changed_row(reader: Reader) -> Element:
    return reader.by_id("changed")


def test_what_is_looked_for_stands_in_the_address_and_is_counted(owner: Client) -> None:
    seen = Reader(owner).open("/console/catalogue")
    assert "199 parts" in seen.text
    assert "1 to 50 of 199" in seen.text
    assert "150 of 199" in seen.open("/console/catalogue?page=3").text
    seen.open("/console/catalogue?q=kelpline&slot=tail&stock=in")
    assert "3 parts" in seen.text or "4 parts" in seen.text
    assert seen.by_id("q").get("value") == "kelpline"
    assert "No part is like this" in seen.open("/console/catalogue?q=zeppelin").text
    assert seen.open("/console/catalogue?slot=zeppelin&page=zeppelin&stock=x").status == 200


def test_a_price_is_changed_in_its_row_and_the_list_stays(app: FastAPI, owner: Client) -> None:
    seen = kept(Reader(owner).open("/console/catalogue?slot=tail"), SKU, price="449,50")
    assert parse_qs(urlsplit(seen.address).query) == {"slot": ["tail"], "changed": [SKU]}
    assert part(app).price == 449_50
    assert "Kept as it stands here" in text_of(changed_row(seen))
    kept(seen, SKU, sold="-")
    assert not part(app).sold
    kept(seen.open("/console/catalogue?sold=unsold"), SKU, sold="yes")
    assert part(app).sold
    assert "Kelpline tail 190" in text_of(changed_row(seen)), "it is shown though it is not among those any more"


def test_a_wrong_row_is_shown_as_it_was_typed(app: FastAPI, owner: Client) -> None:
    seen = kept(Reader(owner).open("/console/catalogue?slot=tail"), SKU, price="cheap", markdown_price="1")
    assert seen.status == 422
    _, sent = row_of(seen, SKU)
    assert (sent["price"], sent["markdown_price"]) == ("cheap", "1")
    assert "Price: 'cheap' is not accepted." in text_of(changed_row(seen))
    assert part(app).price == 439_00


def test_a_row_that_somebody_else_changed_is_not_overwritten(app: FastAPI, owner: Client) -> None:
    seen = Reader(owner).open("/console/catalogue?slot=tail")
    address, sent = row_of(seen, SKU)
    marked(app, SKU, price="450.00")
    answer = owner.post(address, content=encoded([*{**sent, "price": "460.00"}.items()]), headers=FORM)
    assert answer.status_code == 409
    assert "It is now at 450.00" in answer.text
    seen.html = answer.text
    kept(seen, SKU)
    assert part(app).price == 460_00, "seen what it is now, what was typed is kept"


def test_a_markdown_says_which_days_price_decides_and_offers_what_fits(
    app: FastAPI, client: Client, clock: Clock
) -> None:
    clock.forward(days=40)
    marked(app, SKU, markdown_price="399")
    clock.forward(days=3)
    marked(app, SKU, markdown_price="")
    clock.forward(days=3)
    seen = Reader(signed_in_as(client, app, "Orla", "owner")).open("/console/catalogue?slot=tail")
    kept(seen, SKU, markdown_price="389")
    assert "Called reduced by 3 %: on 4 January 2027 it was €399.00" in text_of(changed_row(seen))
    kept(seen, SKU, markdown_price="409")
    words = (
        "Not called reduced: on 4 January 2027 it was €399.00, the lowest price of the 30 days before, which decides."
    )
    assert words in text_of(changed_row(seen))
    kept(seen, SKU, markdown_from="2027-01-04")
    assert seen.status == 422
    assert "Until yesterday it cost €439.00, since 7 January 2027" in text_of(changed_row(seen))
    seen.open(f"/console/part?sku={SKU}")
    assert words in seen.text
    assert "mark it down to less than €399.00" in seen.text
    seen.press("Make €409.00 its plain price")
    assert (part(app).price, part(app).markdown) == (409_00, None)


def test_customers_read_of_a_former_price_only_where_it_may_be_named(
    app: FastAPI, client: Client, clock: Clock
) -> None:
    with app.state.shop.writing() as work:
        kit = issue_quote(work, learner()).kit
    board, wing = kit.parts["board"].sku, kit.parts["hand_wing"].sku
    clock.forward(days=40)
    prices = {sku: part(app, sku).price for sku in (board, wing)}
    cheap = {sku: f"{price * 7 // 1000}.00" for sku, price in prices.items()}
    marked(app, board, markdown_price=cheap[board])
    clock.forward(days=1)
    marked(app, board, markdown_price="")
    clock.forward(days=1)
    marked(app, board, markdown_price=cheap[board])
    marked(app, wing, markdown_price=cheap[wing])
    with app.state.shop.writing() as work:
        token = issue_quote(work, learner()).token
    seen = Reader(client).open(f"/quotes/{token}")
    assert "reduced by 30 %; the lowest price in the 30 days before was" in seen.text
    assert seen.text.count("reduced by") == 1, "of the board, marked down again within the month, nothing is said"
    lines = next(table for table in seen.page.iter("table") if "By itself" in text_of(table))
    row = next(row for row in lines.iter("tr") if kit.parts["board"].name in text_of(row))
    cells = [text_of(cell) for cell in row.iter("td")]
    assert cells[0] == cells[2]
    assert cells[1] == ""


def test_a_part_is_changed_on_its_page_and_its_ledger_keeps_who_and_why(app: FastAPI, owner: Client) -> None:
    seen = Reader(owner).open(f"/console/part?sku={SKU}")
    seen.press("Keep it so", mount="saddle", maker="")
    assert seen.status == 422
    assert seen.by_id("mount").get("value") == "saddle"
    seen.press("Keep it so", maker="Turnstone Foils")
    assert part(app).gear.text("mount") == "saddle"
    seen.press("Book it", kind="", pieces="two", why="spring")
    assert seen.status == 422
    assert seen.by_id("why").get("value") == "spring"
    address, body = seen.sending("Book it", kind="delivery", pieces="2")
    for _ in range(2):
        assert owner.post(address, content=body, headers=FORM).status_code == 303
    seen.open(f"/console/part?sku={SKU}")
    assert "delivered Orla: spring+24" in seen.text
    assert seen.text.count("delivered Orla") == 1
    seen.press("Retire it")
    assert part(app).retired
    seen.press("Bring it back")
    assert not part(app).retired
    assert seen.open("/console/part?sku=none").status == 404


def test_a_new_part_is_added_whatever_signs_its_sku_has(app: FastAPI, owner: Client) -> None:
    seen = Reader(owner).open("/console/part/new?slot=spare")
    seen.press("Put it in the catalogue", sku="S/1?&#é", name="A bolt", maker="Turnstone Foils", gtin="6291041500213")
    assert seen.status == 422
    assert seen.by_id("name").get("value") == "A bolt"
    seen.press("Put it in the catalogue", price="4", cost="1.50", fits="Turnstone Foils")
    assert part(app, "S/1?&#é").price == 4_00
    assert "It is in the catalogue now" in seen.text
    assert "A bolt" in Reader(owner).open("/console/catalogue?q=s/1").text


def test_photographs_of_a_part_are_kept_and_deleted(owner: Client) -> None:
    address = "/console/part/photos"
    files = [("photos", ("x.jpg", phone_photo((40, 30)), "image/jpeg"))]
    assert owner.post(address, data={"sku": SKU}, files=files).status_code == 303
    seen = Reader(owner).open(f"/console/part?sku={SKU}")
    token = next(image for image in seen.page.iter("img")).get("src", "").removeprefix("/photos/")
    wrong = owner.post(address, data={"sku": SKU}, files=[("photos", ("x.jpg", b"none", "image/jpeg"))])
    assert wrong.status_code == 422
    assert owner.post(address, data={"sku": SKU, "drop": token}).status_code == 303
    assert "<img" not in seen.open(f"/console/part?sku={SKU}").html


# What is said to be done, and the field that is wrong.
WRONG = [
    ({"change": "price", "by": "percent", "value": "lots"}, "value"),
    ({"change": "price", "by": "", "value": "5"}, "by"),
    ({"change": "markdown", "percent": "100"}, "percent"),
    ({"change": "markdown", "percent": "10", "since": "2026-11-24"}, "since"),
    ({"change": "sold"}, "sold_is"),
    ({"change": "stock", "kind": "count", "pieces": "-1", "why": "x"}, "pieces"),
    ({"change": "stock", "kind": "count", "pieces": "1"}, "why"),
    ({"change": "nothing"}, "change"),
]


@pytest.mark.parametrize(("said", "field"), WRONG)
def test_what_cannot_be_done_to_many_is_said_at_its_field(owner: Client, said: dict[str, str], field: str) -> None:
    answer = owner.get("/console/catalogue/bulk", params={"slot": "tail", **said})
    assert answer.status_code == 422
    assert f'id="{field}-fault"' in answer.text


def test_many_prices_are_seen_before_they_are_changed_and_then_all_or_none(app: FastAPI, owner: Client) -> None:
    seen = Reader(owner).open("/console/catalogue/bulk?slot=tail")
    assert "Change 16 parts" in seen.text
    seen.open("/console/catalogue/bulk?slot=tail&change=price&by=percent&value=5&ending=90")
    assert "Prices +5 %, to .90, 16 parts" in seen.text
    # Own arithmetic: 439.00 and 5 % are 460.95, and the nearest .90 is 460.90.
    assert "€439.00 €460.90" in seen.text
    marked(app, "TUR-T220", name="Renamed")
    seen.press("Do it to 16 parts")
    assert seen.status == 409
    assert "nothing was done" in seen.text
    assert part(app).price == 439_00
    address, body = seen.sending("Do it to 16 parts")
    for _ in range(2):
        assert owner.post(address, content=body, headers=FORM).status_code == 303
    assert part(app).price == 460_90
    assert "Done: prices +5 %, to .90, 16 parts." in seen.open("/console/catalogue?slot=tail&done=yes").text


def test_only_those_ticked_are_changed(app: FastAPI, owner: Client) -> None:
    seen = Reader(owner).open(f"/console/catalogue/bulk?sku={SKU}&sku=none&change=stock&kind=damage&pieces=1&why=storm")
    assert "2 on hand 1" in seen.text
    seen.press("Do it to 1 part")
    assert "damaged or lost Orla: storm−11" in seen.open(f"/console/part?sku={SKU}").text
