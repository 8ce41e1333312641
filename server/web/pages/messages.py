"""Messages at the desk: what has gone out, what waits and what must be sent by hand; and the owner's words for each of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Path
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Fault, InvalidInput
from server.domain.messages import KINDS, WORDINGS, Kind, Message, Wording, read_wording, sample_of
from server.usecases.messages import (
    MOST_SHOWN,
    give_up,
    held_up,
    is_own_wording,
    kind_named,
    mark_sent,
    outbox,
    read_message,
    restore_wording,
    send_again,
    send_test,
    wording_of,
    write_wording,
)
from server.usecases.work import Work
from server.web.pages.desk import when_words
from server.web.pages.forms import Form, text_in
from server.web.render import see_other
from server.web.signed import OwnerOf, StaffOf
from server.web.state import PagesOf, SettingsOf, ShopOf

router = APIRouter(include_in_schema=False)
owner_router = APIRouter(include_in_schema=False)

RowNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]
"""The number of a row as both databases can have it."""
SAID = {"written": "Your words are in force for what is written from now on.", "usual": "The usual words are in force."}


@dataclass(frozen=True, slots=True)
class MessageShown:
    """A message in words; `mailto` opens it in the mail program of whoever is at the desk."""

    id: int
    title: str
    to_name: str
    to_email: str
    text: Wording
    made: str
    state: str
    told: str
    because: str
    mailto: str
    has_calendar: bool


@dataclass(frozen=True)
class OutboxPage:
    """The newest messages, those first that somebody has to send by hand."""

    by_hand: tuple[MessageShown, ...]
    messages: tuple[MessageShown, ...]
    has_server: bool
    held_up: str = ""
    most: int = MOST_SHOWN


@dataclass(frozen=True)
class MessagePage:
    """One message, whole."""

    message: MessageShown
    has_server: bool


@dataclass(frozen=True, slots=True)
class KindShown:
    """A kind of message in the list, and whose words it has."""

    kind: Kind
    is_own: bool


@dataclass(frozen=True)
class WordingsPage:
    """All kinds of messages."""

    kinds: tuple[KindShown, ...]


@dataclass(frozen=True)
class WordingPage:
    """The words of one kind as typed, what is wrong with them, and how they read when filled with samples."""

    kind: Kind
    typed: Mapping[str, str]
    is_own: bool
    preview: Wording | None
    has_server: bool
    faults: tuple[Fault, ...] = ()
    said: str = ""
    tested: str = ""
    labels: Mapping[str, str] = field(
        default_factory=lambda: {"subject": "Subject", "body": "Text", "email": "Send the test to"}
    )

    def value(self, name: str) -> str:
        """A field as typed."""
        return self.typed.get(name, "")

    def fault_at(self, name: str) -> Fault | None:
        """The first thing that is wrong with a field."""
        return next((fault for fault in self.faults if fault.field == name), None)

    def faults_at(self, name: str) -> tuple[Fault, ...]:
        """All that is wrong with a field."""
        return tuple(fault for fault in self.faults if fault.field == name)

    def label(self, name: str) -> str:
        """What a field is called."""
        return self.labels.get(name, "")


@router.get("/desk/messages")
def show(request: Request, account: StaffOf, shop: ShopOf, settings: SettingsOf, pages: PagesOf) -> Response:
    """The outbox; where no mail server is named, the messages to be sent by hand in full."""
    has_server = bool(settings.smtp_host)
    with shop.reading(account.name) as work:
        messages = tuple(_shown(work, message) for message in outbox(work))
        by_hand = () if has_server else tuple(one for one in reversed(messages) if one.state == "waiting")
        page = OutboxPage(by_hand, messages, has_server, _held_up_words(work) if has_server else "")
        return pages.show(request, "messages/outbox.html", page, work.catalogue.policy.shop)


def _held_up_words(work: Work) -> str:
    """Since when what was tried does not go out; empty where all does."""
    held = held_up(work)
    if held is None:
        return ""
    since = when_words(held.since, work.now, work.catalogue.policy.shop)
    many = "One message waits" if held.number == 1 else f"{held.number} messages wait"
    return f"{many}, the oldest since {since}: {held.because}"


@router.get("/desk/messages/{number}")
def show_one(
    request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, settings: SettingsOf, pages: PagesOf
) -> Response:
    """One message, with all that can be done with it."""
    with shop.reading(account.name) as work:
        page = MessagePage(_shown(work, read_message(work, number)), bool(settings.smtp_host))
        return pages.show(request, "messages/message.html", page, work.catalogue.policy.shop)


@router.post("/desk/messages/{number}/sent")
def sent(number: RowNumber, account: StaffOf, shop: ShopOf) -> Response:
    """It was sent by hand."""
    with shop.writing(account.name) as work:
        mark_sent(work, number)
    return see_other("/desk/messages")


@router.post("/desk/messages/{number}/again")
def again(number: RowNumber, account: StaffOf, shop: ShopOf) -> Response:
    """Send it again."""
    with shop.writing(account.name) as work:
        send_again(work, number)
    return see_other("/desk/messages")


@router.post("/desk/messages/{number}/stop")
def stop(number: RowNumber, account: StaffOf, shop: ShopOf) -> Response:
    """It is not to be sent any more."""
    with shop.writing(account.name) as work:
        give_up(work, number)
    return see_other("/desk/messages")


def _shown(work: Work, message: Message) -> MessageShown:
    terms = work.catalogue.policy.shop
    kind = WORDINGS.get(message.name)
    told = f"waits since {when_words(message.made_at, work.now, terms)}"
    if message.sent_at:
        told = f"sent {when_words(message.sent_at, work.now, terms)}"
    elif message.gave_up_at:
        told = f"given up {when_words(message.gave_up_at, work.now, terms)}"
    elif message.leased_until and message.leased_until > work.now:
        told = "is being sent"
    elif message.tries:
        times = "once" if message.tries == 1 else f"{message.tries} times"
        told = f"tried {times}, again {when_words(message.next_at, work.now, terms)}"
    return MessageShown(
        id=message.id,
        title=kind.title if kind else message.name,
        to_name=message.to_name,
        to_email=message.to_email,
        text=message.text,
        made=when_words(message.made_at, work.now, terms),
        state=message.state,
        told=told,
        because=message.last_error,
        mailto=_mailto(message),
        has_calendar=bool(message.calendar),
    )


def _mailto(message: Message) -> str:
    """The message as an address that a mail program opens; its line breaks are CRLF (RFC 6068, 5)."""
    body = message.text.body.replace("\n", "\r\n")
    to, subject, words = (quote(part, safe="") for part in (message.to_email, message.text.subject, body))
    return f"mailto:{to.replace('%40', '@')}?subject={subject}&body={words}"


# The owner's words.


@owner_router.get("/messages/wordings")
def wordings(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Which messages there are, when they are sent, and whose words they have."""
    with shop.reading(account.name) as work:
        page = WordingsPage(tuple(KindShown(kind, is_own_wording(work, kind.name)) for kind in KINDS))
        return pages.show(request, "messages/wordings.html", page, work.catalogue.policy.shop)


@owner_router.get("/messages/wordings/{name}")
def wording(
    request: Request,
    name: str,
    account: OwnerOf,
    shop: ShopOf,
    settings: SettingsOf,
    pages: PagesOf,
    said: str = "",
) -> Response:
    """The words of one kind of message, to be edited, and how they read."""
    kind = kind_named(name)
    with shop.reading(account.name) as work:
        text = wording_of(work, name)
        page = WordingPage(
            kind,
            {"subject": text.subject, "body": text.body},
            is_own_wording(work, name),
            sample_of(name, text),
            bool(settings.smtp_host),
            said=SAID.get(said, ""),
        )
        return pages.show(request, "messages/wording.html", page, work.catalogue.policy.shop)


@owner_router.post("/messages/wordings/{name}")
def write(
    request: Request, name: str, account: OwnerOf, form: Form, shop: ShopOf, settings: SettingsOf, pages: PagesOf
) -> Response:
    """What the button says: write the words, put the usual ones back, or show how they read and send a test of what is typed.

    The last two keep what is typed on the page, for it is nowhere else.
    """
    kind = kind_named(name)
    done = text_in(form, "do")
    subject, body, email = (text_in(form, part) for part in ("subject", "body", "email"))
    text, faults = read_wording(name, subject, body)
    tested = ""
    try:
        with shop.writing(account.name) as work:
            if done == "usual":
                restore_wording(work, name)
                return see_other(f"/messages/wordings/{name}?said=usual")
            if done == "write":
                write_wording(work, name, subject, body)
                return see_other(f"/messages/wordings/{name}?said=written")
            if done == "test":
                send_test(work, name, subject, body, email)
                tested = email
    except InvalidInput as error:
        faults = error.faults
    with shop.reading(account.name) as work:
        page = WordingPage(
            kind,
            {"subject": subject, "body": body, "email": email},
            is_own_wording(work, name),
            sample_of(name, text) if all(fault.field == "email" for fault in faults) else None,
            bool(settings.smtp_host),
            faults=faults,
            tested=tested,
        )
        status = 422 if faults and done != "preview" else 200  # How it reads was asked for, and is answered.
        terms = work.catalogue.policy.shop
        return pages.show(request, "messages/wording.html", page, terms, block="preview_part", status=status)
