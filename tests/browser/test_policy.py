"""The policy in a browser: a percentage moved shows what it would do while it is typed, and an old version is brought back."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from server.usecases.policies import list_versions
from server.usecases.quotes import issue_quote
from server.web.guard import SESSION_COOKIE
from tests.builders_accounts import account_token
from tests.builders_policy import changed
from tests.builders_seen import World
from tests.builders_shop import learner

pytestmark = pytest.mark.browser

WITHIN_MS = 10_000
KIT = "/console/policy/pages/kit"


def opened(browser: Browser, address: str, session: str) -> Page:
    """A page of somebody's who is signed in."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, base_url=address)
    context.add_cookies([{"name": SESSION_COOKIE, "value": session, "url": address}])
    return context.new_page()


@pytest.fixture
def console(browser: Browser, address: str, world: World) -> Iterator[Page]:
    """The owner's page; its console must not have warned of anything."""
    page = opened(browser, address, account_token(world.shop, "Orla", "owner"))
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text) if message.type in ("warning", "error") else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    yield page
    page.context.close()
    assert said == []


def test_a_percentage_moved_shows_chart_and_table_of_what_it_would_do(console: Page, world: World) -> None:
    with world.shop.writing() as work:
        issue_quote(work, learner())
    console.goto(KIT)
    effect, figures = console.locator("#effect"), console.locator("#figures")
    expect(effect).to_contain_text("Nothing is changed yet")
    percent = console.locator("#tiers-1-percent")
    percent.fill("30")
    bars = figures.locator(".on-wide .margin-now")
    expect(bars.first).to_be_visible(timeout=WITHIN_MS)
    expect(figures.get_by_role("table", name="All these quotes together")).to_contain_text("Margin of revenue")
    first = bars.first.get_attribute("d")
    row = figures.get_by_role("row", name="Customers pay")
    paid = row.inner_text()
    percent.fill("40")
    expect(row).not_to_have_text(paid, timeout=WITHIN_MS, use_inner_text=True)
    expect(figures.locator(f'.on-wide .margin-now[d="{first}"]')).to_have_count(0)
    expect(percent).to_be_focused()
    percent.fill("lots")
    expect(effect).to_contain_text("is not accepted", timeout=WITHIN_MS)


def test_an_old_version_is_brought_back_with_what_it_would_do(console: Page, world: World) -> None:
    with world.shop.reading() as work:
        before = work.catalogue.policy
    changed(world.shop, "pricing.margin_floor_percent", 33)
    console.goto("/console/policy")
    console.get_by_role("link", name=f"Version {before.version}", exact=True).click()
    expect(console.locator("main")).to_contain_text("Margin floor")
    expect(console.locator("#effect")).to_contain_text("Under your margin floor")
    console.get_by_role("textbox", name="Why, if you like").fill("It was better before")
    console.get_by_role("button", name="Bring it back").click()
    expect(console.get_by_role("status")).to_contain_text("The new policy is in force")
    expect(console.locator("main")).to_contain_text("It was better before")
    with world.shop.reading() as work:
        assert work.catalogue.policy.margin_floor_percent == before.margin_floor_percent
        assert len(list_versions(work)) > before.version


@pytest.mark.parametrize("width", [1280, 360])
def test_a_number_far_down_the_page_is_saved_from_where_it_was_typed(console: Page, world: World, width: int) -> None:
    with world.shop.writing() as work:
        issue_quote(work, learner())
        percent = work.catalogue.policy.tiers[2].percent
    console.set_viewport_size({"width": width, "height": 800})
    console.goto(KIT)
    console.locator("#tiers-3-percent").fill(str(percent + 1))
    expect(console.locator("#effect")).to_contain_text("Margin", timeout=WITHIN_MS)
    save = console.locator("#when button" if width == 1280 else ".effect-glance button").first
    expect(save).to_be_in_viewport()
    save.click()
    expect(console.get_by_role("status")).to_contain_text("The new policy is in force")
    with world.shop.reading() as work:
        assert work.catalogue.policy.tiers[2].percent == percent + 1


def test_staff_are_shown_no_way_to_it_and_do_not_come_through(browser: Browser, address: str, world: World) -> None:
    page = opened(browser, address, account_token(world.shop, "Maeve", "staff"))
    page.goto("/desk")
    expect(page.get_by_role("link", name="Console")).to_have_count(0)
    answer = page.goto(KIT)
    assert answer is not None
    assert answer.status == 403
    expect(page.locator("#tiers-1-percent")).to_have_count(0)
    page.context.close()
