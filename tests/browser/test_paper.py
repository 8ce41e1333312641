"""Pages on paper lose nothing, and pages on the wire are light."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from typing import Any

import pypdfium2
import pytest
from playwright.sync_api import Browser, Page

from tests.browser.windows import show
from tests.builders_paper import opened, squeezed
from tests.builders_seen import Seen

pytestmark = pytest.mark.browser

A4_POINTS = (595.28, 841.89)  # ISO 216: 210 mm × 297 mm, at 72 to the inch.
MOST_SHEETS = {"quote with all in it": 2, "quote held": 2, "kit of all answers": 5}
COLD_BYTES, WARM_BYTES = 80 * 1024, 20 * 1024


def words(text: str) -> Counter[str]:
    """The words and numbers of a text, in any order: lines end elsewhere on paper."""
    return Counter(re.findall(r"[\w€.,%²]+", text))


@pytest.mark.parametrize("state", MOST_SHEETS)
def test_nothing_that_belongs_on_paper_is_cut_off(
    browser: Browser, address: str, seen: Callable[[str], Seen], state: str
) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    show(page, address, seen(state))
    page.emulate_media(media="print")
    content = page.pdf(format="A4", margin={"top": "12mm", "bottom": "12mm", "left": "12mm", "right": "12mm"})
    page.set_viewport_size({"width": 703, "height": 1000})  # 186 mm between the margins.
    page.evaluate("document.querySelectorAll('.hidden').forEach(words => words.remove())")
    # Lettering with a halo is printed as outlines, in which no text can be found.
    page.evaluate(
        "document.querySelectorAll('svg text').forEach(e => { if (getComputedStyle(e).paintOrder !== 'normal') e.remove() })"
    )
    # An address is broken where the line ends, so it is looked for without its spaces.
    own = page.evaluate(
        "[...document.querySelectorAll('.address')].map(e => { const own = e.textContent; e.remove(); return own }).join('')"
    )
    shown = page.evaluate("document.body.innerText")
    context.close()

    pdf = opened(content)
    assert 1 <= len(pdf.pages) <= MOST_SHEETS[state]
    for sheet in pdf.pages:
        assert [float(side) for side in sheet.mediabox[2:]] == pytest.approx(A4_POINTS, abs=1)
    paper = pypdfium2.PdfDocument(content)
    printed = ""
    for number in range(len(paper)):
        text = paper[number].get_textpage()
        printed += text.get_text_range().replace("\ufffe", "-") + "\n"  # A hyphen where a line ends.
        for place in range(text.count_rects()):
            left, bottom, right, top = text.get_rect(place)
            assert left >= 0
            assert bottom >= 0
            assert right <= A4_POINTS[0] + 1
            assert top <= A4_POINTS[1] + 1
    assert squeezed(own) in squeezed(printed)
    lost = words(shown) - words(printed)
    assert not lost, lost


def weight(page: Page, go: Callable[[], Any]) -> int:
    """The bytes that came over the wire, headers and compressed bodies, until nothing more was asked for."""
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    sizes: list[float] = []
    session.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    go()
    page.wait_for_load_state("networkidle")
    session.detach()
    assert sizes
    return round(sum(sizes))


@pytest.mark.parametrize("state", ["kit of all answers", "quote with all in it"])
def test_a_page_with_all_it_needs_is_light_and_lighter_the_second_time(
    browser: Browser, address: str, seen: Callable[[str], Seen], state: str
) -> None:
    context = browser.new_context()
    page = context.new_page()
    wanted = seen(state)
    cold = weight(page, lambda: show(page, address, wanted))
    warm = weight(page, lambda: show(page, address, wanted))
    context.close()
    assert cold <= COLD_BYTES
    assert warm <= WARM_BYTES
