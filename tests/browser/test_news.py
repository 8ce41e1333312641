"""Two browsers at two server processes look at one quote: what one changes shows on the other's open page."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, Request, expect
from sqlmodel import select

from server.persistence.tables import QuoteRow
from server.usecases.quotes import issue_quote
from tests.builders_seen import World
from tests.builders_shop import learner
from tests.pages.reader import Reader, at_the_kit

pytestmark = pytest.mark.browser

WITHIN_MS = 5000
"""How soon a change must show."""


@pytest.fixture
def phone(browser: Browser) -> Iterator[Page]:
    """A page on a phone; at the end its console must not have warned of anything."""
    context = browser.new_context(viewport={"width": 360, "height": 740})
    opened = context.new_page()
    said: list[str] = []
    opened.on("console", lambda message: said.append(message.text) if message.type in ("warning", "error") else None)
    yield opened
    context.close()
    assert said == []


def kept(world: World) -> str:
    """The path of a fresh quote."""
    return urlsplit(at_the_kit(world.client).press("Keep this quote").address).path


def seen(world: World, path: str) -> int | None:
    with world.shop.reading() as work:
        wanted = select(QuoteRow.seen_revision).where(QuoteRow.token == path.rsplit("/", 1)[1])
        return work.session.exec(wanted).one()


def revise(world: World, path: str, **answers: object) -> None:
    """A next revision by Maeve."""
    with world.shop.writing("Maeve") as work:
        issue_quote(work, learner(**answers), revises=path.rsplit("/", 1)[1])


def test_a_change_at_one_server_shows_on_the_page_open_at_the_other_and_nothing_typed_is_lost(
    page: Page, browser: Browser, address: str, elsewhere: str, world: World
) -> None:
    path = kept(world)
    Reader(world.client).open(path)
    assert seen(world, path) is None, "a GET is no look"

    page.goto(elsewhere + path)
    page.evaluate("window.stayed = 'yes'")
    page.evaluate("document.getElementById('news').dataset.stayed = 'yes'")
    for _ in range(50):
        if seen(world, path) == 1:
            break
        page.wait_for_timeout(100)
    assert seen(world, path) == 1
    expect(page.locator("#news")).to_have_text("")

    page.fill("#other", "half an address")
    page.fill("#name", "Some One")
    page.locator("#email").press_sequentially("one@exa")
    page.evaluate("document.getElementById('email').setSelectionRange(1, 4)")
    page.evaluate("document.getElementById('email').addEventListener('blur', () => { window.blurred = 'yes' })")
    before = page.locator("#quote-price .sum dd").inner_text()

    other = browser.new_context(viewport={"width": 1280, "height": 900})
    theirs = other.new_page()
    theirs.goto(address + path)
    theirs.get_by_role("button", name="Change my answers").click()
    theirs.fill("#mass_kg", "95")
    theirs.locator("button[value=next]").click()
    theirs.locator("button[value=kit]").click()
    theirs.get_by_role("button", name="Keep as the next revision").click()
    expect(theirs.locator("#revised")).to_be_visible()
    other.close()

    news = page.locator("#news")
    expect(news).to_contain_text("Revision 2, by you: ", timeout=WITHIN_MS)
    assert news.get_attribute("role") == "status"
    assert news.get_attribute("data-stayed") == "yes", "a status region that was there before is read out"
    expect(news).to_be_in_viewport()
    expect(page.locator("#revised")).to_contain_text("Your weight 95 kg, was 80 kg")
    expect(page.locator("#quote-price .sum dd")).not_to_have_text(before)
    assert page.evaluate("window.stayed") == "yes", "no reload"
    typed = {name: page.input_value(f"#{name}") for name in ("name", "email", "other")}
    assert typed == {"name": "Some One", "email": "one@exa", "other": "half an address"}
    assert page.evaluate("[document.activeElement.id, document.activeElement.selectionStart, window.blurred]") == [
        "email",
        1,
        None,
    ]
    for _ in range(50):
        if seen(world, path) == 2:
            break
        page.wait_for_timeout(100)
    assert seen(world, path) == 2

    page.keyboard.press("End")
    page.keyboard.type("mple.org")
    page.get_by_role("button", name="Ask to hold these parts").click()
    expect(page.locator(".agreed")).to_contain_text("The parts are set aside until")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_a_page_on_which_nothing_changes_does_not_move(phone: Page, elsewhere: str, world: World) -> None:
    path = kept(world)
    answers: list[int] = []
    phone.on("response", lambda answer: answers.append(answer.status) if "/news" in answer.url else None)
    phone.goto(elsewhere + path)
    phone.evaluate(
        """() => { window.touched = 0;
        new MutationObserver(changes => { window.touched += changes.filter(c => c.type === 'childList').length; })
          .observe(document.body, {subtree: true, childList: true}); }"""
    )
    phone.mouse.wheel(0, 600)
    phone.wait_for_timeout(300)
    top = phone.evaluate("window.scrollY")
    phone.wait_for_timeout(6500)
    assert answers == [204, 204]
    assert phone.evaluate("window.touched") == 0
    assert phone.evaluate("window.scrollY") == top


def test_who_fills_in_the_form_sees_the_news_and_stays_where_they_are(
    phone: Page, elsewhere: str, world: World
) -> None:
    path = kept(world)
    phone.goto(elsewhere + path)
    phone.locator("#phone").focus()
    phone.locator("#phone").scroll_into_view_if_needed()
    place = phone.evaluate("document.getElementById('phone').getBoundingClientRect().top")
    revise(world, path, mass_kg=95)
    expect(phone.locator("#news")).to_contain_text("Revision 2, by Maeve at the shop: ", timeout=WITHIN_MS)
    expect(phone.locator("#news")).to_be_in_viewport()
    phone.wait_for_timeout(200)
    height = phone.viewport_size or {"height": 0}
    now = phone.evaluate("document.getElementById('phone').getBoundingClientRect().top")
    assert abs(now - place) < height["height"] / 2
    expect(phone.locator("#asked-revision")).to_contain_text("You ask for revision 2")
    expect(phone.locator("#asked-revision input")).to_have_value("2")


def test_a_page_whose_quote_is_gone_asks_no_more(phone: Page, elsewhere: str, world: World) -> None:
    path = kept(world)
    phone.goto(elsewhere + path)
    asked: list[Request] = []
    phone.on("request", lambda request: asked.append(request) if "/news" in request.url else None)
    gone = path.rsplit("/", 1)[0] + "/" + "a" * 32
    phone.route("**/news?*", lambda route: route.continue_(url=f"{elsewhere}{gone}/news?shown=1"))
    phone.wait_for_timeout(7000)
    assert len(asked) == 1
    assert phone.locator("#quote-price").is_visible()
