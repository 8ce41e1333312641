"""People of a shop who ask one page after another without thinking: learners with their steps, kits and quotes, and the desk."""

from __future__ import annotations

import asyncio
import random
import re
import time
from collections import Counter, defaultdict
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass, field
from urllib.parse import urlencode, urlsplit

import httptools

from tests.bench.proxy import Heard

FORM = "application/x-www-form-urlencoded"
PATIENCE_SECONDS = 60
TAKEN_BACK = 0.9
"""Of the requests to hold: a shop of a hundred requests a minute that nobody takes back would run out of boards."""
MASSES_KG = (58, 66, 74, 80, 88, 97)
STEPS: dict[str, dict[str, str]] = {
    "you": {"to_feet": "quick", "fitness": "fair"},
    "flying": {"board_background": "some", "foil_stage": "none"},
    "where": {"spot": "Tullaveen Strand"},
    "gear": {},
    "extras": {"extras": "helmet"},
}
SOLD = "WRK-PUMP1"
SWAPPED = re.compile(r'id="put-(?:front_foil|board|tail)-(?:larger|smaller)" name="put" value="([^"]+)"')
SHOWN = re.compile(r'name="sku" value="([^"]+)"')
KEY = re.compile(r'name="key" value="([^"]+)"')
CODE = re.compile(r'class="code"[^>]*>([^<]+)<')


@dataclass(frozen=True)
class Answer:
    """What came back."""

    status: int
    location: str
    text: str


@dataclass
class Tally:
    """What all people together did, were answered and how long they waited; what was answered for good is checked at the end."""

    statuses: Counter[int] = field(default_factory=Counter)
    waited: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    wrong: list[str] = field(default_factory=list)
    quotes: list[str] = field(default_factory=list)
    held: set[str] = field(default_factory=set)
    sold: int = 0


class Browser:
    """One connection, kept open, with its cookies; lighter than a client for every purpose, as it shares the cores with the servers."""

    def __init__(self, host: str, port: int, tally: Tally) -> None:
        self.host, self.port, self.tally = host, port, tally
        self.line: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None
        self.cookies: dict[str, str] = {}

    async def get(self, kind: str, path: str, words: str, *, in_part: bool = False) -> Answer:
        """A page that must say something."""
        return await self._ask(kind, "GET", path, b"", 200, words, in_part)

    async def post(
        self,
        kind: str,
        path: str,
        fields: list[tuple[str, str]],
        status: int = 303,
        words: str = "",
        *,
        in_part: bool = False,
    ) -> Answer:
        """A form that must be answered with a status."""
        return await self._ask(kind, "POST", path, urlencode(fields).encode(), status, words, in_part)

    async def _ask(
        self, kind: str, method: str, path: str, body: bytes, status: int, words: str, in_part: bool
    ) -> Answer:
        headers = {"Host": f"{self.host}:{self.port}", "Accept-Encoding": "identity", "Content-Length": str(len(body))}
        headers |= {"Content-Type": FORM} if body else {}
        headers |= {"HX-Request": "true"} if in_part else {}
        if self.cookies:
            headers["Cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        head = "".join(f"{name}: {value}\r\n" for name, value in headers.items())
        began = time.perf_counter()
        try:
            async with asyncio.timeout(PATIENCE_SECONDS):
                answer = await self._sent(f"{method} {path} HTTP/1.1\r\n{head}\r\n".encode() + body)
        except (OSError, TimeoutError) as error:
            self.close()
            self.tally.wrong.append(f"{kind}: {method} {urlsplit(path).path} was not answered: {type(error).__name__}")
            raise LookupError from error
        self.tally.waited[kind].append(time.perf_counter() - began)
        self.tally.statuses[answer.status] += 1
        if answer.status != status or words not in answer.text:
            self.tally.wrong.append(
                f"{kind}: {method} {urlsplit(path).path} answered {answer.status}, not {status} with {words!r}"
            )
            raise LookupError
        return answer

    async def _sent(self, request: bytes) -> Answer:
        if self.line is None:
            self.line = await asyncio.open_connection(self.host, self.port)
        reader, writer = self.line
        heard = Heard()
        parser = httptools.HttpResponseParser(heard)
        writer.write(request)
        while not heard.is_whole:
            data = await reader.read(1 << 16)
            if not data:
                raise ConnectionResetError
            parser.feed_data(data)
        told = {name.lower(): value.decode() for name, value in heard.headers}
        for name, value in heard.headers:
            if name.lower() == b"set-cookie":
                cookie, _, kept = value.decode().partition(";")[0].partition("=")
                self.cookies[cookie] = kept
        return Answer(parser.get_status_code(), told.get(b"location", ""), heard.body.decode())

    def close(self) -> None:
        """Let go of the connection."""
        if self.line is not None:
            self.line[1].close()
            self.line = None


class Person:
    """Does one thing after the other until told to stop: as a learner, or at the desk."""

    def __init__(
        self, number: int, host: str, port: int, tally: Tally, staff: tuple[str, str], session: tuple[str, str]
    ) -> None:
        self.draw = random.Random(number)
        self.number, self.made = number, 0
        self.tally, self.staff = tally, staff
        self.learner, self.desk = Browser(host, port, tally), Browser(host, port, tally)
        self.desk.cookies = dict([session])
        self.codes: list[str] = []

    async def go_on(self, until: float) -> None:
        """One act after another; what is answered wrongly is noted, and ends that act."""
        acts: list[tuple[int, Callable[[], Awaitable[None]]]] = [
            (4, self.look),
            (8, self.choose),
            (4, self.look_up),
            (3, self.sell),
            (1, self.sign_in),
        ]
        weights, does = [weight for weight, _ in acts], [act for _, act in acts]
        try:
            with suppress(LookupError):
                await self.choose()  # Everybody has a quote to come back to.
            while time.monotonic() < until:
                act = self.draw.choices(does, weights)[0]
                try:
                    await act()
                except LookupError:
                    continue
        finally:
            self.learner.close()
            self.desk.close()

    async def look(self) -> None:
        """The first page, and a quote of before by its address."""
        await self.learner.get("first page", "/", "Start with you")
        if self.tally.quotes:
            token = self.draw.choice(self.tally.quotes)
            await self.learner.get("quote page", f"/quotes/{token}", 'class="code"')

    async def choose(self) -> None:
        """From the first page through the steps to a kit, another part, a quote and sometimes a request to hold."""
        learner = self.learner
        await learner.get("first page", "/", "Start with you")
        draft = (await learner.post("begin", "/drafts", [])).location.split("/")[2]
        for step, answers in STEPS.items():
            typed = [*answers.items()]
            if step == "you":
                typed.append(("mass_kg", str(self.draw.choice(MASSES_KG))))
            await learner.get("step", f"/drafts/{draft}/{step}", "<form")
            await learner.post("step in part", f"/drafts/{draft}/{step}", typed, 200, in_part=True)
            await learner.post("step kept", f"/drafts/{draft}/{step}", [*typed, ("go", "next")])
        kit = await learner.get("kit page", f"/drafts/{draft}/kit", "Keep this quote")
        others = SWAPPED.findall(kit.text)
        if others:
            shown = [("sku", sku) for sku in SHOWN.findall(kit.text)]
            put = self.draw.choice(others)
            changed = await learner.post("swap", f"/drafts/{draft}/kit", [*shown, ("put", put)])
            kit = await learner.get("kit in part", changed.location, put, in_part=True)
        self.made += 1
        kept = await learner.post("keep", f"/drafts/{draft}/keep", [("key", f"{self.number}-{self.made}")])
        token = kept.location.rpartition("/")[2]
        self.tally.quotes.append(token)
        page = await learner.get("quote page", kept.location, 'class="code"')
        self.codes.append(CODE.findall(page.text)[0])
        if self.draw.random() < 0.5:
            await self._hold(token)

    async def _hold(self, token: str) -> None:
        who = f"someone{self.number}x{self.made}@example.org"
        fields = [("name", "Some One"), ("email", who), ("revision", "1")]
        await self.learner.post("ask to hold", f"/quotes/{token}/agree", fields)
        self.tally.held.add(token)
        if self.draw.random() < TAKEN_BACK:
            await self.learner.post("take back", f"/quotes/{token}/release", [])
            self.tally.held.discard(token)

    async def look_up(self) -> None:
        """The desk finds a quote by its code."""
        if not self.codes:
            return
        code = self.draw.choice(self.codes)
        found = await self.desk.post("look-up", "/desk/find", [("q", code)])
        await self.desk.get("quote at the desk", found.location, code)

    async def sell(self) -> None:
        """A piece goes over the counter."""
        item = await self.desk.get("counter", f"/desk/counter?item={SOLD}", "Sell")
        fields = [("sku", SHOWN.findall(item.text)[0]), ("key", KEY.findall(item.text)[0]), ("pieces", "1")]
        await self.desk.post("sell", "/desk/counter", fields)
        self.tally.sold += 1

    async def sign_in(self) -> None:
        """Somebody of the shop signs in anew, which takes a whole hash of a password."""
        browser = Browser(self.desk.host, self.desk.port, self.tally)
        try:
            name, password = self.staff
            await browser.get("sign-in page", "/sign-in", "<form")
            await browser.post("sign in", "/sign-in", [("name", name), ("password", password), ("back", "")])
        finally:
            browser.close()
