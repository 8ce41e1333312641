"""The whole way with script, in Chromium: the panel and the swaps are refreshed in place."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser


def answered(page: Page, address: str) -> None:
    """Answer the first two steps and look at the kit."""
    page.goto(address)
    page.get_by_role("button", name="Start with you").click()
    page.get_by_label("Your weight, a number").fill("80")
    page.get_by_label("2 to 4 seconds").check()
    page.get_by_label("with a pause").check()
    page.get_by_role("button", name="Next").click()
    page.get_by_label("some", exact=True).first.check()
    page.get_by_label("not yet").first.check()


def test_the_panel_follows_the_answers_without_a_reload(page: Page, address: str) -> None:
    answered(page, address)
    expect(page.locator("#panel")).to_contain_text("To pay")
    page.get_by_label("I turn while flying").check()
    expect(page.locator("#panel")).to_contain_text("85 cm")
    page.get_by_role("button", name="See the kit now").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("A lively kit for linking flights")


def test_a_swap_is_shown_in_place_keeps_the_focus_and_is_what_is_kept(page: Page, address: str) -> None:
    answered(page, address)
    page.get_by_role("button", name="See the kit now").click()
    # The address is committed before the page has a body, so what is marked is waited for.
    expect(page.locator("#put-hand_wing-larger")).to_be_visible()
    page.evaluate("document.body.dataset.stayed = 'yes'")
    button = page.locator("#put-hand_wing-larger")
    wanted = re.search(r"[\d.]+ m²", button.inner_text())
    assert wanted is not None
    button.click()
    size = page.locator("article", has=page.locator("#part-hand_wing")).locator(".part-size")
    expect(size).to_have_text(wanted[0])
    assert page.evaluate("document.body.dataset.stayed") == "yes"
    assert page.evaluate("document.activeElement.id").startswith("put-hand_wing")
    # The window stays where it was: what was used is still seen, and so is what it changed.
    expect(page.locator(":focus")).to_be_in_viewport()
    page.get_by_role("button", name="Keep this quote").click()
    expect(page.locator(".code")).to_have_text(re.compile(r"^[0-9A-Z]{4} [0-9A-Z]{4}$"))
    expect(page.locator("body")).to_contain_text(wanted[0])


def test_back_and_reload_keep_what_was_answered(page: Page, address: str) -> None:
    answered(page, address)
    page.get_by_role("button", name="See the kit now").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("A steady kit that floats you home")
    page.wait_for_load_state()
    page.go_back()
    page.reload()
    expect(page.get_by_label("some", exact=True).first).to_be_checked()
    page.go_forward()
    expect(page.get_by_role("heading", level=1)).to_have_text("A steady kit that floats you home")


def test_nothing_is_wider_than_the_window(page: Page, address: str) -> None:
    answered(page, address)
    page.get_by_role("button", name="See the kit now").click()
    page.get_by_role("button", name="Keep this quote").click()
    expect(page.locator(".code")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
