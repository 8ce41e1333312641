"""From agreed to handed over to swapped to returned, as the desk does it on a phone and at the counter."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from server.domain.handover import needs_serial, points_for
from server.domain.sales import Sale
from server.persistence.sales import sale_of_quote
from server.usecases.handover import to_come
from server.web.guard import SESSION_COOKIE
from tests.builders_accounts import seat
from tests.builders_sales import agreed_quote, sale_now
from tests.builders_seen import World

pytestmark = pytest.mark.browser


def sign(page: Page) -> None:
    """Draw a line across the field with one finger."""
    pad = page.locator("[data-signature] svg")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 0.2 * box["width"], box["y"] + 0.5 * box["height"])
    page.mouse.down()
    page.mouse.move(box["x"] + 0.8 * box["width"], box["y"] + 0.2 * box["height"], steps=12)
    page.mouse.up()


def hand_over(page: Page, sale: Sale) -> None:
    """Fill the serial numbers in, go through everything together, have it signed."""
    for item in to_come(sale):
        if needs_serial(item):
            page.fill(f"#serial-{item.number}", f"{item.sku}-{sale.id}")
    for point in points_for(item.slot for item in to_come(sale)):
        page.check(f"[name=check-{point.name}][value=done]")
    sign(page)
    page.click("button.wide")
    page.wait_for_url("**/hand-over/1")


def test_a_kit_is_bought_handed_over_swapped_and_given_back(page: Page, address: str, world: World) -> None:
    quote = agreed_quote(world.fill().shop)
    page.context.add_cookies([{"name": SESSION_COOKIE, "value": seat(world.shop, "Maeve", "staff"), "url": address}])
    page.goto(f"{address}/desk/quotes/{quote.code}")
    page.get_by_role("link", name="Make the contract").click()
    page.check("[name=concluded][value=beach]")
    page.select_option("[name=means]", "terminal")
    page.get_by_role("button", name=re.compile("Make the contract")).click()
    page.wait_for_url("**/desk/sales/*")
    with world.shop.reading() as work:
        number = sale_of_quote(work.session, quote.token)
    assert number is not None
    expect(page.locator("main")).to_contain_text("Nothing is owed")

    page.get_by_role("link", name="Hand over").first.click()
    hand_over(page, sale_now(world.shop, number))
    assert sale_now(world.shop, number).state == "handed_over"

    page.goto(f"{address}/desk/sales/{number}/swap")
    page.locator("a[href*='item=6']").first.click()
    page.fill("[name=serial]", f"SWAPPED-{number}")
    if page.locator("[name=means]").count():
        page.select_option("[name=means]", "terminal")
    page.get_by_role("button", name=re.compile("Swap it now")).click()
    page.wait_for_url(re.compile(rf"/desk/sales/{number}(\?.*)?$"))
    swapped = sale_now(world.shop, number)
    assert next(item for item in swapped.items if item.number == 6).gone == "swapped"
    if swapped.owed:
        page.goto(f"{address}/desk/sales/{number}/pay")
        page.select_option("[name=means]", "terminal")
        page.locator("main button.button").first.click()
        page.wait_for_url(re.compile(rf"/desk/sales/{number}(\?.*)?$"))
    assert sale_now(world.shop, number).owed == 0

    page.goto(f"{address}/desk/sales/{number}/return")
    for item in sale_now(world.shop, number).goods:
        if item.is_with_customer:
            page.check(f"[name=take][value='{item.number}']")
    page.check("[name=kind][value=cancel]")
    expect(page.locator("#worked")).to_contain_text("They get back")
    page.get_by_role("button", name="Take it back").click()
    page.wait_for_url(re.compile(r"/desk/(sales/\d+|cases)(\?.*)?$"))
    returned = sale_now(world.shop, number)
    assert returned.state == "returned"
    assert returned.owed < 0

    page.goto(f"{address}/owned/{returned.token}")
    expect(page.locator("main")).to_contain_text("We owe you")
