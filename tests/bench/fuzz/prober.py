"""Sends probes one after another over one connection, and holds every answer to what it must be."""

from __future__ import annotations

import random
import re
import socket
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from urllib.parse import quote_from_bytes, urlencode, urlsplit
from xml.etree.ElementTree import Element

import httpx

from server.web.guard import SAFE_METHODS, SESSION_COOKIE
from tests.bench.fuzz.forms import Form, forms_of
from tests.bench.fuzz.judging import Watch, fault_of, may_write
from tests.bench.fuzz.probes import Probe, extra_headers, in_utf8
from tests.bench.fuzz.routes import Route, Routes
from tests.bench.fuzz.values import BYTES, METHODS, odd_text
from tests.bench.harness import Outcome
from tests.builders_seen import Seen
from tests.pages.reader import read

COUNTED_EVERY = 25  # Counting the rows of sixty tables takes longer than most answers.
READ_IN_FULL_FIRST, READ_IN_FULL_SHARE = 2, 0.01  # A strict parser takes ten times as long as the page that it reads.
TRIES, MOST_TRIES = 2, 6
FOLLOWED, NEW = 0.3, 20
UNPROCESSABLE = 422
SPOILT_FORMS = (1, 3, 5)
FORMS_A_PAGE, MOST_FORMS_A_PAGE = 3, 6
KEPT_FORMS = 4
TORN_SECONDS = 5
SAFE = "/?&=%[]*~:@!$'()+,;-._"
STATUS_LINE = re.compile(rb"HTTP/1\.1 ([0-9]{3}) ")  # RFC 9112, 4.


@dataclass
class Prober:
    """What is sent by whom, what came of it, and the forms that were seen."""

    client: httpx.Client
    draw: random.Random
    routes: Routes
    watch: Watch
    outcome: Outcome
    sessions: tuple[str, ...] = ()
    forms: dict[Route, list[Form]] = field(default_factory=dict)
    shown: set[Route] = field(default_factory=set)
    """Where the forms go that were seen since the last state was made."""
    read_in_full: Counter[tuple[str, int]] = field(default_factory=Counter)

    def send(self, probe: Probe) -> httpx.Response | None:
        """One request; its answer, or None where the connection broke or was torn on purpose."""
        outcome, route = self.outcome, self.routes.at(probe.method, probe.target)
        is_counted = outcome.done["requests"] % COUNTED_EVERY == 0
        self.watch.touched()
        counts = self.watch.counts() if is_counted else {}
        outcome.done["requests"] += 1
        if probe.torn:
            status = self._tear(probe)
            if 400 <= status < 500:
                self._must_have_changed_nothing(route, probe, status, counts)
            return None
        answer = self._answer(probe)
        if answer is None:
            return None
        outcome.statuses[answer.status_code] += 1
        self.routes.count(route, answer.status_code)
        fault = fault_of(answer, in_full=self._is_read_in_full(route, answer))
        outcome.must(not fault, fault, answer.status_code, probe)
        if answer.is_client_error or probe.method in SAFE_METHODS:
            self._must_have_changed_nothing(route, probe, answer.status_code, counts)
        self._learn(answer)
        return answer

    def _answer(self, probe: Probe) -> httpx.Response | None:
        raw_path = quote_from_bytes(in_utf8(probe.target), safe=SAFE).encode()
        url = self.client.base_url.copy_with(raw_path=raw_path)
        chunks = (probe.body[at : at + 1000] for at in range(0, len(probe.body), 1000))
        content = chunks if probe.chunked else probe.body
        try:
            return self.client.send(httpx.Request(probe.method, url, headers=probe.headers, content=content))
        except httpx.TransportError as error:
            self.outcome.must(False, "the connection broke", type(error), probe)
            return None

    def _tear(self, probe: Probe) -> int:
        """Tell of more bytes than come, or of fewer, and hang up; whoever was to answer must outlive it. The status, 0 without one."""
        length = max(0, len(probe.body) + probe.torn)
        head = [f"{probe.method} {quote_from_bytes(in_utf8(probe.target), safe=SAFE)} HTTP/1.1".encode(), b"Host: x"]
        head += [b"%b: %b" % pair for pair in probe.headers]
        head += [b"Content-Length: %d" % length, b"Connection: close"]
        said = b""
        try:
            with socket.create_connection((self.client.base_url.host, self.client.base_url.port), TORN_SECONDS) as line:
                line.sendall(b"\r\n".join(head) + b"\r\n\r\n" + probe.body)
                if probe.torn > 0:
                    with suppress(OSError):  # The server may have refused it and hung up by now.
                        line.shutdown(socket.SHUT_WR)
                while more := line.recv(65_536):
                    said = said or more
        except ConnectionError:
            pass
        except TimeoutError:
            self.outcome.must(False, "a torn request was left hanging", probe)
        self.outcome.done["torn requests"] += 1
        found = STATUS_LINE.match(said)
        status = int(found[1]) if found else 0
        if found:
            self.outcome.statuses[status] += 1
        self.outcome.must(status < 500, "a fault of the server", status, probe)
        return status

    def _is_read_in_full(self, route: Route | None, answer: httpx.Response) -> bool:
        kind = (route.path if route else "", answer.status_code)
        self.read_in_full[kind] += 1
        return self.read_in_full[kind] <= READ_IN_FULL_FIRST or self.draw.random() < READ_IN_FULL_SHARE

    def _must_have_changed_nothing(
        self, route: Route | None, probe: Probe, status: int, counts: dict[str, int]
    ) -> None:
        """A refusal, or a page that was looked at, wrote nothing but what it may."""
        may = may_write(route)
        touched = self.watch.touched() - may
        self.outcome.must(not touched, f"written by {status} of", route and route.said, touched, probe)
        if counts:
            after = self.watch.counts()
            changed = {name for name, number in after.items() if number != counts[name]} - may
            self.outcome.done["times all rows were counted"] += 1
            self.outcome.must(not changed, f"rows changed by {status} of", route and route.said, changed, probe)

    def _learn(self, answer: httpx.Response) -> None:
        """Remember the addresses that an answer gives."""
        location = answer.headers.get("location", "")
        if answer.status_code == 201:
            location = httpx.URL(answer.json()["url"]).path
        if location:
            self.routes.learn(location)

    def look(self, page: Seen) -> list[Form]:
        """Open a page, whole or as htmx does, and read its links and forms."""
        headers: tuple[tuple[bytes, bytes], ...] = ((b"HX-Request", b"true"),) if self.draw.random() < 0.1 else ()
        if page.posted is None:
            probe = Probe("GET", page.address, headers=headers)
        else:
            probe = Probe("POST", page.address, page.posted, ((b"Content-Type", page.kind.encode()), *headers))
        answer = self.send(probe.by(page.session))
        if answer is None or not answer.headers.get("content-type", "").startswith("text/html") or not answer.text:
            return []
        if answer.status_code < 400:
            self.routes.learn(page.address)
        return self._forms_in(read(answer.text), page.address, session_after(answer, page.session))

    def _forms_in(self, page: Element, address: str, session: str) -> list[Form]:
        for link in page.iter():
            named = link.get("href") or link.get("src") or link.get("data-hx-get") or ""
            if named.startswith("/"):
                self.routes.learn(named)
            elif "://" in named:
                self.routes.learn(urlsplit(named).path)
        forms = forms_of(page, address, session)
        for form in forms:
            targets = {form.target, *(target for _, _, target in form.buttons)}
            self.shown.update(filter(None, (self.routes.at("POST", target) for target in targets)))
            route = self.routes.at("POST", form.target)
            if route is not None:
                self.forms[route] = [*self.forms.get(route, []), form][-KEPT_FORMS:]
        return forms

    def visit(self, page: Seen) -> None:
        """Open a page, spoil some of its forms a few times, which must leave them as they are, and then send them right."""
        forms = self.look(page)
        self.draw.shuffle(forms)
        forms.sort(key=self._went)
        few = [form for form in forms if not self._went(form)][:MOST_FORMS_A_PAGE]
        for form in few if len(few) > FORMS_A_PAGE else forms[:FORMS_A_PAGE]:
            self.outcome.done["forms as a page shows them"] += 1
            for _ in range(self.draw.choice(SPOILT_FORMS)):
                self.send(form.wrong(self.draw, self.known(), self.sessions))
            for there in self._after(self._send_right(form, page.address), form):
                self._send_right(there, there.target)

    def _send_right(self, form: Form, address: str) -> httpx.Response | None:
        """Send a form as it should be; where something in it was refused, put that right and send it again, if need be often."""
        answer = None
        for _ in range(TRIES if self._went(form) else MOST_TRIES):
            answer = self.send(form.right(self.draw, self.known()))
            if answer is None or answer.status_code < 400:
                return answer
            if answer.status_code == UNPROCESSABLE and answer.text:
                shown = forms_of(read(answer.text), address, session_after(answer, form.session))
                form = next((one for one in shown if one.target == form.target), form)
        return answer

    def _after(self, answer: httpx.Response | None, sent: Form) -> list[Form]:
        """The form to go on with on the page that stands there after one was sent: that which was accepted least."""
        if answer is None or answer.status_code >= 400:
            return []
        location, session = answer.headers.get("location", ""), session_after(answer, sent.session)
        if location.startswith("/") and (self.draw.random() < FOLLOWED or self._is_new(location)):
            forms = self.look(Seen(location, session=session))
        elif answer.headers.get("content-type", "").startswith("text/html") and answer.text:
            forms = self._forms_in(read(answer.text), sent.target, session)
        else:
            return []
        return [min(forms, key=self._went)] if forms else []

    def _is_new(self, address: str) -> bool:
        route = self.routes.at("GET", address)
        return route is not None and self.routes.asked[route] < NEW

    def _went(self, form: Form) -> int:
        route = self.routes.at("POST", form.target)
        return self.routes.went[route] if route else 0

    def known(self) -> Mapping[str, Sequence[str]]:
        """What people would copy from other pages into fields of these names."""
        parts = self.routes.parts
        return {
            "other": parts["/quotes/{token}"],
            "code": parts["/desk/quotes/{code}"],
            "quote": parts["/desk/quotes/{code}"],
        }

    def wander(self) -> None:
        """Visit a page that was seen named somewhere, the least visited kinds first."""
        routes = [route for route in self.routes.all("GET") if self.routes.known[route.path]]
        if routes:
            route = min(self.draw.sample(routes, min(3, len(routes))), key=lambda one: self.routes.asked[one])
            address = self.routes.address(self.draw, route, odd=0)
            self.visit(Seen(address, session=self.session()))

    def session(self) -> str:
        """The owner's, the staff's, or nobody's."""
        return self.draw.choice((*self.sessions, *self.sessions, ""))

    def spoil_again(self) -> None:
        """A form that was seen before, whether it still stands there or not; the kinds least sent first."""
        kinds = list(self.forms)
        if kinds:
            route = min(self.draw.sample(kinds, min(3, len(kinds))), key=lambda one: self.routes.asked[one])
            form = self.draw.choice(self.forms[route])
            self.send(form.wrong(self.draw, self.known(), self.sessions))

    def post_blindly(self) -> None:
        """Something to a route that takes a POST, the one least asked, whether a page showed its form or not."""
        route = min(self.routes.all("POST"), key=lambda one: (self.routes.asked[one], self.draw.random()))
        target = self.routes.address(self.draw, route)
        known = self.forms.get(route)
        form = self.draw.choice(known) if known and self.draw.random() < 0.5 else Form(target)
        self.send(form.wrong(self.draw, self.known(), self.sessions).by("" if form.session else self.session()))

    def ask_oddly(self) -> None:
        """The page or the file least asked for, got with odd words in its query, or by another method."""
        draw = self.draw
        route = min(self.routes.all("GET"), key=lambda one: (self.routes.asked[one], draw.random()))
        address = self.routes.address(draw, route)
        path, _, query = address.partition("?")
        names = [pair.partition("=")[0] for pair in query.split("&") if pair]
        words = [
            (draw.choice((*names, *QUERY_NAMES)), odd_text(draw)[:300]) for _ in range(draw.choice((0, 1, 1, 2, 9)))
        ]
        said = urlencode([(in_utf8(name), in_utf8(word)) for name, word in words])
        queries = [query, said, f"{query}&{said}", f"{said}&{query}", *("%", "%00", "%ff=%fe", "a" * 2100, "[]=&&=")]
        method = "GET" if draw.random() < 0.85 else draw.choice(METHODS)
        body = draw.choice(BYTES) if draw.random() < 0.05 else b""
        headers = (*extra_headers(draw), *([(b"HX-Request", b"true")] if draw.random() < 0.2 else []))
        self.send(Probe(method, f"{path}?{draw.choice(queries)}", body, headers).by(self.session()))


def session_after(answer: httpx.Response, session: str) -> str:
    """Whose session it is from then on: an answer may put a new one in place of that by which it was asked."""
    return answer.cookies.get(SESSION_COOKIE) or session if session else session


QUERY_NAMES = (
    "q",
    "sku",
    "slot",
    "kind",
    "item",
    "from",
    "day",
    "month",
    "page",
    "sort",
    "show",
    "code",
    "back",
    "who",
)
"""What pages take in their addresses, beside what the links that were seen say."""
