"""The pages reach everybody: by keyboard, narrow and enlarged, with other spacing and colours, by touch, without script, at once.

Figures are those of the Web Content Accessibility Guidelines 2.2, https://www.w3.org/TR/WCAG22/.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

import httpx
import pytest
import wcag_contrast_ratio
from playwright.sync_api import Browser, BrowserContext, Page, expect

from server.domain.slots import CORE_SLOTS
from tests.browser.windows import show, unfold
from tests.builders_seen import Seen
from tests.pages.reader import parsed, text_of

pytestmark = pytest.mark.browser

LOOKED_AT = [
    "home",
    "privacy",
    "you wrong",
    "flying filled",
    "where filled",
    "gear filled",
    "gear wrong",
    "extras filled",
    "kit",
    "kit of all answers",
    "kit, own piece wrong",
    "kit, none possible",
    "quote with all in it",
    "quote held",
    "quote, contact wrong",
    "comparison",
    "glossary",
    "shared kit, waiting",
    "shared kit of two",
    "error 404",
]
FOCUS_CONTRAST = 3.0  # 1.4.11 Non-text Contrast.
SMALLEST_TARGET = 24  # 2.5.8 Target Size (Minimum), CSS pixels.
LONGEST_MOVE = 0.01  # Seconds; what is shorter is not seen as movement.
SPACING = (  # 1.4.12 Text Spacing.
    "* { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important; }"
    " p { margin-bottom: 2em !important; }"
)
ADD_STYLE = "text => { const s = new CSSStyleSheet(); s.replaceSync(text); document.adoptedStyleSheets = [s]; }"

ANSWERS = {"mass_kg": "80", "to_feet": "average", "fitness": "fair", "board_background": "some", "foil_stage": "none"}


@pytest.fixture
def window(context: BrowserContext) -> Iterator[Page]:
    """A page of a desk's size."""
    opened = context.new_page()
    yield opened
    opened.close()


def rgb(colour: str) -> tuple[float, float, float]:
    """A computed colour as shares of red, green and blue."""
    red, green, blue = (float(number) / 255 for number in re.findall(r"[\d.]+", colour)[:3])
    return red, green, blue


# --- By keyboard -----------------------------------------------------------------------------------------------------

FOCUSED = """() => {
  const e = document.activeElement, box = e.getBoundingClientRect();
  const widths = style => style.outlineStyle === 'none' ? 0 : parseFloat(style.outlineWidth);
  const strokes = e.ownerSVGElement
    ? [...e.querySelectorAll('*')].map(getComputedStyle).filter(style => style.stroke !== 'none')
      .map(style => ({width: parseFloat(style.strokeWidth), colour: style.stroke}))
    : [];
  const marks = [{width: widths(getComputedStyle(e)), colour: getComputedStyle(e).outlineColor}, ...strokes];
  let around = e.parentElement ?? e;
  while (around.parentElement && getComputedStyle(around).backgroundColor === 'rgba(0, 0, 0, 0)') around = around.parentElement;
  const points = [.5, .1, .9].flatMap(x => [.5, .1, .9].map(y => [box.x + box.width * x, box.y + box.height * y]));
  return {
    is_body: e === document.body,
    name: e.id || e.name || e.textContent.trim().slice(0, 40),
    mark: marks.sort((one, other) => other.width - one.width)[0],
    around: getComputedStyle(around).backgroundColor,
    is_seen: points.some(([x, y]) => e.contains(document.elementFromPoint(x, y))),
  };
}"""


def tab(page: Page) -> str:
    """Press Tab; the focus must be seen where it goes (2.4.7, 2.4.11), and the name of what has it is given."""
    page.keyboard.press("Tab")
    focused = page.evaluate(FOCUSED)
    if not focused["is_body"]:
        mark = focused["mark"]
        assert mark["width"] >= 2, focused
        assert wcag_contrast_ratio.rgb(rgb(mark["colour"]), rgb(focused["around"])) >= FOCUS_CONTRAST, focused
        assert focused["is_seen"], focused
    return str(focused["name"])


def tab_to(page: Page, selector: str, most: int = 120) -> None:
    """Press Tab until what a selector names has the focus, unless it already has."""
    for _ in range(most):
        if page.evaluate("selector => document.activeElement.matches(selector)", selector):
            return
        tab(page)
    raise AssertionError(f"{selector} is not reached by {most} presses of Tab")


def choose(page: Page, name: str, value: str) -> None:
    """Choose one of several by keyboard: Tab into the group, then Space or the arrow keys."""
    tab_to(page, f"input[name={name}]")
    page.keyboard.press("Space")
    for _ in range(10):
        if page.locator(f"input[name={name}]:checked").get_attribute("value") == value:
            return
        page.keyboard.press("ArrowDown")
    raise AssertionError(f"{value} is not reached by arrow keys")


def test_from_the_first_page_to_a_kept_quote_by_keyboard_alone(page: Page, address: str) -> None:
    page.goto(address)
    assert tab(page) == "To the content"
    skip = page.get_by_role("link", name="To the content")
    box = skip.bounding_box()
    assert box is not None
    assert box["x"] >= 0
    assert box["y"] >= 0
    page.keyboard.press("Enter")
    tab(page)
    assert page.evaluate("document.activeElement.closest('main') !== null")
    tab_to(page, "form[action='/drafts'] button")
    page.keyboard.press("Enter")
    page.wait_for_url("**/you")
    tab_to(page, "#mass_kg")
    page.keyboard.type(ANSWERS["mass_kg"])
    choose(page, "to_feet", ANSWERS["to_feet"])
    choose(page, "fitness", ANSWERS["fitness"])
    tab_to(page, "button[value=next]")
    page.keyboard.press("Enter")
    page.wait_for_url("**/flying")
    choose(page, "board_background", ANSWERS["board_background"])
    choose(page, "foil_stage", ANSWERS["foil_stage"])
    tab_to(page, "summary")
    page.keyboard.press("Space")
    expect(page.locator("details", has=page.locator("summary:focus"))).to_have_attribute("open", "")
    tab_to(page, "button[value=kit]")
    page.keyboard.press("Enter")
    page.wait_for_url("**/kit")
    tab_to(page, "button[id^=put-]")
    page.keyboard.press("Enter")
    expect(page.locator("#announce")).not_to_be_empty()
    tab_to(page, "form[action$='/keep'] button", most=300)
    page.keyboard.press("Enter")
    page.wait_for_url("**/quotes/*")
    expect(page.locator(".code")).to_have_text(re.compile(r"^[0-9A-Z]{4} [0-9A-Z]{4}$"))


# --- Narrow, enlarged, spaced ----------------------------------------------------------------------------------------

TOO_WIDE = """() => {
  const wide = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth <= wide) return [];
  return [...document.querySelectorAll('main *, header *, footer *')]
    .filter(e => e.getBoundingClientRect().right > wide + 0.5).map(e => e.outerHTML.slice(0, 120));
}"""
CUT_OFF = """() => [...document.querySelectorAll('main *, header *, footer *')].filter(e => {
  if (e.closest('svg, .hidden') || !e.checkVisibility()) return false;
  const style = getComputedStyle(e);
  const shows = ['visible', 'auto', 'scroll'];
  if (shows.includes(style.overflowX) && shows.includes(style.overflowY)) return false;
  if (e.matches('input, select')) return false;
  return e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1;
}).map(e => e.outerHTML.slice(0, 160))"""
LETTERING_CUT_OFF = """() => [...document.querySelectorAll('svg text')].filter(e => {
  if (!e.checkVisibility()) return false;
  const svg = e.ownerSVGElement, box = e.getBoundingClientRect(), sheet = svg.getBoundingClientRect();
  if (getComputedStyle(svg).overflow === 'visible') return false;
  const isWithin = box.left >= sheet.left - 1 && box.right <= sheet.right + 1;
  return !isWithin || box.top < sheet.top - 3 || box.bottom > sheet.bottom + 3;
}).map(e => e.textContent)"""


@pytest.mark.parametrize("state", LOOKED_AT)
def test_nothing_is_cut_off_or_scrolls_sideways_narrow_enlarged_or_spaced(
    window: Page, address: str, seen: Callable[[str], Seen], state: str
) -> None:
    """1.4.10 Reflow and 1.4.4 Resize Text: 320 CSS pixels are 1280 enlarged to 400 %, 640 are 200 %; 1.4.12 Text Spacing."""
    show(window, address, seen(state))
    unfold(window)
    for spacing in ("", SPACING):
        window.evaluate(ADD_STYLE, spacing)
        for width in (320, 640, 1280):
            window.set_viewport_size({"width": width, "height": 900})
            for check in (TOO_WIDE, CUT_OFF, LETTERING_CUT_OFF):
                assert window.evaluate(check) == [], f"{width} px wide, {'spaced' if spacing else 'as it is'}"


# --- Other colours, no movement --------------------------------------------------------------------------------------

MOVING = """longest => [...document.querySelectorAll('*')].filter(e => {
  const style = getComputedStyle(e);
  return (style.transitionDuration + ',' + style.animationDuration).split(',').some(time => parseFloat(time) > longest);
}).map(e => e.outerHTML.slice(0, 120))"""
UNBOUND = """() => [...document.querySelectorAll('button, input:not([type=hidden]), select')].filter(e => {
  if (!e.checkVisibility() || e.matches('[type=radio], [type=checkbox]')) return false;
  const style = getComputedStyle(e);
  const hasBorder = parseFloat(style.borderTopWidth) >= 1 && style.borderTopStyle !== 'none';
  const isBound = hasBorder && style.borderTopColor !== getComputedStyle(document.body).backgroundColor;
  return !isBound && style.textDecorationLine !== 'underline';
}).map(e => e.outerHTML.slice(0, 120))"""
LINES = """() => [...document.querySelectorAll('svg path, svg line, svg rect, svg circle, svg polyline, svg polygon')]
  .filter(e => e.checkVisibility() && !e.closest('.qr')).map(e => {
    const style = getComputedStyle(e), ground = getComputedStyle(document.body).backgroundColor;
    return {name: e.getAttribute('class'), stroke: style.stroke, fill: style.fill, ground};
  })"""
CHOSEN = """() => [...document.querySelectorAll('.option')].map(e => {
  const style = getComputedStyle(e);
  return [e.querySelector('input').checked, style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2];
})"""
STEPS_SHOWN = """() => ['.here', '.done', ':not(.here, .done)'].map(kind => {
  const step = document.querySelector('.steps li' + kind), mark = step && getComputedStyle(step, '::after');
  return mark && [mark.backgroundColor, mark.borderTopWidth, mark.borderTopStyle].join(' ');
}).filter(Boolean)"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    "state",
    ["home", "you filled", "where filled", "kit of all answers", "quote with all in it", "quote, contact wrong"],
)
def test_in_forced_colours_controls_chosen_answers_and_lines_are_still_told_apart(
    window: Page, address: str, seen: Callable[[str], Seen], state: str, scheme: str
) -> None:
    """Under CSS's forced colours (https://www.w3.org/TR/css-color-adjust-1/#forced) backgrounds and shadows are gone."""
    window.emulate_media(forced_colors="active", reduced_motion="reduce", color_scheme=scheme)  # type: ignore[arg-type]
    show(window, address, seen(state))
    unfold(window)
    assert window.evaluate("matchMedia('(forced-colors: active)').matches")
    assert window.evaluate(UNBOUND) == []
    lines = window.evaluate(LINES)
    assert lines or "kit" not in state
    for line in lines:
        inks = [rgb(ink) for ink in (line["stroke"], line["fill"]) if re.fullmatch(r"rgb\([^)]*\)", ink)]
        if line["stroke"] != "none" and inks:
            ground = rgb(line["ground"])
            assert max(wcag_contrast_ratio.rgb(ink, ground) for ink in inks) >= FOCUS_CONTRAST, line
    assert all(is_checked == is_outlined for is_checked, is_outlined in window.evaluate(CHOSEN))
    marks = window.evaluate(STEPS_SHOWN)
    assert len(set(marks)) == len(marks)


@pytest.mark.parametrize("state", LOOKED_AT)
def test_nothing_moves_for_those_who_asked_for_that(
    window: Page, address: str, seen: Callable[[str], Seen], state: str
) -> None:
    window.emulate_media(reduced_motion="reduce")
    show(window, address, seen(state))
    assert window.evaluate(MOVING, LONGEST_MOVE) == []


# --- By touch --------------------------------------------------------------------------------------------------------

SMALL = """smallest => [...document.querySelectorAll('a, button, input:not([type=hidden]), select, summary')].filter(e => {
  if (!e.checkVisibility() || e.matches('.skip')) return false;
  const isInline = e.matches('a') && getComputedStyle(e).display === 'inline'
    && [...e.parentElement.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
  if (isInline) return false;
  const box = (e.closest('label') || e).getBoundingClientRect();
  return Math.min(box.width, box.height) < smallest;
}).map(e => `${e.outerHTML.slice(0, 110)} ${e.getBoundingClientRect().width} × ${e.getBoundingClientRect().height}`)"""


@pytest.mark.parametrize("state", LOOKED_AT)
def test_a_thumb_hits_everything(window: Page, address: str, seen: Callable[[str], Seen], state: str) -> None:
    """A link in a sentence is excepted, as 2.5.8 excepts it."""
    window.set_viewport_size({"width": 360, "height": 740})
    show(window, address, seen(state))
    unfold(window)
    assert window.evaluate(SMALL, SMALLEST_TARGET) == []


# --- At once, in silence, without script -----------------------------------------------------------------------------

SHIFTS = """() => {
  window.shifted = [];
  const note = entry => { if (!entry.hadRecentInput) window.shifted.push(entry.value); };
  new PerformanceObserver(list => list.getEntries().forEach(note)).observe({type: 'layout-shift', buffered: true});
}"""


@pytest.mark.parametrize("state", LOOKED_AT)
def test_the_console_is_silent_and_all_that_is_asked_for_comes_from_here(
    window: Page, address: str, seen: Callable[[str], Seen], state: str
) -> None:
    said: list[str] = []
    wanted = seen(state)
    window.on("console", lambda message: said.append(message.text))
    window.on("pageerror", lambda error: said.append(str(error)))
    window.on("requestfailed", lambda request: said.append(request.url))
    window.on(
        "response",
        lambda answer: (
            said.append(f"{answer.status} {answer.url}")
            if answer.status >= 400 and answer.url != address + wanted.address
            else None
        ),
    )
    window.on("request", lambda request: said.append(request.url) if not request.url.startswith(address) else None)
    show(window, address, wanted)
    window.wait_for_load_state("networkidle")
    # A browser itself notes that a page came with a status of 400 or more.
    assert [words for words in said if wanted.status < 400 or "Failed to load resource" not in words] == []


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("state", ["home", "you empty", "kit of all answers", "quote with all in it"])
def test_nothing_is_shifted_after_it_was_drawn(
    window: Page, address: str, seen: Callable[[str], Seen], state: str, width: int
) -> None:
    window.set_viewport_size({"width": width, "height": 740})
    show(window, address, seen(state))
    window.evaluate(SHIFTS)
    if state.startswith("kit"):
        window.locator("button[id^=put-]").first.click()
        expect(window.locator("#announce")).not_to_be_empty()
    window.wait_for_timeout(200)
    assert sum(window.evaluate("window.shifted")) == 0


@pytest.mark.parametrize("state", ["home", "kit of all answers", "quote with all in it", "comparison"])
def test_a_page_is_whole_before_any_script_runs(
    window: Page, address: str, seen: Callable[[str], Seen], state: str
) -> None:
    wanted = seen(state)
    with httpx.Client(base_url=address) as client:
        tree = parsed(wanted.answer(client).text)
    main = next(tree.iter("main"))
    show(window, address, wanted)
    window.wait_for_load_state("networkidle")
    shown = " ".join(window.evaluate("document.querySelector('main').textContent").split())
    assert shown == text_of(main)
    assert window.locator("main svg").count() == sum(str(element.tag).endswith("}svg") for element in main.iter())


def kept_by_hand(page: Page, address: str) -> list[str]:
    """Go from the first page to a kept quote with the pointer, and read what it says of parts and price."""
    page.goto(address)
    page.get_by_role("button", name="Start with you").click()
    page.locator("#mass_kg").fill(ANSWERS["mass_kg"])
    for name in ("to_feet", "fitness"):
        page.locator(f"input[name={name}][value={ANSWERS[name]}]").check()
    page.get_by_role("button", name="Next").click()
    for name in ("board_background", "foil_stage"):
        page.locator(f"input[name={name}][value={ANSWERS[name]}]").check()
    page.get_by_role("button", name="See the kit now").click()
    page.locator("#put-tail-larger").click()
    expect(page.locator("#announce")).not_to_be_empty()
    page.get_by_role("button", name="Keep this quote").click()
    page.wait_for_url("**/quotes/*")
    texts: list[str] = page.locator(".part, .docket-lines").all_inner_texts()
    return texts


def test_the_way_without_script_ends_at_the_same_quote(browser: Browser, address: str) -> None:
    told: list[list[str]] = []
    for has_script in (True, False):
        context = browser.new_context(java_script_enabled=has_script)
        told.append(kept_by_hand(context.new_page(), address))
        context.close()
    assert len(told[0]) > len(CORE_SLOTS)
    assert told[0] == told[1]
