"""A price list in a browser: its faults are shown with row and column, it is mended, brought in, and the step is undone."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, FilePayload, Page, expect

from server.outside.workbook import workbook_of
from server.usecases.work import Shop
from server.web.guard import SESSION_COOKIE
from tests.builders_accounts import account_token
from tests.builders_seen import World

pytestmark = pytest.mark.browser

SKU = "GDW-C60"


@pytest.fixture
def console(browser: Browser, address: str, world: World) -> Iterator[Page]:
    """The owner's page; of its console only the refusal of faults is a warning."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, base_url=address)
    session = account_token(world.shop, "Orla", "owner")
    context.add_cookies([{"name": SESSION_COOKIE, "value": session, "url": address}])
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text) if message.type in ("warning", "error") else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    yield page
    context.close()
    assert all("422" in line for line in said), said


def price_list(price: str | float) -> FilePayload:
    """A workbook of one price."""
    content = workbook_of({"boards": [["sku", "price"], [SKU, price]]})
    return {"name": "season.xlsx", "mimeType": "application/octet-stream", "buffer": content}


def price(shop: Shop) -> int:
    with shop.reading() as work:
        return work.catalogue.parts[SKU].price


def test_faults_are_shown_mended_brought_in_and_undone(console: Page, world: World) -> None:
    before = price(world.shop)
    console.goto("/console/files")
    chooser = console.get_by_label("A workbook, a ZIP, or one or several files")
    chooser.set_input_files(price_list("2.9OO,00"))
    console.get_by_role("button", name="Show what it would change").click()
    expect(console.get_by_role("heading", level=1)).to_have_text("One fault: nothing was changed")
    expect(console.get_by_role("row").nth(1)).to_contain_text("sheet boards")
    expect(console.get_by_role("row").nth(1)).to_contain_text("2priceGDW-C60 Creek 60: '2.9OO,00' is not accepted.")
    chooser.set_input_files(price_list(2900.5))
    console.get_by_role("button", name="Show what it would change").click()
    expect(console.get_by_role("heading", level=1)).to_have_text("What this would change")
    expect(console.get_by_role("row").nth(1)).to_contain_text(f"price {before / 100:.2f} → 2900.50")
    assert price(world.shop) == before
    console.get_by_role("button", name="Bring it in").click()
    expect(console.locator("main")).to_contain_text("Brought in: 1 price changed")
    assert price(world.shop) == 2900_50
    console.get_by_role("link", name="Undo it").click()
    expect(console.locator("main")).to_contain_text("stock: deliveries, sales and counts")
    console.get_by_role("button", name="Undo this step").click()
    expect(console.locator("main")).to_contain_text("2900.50")
    assert price(world.shop) == before
