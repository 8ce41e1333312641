"""A signature drawn with the finger is what the shop keeps."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from server.domain.handover import needs_serial, points_for
from server.usecases.handover import to_come
from server.web.guard import SESSION_COOKIE
from tests.builders_accounts import account_token
from tests.builders_sales import bought, sale_now
from tests.builders_seen import World

pytestmark = pytest.mark.browser


def test_a_kit_is_signed_for_with_a_finger(page: Page, address: str, world: World) -> None:
    sale = bought(world.fill().shop)
    session = account_token(world.shop, "Maeve", "staff")
    page.context.add_cookies([{"name": SESSION_COOKIE, "value": session, "url": address}])
    page.goto(f"{address}/desk/sales/{sale.id}/hand-over")
    for item in to_come(sale):
        if needs_serial(item):
            page.fill(f"#serial-{item.number}", f"{item.sku}-{sale.id}")
    for point in points_for(item.slot for item in to_come(sale)):
        page.check(f"[name=check-{point.name}][value=done]")
    pad = page.locator("[data-signature] svg")
    pad.scroll_into_view_if_needed()

    def draw() -> None:
        box = pad.bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + 0.2 * box["width"], box["y"] + 0.5 * box["height"])
        page.mouse.down()
        page.mouse.move(box["x"] + 0.8 * box["width"], box["y"] + 0.2 * box["height"], steps=12)
        page.mouse.up()

    draw()
    assert page.input_value("#drawn").startswith("120,100 ")
    page.click("text=Clear, and sign again")
    assert page.input_value("#drawn") == ""
    draw()
    drawn = page.input_value("#drawn")
    page.click("button.wide")
    page.wait_for_url("**/hand-over/1")
    mark = sale_now(world.shop, sale.id).done("handed_over")
    assert mark is not None
    assert mark.about["drawn"] == drawn
    assert page.locator("svg.signature path").get_attribute("d") is not None
