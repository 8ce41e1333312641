"""On a phone: a lesson booked with a quote's code, what was seen in it, and the quote that changes for it before its customer."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, Page, expect

from server.usecases.lessons import change_time, list_bookings
from server.usecases.work import Shop
from server.web.guard import SESSION_COOKIE
from tests.builders_accounts import account_token
from tests.builders_lessons import lesson, typed_time
from tests.builders_seen import World
from tests.builders_strand import begun
from tests.pages.reader import at_the_kit

pytestmark = pytest.mark.browser

WITHIN_MS = 5000
PHONE = {"width": 360, "height": 740}


def phone_of(browser: Browser, address: str, token: str = "") -> Page:
    context = browser.new_context(viewport=PHONE, base_url=address)  # type: ignore[arg-type]
    if token:
        context.add_cookies([{"name": SESSION_COOKIE, "value": token, "url": address}])
    return context.new_page()


@pytest.fixture
def customer(browser: Browser, address: str) -> Iterator[Page]:
    """The customer's phone; at the end its console must not have warned of anything."""
    opened = phone_of(browser, address)
    said: list[str] = []
    opened.on("console", lambda message: said.append(message.text) if message.type in ("warning", "error") else None)
    opened.on("pageerror", lambda error: said.append(str(error)))
    yield opened
    opened.context.close()
    assert said == []


@pytest.fixture
def instructor(browser: Browser, elsewhere: str, world: World) -> Iterator[Page]:
    """Maeve's phone, at the second server."""
    opened = phone_of(browser, elsewhere, account_token(world.shop, "Maeve", "staff"))
    yield opened
    opened.context.close()


def typed_at(now: datetime, ago: timedelta, world: World) -> dict[str, str]:
    with world.shop.reading() as work:
        zone = ZoneInfo(work.catalogue.policy.shop.time_zone)
    local = begun(now, ago // timedelta(minutes=1), zone)
    return {"day": local.date().isoformat(), "at": f"{local:%H:%M}"}


def test_what_is_seen_in_the_lesson_that_a_customer_booked_changes_their_open_quote(
    customer: Page, instructor: Page, address: str, world: World
) -> None:
    quote = urlsplit(at_the_kit(world.client).press("Keep this quote").address).path
    customer.goto(address + quote)
    code = customer.locator(".code").first.inner_text()

    now = datetime.now(UTC)
    number = lesson(world.shop, **typed_at(now, -timedelta(days=2), world), minutes="90")
    customer.goto(address + "/lessons")
    customer.locator(f"a[href='/lessons/{number}']").click()
    customer.get_by_label("Your name").fill("Ida Mooring")
    customer.get_by_label("Telephone").fill("+353 20 910 7788")
    customer.get_by_label("Yes", exact=True).check()
    customer.get_by_label("Code of a quote").fill(code)
    customer.get_by_role("button", name="Book the place").click()
    expect(customer.locator("main")).to_contain_text("You have a place.")
    with customer.expect_download() as download:
        customer.get_by_role("link", name="Put it in your calendar").click()
    assert download.value.suggested_filename.endswith(".ics")

    # The lesson has begun: its time is put to ten minutes ago, as the desk would have done a day before.
    before = Shop(world.shop.sessions, lambda: now - timedelta(days=1))
    with before.writing("Maeve") as work:
        change_time(work, number, typed_time(**typed_at(now, timedelta(minutes=10), world), minutes="90"))

    # Whose quote it is she asks before anything that she saw may change it.
    with world.shop.reading() as work:
        [booking] = list_bookings(work, number)
    instructor.goto(f"/desk/lessons/{number}?learner={booking.id}")
    instructor.get_by_role("button", name="It is their quote").click()
    expect(instructor.locator("#learner")).to_contain_text("Quote")
    expect(instructor.get_by_role("button", name="It is their quote")).to_have_count(0)

    customer.goto(address + quote)
    instructor.goto("/desk/strand")
    instructor.get_by_role("row", name="Ida Mooring").get_by_role("link", name="What was seen").click()
    for question, answer in (
        ("To their feet", "quick"),
        ("Control", "holds a course"),
        ("Confidence", "4"),
        ("Hand-wing handling", "some"),
    ):
        group = instructor.get_by_role("group", name=question)
        group.get_by_label(answer, exact=True).check()
    instructor.get_by_label("Longest flight").fill("80")
    instructor.get_by_label("A sentence").fill("Up on every run, and steady.")
    instructor.get_by_role("button", name="Send what was seen").click()
    expect(instructor.locator("main")).to_contain_text("was fitted again: revision 2")

    expect(customer.locator("#news")).to_contain_text("Revision 2", timeout=WITHIN_MS)
    expect(customer.locator("#revised")).to_contain_text("by Maeve: Up on every run, and steady.")
    expect(customer.locator("#revised")).to_contain_text("Set-up lively, was steady")
    expect(customer.get_by_role("heading", level=1)).to_have_text("A lively kit for linking flights")
    assert customer.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
