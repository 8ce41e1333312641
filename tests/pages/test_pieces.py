"""Used pieces over the front door: put up with photographs, asked for by a customer, confirmed and sold at the desk."""

from __future__ import annotations

from fastapi import FastAPI

from tests.builders_http import Client
from tests.builders_photos import SCRIPT, phone_photo
from tests.builders_pieces import DEMO_SKU, delivery
from tests.builders_sales import bought
from tests.pages.reader import Reader, fields_of_form
from tests.usecases.test_pieces import TRADED, gear_of

NEW = {
    "source": "bought",
    "slot": "hand_wing",
    "name": "Shearwater 5",
    "maker": "Saltmarsh Wings",
    "condition": "good",
    "hours": "40",
    "paid": "300",
    "price": "450.00",
    "note": "A small patch near the wing tip.",
}


def put_up(staff: Client, photo: tuple[str, bytes], **given: str) -> Reader:
    """The answer to the form for a new piece, sent with a file as a browser sends it."""
    desk = Reader(staff).open("/desk/pieces")
    form, _ = desk.form("Put it up")
    fields = {**{name: value for name, value in fields_of_form(form) if name != "photos"}, **NEW, **given}
    answer = staff.post("/desk/pieces", data=fields, files={"photos": (photo[0], photo[1], "image/jpeg")})
    if answer.status_code == 303:
        return desk.open(answer.headers["location"])
    desk.status, desk.html = answer.status_code, answer.text
    return desk


def test_a_piece_is_put_up_with_a_photograph_held_and_sold(app: FastAPI, staff: Client, client: Client) -> None:
    wrong = put_up(staff, ("wing.jpg", SCRIPT), price="much", name="")
    assert wrong.status == 422
    for words in ("wing.jpg", "This is not a price.", "A piece needs a name."):
        assert words in wrong.text
    assert wrong.by_id("maker").get("value") == "Saltmarsh Wings"
    desk = put_up(staff, ("wing.jpg", phone_photo()))
    assert desk.row("VAT, 23 %") == "−€28.05"
    assert desk.row("Earned") == "€121.95"
    desk.press("Keep it so", **{"measure-area_m2": "50"})
    assert (desk.status, desk.by_id("measure-area_m2").get("value")) == (422, "50")
    desk.press("Keep it so", **{"measure-area_m2": "5"})
    piece = desk.address

    reader = Reader(client).open("/used?slot=hand_wing")
    for words in ("Shearwater 5", "5 m²", "€450.00", "Good, about 40 hours on the water"):
        assert words in reader.text
    address = next(link.get("href", "") for link in reader.page.iter("a") if "/used/pieces/" in link.get("href", ""))
    assert client.get(next(img.get("src", "") for img in reader.page.iter("img"))).status_code == 200
    reader.open(address).press("Ask to hold it", name="Some One", email="nowhere")
    assert (reader.status, reader.by_id("name").get("value")) == (422, "Some One")
    reader.press("Ask to hold it", name="Some One", email="some.one@example.org")
    assert "Asked for." in reader.text
    assert "held for somebody" in Reader(client).open("/used").text

    found = Reader(staff).open("/desk").press("Find", q="Some One")
    assert "Asked to hold a piece" in found.text
    front = Reader(staff).open("/desk").press("Confirm: Shearwater 5, Saltmarsh Wings for Some One")
    assert "here, to sell" in front.text
    assert "Set aside for you until" in reader.open(reader.address).text
    desk.open(piece)
    assert desk.by_id("who").get("value") == "Some One"
    assert "collected: €450.00 in all" in desk.text
    desk.press("Sell it", means="", zone="Ireland", concluded="counter")
    assert (desk.status, desk.by_id("means").get("aria-invalid")) == (422, "true")
    desk.press("Sell it", means="terminal", zone="Ireland", concluded="counter", address="1 The Strand\r\nTullaveen")
    assert "then it was bought at a distance" in desk.text
    address, body = desk.sending("Sell it", means="terminal", zone="", concluded="counter")
    answer = staff.post(address, content=body, headers={"content-type": "application/x-www-form-urlencoded"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/desk/sales/1")
    assert "It is yours." in reader.open(reader.address).text
    assert "/owned/" in reader.html
    assert Reader(client).open(address.replace("/desk/pieces", "/used/pieces").removesuffix("/sell")).status == 404


def test_what_is_due_is_held_and_old_gear_is_looked_over(app: FastAPI, staff: Client, client: Client) -> None:
    shop = app.state.shop
    desk = Reader(staff).open("/desk/expected").press("Write it down", sku="nothing", pieces="0")
    assert desk.status == 422
    delivery(shop)
    assert "Due about 12 December" in Reader(client).open("/used").text
    reader = Reader(client).open("/used/expected/1").press("Ask to hold it", name="Some One", phone="01 555 0199")
    desk.open("/desk/expected/1").press("Book what came", arrived="9")
    assert (desk.status, desk.by_id("arrived").get("value")) == (422, "9")
    desk.press("Book what came", arrived="1")
    assert "It is in the shop: come by" in reader.open(reader.address).text
    reader.press("Take the request back")
    assert "This request has ended" in reader.text

    sale = bought(shop, trades=[TRADED])
    piece = gear_of(shop, sale.id)
    desk.open(f"/desk/pieces/{piece.id}").press("Write it down", value="10", why="")
    assert (desk.status, desk.by_id("value").get("value")) == (422, "10")
    desk.press("Write it down", faults=["cracked"], value="0")
    assert "Thrown away" in desk.text
    assert DEMO_SKU not in Reader(client).open("/used").text
