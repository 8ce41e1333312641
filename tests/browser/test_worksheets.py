"""The desk in a browser: a link made in few key-presses and followed to a quote; both sides of a call see each other's changes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect

from server.web.guard import SESSION_COOKIE
from tests.builders_accounts import account_token
from tests.builders_seen import World
from tests.pages.reader import at_the_kit

pytestmark = pytest.mark.browser

WITHIN_MS = 5000
MOST_PRESSES = 8


@pytest.fixture(scope="module")
def session(world: World) -> str:
    """The token of a session of Maeve's at the desk."""
    return account_token(world.shop, "Maeve", "staff")


@pytest.fixture
def desk(browser: Browser, elsewhere: str, session: str) -> Iterator[Page]:
    """A page at the desk, at the second server; its console must not have warned of anything."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, base_url=elsewhere)
    context.add_cookies([{"name": SESSION_COOKIE, "value": session, "url": elsewhere}])
    opened = context.new_page()
    said: list[str] = []
    opened.on("console", lambda message: said.append(message.text) if message.type in ("warning", "error") else None)
    opened.on("pageerror", lambda error: said.append(str(error)))
    yield opened
    context.close()
    assert said == []


def test_a_prepared_link_takes_eight_key_presses_beside_the_answers_and_leads_to_a_quote(
    desk: Page, page: Page, address: str
) -> None:
    pressed = 0

    def press(key: str) -> None:
        nonlocal pressed
        pressed += 1
        desk.keyboard.press(key)

    desk.goto("/desk")
    expect(desk.get_by_role("button", name="New worksheet")).to_be_visible()
    press("Alt+n")
    expect(desk.locator("#mass_kg")).to_be_focused()
    # What the caller says is typed; a letter chooses in a list. Only what goes from one answer to the next is counted.
    desk.keyboard.type("92")
    for answer in (None, "a", "f", "s", "n"):
        press("Tab")
        if answer:
            desk.keyboard.press(answer)
    press("Alt+l")
    link = desk.locator("#given-address")
    expect(link).to_be_focused()
    press("Control+c")
    assert pressed <= MOST_PRESSES
    assert desk.evaluate("getSelection().toString() || document.activeElement.value").endswith(
        link.input_value().rpartition("/")[2]
    )

    path = urlsplit(link.input_value()).path
    assert not re.search(r"92|Maeve", path), "nothing about anybody is in the address"
    with page.expect_request("**/opened"):
        page.goto(address + path)
    expect(page.get_by_role("heading", level=1)).to_have_text("A steady kit that floats you home")
    expect(page.locator("main")).to_contain_text("Sized for 92 kg")
    expect(page.locator("main")).to_contain_text("Put together for you by Maeve")
    page.get_by_role("link", name="Change answers").click()
    page.get_by_label("Your weight, a number").fill("90")
    page.get_by_role("button", name="Next").click()
    page.get_by_role("button", name="See the kit now").click()
    page.get_by_role("button", name="Keep this quote").click()
    expect(page.locator(".code").first).to_be_visible()
    desk.reload()
    expect(desk.locator("main")).to_contain_text("Kept as quote")


def test_both_sides_of_a_call_see_what_the_other_changes(desk: Page, page: Page, address: str, world: World) -> None:
    path = urlsplit(at_the_kit(world.client).press("Keep this quote").address).path
    page.goto(address + path)
    code = page.locator(".code").first.inner_text().replace(" ", "")
    desk.goto(f"/desk/quotes/{code}")
    expect(desk.locator("main")).to_contain_text("Seen by the customer", timeout=WITHIN_MS)

    desk.get_by_role("button", name="Change it").click()
    desk.locator("#discount").fill("50")
    desk.locator("#discount").press("Tab")
    expect(desk.locator("#worked")).to_contain_text("Discount agreed with us")
    desk.get_by_role("button", name="Make the revision").click()
    expect(desk.locator("main")).to_contain_text("Revision 2")
    expect(page.locator("#news")).to_contain_text("by Maeve at the shop", timeout=WITHIN_MS)
    expect(page.locator("#quote-price")).to_contain_text("Discount agreed with us")

    page.get_by_role("button", name="Change my answers").click()
    page.get_by_label("Your weight, a number").fill("84")
    page.get_by_role("button", name="Next").click()
    page.get_by_role("button", name="See the kit now").click()
    page.get_by_role("button", name="Keep as the next revision").click()
    expect(desk.locator("#news")).to_contain_text("Revision 3, by the customer", timeout=WITHIN_MS)
    expect(desk.locator("#called-up")).to_contain_text("Sized for 84 kg")


def test_the_worksheet_says_what_it_comes_to_as_it_is_typed(desk: Page) -> None:
    desk.goto("/desk")
    desk.get_by_role("button", name="New worksheet").click()
    desk.locator("#mass_kg").fill("92")
    for name, value in (
        ("to_feet", "average"),
        ("fitness", "fair"),
        ("board_background", "some"),
        ("foil_stage", "none"),
    ):
        desk.locator(f"#{name}").select_option(value)
    expect(desk.locator("#worked")).to_contain_text("To pay")
    desk.get_by_text("Parts put in, the others left open").click()
    choice = desk.locator("#fix-hand_wing option", has_text="6 m²").first
    desk.locator("#fix-hand_wing").select_option(choice.get_attribute("value"))
    expect(desk.locator("#worked")).to_contain_text("hand wing, by hand")
    assert desk.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
