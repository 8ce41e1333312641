"""A worker of a crash run: real requests one after another until a server is gone, forms as the pages show them."""

from __future__ import annotations

import re
from threading import Event
from typing import Any
from urllib.parse import urlsplit

import httpx

from server.web.guard import SESSION_COOKIES
from tests.bench.crash.journal import Act, Form, Journal
from tests.pages.reader import FORM, Reader, text_of

OK, SEE_OTHER, CREATED = 200, 303, 201


def visitor(address: str, session: str = "") -> httpx.Client:
    """A browser at a server, signed in where a session is given; it loads no certificates, since it has no use for them."""
    headers = {"Cookie": "; ".join(f"{name}={session}" for name in SESSION_COOKIES)} if session else {}
    return httpx.Client(base_url=address, timeout=30, headers=headers, verify=False, trust_env=False)


class Worker:
    """Sends one request after another; each is in the journal before it is sent."""

    def __init__(self, journal: Journal, address: str, session: str) -> None:
        self.journal = journal
        self.draw = journal.draw
        self.client, self.desk = visitor(address), visitor(address, session)
        for client in (self.client, self.desk):
            client.event_hooks = {"response": [self._count]}

    def _count(self, answer: httpx.Response) -> None:
        self.journal.statuses[answer.status_code] += 1

    def act(self) -> None:
        """Do one of the things that this worker does."""
        raise NotImplementedError

    def work(self, stop: Event) -> None:
        """Until told to stop, or the connection breaks."""
        with self.client, self.desk:
            try:
                while not stop.is_set():
                    self.act()
            except httpx.TransportError:
                self.journal.in_flight += 1

    def open(self, address: str) -> Reader:
        """A page of the desk."""
        return Reader(self.desk).open(address)

    def submit(
        self, act: Act, page: Reader, button: str, subject: str, about: dict[str, Any], **filled: str | list[str]
    ) -> Form:
        """Press a button of a page, once what is sent is in the journal."""
        path, body = page.sending(button, **filled)
        return self.post(Form(act, urlsplit(path).path, body, subject, key_in(page, button), about))

    def post(self, form: Form, **said: Any) -> Form:
        """Send a form; where it was answered, the journal has what it has done or that it was refused."""
        self.journal.forms.append(form)
        answer = self.desk.post(form.path, **(said or {"content": form.body, "headers": FORM}))
        if answer.status_code == SEE_OTHER:
            form.state = "done"
            self.journal.settle(form, number_in(answer.headers["location"], form))
        elif answer.is_client_error:
            self.journal.settle(form, None)
        return form


def has_button(page: Reader, button: str) -> bool:
    """Whether a page offers a button of this text."""
    return any(button in (text_of(one), one.get("value")) for one in page.page.iter("button"))


def field_of(page: Reader, button: str, name: str) -> str:
    """What a field of a button's form is filled with, empty where it has none."""
    form, _ = page.form(button)
    return next((one.get("value", "") for one in form.iter("input") if one.get("name") == name), "")


def key_in(page: Reader, button: str) -> str:
    """The key of a button's form."""
    return field_of(page, button, "key")


def number_in(location: str, form: Form) -> int:
    """The number that an answer names: of a new sale, counter sale or step; else only that something was done."""
    pattern = {
        "contract": r"/desk/sales/(\d+)",
        "sell": r"[?&]sold=(\d+)",
        "import": r"[?&]done=(\d+)",
        "undo": r"/console/steps/(\d+)",
    }.get(form.act)
    found = re.search(pattern, location) if pattern else None
    return int(found[1]) if found else 1
