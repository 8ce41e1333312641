"""One message handed to a real mail server: as RFC 5321 and 5322 have it, and whatever the server does."""

from __future__ import annotations

import socket
import ssl
import subprocess
from collections.abc import Iterator
from contextlib import suppress
from threading import Thread

import pytest
from icalendar import Calendar

from server.domain.messages import Wording
from server.outside.calendar_file import Appointment, calendar_file
from server.outside.mail import Mailer, Outcome
from tests.builders_mail import Goes, Post, letter, post
from tests.builders_shop import NOON

TO = "nuala@learners.example"
SHOP = ("Two Herons Watersports", "hello@twoherons.example")


@pytest.fixture(scope="module")
def server() -> Iterator[Post]:
    with post() as here:
        yield here


def test_a_letter_arrives_as_it_was_written(server: Post) -> None:
    server.arrived.clear()
    assert server.mailer(sender="lessons@twoherons.example").send(letter(), *SHOP) == Outcome("sent")
    [arrived] = server.arrived
    assert arrived["From"] == "Two Herons Watersports <lessons@twoherons.example>"
    assert arrived["Reply-To"] == "Two Herons Watersports <hello@twoherons.example>"
    assert arrived["To"].addresses[0].addr_spec == TO
    assert arrived["To"].addresses[0].display_name == "Nuala Ní Ghlas"
    assert arrived["Subject"] == "Your lesson: tomorrow — 10:30"
    assert arrived["Message-ID"] == "<one@shop.example>"
    assert arrived["Date"].datetime == NOON
    assert arrived["Auto-Submitted"] == "auto-generated"  # RFC 3834, 5.
    assert arrived.get_content_type() == "text/plain"
    assert arrived.get_content_charset() == "utf-8"
    assert arrived.get_content() == letter().text.body.replace("\n", "\r\n")  # RFC 5321, 2.3.8.


def test_a_calendar_file_goes_with_the_method_that_it_asks_for(server: Post) -> None:
    """RFC 6047, 2.4: the parameter says the same as the property. RFC 5545, 3.1: lines end with CRLF."""
    for is_called_off, method in ((False, "REQUEST"), (True, "CANCEL")):
        server.arrived.clear()
        appointment = Appointment("a", 1, NOON, NOON, NOON, "First flights — é", "Strand", is_called_off=is_called_off)
        file = calendar_file(appointment)
        assert server.mailer().send(letter(calendar=file), *SHOP).went == "sent"
        [part] = list(server.arrived[0].iter_attachments())
        assert part.get_content_type() == "text/calendar"
        assert part["Content-Type"].params["method"] == method
        assert part.get_filename() == "lesson.ics"
        raw = part.get_payload(decode=True)
        assert isinstance(raw, bytes)
        assert raw.decode() == file
        assert str(Calendar.from_ical(raw)["METHOD"]) == method


GOES: tuple[tuple[Goes, str, str], ...] = (
    ("busy", "failed", "451 4.7.1 Come back later"),
    ("unknown", "refused", f"550 5.1.1 <{TO}> is unknown here"),
    ("spam", "refused", "554 5.6.0 We do not want this"),
    ("drops", "failed", "The line broke"),
    ("takes_and_drops", "failed", "The line broke"),
    ("hangs", "failed", "The line broke"),
)


@pytest.mark.parametrize(("goes", "went", "because"), GOES)
def test_whatever_the_server_does_is_an_answer(server: Post, goes: Goes, went: str, because: str) -> None:
    server.goes_wrong[TO] = [goes]
    outcome = server.mailer(timeout_s=0.2 if goes == "hangs" else 5.0).send(letter(), *SHOP)
    server.goes_wrong[TO] = []
    assert outcome.went == went
    assert outcome.because.startswith(because)


def test_a_server_that_cannot_be_reached_or_does_not_encrypt_gets_nothing(server: Post) -> None:
    with socket.socket() as mute:
        mute.bind(("127.0.0.1", 0))
        mute.listen()
        port = mute.getsockname()[1]
        silent = server.mailer(port=port, timeout_s=0.1).send(letter(), *SHOP)
    nobody = server.mailer(port=port).send(letter(), *SHOP)
    server.arrived.clear()
    open_line = server.mailer(security="starttls", user="shop", password="hidden-word").send(letter(), *SHOP)
    assert {silent.went, nobody.went, open_line.went} == {"unreachable"}
    assert "STARTTLS" in open_line.because
    assert server.arrived == []


@pytest.fixture(scope="module")
def unvouched(tmp_path_factory: pytest.TempPathFactory) -> ssl.SSLContext:
    """A server's side of TLS with a certificate of its own making."""
    folder = tmp_path_factory.mktemp("certificate")
    made = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "1"]
    files = ["-keyout", str(folder / "key.pem"), "-out", str(folder / "cert.pem")]
    about = ["-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1"]
    subprocess.run([*made, *files, *about], check=True, capture_output=True)
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(folder / "cert.pem", folder / "key.pem")
    return context


# OWASP ASVS 5.0, 12.3.2: as a TLS client we validate the server's certificate.
def test_a_server_whose_certificate_nobody_vouches_for_gets_nothing(unvouched: ssl.SSLContext) -> None:
    with post(tls_context=unvouched) as there:
        outcome = there.mailer(security="starttls", user="shop", password="hidden-word").send(letter(), *SHOP)
    assert outcome.went == "unreachable"
    assert "certificate verify failed" in outcome.because
    assert there.arrived == []


def test_nor_does_one_that_encrypts_from_the_start(unvouched: ssl.SSLContext) -> None:
    said: list[bytes] = []

    def take(listening: socket.socket) -> None:
        line, _ = listening.accept()
        with suppress(ssl.SSLError, OSError), unvouched.wrap_socket(line, server_side=True) as encrypted:
            said.append(encrypted.recv(100))
        line.close()

    with socket.create_server(("127.0.0.1", 0)) as listening:
        taking = Thread(target=take, args=(listening,))
        taking.start()
        port = listening.getsockname()[1]
        outcome = Mailer("127.0.0.1", port, "shop", "hidden-word", "tls", timeout_s=5.0).send(letter(), *SHOP)
        taking.join()
    assert outcome.went == "unreachable"
    assert "certificate verify failed" in outcome.because
    assert b"".join(said) == b""


@pytest.mark.parametrize(
    "changed",
    [
        {"to_email": "nuala@learners.example\r\nBcc: everybody@learners.example"},
        {"to_email": "nuala..x@learners.example, other@learners.example"},
        {"to_name": "Nuala\r\nBcc: everybody@learners.example"},
        {"text": Wording("Hello\r\nBcc: everybody@learners.example", "x\n")},
        {"message_id": "<a@b>\r\nBcc: everybody@learners.example"},
    ],
)
def test_no_text_becomes_a_header_of_its_own(server: Post, changed: dict[str, object]) -> None:
    """OWASP ASVS 5.0, 1.3.11: what goes to a mail system is cleaned against injection."""
    server.arrived.clear()
    assert server.mailer().send(letter(**changed), *SHOP).went == "refused"
    assert server.arrived == []


def test_lines_of_a_body_that_mean_something_to_smtp_arrive_as_they_are(server: Post) -> None:
    """RFC 5321, 4.5.2 (a line of one dot would end the letter) and 4.5.3.1.6 (998 octets at most)."""
    server.arrived.clear()
    body = "one\n.\n.two\nQUIT\nFrom here\n" + "é" * 1500 + "\n"
    assert server.mailer().send(letter(text=Wording("x", body)), *SHOP).went == "sent"
    assert server.arrived[0].get_content() == body.replace("\n", "\r\n")


def test_an_address_with_letters_beyond_ascii_is_taken_where_the_server_takes_such(server: Post) -> None:
    """RFC 6531: the extension SMTPUTF8; without it such an address cannot be written at all."""
    abroad = letter(to_email="níamh@strand.example")
    with post(enable_SMTPUTF8=False) as old:
        assert old.mailer().send(abroad, *SHOP).went == "refused"
    server.arrived.clear()
    assert server.mailer().send(abroad, *SHOP).went == "sent"
    assert server.tried["níamh@strand.example"] == 1
    assert server.arrived[0].get_content() == abroad.text.body.replace("\n", "\r\n")


def test_without_an_address_to_send_from_nothing_is_refused_for_good(server: Post) -> None:
    for sender in ("", "nobody", "a@b\r\nc"):
        assert server.mailer(sender=sender).send(letter(), SHOP[0], "").went == "unreachable"


def test_the_password_is_not_shown_where_a_mailer_is_printed() -> None:
    assert "hidden-word" not in repr(Mailer("mail.example", password="hidden-word"))
