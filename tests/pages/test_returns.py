"""Giving back, swapping and faulty goods over the front door: the notice, what it comes to, and doing it once."""

from __future__ import annotations

from fastapi import FastAPI

from tests.builders_goods import kit_received
from tests.builders_http import Client
from tests.builders_sales import sale_now
from tests.pages.reader import FORM, Reader, encoded


def test_a_notice_is_worked_out_at_the_desk_and_taken_back_once(app: FastAPI, client: Client, staff: Client) -> None:
    sale = kit_received(app.state.shop)
    own = Reader(client).open(f"/owned/{sale.token}/give-back")
    assert "until 9 December 2026" in own.text
    own.open(f"{own.address}?take=1&take=6")
    assert own.row("You get back").startswith("€")
    assert "we keep for its use at most" in own.text
    own.press("Confirm: I cancel for these", text="Too <b>wild</b> for me.", take=[])
    assert (own.status, own.by_id("text").text) == (422, "Too <b>wild</b> for me.")
    own.open(f"/owned/{sale.token}/give-back?take=1&take=6").press(
        "Confirm: I cancel for these", text="Too wild for me."
    )
    assert "We have your notice of 25 November 2026: " in own.text
    page = Reader(client).open(f"/owned/{sale.token}")
    assert f"Coming back: {sale.items[0].label}, {sale.items[5].label}. You told us on 25 November 2026." in page.text
    assert "Your money is due by 9 December 2026" in page.text

    desk = Reader(staff).open("/desk/cases")
    assert "9 December 2026" in desk.text
    desk.open(f"/desk/sales/{sale.id}/return")
    assert "Too wild for me." in desk.text
    board, wing = (sale.items[place].label for place in (0, 5))
    shown = desk.row(board)
    query = "?kind=cancel&notice_on=2026-11-25&take=1&take=6&wear-1=10&new-6=yes"
    fragment = staff.get(f"/desk/sales/{sale.id}/return{query}", headers={"HX-Request": "true"}).text
    assert "Wear of the board" in fragment
    assert "<h1" not in fragment
    desk.open(f"/desk/sales/{sale.id}/return{query.replace('wear-1=10', 'wear-1=99')}")
    assert (desk.status, desk.by_id("wear-1").get("value")) == (422, "99")
    desk.open(f"/desk/sales/{sale.id}/return{query}")
    assert desk.row(board) == shown
    assert desk.row(wing)
    address, body = desk.sending("Take it back")
    for _ in range(2):
        answer = staff.post(address, content=body, headers=FORM)
        assert answer.headers["location"] == f"/desk/sales/{sale.id}"
    now = sale_now(app.state.shop, sale.id)
    assert [paper.kind for paper in now.papers] == ["invoice", "credit_note"]
    assert {item.number for item in now.items if item.gone} == {1, 6}
    page.open(f"/owned/{sale.token}")
    assert "The rest of your kit is with you." in page.text
    assert "You have it by 9 December 2026" in page.text
    assert "taken back" in Reader(staff).open("/desk/cases").text

    desk.open(f"/desk/sales/{sale.id}/return?kind=cancel&notice_on=2026-11-25&take=2")
    desk.press("Only note that they told us")
    assert f"They told us on 25 November 2026: {sale.items[1].label}" in desk.text
    desk.press("Nothing comes back")
    assert (desk.status, desk.by_id("closing").get("aria-invalid")) == (422, "true")
    desk.press("Nothing comes back", closing="They keep the mast.")
    assert (desk.address, "Work it out" in desk.text) == ("/desk/cases", False)


def test_a_size_is_swapped_and_a_fault_followed_at_the_desk(app: FastAPI, staff: Client) -> None:
    sale = kit_received(app.state.shop)
    desk = Reader(staff).open(f"/desk/sales/{sale.id}/swap")
    choice = next(link.get("href", "") for link in desk.page.iter("a") if "item=6" in link.get("href", ""))
    desk.open(choice.split("#")[0])
    assert desk.row("Swapping a hand wing") == "−€55.00"
    desk.press("Swap it now", serial="W-77")
    assert (desk.status, desk.by_id("serial").get("value")) == (422, "W-77")
    address, body = desk.sending("Swap it now", means="terminal")
    assert staff.post(address, content=body, headers=FORM).status_code == 303
    assert sale_now(app.state.shop, sale.id).items[-1].serial == "W-77"

    desk.open(f"/desk/sales/{sale.id}/fault")
    desk.press("Write it down", text="")
    assert (desk.status, desk.by_id("item").get("aria-invalid")) == (422, "true")
    desk.press("Write it down", item="1", text="The track is loose.")
    assert "taken to have been faulty from the start" in desk.text
    case = desk.address.rsplit("=", 1)[1]
    claimed = [("claim", "sent"), ("reference", "R 17"), ("key", "claim-key-1")]
    desk.open(f"/desk/sales/{sale.id}/fault")
    form = next(form for form in desk.page.iter("form") if form.get("action", "").endswith("/claim"))
    assert form.get("action") == f"/desk/cases/{case}/claim"
    assert staff.post(f"/desk/cases/{case}/claim", content=encoded(claimed), headers=FORM).status_code == 303
    assert "Sent to the maker, their reference R 17" in desk.open(desk.address).text
    desk.press("Write it down", remedy="repair", why="A new track screw.")
    assert "Repaired: A new track screw." in desk.text
    desk.press("Settle it", closing="")
    assert (desk.status, desk.by_id("closing").get("aria-invalid")) == (422, "true")
    desk.press("Settle it", closing="It holds.")
    assert "Nothing faulty is open." in desk.text
