"""A kit is handed over on the beach, its owner asks something, the desk answers, and a recall finds them: over the front door."""

from __future__ import annotations

import httpx
from fastapi import FastAPI

from server.domain.handover import points_for
from server.usecases.handover import to_come
from server.usecases.photos import photos_of
from tests.builders_handover import DRAWN, owned, sent, taken_of
from tests.builders_http import Client
from tests.builders_photos import SCRIPT, phone_photo
from tests.builders_sales import bought, sale_now
from tests.pages.reader import FORM, Reader


def test_a_kit_is_handed_over_signed_for_and_found_on_its_owners_page(
    app: FastAPI, staff: Client, client: Client
) -> None:
    shop = app.state.shop
    sale = bought(shop, trades=[{"slot": "board", "price_new": 1200_00, "months": 24, "condition": "good"}])
    desk = Reader(staff).open(f"/desk/sales/{sale.id}/hand-over")
    serials = {f"serial-{one.number}": one.serial for one in taken_of(sale) if one.serial}
    assert "Their old gear was not looked at yet" in desk.text
    assert any(link.get("href") == "/desk/pieces/1" for link in desk.page.iter("a"))
    done = {f"check-{point.name}": "done" for point in points_for(item.slot for item in to_come(sale))}
    desk.press("Hand over", **serials, **{**done, "check-bolts": "not_done"}, drawn=DRAWN)
    assert desk.status == 422
    first, serial = next(iter(serials.items()))
    assert (desk.by_id(first).get("value"), desk.by_id("drawn").get("value")) == (serial, DRAWN)
    assert "it has to be done before anything leaves" in desk.text
    desk.press("Hand over", **{"check-bolts": "done"})
    assert (desk.status, desk.address) == (200, f"/desk/sales/{sale.id}/hand-over/1")
    assert serial in desk.text
    assert "M40 120L80 60" in desk.html
    assert sale_now(shop, sale.id).state == "handed_over"
    page = Reader(client).open(f"/owned/{sale.token}")
    for words in (
        "Your kit is with you.",
        "All is paid.",
        serial,
        "2 of 2 left",
        "A shorter fuselage",
        "Spare parts that fit",
    ):
        assert words in page.text
    assert page.headers["x-robots-tag"].startswith("noindex")
    assert page.headers["referrer-policy"] == "no-referrer"
    page.press("Do not write any more")
    page.press("Write again")
    assert page.form("Do not write any more")
    desk.open(f"/desk/sales/{sale.id}/serials").press(
        "Correct it", item=first.removeprefix("serial-"), serial="N-1", why=""
    )
    assert (desk.status, desk.by_id("serial").get("value")) == (422, "N-1")
    desk.press("Correct it", why="It was misread.")
    assert "N-1" in page.open(f"/owned/{sale.token}").text
    desk.open(f"/desk/sales/{sale.id}/sessions").press("One was taken", day="2030-01-01", note="Light wind")
    assert (desk.status, desk.by_id("note").get("value")) == (422, "Light wind")
    desk.press("One was taken", day=sale.made_on.isoformat())
    assert "1 of 2 left" in desk.text
    desk.press("Take it back", why="")
    assert (desk.status, desk.by_id("why").get("aria-invalid")) == (422, "true")
    desk.press("Take it back", why="Too much wind that day.")
    assert "2 of 2 left" in desk.text
    assert "It was not taken: Too much wind that day." in desk.text


def test_the_customer_says_that_the_parcel_is_here(app: FastAPI, client: Client) -> None:
    shop = app.state.shop
    sale = sent(shop, bought(shop, delivery="deliver"))
    page = Reader(client).open(f"/owned/{sale.token}")
    address, body = page.sending("It is here")
    for _ in range(2):
        assert client.post(address, content=body, headers=FORM).status_code == 303
    now = sale_now(shop, sale.id)
    assert [mark.kind for mark in now.marks].count("arrived") == 1
    assert now.state == "handed_over"
    assert "It is here" not in page.open(f"/owned/{sale.token}").text


def asked(client: Client, token: str, photos: list[bytes], text: str = "Is this nick too deep?") -> httpx.Response:
    """A question with photographs, as a browser sends it."""
    files = [("photos", (f"photo-{place}.jpg", content, "image/jpeg")) for place, content in enumerate(photos)]
    data = {"key": f"question-of-{len(photos)}-photos", "text": text, "item": ""}
    return client.post(f"/owned/{token}/ask", data=data, files=files or [("photos", ("", b"", ""))])


def test_a_question_with_photos_is_answered_and_a_recall_finds_its_owner(
    app: FastAPI, staff: Client, client: Client
) -> None:
    sale = owned(app.state.shop)
    wrong = asked(client, sale.token, [phone_photo(), SCRIPT])
    assert wrong.status_code == 422
    for words in ("”: this is not a photograph", "Is this nick too deep?", "Choose the photos again"):
        assert words in wrong.text
    assert asked(client, sale.token, [SCRIPT] * 5).status_code == 422
    assert asked(client, sale.token, [phone_photo((120, 90))]).status_code == 303
    with app.state.shop.reading() as work:
        [photo] = photos_of(work, "question:1")
    assert photo.width == 120
    desk = Reader(staff).open("/desk")
    assert "Is this nick too deep?" in desk.text
    desk.open("/desk/questions/1").press("Answer", answer="")
    assert desk.status == 422
    desk.press("Answer", answer="Smooth it with fine paper; a deep one stays ashore.")
    assert "None waits." in desk.text
    assert "a deep one stays ashore" in Reader(client).open(f"/owned/{sale.token}").text
    sku = next(item.sku for item in sale.items if item.slot == "tail")
    desk.open("/desk/recall").press("Find the owners", sku=sku, first=f"{sku}-1", last=f"{sku}-2000")
    assert "1 sold" in desk.text
    assert sale.contact.email in desk.text
    table = staff.post("/desk/recall", data={"sku": sku, "do": "csv"})
    assert table.headers["content-type"].startswith("text/csv")
    assert f"{sku}-{1000 + sale.id}" in table.text
    desk.press("Find the owners", sku="", first="none", last="")
    assert desk.status == 422


def test_nobody_without_a_kit_gets_photographs_taken_in(client: Client) -> None:
    """Refused by its address alone: a broken form is not even looked at."""
    headers = {"Content-Type": "multipart/form-data"}
    assert client.post(f"/owned/{'x' * 22}/ask", content=b"no parts", headers=headers).status_code == 404
