"""What axe-core finds against WCAG 2.2 AA and its best practices: nothing, on every page in every state.

axe-core (https://github.com/dequelabs/axe-core) comes with axe-playwright-python and is run without any network.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tests.browser.windows import show, unfold
from tests.builders_seen import Seen
from tests.builders_states import STATES

pytestmark = pytest.mark.browser

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
ALL: dict[str, Any] = {"runOnly": {"type": "tag", "values": TAGS}, "resultTypes": ["violations"]}
# In the dark only the colours differ.
COLOURS: dict[str, Any] = {"runOnly": ["color-contrast", "link-in-text-block"], "resultTypes": ["violations"]}
SIZES = [(360, 740), (1280, 900)]


@pytest.fixture(scope="module")
def window(browser: Browser) -> Iterator[Page]:
    """One page for all states; without a worker, which would answer in place of what a state posts."""
    context = browser.new_context(service_workers="block")
    yield context.new_page()
    context.close()


def violations(page: Page, options: dict[str, Any]) -> list[str]:
    """What is against the rules, each with its place; axe must have been read into the page before."""
    found = page.evaluate("options => axe.run(options)", options)["violations"]
    return [f"{rule['id']}: {node['html'][:200]} {node['failureSummary']}" for rule in found for node in rule["nodes"]]


@pytest.mark.parametrize("state", STATES)
def test_nothing_stands_in_the_way_of_anybody(
    window: Page, address: str, seen: Callable[[str], Seen], state: str
) -> None:
    window.emulate_media(color_scheme="light")
    show(window, address, seen(state))
    unfold(window)
    window.evaluate(Axe().axe_script)
    against: list[str] = []
    for scheme, options in (("light", ALL), ("dark", COLOURS)):
        window.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        for width, height in SIZES:
            window.set_viewport_size({"width": width, "height": height})
            # At the end of the page the bar with the sum lies over nothing; elsewhere one scrolls what it covers.
            window.evaluate("scrollTo(0, document.body.scrollHeight)")
            against += [f"{scheme}, {width} px: {line}" for line in violations(window, options)]
    assert against == []


def test_what_is_wrong_is_found(window: Page, address: str) -> None:
    """The check itself: a picture without words, pale words and a field without a name are each reported."""
    window.emulate_media(color_scheme="light")
    window.goto(address)
    window.evaluate(
        "document.querySelector('main').insertAdjacentHTML('beforeend',"
        " '<img src=\"\"><input><p id=pale>pale</p>');"
        "document.getElementById('pale').style.color = '#dddddd'"
    )
    window.evaluate(Axe().axe_script)
    found = {line.split(":")[0] for line in violations(window, ALL)}
    assert {"image-alt", "label", "color-contrast"} <= found
