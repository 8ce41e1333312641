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


def rows_form(reader: Reader) -> tuple[str, dict[str, str], dict[str, str]]:
    """Where the rows are sent, what they would send, and the number of each SKU's row."""
    _, form = next((None, one) for one in reader.page.iter("form") if "rows-form" in one.get("class", ""))
    fields = [one for one in form.iter("input") if one.get("form") is None]
    sent = {
        one.get("name", ""): one.get("value", "")
        for one in fields
        if one.get("type") != "checkbox" or one.get("checked") is not None
    }
    numbers = {value: name.removeprefix("sku-") for name, value in sent.items() if name.startswith("sku-")}
    return form.get("action", ""), sent, numbers


def sending_rows(reader: Reader, typed: dict[str, dict[str, str]]) -> tuple[str, bytes]:
    """The list with its rows as they are typed; a field without a value is not sent."""
    address, sent, numbers = rows_form(reader)
    for sku, cells in typed.items():
        sent |= {f"{name}-{numbers[sku]}": value for name, value in cells.items()}
    return address, encoded([(name, value) for name, value in sent.items() if value != "-"])


def kept(reader: Reader, sku: str, **typed: str) -> Reader:
    """The list kept with one row as it is typed."""
    return all_kept(reader, {sku: typed})


def all_kept(reader: Reader, typed: dict[str, dict[str, str]]) -> Reader:
    address, body = sending_rows(reader, typed)
    answer = reader.client.post(address, content=body, headers=FORM)
    if answer.status_code == 303:
        return reader.open(answer.headers["location"])
    reader.status, reader.html = answer.status_code, answer.text
    return reader


def cells_of(reader: Reader, sku: str) -> dict[str, str]:
    """The fields of a row as they are shown."""
    _, sent, numbers = rows_form(reader)
    return {name: sent.get(f"{name}-{numbers[sku]}", "") for name in ("price", "markdown_price", "markdown_from")}


def row_of(reader: Reader, sku: str = SKU) -> Element:
    return next(row for row in reader.page.iter("tr") if any(one.get("value") == sku for one in row.iter("input")))


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
    assert parse_qs(urlsplit(seen.address).query)["slot"] == ["tail"]
    assert part(app).price == 449_50
    assert "Kept as it stands here" in text_of(row_of(seen))
    assert "Kept. Kelpline tail 190: price €439.00 → €449.50. Undo this" in seen.text
    kept(seen, SKU, sold="-")
    assert not part(app).sold
    kept(seen.open("/console/catalogue?sold=unsold"), SKU, sold="yes")
    assert part(app).sold
    assert "Kelpline tail 190" in text_of(row_of(seen)), "it is shown though it is not among those any more"
    assert "Kept." not in kept(seen, SKU).text, "of what was not changed nothing is kept"


def test_all_rows_that_were_changed_are_one_step(app: FastAPI, owner: Client) -> None:
    seen = Reader(owner).open("/console/catalogue?slot=tail")
    all_kept(seen, {SKU: {"price": "450"}, "TUR-T220": {"markdown_price": "399"}})
    assert (part(app).price, part(app, "TUR-T220").markdown is not None) == (450_00, True)
    assert "Kept. 2 tails changed in the list: Kelpline tail 190, Kelpline tail 220." in seen.text
    undo = next(one.get("href", "") for one in seen.page.iter("a") if text_of(one) == "Undo this")
    seen.open(undo)
    assert "price 450.00 → 439.00" in seen.text, "the other way round than the step"
    seen.press("Undo this step")
    assert (part(app).price, part(app, "TUR-T220").markdown) == (439_00, None)


def test_a_wrong_row_keeps_none_and_all_are_shown_as_they_were_typed(app: FastAPI, owner: Client) -> None:
    seen = Reader(owner).open("/console/catalogue?slot=tail")
    all_kept(seen, {SKU: {"price": "cheap", "markdown_price": "1"}, "TUR-T220": {"price": "455.00"}})
    assert seen.status == 422
    assert (cells_of(seen, SKU)["price"], cells_of(seen, SKU)["markdown_price"]) == ("cheap", "1")
    assert "'cheap' is not accepted." in text_of(row_of(seen))
    assert cells_of(seen, "TUR-T220")["price"] == "455.00"
    assert "Not kept yet." in text_of(row_of(seen, "TUR-T220"))
    assert (part(app).price, part(app, "TUR-T220").price == 455_00) == (439_00, False)
    kept(seen, SKU, price="440", markdown_price="")
    assert (part(app).price, part(app, "TUR-T220").price) == (440_00, 455_00)


def test_a_row_that_somebody_else_changed_is_not_overwritten(app: FastAPI, owner: Client) -> None:
    seen = Reader(owner).open("/console/catalogue?slot=tail")
    marked(app, SKU, price="450.00")
    kept(seen, "TUR-T220", price="455.00")
    assert part(app).price == 450_00, "a row that was not typed in is not sent back as it was"
    seen.open("/console/catalogue?slot=tail")
    marked(app, SKU, price="451.00")
    kept(seen, SKU, price="460.00")
    assert seen.status == 409
    assert "It is now at 451.00" in text_of(row_of(seen))
    kept(seen, SKU)
    assert part(app).price == 460_00, "seen what it is now, what was typed is kept"


def test_what_sells_for_less_than_it_costs_is_said_first(app: FastAPI, owner: Client) -> None:
    marked(app, SKU, cost="400.00")
    seen = Reader(owner).open("/console")
    assert "1 part sells for less than it costs" in seen.text
    seen.open("/console/catalogue?flag=loss")
    assert "Sells for less than it costs" in text_of(row_of(seen))
    assert "floor" not in text_of(row_of(seen))


def test_ticked_parts_are_changed_or_sold_as_a_set_however_many(app: FastAPI, owner: Client) -> None:
    address = "/console/catalogue/bulk"

    def ticked(do: str, *skus: str) -> Reader:
        body = encoded([("do", do), ("slot", "tail"), *(("sku", sku) for sku in skus)])
        answer = owner.post(address, content=body, headers=FORM)
        seen = Reader(owner)
        if answer.status_code == 303:
            return seen.open(answer.headers["location"])
        seen.address, seen.status, seen.html = address, answer.status_code, answer.text
        return seen

    with app.state.shop.reading() as work:
        skus = [one.sku for one in work.catalogue.parts.values()][:50]
    seen = ticked("change", *skus)
    assert (seen.status, "Change 50 parts" in seen.text) == (200, True)
    seen.press("Show what it would do", change="price", by="amount", value="10")
    assert "50 parts up by €10.00" in seen.text
    assert ticked("set", *skus).status == 422
    assert ticked("set", SKU, "TUR-F70").by_id("parts").text == f"{SKU}; TUR-F70"
    assert "No part is ticked yet." in ticked("change").text


def test_a_parts_page_names_its_sets(owner: Client) -> None:
    assert "In setsKelpline foil set 1720" in Reader(owner).open("/console/part?sku=TUR-F70").text


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
    assert "Called reduced by 2 %: on 4 January 2027 it was €399.00" in text_of(row_of(seen))
    kept(seen, SKU, markdown_price="409")
    words = (
        "Not called reduced: on 4 January 2027 it was €399.00, the lowest price of the 30 days before, which decides."
    )
    assert words in text_of(row_of(seen))
    kept(seen, SKU, markdown_from="2027-01-04")
    assert seen.status == 422
    assert "Until yesterday it cost €439.00, since 7 January 2027" in text_of(row_of(seen))
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
    taken = phone_photo((40, 30))
    as_large_as_phones_take_them = taken + bytes(200_000)
    files = [("photos", ("x.jpg", as_large_as_phones_take_them, "image/jpeg"))]
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
    assert "Change 16 tails" in seen.text
    seen.open("/console/catalogue/bulk?slot=tail&change=price&by=percent&value=5&ending=90")
    assert "16 tails up 5 %, rounded to .90" in seen.text
    # Own arithmetic: 439.00 and 5 % are 460.95, and the nearest .90 is 460.90.
    assert "Now€439.00 Then€460.90" in seen.text
    marked(app, "TUR-T220", name="Renamed")
    seen.press("Do it to 16 parts")
    assert seen.status == 409
    assert "nothing was done" in seen.text
    assert part(app).price == 439_00
    address, body = seen.sending("Do it to 16 parts")
    for _ in range(2):
        assert owner.post(address, content=body, headers=FORM).status_code == 303
    assert part(app).price == 460_90
    seen.open(owner.post(address, content=body, headers=FORM).headers["location"])
    assert "Kept. 16 tails up 5 %, rounded to .90. Undo this" in seen.text


def test_a_markdown_leaves_out_what_is_marked_down_further_unless_it_is_meant(app: FastAPI, owner: Client) -> None:
    marked(app, SKU, markdown_price="300.00")
    seen = Reader(owner).open("/console/catalogue/bulk?sku=TUR-T190&sku=TUR-T220&change=markdown&percent=10")
    assert "1 would become dearer than today: it is marked down further already. It is left out." in seen.text
    seen.press("Change it all the same")
    assert "1 would become dearer than today: it is marked down further already." in seen.text
    seen.press("Do it to 2 parts")
    markdown = part(app).markdown
    assert markdown is not None
    assert markdown.price == 395_10  # Own arithmetic: 439.00 less a tenth.


def test_only_those_ticked_are_changed(app: FastAPI, owner: Client) -> None:
    seen = Reader(owner).open(f"/console/catalogue/bulk?sku={SKU}&sku=none&change=stock&kind=damage&pieces=1&why=storm")
    assert "Now2 on hand Then1" in seen.text
    seen.press("Do it to 1 part")
    assert "damaged or lost Orla: storm−11" in seen.open(f"/console/part?sku={SKU}").text
