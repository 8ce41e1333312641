"""A real mail server on the loopback (aiosmtpd) that takes letters, or goes wrong as it is told to, and letters to hand it."""

from __future__ import annotations

import asyncio
import email.policy
import socket
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import EmailMessage
from typing import Any, Literal

from aiosmtpd.controller import Controller

from server.domain.messages import Message, Wording
from server.outside.mail import Mailer
from tests.builders_shop import NOON

Goes = Literal["busy", "unknown", "drops", "takes_and_drops", "hangs", "spam"]


@dataclass
class Post:
    """The server's side: what has arrived, and by address how it goes wrong, once for each word in its list."""

    goes_wrong: dict[str, list[Goes]] = field(default_factory=lambda: defaultdict(list))
    arrived: list[EmailMessage] = field(default_factory=list)
    tried: Counter[str] = field(default_factory=Counter)
    on_recipient: Callable[[], object] = field(default=bool)
    """Called when a letter is announced, before any of it has come."""
    on_arrival: Callable[[], object] = field(default=bool)
    port: int = 0

    def mailer(self, **changed: Any) -> Mailer:
        """How to reach this server."""
        return Mailer(**{"host": "127.0.0.1", "port": self.port, "security": "none", "timeout_s": 5.0, **changed})

    def ids(self) -> list[str]:
        """The Message-IDs that have arrived, in their order."""
        return [str(letter["Message-ID"]) for letter in self.arrived]

    async def handle_RCPT(self, server: Any, _session: Any, envelope: Any, address: str, _options: Any) -> str:
        """Called by the server for each recipient."""
        self.tried[address] += 1
        self.on_recipient()
        match self.goes_wrong[address][:1]:
            case ["busy"]:
                del self.goes_wrong[address][0]
                return "451 4.7.1 Come back later"
            case ["unknown"]:
                return f"550 5.1.1 <{address}> is unknown here"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, _session: Any, envelope: Any) -> str:
        """Called by the server once it has a letter."""
        wrong = self.goes_wrong[envelope.rcpt_tos[0]]
        goes = wrong.pop(0) if wrong else None
        if goes == "spam":
            return "554 5.6.0 We do not want this"
        if goes == "hangs":
            await asyncio.sleep(1.0)
        if goes in (None, "takes_and_drops"):
            self.arrived.append(message_from_bytes(envelope.content, policy=email.policy.default))
            self.on_arrival()
        if goes in ("drops", "takes_and_drops"):
            server.transport.abort()
        return "250 OK"


@contextmanager
def post(**made_with: Any) -> Iterator[Post]:
    """A mail server that runs until it is left."""
    here = Post()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        here.port = free.getsockname()[1]
    controller = Controller(here, hostname="127.0.0.1", port=here.port, **made_with)
    controller.start()
    try:
        yield here
    finally:
        controller.stop()


def letter(**changed: Any) -> Message:
    """A message out of the outbox."""
    usual = {
        "id": 1,
        "message_id": "<one@shop.example>",
        "name": "booking_made",
        "about": "booking:1",
        "to_name": "Nuala Ní Ghlas",
        "to_email": "nuala@learners.example",
        "text": Wording("Your lesson: tomorrow — 10:30", "Dear Nuala,\n\nsee you on the beach. Sláinte.\n"),
        "calendar": None,
        "made_at": NOON,
        "made_by": "Maeve",
        "next_at": NOON,
    }
    return Message(**{**usual, **changed})
