"""A phone with a poor connection: what did not get through is said, nothing is lost, and the next try works."""

from __future__ import annotations

from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, expect

from tests.builders_seen import World
from tests.pages.reader import at_the_kit

pytestmark = pytest.mark.browser


def test_a_swap_without_a_connection_says_so_and_goes_through_the_next_time(
    browser: Browser, address: str, world: World
) -> None:
    path = urlsplit(at_the_kit(world.client, foil_stage="short_flights").address).path
    context = browser.new_context(viewport={"width": 360, "height": 740})
    page = context.new_page()
    page.goto(address + path)
    size = page.locator("#part-hand_wing + .part-size")
    before = size.inner_text()
    note = page.locator("#no-connection")
    expect(note).to_be_hidden()

    context.set_offline(True)
    page.locator("#put-hand_wing-smaller").click()
    expect(note).to_be_visible()
    assert size.inner_text() == before
    assert page.locator("#docket").is_visible()

    context.set_offline(False)
    page.locator("#put-hand_wing-smaller").click()
    expect(size).not_to_have_text(before)
    expect(note).to_be_hidden()
    context.close()


def test_answers_typed_without_a_connection_are_still_there(browser: Browser, address: str) -> None:
    context = browser.new_context(viewport={"width": 360, "height": 740})
    page = context.new_page()
    page.goto(address)
    page.get_by_role("button", name="Start with you").click()
    quick = page.locator("input[name=to_feet][value=quick]")
    place = quick.bounding_box()
    context.set_offline(True)
    page.fill("#mass_kg", "80")
    page.locator("#mass_kg").blur()
    expect(page.locator("#no-connection")).to_be_visible()
    assert quick.bounding_box() == place  # A finger on its way there meets it.
    quick.check()
    context.set_offline(False)
    page.locator("input[name=fitness][value=fair]").check()
    expect(page.locator("#no-connection")).to_be_hidden()
    assert page.input_value("#mass_kg") == "80"
    page.locator("button[value=next]").click()
    expect(page).to_have_url(address + urlsplit(page.url).path)
    assert page.url.endswith("/flying")
    context.close()
