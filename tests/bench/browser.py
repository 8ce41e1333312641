"""What somebody with a slow telephone on a slow line sees of two pages, and when: measured in Chromium over the real server."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import httpx
from playwright.sync_api import Browser, BrowserContext, CDPSession, Page, sync_playwright

from server.persistence.engine import Place
from server.usecases.learner import start_draft
from tests.bench.harness import LEARNER, count_stock, servers, shop_at
from tests.browser.chromium import CHROMIUM, QUIET

RUNS = 3
WINDOWS = ((360, 740), (1280, 900))
SLOWED = 4
BYTES_A_SECOND = 200_000  # 1.6 Mbit/s, in both directions.
LATENCY_MS = 150
PLENTY = 50
SETTLED_MS = 700
"""Longer than a shift of the layout is held to be an answer to what somebody did (Layout Instability, 500 ms)."""
PATIENCE_MS = 20_000
ANSWERS = {
    **LEARNER,
    "spot": "Tullaveen Strand",
    "usual_wind_kn": 15,
    "budget": 2500_00,
    "extras": ["helmet"],
    "trades": [{"slot": "board", "price_new": 1200_00, "months": 24, "condition": "good"}],
}
"""Of somebody who left nothing out, since every answer makes the page longer."""
SWAP = ".swaps button[name=put]"
SWAPS = 4

WATCH = """
window.watched = {paint: 0, shift: 0};
new PerformanceObserver((list) => {
  for (const paint of list.getEntries()) watched.paint = paint.startTime;
}).observe({type: "largest-contentful-paint", buffered: true});
new PerformanceObserver((list) => {
  for (const shift of list.getEntries()) if (!shift.hadRecentInput) watched.shift += shift.value;
}).observe({type: "layout-shift", buffered: true});
"""
"""Largest Contentful Paint in milliseconds from the navigation on, and the sum of all shifts (W3C drafts of these names)."""
AWAIT_SWAP = """(patience) => {
window.swapped = new Promise((shown, failed) => {
  setTimeout(() => failed(new Error("nothing was put in")), patience);
  const before = document.getElementById("kit");
  new MutationObserver((_, watching) => {
    if (document.getElementById("kit") === before) return;
    watching.disconnect();
    requestAnimationFrame(() => requestAnimationFrame(() => {
      const answers = performance.getEntriesByType("resource").filter((one) => one.initiatorType === "xmlhttprequest");
      shown(performance.now() - answers.at(-1).responseEnd);
    }));
  }).observe(document.getElementById("main"), {childList: true, subtree: true});
});
}"""
"""Milliseconds from the last byte of the answer until the frame after the one that shows it; the page's own clock tells both."""


@dataclass(frozen=True)
class Visit:
    """One page, seen for the first time and once more: paint and swaps in milliseconds, shift as a score, bytes of all answers with
    their headers."""

    paint_ms: float
    shift: float
    cold_bytes: int
    again_bytes: int
    swaps_ms: tuple[float, ...]

    @property
    def swap_ms(self) -> float | None:
        """The middle one of the swaps; None where the page has none."""
        return median(self.swaps_ms) if self.swaps_ms else None


@dataclass(frozen=True)
class Wanted:
    """A figure of a visit and the bound that it must keep."""

    figure: str
    words: str
    most: float
    unit: str
    scale: float = 1.0

    def holds(self, value: float) -> bool:
        """Whether a value is within the bound."""
        return value <= self.most


WANTED = (
    Wanted("paint_ms", "largest paint", 1800, "ms"),
    Wanted("shift", "shift", 0, ""),
    Wanted("cold_bytes", "first view", 80_000, "KB", 1000),
    Wanted("again_bytes", "second view", 20_000, "KB", 1000),
    Wanted("swap_ms", "swap after its answer", 300, "ms"),
)


class Wire:
    """Counts what comes over the wire to a page that is slowed."""

    def __init__(self, page: Page) -> None:
        self.bytes = 0
        session: CDPSession = page.context.new_cdp_session(page)
        session.on("Network.loadingFinished", lambda told: self._add(told["encodedDataLength"]))
        session.on("Network.requestWillBeSent", self._add_redirect)
        session.send("Network.enable")
        session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
        line = {"latency": LATENCY_MS, "downloadThroughput": BYTES_A_SECOND, "uploadThroughput": BYTES_A_SECOND}
        session.send("Network.emulateNetworkConditions", {"offline": False, **line})

    def _add(self, number: float) -> None:
        self.bytes += round(number)

    def _add_redirect(self, told: dict[str, dict[str, float]]) -> None:
        self._add(told.get("redirectResponse", {}).get("encodedDataLength", 0))

    def taken(self) -> int:
        """The bytes since it was last asked."""
        taken, self.bytes = self.bytes, 0
        return taken


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser without a window; says what to install where there is none."""
    if not Path(CHROMIUM).exists():
        raise SystemExit(f"no {CHROMIUM}: apt-get install chromium")
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield opened
        opened.close()


@contextmanager
def newcomer(browser: Browser, window: tuple[int, int]) -> Iterator[BrowserContext]:
    """Somebody who has nothing kept."""
    made = browser.new_context(viewport={"width": window[0], "height": window[1]})
    made.set_default_timeout(PATIENCE_MS)
    made.add_init_script(WATCH)
    yield made
    made.close()


def visit(context: BrowserContext, address: str) -> Visit:
    """See a page for the first time and to its end, leave, come back to the same page, and put other parts in where it has some."""
    page = context.new_page()
    wire = Wire(page)
    _open(page, address)
    paint_ms, cold_bytes = page.evaluate("watched.paint"), wire.taken()
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    page.wait_for_timeout(SETTLED_MS)
    shift = page.evaluate("watched.shift")
    page.goto("about:blank")
    wire.taken()
    _open(page, address)
    again_bytes = wire.taken()
    swaps_ms = tuple(_swap(page, number) for number in range(SWAPS) if page.locator(SWAP).count())
    return Visit(paint_ms, shift + page.evaluate("watched.shift"), cold_bytes, again_bytes, swaps_ms)


def _open(page: Page, address: str) -> None:
    answer = page.goto(address, wait_until="load")
    if answer is None or answer.status not in (200, 304):
        raise RuntimeError(f"{address} was not shown")
    page.wait_for_timeout(SETTLED_MS)


def _swap(page: Page, number: int) -> float:
    """Milliseconds that one of the swaps, which stand all over the page, takes to be shown from its answer on."""
    ways = page.locator(SWAP)
    page.evaluate(AWAIT_SWAP, PATIENCE_MS)
    ways.nth(ways.count() * number // SWAPS).click()
    took: float = page.evaluate("swapped")
    page.wait_for_timeout(SETTLED_MS)
    return took


def browser() -> None:
    """First page and kit page in Chromium with the processor slowed four times, 1.6 Mbit/s and 150 ms, on a telephone's and a desk's
    window: medians of three visits that begin with nothing kept, a KB being 1,000 bytes."""
    with tempfile.TemporaryDirectory(prefix="slackwater-browser-") as folder:
        place = Place(Path(folder))
        with shop_at(place) as shop:
            count_stock(shop, PLENTY)
            with shop.writing("bench") as work:
                token = start_draft(work, ANSWERS).token
        with servers(place, 1) as (server,), chromium() as opened:
            pages = {"first page": f"{server.address}/", "kit page": f"{server.address}/drafts/{token}/kit"}
            for address in pages.values():
                httpx.get(address, timeout=30).raise_for_status()  # Somebody else has been here since the start.
            missed = [
                figure
                for name, address in pages.items()
                for window in WINDOWS
                for figure in _tell(f"{name}, {window[0]} px", _visits(opened, window, address))
            ]
    if missed:
        print(f"not reached: {'; '.join(missed)}", flush=True)
        raise SystemExit(1)


def _visits(opened: Browser, window: tuple[int, int], address: str) -> list[Visit]:
    made = []
    for _ in range(RUNS):
        with newcomer(opened, window) as context:
            made.append(visit(context, address))
    return made


def _tell(name: str, visits: list[Visit]) -> list[str]:
    """Print the figures of a page, and give back in words those that are not reached."""
    missed = []
    print(name, flush=True)
    for wanted in WANTED:
        values = [value for one in visits if (value := getattr(one, wanted.figure)) is not None]
        if not values:
            continue
        middle = median(values)
        if not wanted.holds(middle):
            missed.append(f"{name}: {wanted.words}")
        told = [f"{value / wanted.scale:.4g}" for value in (middle, min(values), max(values), wanted.most)]
        unit = f" {wanted.unit}" if wanted.unit else ""
        print(f"  {wanted.words:<22}{told[0]:>7}{unit} ({told[1]} to {told[2]}; wanted at most {told[3]})", flush=True)
    return missed


if __name__ == "__main__":
    browser()
