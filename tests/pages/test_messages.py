"""Messages over the front door: copied by hand where there is no server, sent by the loop where there is, and the owner's words."""

from __future__ import annotations

import asyncio
import threading
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
from fastapi import FastAPI
from pydantic import SecretStr

from server.app import create_app, send_until
from server.domain.messages import WORDINGS, Message
from server.outside.mail import Outcome
from server.persistence.engine import Place
from server.settings import Settings
from server.usecases.messages import outbox, send_due, tell
from server.usecases.work import Shop
from tests.builders_http import Client
from tests.builders_mail import post
from tests.builders_shop import Clock
from tests.pages.reader import FORM, Reader, encoded, text_of

TO = "nuala@learners.example"
EDITED = "/messages/wordings/booking_made"


def told(shop: Shop, to_name: str = "Nuala", to_email: str = TO) -> None:
    with shop.writing("Maeve") as work:
        values = {**WORDINGS["booking_made"].samples, "link": "/bookings/sample"}
        tell(work, "booking_made", to_name=to_name, to_email=to_email, about="booking:1", values=values)
        work.commit()


def test_without_a_server_a_message_is_copied_or_written_elsewhere_and_then_marked(app: FastAPI, staff: Client) -> None:
    reader = Reader(staff).open("/desk/messages")
    assert "No message was written yet" in reader.text
    told(app.state.shop, to_name="<b>Nuala</b>", to_email="nuala+1&cc=x@learners.example")
    reader.open("/desk/messages")
    for said in ("To send by hand: 1", "nuala+1&cc=x@learners.example", "Dear <b>Nuala</b>,", "/bookings/sample"):
        assert said in reader.text
    [address] = [link.get("href", "") for link in reader.page.iter("a") if text_of(link).startswith("Write it in")]
    asked = urlsplit(address)
    assert (asked.scheme, unquote(asked.path)) == ("mailto", "nuala+1&cc=x@learners.example")
    fields = parse_qs(asked.query)
    assert fields.keys() == {"subject", "body"}, "nothing in an address adds a field"
    assert fields["subject"] == ["Your lesson: Saturday 5 December 2026, 10:30"]
    assert fields["body"][0].startswith("Dear <b>Nuala</b>,\r\n\r\n")  # RFC 6068, 5.
    reader.press("Mark as sent: A lesson is booked, to <b>Nuala</b>")
    assert reader.address == "/desk/messages"
    assert "To send by hand" not in reader.text
    assert "sent 12:00" in reader.text


def test_what_was_given_up_says_why_and_is_sent_again(app: FastAPI, staff: Client) -> None:
    shop = app.state.shop
    told(shop)

    class Refusing:
        """A server that knows nobody."""

        def send(self, *_: object) -> Outcome:
            return Outcome("refused", "550 <nobody>")

    send_due(shop, Refusing())  # type: ignore[arg-type]
    reader = Reader(staff).open("/desk/messages")
    assert "given up 12:00 550 <nobody>" in reader.text
    reader.press("Send again: A lesson is booked, to Nuala")
    assert "waits since 12:00" in reader.text
    with shop.reading() as work:
        [message] = outbox(work)
    reader.open(f"/desk/messages/{message.id}").press("Do not send it").open(f"/desk/messages/{message.id}")
    assert "Stopped by Maeve." in reader.text
    assert Reader(staff).open("/desk/messages/999").status == 404


def test_the_owner_edits_the_words_sees_how_they_read_and_puts_the_usual_ones_back(owner: Client) -> None:
    reader = Reader(owner).open("/messages/wordings")
    assert "your own" not in reader.text
    reader.open(EDITED).press("Show how it reads", subject="Hello {name}", body="At {when}.\n{link}")
    assert "Hello Nuala Example" in text_of(reader.by_id("preview"))
    reader.press("Use these words", subject="Hello {nom}")
    assert reader.status == 422
    assert "There is no {nom} in this message." in reader.text
    assert reader.by_id("subject").get("value") == "Hello {nom}"
    assert reader.by_id("body").text == "At {when}.\n{link}", "nothing typed is lost"
    reader.press("Use these words", subject="Hello {name}")
    assert (reader.status, "Your words are in force" in reader.text) == (200, True)
    assert "your own" in Reader(owner).open("/messages/wordings").text
    reader.press("Back to the usual words")
    assert reader.by_id("subject").get("value") == WORDINGS["booking_made"].usual.subject
    assert Reader(owner).open("/messages/wordings/no_such").status == 404


def test_while_it_is_typed_only_how_it_reads_is_answered(owner: Client) -> None:
    for subject, said in (("Hello {name}", "Hello Nuala Example"), ("{x}", "There is no {x}")):
        fields = [("subject", subject), ("body", "{when} {link}"), ("do", "preview")]
        answer = owner.post(EDITED, content=encoded(fields), headers={**FORM, "HX-Request": "true"})
        assert answer.status_code == 200
        assert answer.text.strip().startswith('<section id="preview"')
        assert said in answer.text


def test_a_test_keeps_what_is_typed_and_lies_in_the_outbox(app: FastAPI, owner: Client) -> None:
    reader = Reader(owner).open(EDITED).press("Send me a test", subject="Hello {name}", email="nobody")
    assert (reader.status, "This is not an e-mail address." in reader.text) == (422, True)
    reader.press("Send me a test", email="orla@twoherons.example")
    assert "the test to orla@twoherons.example lies in the outbox" in reader.text
    assert reader.by_id("subject").get("value") == "Hello {name}"
    with app.state.shop.reading() as work:
        [message] = outbox(work)
    assert (message.to_email, message.text.subject) == ("orla@twoherons.example", "Test: Hello Nuala Example")


def test_staff_do_not_edit_the_words(staff: Client) -> None:
    assert Reader(staff).open(EDITED).status == 403


def test_the_server_sends_what_waits_and_ends_when_it_is_told_to(place: Place, clock: Clock) -> None:
    arrived = threading.Event()
    with post() as server:
        server.on_arrival = arrived.set
        app = create_app(
            Settings(
                data=place.data,
                database_url=SecretStr(place.url),
                smtp_host="127.0.0.1",
                smtp_port=server.port,
                smtp_security="none",
                smtp_sender="lessons@twoherons.example",
            )
        )
        app.state.shop.clock = clock
        told(app.state.shop)
        asyncio.run(_lived_until(app, arrived))
    assert [letter["From"].addresses[0].addr_spec for letter in server.arrived] == ["lessons@twoherons.example"]
    assert not [thread for thread in threading.enumerate() if thread.name == "sending"]
    with app.state.shop.reading() as work:
        assert [message.state for message in outbox(work)] == ["sent"], "it ended after it had noted what it was at"
    app.state.shop.close()


async def _lived_until(app: FastAPI, moment: threading.Event) -> None:
    async with app.router.lifespan_context(app):
        assert await asyncio.to_thread(moment.wait, 10)


def test_what_goes_wrong_in_the_loop_is_logged_without_whom_it_was_for(
    shop: Shop, caplog: pytest.LogCaptureFixture
) -> None:
    stopping = threading.Event()
    told(shop)

    class Broken:
        """A way of sending that fails as nobody foresaw."""

        def send(self, message: Message, *_: object) -> Outcome:
            stopping.set()
            raise RuntimeError(f"no way to {message.to_email}")

    with caplog.at_level("WARNING", "slackwater"):
        send_until(stopping, shop, Broken())  # type: ignore[arg-type]
    [record] = caplog.records
    assert "sending failed" in record.getMessage()
    assert "RuntimeError" in record.__dict__["because"]
    assert "usecases/messages.py" in record.__dict__["because"]
    assert TO not in str(record.__dict__)
