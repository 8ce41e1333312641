"""One message to one person by SMTP (RFC 5321); every way in which that can go wrong is an answer, not an exception."""

from __future__ import annotations

import re
import smtplib
import ssl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP, SMTPUTF8
from typing import Literal

from server.domain.messages import Message, one_line
from server.domain.stock import EMAIL

Security = Literal["none", "starttls", "tls"]
Went = Literal["sent", "refused", "failed", "unreachable"]
TIMEOUT_S = 15.0
MOST_REASON = 300
PERMANENT = 500
"""From here on a reply says that trying again will not help (RFC 5321, 4.2.1)."""
UNWRITABLE = (ValueError, IndexError, MessageError)
"""What the standard library raises for an address or a header that cannot be; the second for an empty one."""
SPECIALS = re.compile(r'[()<>\[\]:;\\,"]')
"""What no part of an address holds unless it is quoted (RFC 5322, 3.2.3)."""
METHOD = re.compile(r"^METHOD:([A-Z]{1,20})\r?$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a try, and why.

    `refused` is for good; `failed` may go better next time, and so may `unreachable`, which would befall every other message
    now too.
    """

    went: Went
    because: str = ""


@dataclass(frozen=True, slots=True)
class Mailer:
    """A mail server and how to speak to it; `timeout_s` in seconds for each of its answers.

    Without a sender of its own it sends from the shop's address. With `starttls` nothing is said to a server that does not
    encrypt.
    """

    host: str
    port: int = 587
    user: str = ""
    password: str = field(default="", repr=False)
    security: Security = "starttls"
    sender: str = ""
    timeout_s: float = TIMEOUT_S

    def send(self, message: Message, shop_name: str, shop_email: str) -> Outcome:
        """Hand a message over; `sent` once the server has said that it has it, whatever happens to the line after that."""
        sender = self.sender or shop_email
        if not _is_address(sender):
            return Outcome("unreachable", "There is no address to send from: name one in the settings or the policy.")
        try:
            mail = written(message, sender, shop_name, shop_email)
        except UNWRITABLE:
            return Outcome("refused", "The address or the text cannot be written as e-mail.")
        try:
            with self._line() as line:
                return _handed_over(line, mail)
        except smtplib.SMTPAuthenticationError as error:
            return Outcome("unreachable", f"The mail server does not let us sign in: {_said(error)}")
        except smtplib.SMTPResponseException as error:
            return Outcome("unreachable", f"The mail server says: {_said(error)}")
        except (OSError, smtplib.SMTPException, ValueError) as error:
            return Outcome("unreachable", f"The mail server cannot be reached: {_words(error)}")

    @contextmanager
    def _line(self) -> Iterator[smtplib.SMTP]:
        """A line to the server, encrypted and signed in as it was asked for, and closed again."""
        trusted = ssl.create_default_context()
        line = (
            smtplib.SMTP_SSL(self.host, self.port, timeout=self.timeout_s, context=trusted)
            if self.security == "tls"
            else smtplib.SMTP(self.host, self.port, timeout=self.timeout_s)
        )
        try:
            line.ehlo_or_helo_if_needed()
            if self.security == "starttls":
                line.starttls(context=trusted)
            if self.user:
                line.login(self.user, self.password)
            yield line
            with suppress(OSError, smtplib.SMTPException):
                line.quit()
        finally:
            line.close()


def _is_address(text: str) -> bool:
    """Whether mail can come from here."""
    try:
        _address("", text)
    except UNWRITABLE:
        return False
    return True


def _address(name: str, email: str) -> Address:
    """Somebody as a header has them; raises one of `UNWRITABLE`. The standard library reads no address beyond ASCII (RFC 6531)."""
    if not email.isprintable() or not EMAIL.fullmatch(email):
        raise ValueError
    if email.isascii():
        return Address(name, addr_spec=email)
    if SPECIALS.search(email):
        raise ValueError
    local, _, host = email.partition("@")
    return Address(name, local, host)


def _handed_over(line: smtplib.SMTP, mail: EmailMessage) -> Outcome:
    """Send over an open line. The server's word on the recipient or on the text is final from 500 on.

    `send_message` would put a sign before every line that begins with "From ", so the letter is written out here.
    """
    sender, to = (mail[header].addresses[0].addr_spec for header in ("From", "To"))
    is_plain = (sender + to).isascii()
    if not is_plain and not line.has_extn("smtputf8"):
        return Outcome("refused", "The mail server does not take addresses with such letters.")
    options = () if is_plain else ("SMTPUTF8", "BODY=8BITMIME")
    try:
        line.sendmail(sender, [to], mail.as_bytes(policy=SMTP if is_plain else SMTPUTF8), options)
    except smtplib.SMTPRecipientsRefused as error:
        code, words = next(iter(error.recipients.values()))
        return Outcome("refused" if code >= PERMANENT else "failed", _reply(code, words))
    except smtplib.SMTPDataError as error:
        return Outcome("refused" if error.smtp_code >= PERMANENT else "failed", _said(error))
    except smtplib.SMTPResponseException as error:
        return Outcome("failed", _said(error))
    except (OSError, smtplib.SMTPException) as error:
        return Outcome("failed", f"The line broke: {_words(error)}")
    except ValueError:
        return Outcome("refused", "The address cannot be written as e-mail.")
    return Outcome("sent")


def _said(error: smtplib.SMTPResponseException) -> str:
    return _reply(error.smtp_code, error.smtp_error)


def _reply(code: int, words: bytes | str) -> str:
    text = words.decode("utf-8", "replace") if isinstance(words, bytes) else words
    return one_line(f"{code} {text}")[:MOST_REASON]


def _words(error: Exception) -> str:
    """What the system says, without its number, else what the library says."""
    said = error.strerror if isinstance(error, OSError) else ""
    return one_line(said or str(error) or type(error).__name__)[:MOST_REASON]


def written(message: Message, sender: str, shop_name: str, shop_email: str) -> EmailMessage:
    """A message as mail: plain text, and where there is one the calendar file with the method it asks for (RFC 6047, 2.4).

    It says that a program wrote it, so that no other answers it (RFC 3834, 5). Its date and Message-ID are those of the outbox,
    the same at every try. Raises one of `UNWRITABLE` for what no header can hold.
    """
    mail = EmailMessage(policy=SMTP)
    mail["From"] = _address(shop_name, sender)
    mail["To"] = _address(message.to_name, message.to_email)
    if shop_email and shop_email != sender:
        mail["Reply-To"] = _address(shop_name, shop_email)
    mail["Subject"] = message.text.subject
    mail["Date"] = message.made_at
    mail["Message-ID"] = message.message_id
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(message.text.body, cte="quoted-printable")
    if message.calendar:
        method = METHOD.search(message.calendar)
        mail.add_attachment(
            message.calendar,
            subtype="calendar",
            cte="base64",
            filename="lesson.ics",
            params={"method": method[1]} if method else None,
        )
    return mail
