"""A size is changed in place: part, drawings, winds and price together, with the focus kept and the change announced."""

from __future__ import annotations

import re
from collections.abc import Iterator
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect

from server.domain.slots import CORE_SLOTS
from tests.builders_seen import World
from tests.pages.reader import Reader, at_the_kit, text_of

pytestmark = pytest.mark.browser

WAYS = ("smaller", "larger")


@pytest.fixture
def window(context: BrowserContext) -> Iterator[Page]:
    """A page, whose console warned of nothing."""
    opened = context.new_page()
    said: list[str] = []
    opened.on("console", lambda message: said.append(message.text) if message.type in ("warning", "error") else None)
    yield opened
    opened.close()
    # A browser itself notes that an answer came with a status of 400 or more.
    assert [words for words in said if "status of 422" not in words] == []


def path_of_kit(world: World) -> str:
    """The path of a fresh draft's kit."""
    return urlsplit(at_the_kit(world.client, foil_stage="short_flights").address).path


def part(page: Page, slot: str) -> Locator:
    """A part's article."""
    return page.locator("article", has=page.locator(f"#part-{slot}"))


def shown(page: Page) -> dict[str, str]:
    """What stands on the page of parts, drawings, winds and price."""
    read: dict[str, str] = page.evaluate(
        """() => {
          const words = selector => [...document.querySelectorAll(selector)].map(e => e.textContent.trim()).join('|');
          const lines = selector => [...document.querySelectorAll(selector + ' path')].map(e => e.getAttribute('d')).join('|');
          return {parts: words('.part-size'), names: words('.part-name'), reasons: words('.part-why'), price: words('#docket dl'),
            drawings: lines('.drawn'), winds: words('.winds'), rulers: lines('.ruler')};
        }"""
    )
    return read


def pressable(world: World, path: str) -> list[tuple[str, str]]:
    """The slots and ways that have a button."""
    page = Reader(world.client).open(path).page
    ids = {button.get("id") for button in page.iter("button")}
    return [(slot, way) for slot in CORE_SLOTS for way in WAYS if f"put-{slot}-{way}" in ids]


@pytest.mark.parametrize("slot", CORE_SLOTS)
def test_part_drawings_winds_and_price_change_together_as_they_do_without_script(
    window: Page, address: str, world: World, slot: str
) -> None:
    ways = [way for of, way in pressable(world, path_of_kit(world)) if of == slot]
    assert ways, f"no {slot} can be changed"
    for way in ways:
        path = path_of_kit(world)
        window.goto(address + path)
        window.evaluate("document.getElementById('announce').dataset.stayed = 'yes'")
        before = shown(window)
        button = window.locator(f"#put-{slot}-{way}")
        sku = button.get_attribute("value") or ""
        assert sku
        button.focus()
        button.press("Enter")
        said = window.locator("#announce")
        expect(said).to_contain_text(re.compile(r"\bis now\b"))
        assert said.get_attribute("role") == "status"
        assert said.get_attribute("data-stayed") == "yes"

        after = shown(window)
        changed = {name for name in before if before[name] != after[name]}
        assert {"names", "price", "drawings"} <= changed
        place = CORE_SLOTS.index(slot)
        old, new = (sizes["parts"].split("|") for sizes in (before, after))
        assert old[place] != new[place] or before["names"].split("|")[place] != after["names"].split("|")[place]
        assert new[place] in (said.text_content() or "")
        balance = re.findall(r"€[\d,.]+", after["price"])[-1]
        assert balance in (said.text_content() or "")

        focused = window.evaluate("document.activeElement.id")
        has_stayed = window.locator(f"#put-{slot}-{way}").count() == 1
        assert focused == (f"put-{slot}-{way}" if has_stayed else f"part-{slot}")

        plain = path_of_kit(world)
        without_script = Reader(world.client).open(plain).press(sku)
        assert text_of(without_script.by_id("kit")) == " ".join((window.locator("#kit").text_content() or "").split())
        assert text_of(without_script.by_id("announce")) == said.text_content()


@pytest.mark.parametrize("way", WAYS)
def test_without_script_the_focus_goes_to_the_part_that_was_changed(
    browser: Browser, address: str, world: World, way: str
) -> None:
    """The page has no script of its own; only the test reads it."""
    path = path_of_kit(world)
    slot = next(slot for slot, found in pressable(world, path) if found == way)
    context = browser.new_context(java_script_enabled=False, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto(address + path)
    old = part(page, slot).locator(".part-size").inner_text()
    page.locator(f"#put-{slot}-{way}").press("Enter")
    expect(page.locator("#announce")).to_contain_text("is now")
    expect(part(page, slot).locator(".part-size")).not_to_have_text(old)
    expect(page.locator("[autofocus]")).to_be_focused()
    assert re.fullmatch(rf"(put|part)-{slot}(-\w+)?", page.locator("[autofocus]").get_attribute("id") or "")
    expect(part(page, slot)).to_be_in_viewport()
    context.close()


def test_a_swap_and_its_way_back_show_the_first_kit_again(window: Page, address: str, world: World) -> None:
    path = path_of_kit(world)
    window.goto(address + path)
    before = shown(window)
    slot = next(slot for slot, way in pressable(world, path) if way == "larger")
    for way in ("larger", "smaller"):
        window.locator(f"#put-{slot}-{way}").click()
        expect(window.locator("#announce")).to_contain_text("is now")
        window.evaluate("document.getElementById('announce').textContent = ''")
    assert shown(window)["parts"] == before["parts"]
    assert shown(window)["price"] == before["price"]


def test_reload_and_back_keep_what_was_put_in(window: Page, address: str, world: World) -> None:
    path = path_of_kit(world)
    window.goto(address + path.replace("/kit", "/you"))
    window.goto(address + path)
    window.locator("#put-tail-larger").click()
    expect(window.locator("#announce")).to_contain_text("tail is now")
    swapped = shown(window)
    window.reload()
    assert shown(window) == swapped
    window.go_back()
    expect(window.locator("#mass_kg")).to_have_value("80")
    window.go_forward()
    expect(window.locator(".part").first).to_be_visible()
    assert shown(window) == swapped


def test_each_of_two_tabs_goes_on_from_the_kit_it_shows(
    context: BrowserContext, window: Page, address: str, world: World
) -> None:
    path = path_of_kit(world)
    other = context.new_page()
    for page in (window, other):
        page.goto(address + path)
    tail = part(other, "tail").locator(".part-size").inner_text()
    window.locator("#put-tail-larger").click()
    expect(part(window, "tail").locator(".part-size")).not_to_have_text(tail)
    wing = part(other, "hand_wing").locator(".part-size").inner_text()
    other.locator("button[id^=put-hand_wing-]").first.click()
    expect(part(other, "hand_wing").locator(".part-size")).not_to_have_text(wing)
    assert part(other, "tail").locator(".part-size").inner_text() == tail
    kept = part(other, "hand_wing").locator(".part-size").inner_text()
    other.get_by_role("button", name="Keep this quote").click()
    other.wait_for_url("**/quotes/*")
    expect(other.locator(".part-size")).to_contain_text([kept])
    other.close()


def test_a_change_that_is_refused_is_said_and_changes_nothing(window: Page, address: str, world: World) -> None:
    """A part may have been sold meanwhile, or the form be changed: what it asks for then is refused aloud."""
    window.goto(address + path_of_kit(world))
    before = shown(window)
    button = window.locator("button[id^=put-]").first
    button.evaluate("button => { button.value = 'NO-SUCH' }")
    button.click()
    expect(window.get_by_role("alert")).to_be_visible()
    assert shown(window)["parts"] == before["parts"]
    assert shown(window)["price"] == before["price"]
