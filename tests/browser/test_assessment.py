"""What was seen, on a phone: opened with signal, filled and sent without, kept through a reload, and arrived once when it is back."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Error, Page, expect

from server.domain.lessons import Booking
from server.usecases.assessments import list_assessments
from server.web.guard import SESSION_COOKIE
from tests.browser.line import Line, line_to
from tests.builders_accounts import account_token
from tests.builders_seen import World
from tests.builders_strand import kept_quote, lesson_today

pytestmark = pytest.mark.browser

WITHIN_MS = 5000
KEPT = "Kept on this phone, sent when there is signal."
QUEUE = "localStorage.getItem('slackwater-seen')"
FORM_IS_KEPT = "async () => Boolean(await caches.match(location.pathname, { ignoreVary: true }))"


@pytest.fixture
def line(address: str) -> Iterator[Line]:
    """What the phone reaches the shop by."""
    with line_to(int(address.rpartition(":")[2])) as made:
        yield made


@pytest.fixture
def phone(browser: Browser, line: Line, world: World) -> Iterator[Page]:
    """A page on Maeve's phone. Its console may complain: losing signal is an error to it."""
    context = browser.new_context(viewport={"width": 360, "height": 740}, base_url=line.address)
    token = account_token(world.shop, "Maeve", "staff")
    context.add_cookies([{"name": SESSION_COOKIE, "value": token, "url": line.address}])
    yield context.new_page()
    context.close()


MADE_OLD = """async () => {
  const kept = await caches.match(location.pathname, { ignoreVary: true });
  const headers = new Headers(kept.headers);
  headers.set("date", new Date(Date.now() - 12 * 3600 * 1000 - 1).toUTCString());
  await (await caches.open("seen-forms")).put(location.pathname, new Response(await kept.blob(), { headers }));
}"""


def booked_with_quote(world: World) -> tuple[Booking, str]:
    """Somebody's booking in a lesson that has begun, and the address of their quote."""
    token, code = kept_quote(world.shop)
    [booking] = lesson_today(world.shop, {"name": "Una Vale", "code": code})
    return booking, f"/quotes/{token}"


def fill(page: Page) -> None:
    for name, value in (
        ("to_feet", "quick"),
        ("control", "holds_a_course"),
        ("confidence", "4"),
        ("wing_handling", "some"),
    ):
        page.locator(f"input[name={name}][value='{value}']").check()
    page.get_by_label("Longest flight").fill("80")
    page.get_by_label("A sentence").fill("Up on every run.")


def until(page: Page, what: str) -> None:
    """Wait until an asynchronous function of the page's says true; `wait_for_function` would take its promise for a yes."""
    for _ in range(WITHIN_MS // 50):
        if page.evaluate(what):
            return
        page.wait_for_timeout(50)
    raise AssertionError(what)


def number_kept(world: World, booking: Booking) -> int:
    with world.shop.reading() as work:
        return len(list_assessments(work, booking.id))


def test_what_was_seen_without_signal_is_kept_and_arrives_once(
    phone: Page, line: Line, page: Page, address: str, world: World
) -> None:
    booking, quote = booked_with_quote(world)
    page.goto(address + quote)
    phone.goto(f"/desk/bookings/{booking.id}/seen")
    until(phone, FORM_IS_KEPT)

    line.cut()
    phone.context.set_offline(True)
    phone.reload()
    expect(phone.get_by_role("heading", level=1)).to_have_text("Una Vale")
    fill(phone)
    phone.reload()
    expect(phone.get_by_label("A sentence")).to_have_value("Up on every run.")
    phone.get_by_role("button", name="Send what was seen").click()
    expect(phone.get_by_role("status")).to_contain_text(KEPT)
    phone.reload()
    expect(phone.get_by_role("status")).to_contain_text(KEPT)
    expect(phone.get_by_label("Longest flight")).to_have_value("80")
    assert number_kept(world, booking) == 0

    line.mend()
    phone.context.set_offline(False)
    expect(phone.locator("main")).to_contain_text("was fitted again: revision 2", timeout=WITHIN_MS)
    assert number_kept(world, booking) == 1
    assert phone.evaluate(QUEUE) is None
    assert phone.evaluate("Object.keys(localStorage).length") == 0
    until(phone, f"async () => !(await ({FORM_IS_KEPT})())")
    expect(page.locator("#news")).to_contain_text("by Maeve at the shop", timeout=WITHIN_MS)
    expect(page.locator("#revised")).to_contain_text("Seen on the water")
    expect(page.locator("#revised")).to_contain_text("Up on every run.")
    expect(page.locator("#revised")).to_contain_text("lively")


def test_a_form_is_not_opened_without_signal_once_no_session_can_hold_any_more(
    phone: Page, line: Line, world: World
) -> None:
    booking, _ = booked_with_quote(world)
    phone.goto(f"/desk/bookings/{booking.id}/seen")
    until(phone, FORM_IS_KEPT)
    phone.evaluate(MADE_OLD)
    line.cut()
    phone.context.set_offline(True)
    with pytest.raises(Error):
        phone.reload()
    line.mend()
    phone.context.set_offline(False)
    phone.goto("/desk")
    assert phone.evaluate(
        f"async () => !(await caches.match('/desk/bookings/{booking.id}/seen', {{ ignoreVary: true }}))"
    )


def test_a_session_that_has_ended_meanwhile_is_said_and_nothing_is_lost(phone: Page, world: World) -> None:
    booking, _ = booked_with_quote(world)
    phone.goto(f"/desk/bookings/{booking.id}/seen")
    cookies = phone.context.cookies()
    phone.context.clear_cookies()
    fill(phone)
    phone.get_by_role("button", name="Send what was seen").click()
    expect(phone.get_by_role("status")).to_contain_text("You are signed out: sign in, and it is sent.")
    assert number_kept(world, booking) == 0
    phone.context.add_cookies([{"name": one["name"], "value": one["value"], "url": phone.url} for one in cookies])
    phone.get_by_role("link", name="sign in").click()
    expect(phone.locator("main")).to_contain_text("was fitted again: revision 2", timeout=WITHIN_MS)
    assert number_kept(world, booking) == 1


def test_what_the_shop_does_not_take_is_said_and_put_right(phone: Page, world: World) -> None:
    booking, _ = booked_with_quote(world)
    phone.goto(f"/desk/bookings/{booking.id}/seen")
    fill(phone)
    phone.locator("input[name=control][value=turns]").check()
    phone.get_by_label("Longest flight").fill("0")
    phone.get_by_role("button", name="Send what was seen").click()
    expect(phone.get_by_role("status")).to_contain_text("not taken: Longest flight: who turns while flying has flown")
    phone.get_by_role("button", name="Sign out", exact=True).click()
    expect(phone.get_by_role("status")).to_contain_text("Signing out would lose it", timeout=WITHIN_MS)
    assert phone.evaluate(QUEUE) is not None, "nothing unsent is lost by one press"
    phone.goto(f"/desk/bookings/{booking.id}/seen")
    phone.get_by_label("Longest flight").fill("90")
    phone.get_by_role("button", name="Send what was seen").click()
    expect(phone.locator("main")).to_contain_text("was fitted again: revision 2", timeout=WITHIN_MS)
    assert phone.evaluate(QUEUE) is None


def test_signing_out_clears_the_phone(phone: Page, world: World) -> None:
    booking, _ = booked_with_quote(world)
    phone.goto(f"/desk/bookings/{booking.id}/seen")
    until(phone, FORM_IS_KEPT)
    phone.get_by_label("A sentence").fill("Half a sentence")
    assert phone.evaluate("Object.keys(localStorage).length") == 1
    phone.goto("/account")
    phone.get_by_role("button", name="Sign out", exact=True).click()
    expect(phone.get_by_role("heading", level=1)).to_be_visible()
    until(phone, "async () => !(await caches.keys()).length && !Object.keys(localStorage).length")
