"""Messages: told into the outbox with what they tell, sent by whoever leases them, and the owner's own words for them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta

from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.messages import (
    TOO_OLD,
    WORDINGS,
    HeldUp,
    Kind,
    Message,
    Wording,
    check_wording,
    fill,
    is_too_old,
    new_message_id,
    read_wording,
    sample_of,
    wait_after,
)
from server.domain.stock import EMAIL_ACCEPTED, read_contact
from server.outside.mail import Mailer, Outcome
from server.persistence.messages import (
    add_message,
    lease,
    load_about,
    load_held_up,
    load_message,
    load_newest,
    next_due,
    note_failed,
    note_given_up,
    note_sent,
    own_wording,
    revive,
    save_wording,
)
from server.usecases.work import Shop, Work, new_token

SENDER = "sender"
LEASE = timedelta(minutes=5)
"""How long a message is ours: longer than a server may keep us waiting by answering every step just in time."""
MOST_AT_ONCE = 50
MOST_SHOWN = 200
ABOUT_TEST = "test"
NO_MESSAGE = "There is no such message (any more)."


def tell(
    work: Work,
    name: str,
    *,
    to_name: str,
    to_email: str,
    about: str,
    values: Mapping[str, str],
    calendar: str | None = None,
) -> str:
    """Write a message of a kind into the outbox, in the caller's own transaction, which the caller commits; its Message-ID.

    Empty where there is no address, and then nothing is written. `values` holds what the kind's placeholders stand for, but for
    {name}, {shop} and {telephone}, which are known; a link that is a path of this server becomes a whole address.
    """
    if not to_email:
        return ""
    terms = work.catalogue.policy.shop
    known = {"name": to_name, "shop": terms.name, "telephone": terms.telephone}
    link = values.get("link", "")
    if link.startswith("/"):
        known["link"] = work.address + link
    text = fill(wording_of(work, name), {**values, **known})
    return _write(work, name, to_name=to_name, to_email=to_email, about=about, text=text, calendar=calendar)


def _write(
    work: Work, name: str, *, to_name: str, to_email: str, about: str, text: Wording, calendar: str | None
) -> str:
    message_id = new_message_id(new_token(), work.catalogue.policy.shop.email)
    add_message(
        work.session,
        message_id=message_id,
        name=name,
        about=about,
        to_name=to_name,
        to_email=to_email,
        text=text,
        calendar=calendar,
        now=work.now,
        by=work.actor,
    )
    return message_id


def wording_of(work: Work, name: str) -> Wording:
    """The text of a kind of message that is in force."""
    return own_wording(work.session, name) or WORDINGS[name].usual


def message_texts(work: Work, about: str) -> list[Message]:
    """The messages about one thing, newest first, as they were or will be sent."""
    return load_about(work.session, about)


def read_message(work: Work, number: int) -> Message:
    """One message; raises `NotFound`."""
    message = load_message(work.session, number)
    if message is None:
        raise NotFound("message", NO_MESSAGE)
    return message


def outbox(work: Work, most: int = MOST_SHOWN) -> list[Message]:
    """The newest messages, whatever became of them."""
    return load_newest(work.session, most)


def held_up(work: Work) -> HeldUp | None:
    """The messages that wait although they were tried; None where all go out."""
    return load_held_up(work.session)


def mark_sent(work: Work, number: int) -> None:
    """Somebody at the desk has sent it by hand; a message that went out before stays as it was. Raises `NotFound`."""
    _read(work, number)
    note_sent(work.session, number, work.now)
    work.commit()


def give_up(work: Work, number: int) -> None:
    """A message that waits is not to be sent any more. Raises `NotFound`."""
    _read(work, number)
    note_given_up(work.session, number, f"Stopped by {work.actor}.", work.now, by_sender=False)
    work.commit()


def send_again(work: Work, number: int) -> None:
    """A message is due now: one that waits or was given up as it is, one that was sent as a copy with a Message-ID of its own.

    A copy under the old Message-ID would be dropped where the first had arrived. Raises `NotFound`, and `Conflict` while it is
    being sent, or where a copy of it waits.
    """
    message = _read(work, number)
    if message.state != "sent" and message.leased_until is not None and message.leased_until > work.now:
        raise Conflict([Fault("message", "This message is being sent at the moment.")])
    if message.state == "sent":
        if any(_is_copy(one, message) for one in load_about(work.session, message.about)):
            raise Conflict([Fault("message", "A copy of it waits to be sent already.")])
        _write(
            work,
            message.name,
            to_name=message.to_name,
            to_email=message.to_email,
            about=message.about,
            text=message.text,
            calendar=message.calendar,
        )
    else:
        revive(work.session, number, work.now)
    work.commit()


def _is_copy(one: Message, of: Message) -> bool:
    return one.state == "waiting" and (one.name, one.to_email, one.text) == (of.name, of.to_email, of.text)


def _read(work: Work, number: int) -> Message:
    message = load_message(work.session, number, to_change=True)
    if message is None:
        raise NotFound("message", NO_MESSAGE)
    return message


# Sending.


@dataclass(frozen=True, slots=True)
class Tally:
    """What became of the messages that were due: how many went out, are tried again later, and were given up."""

    sent: int = 0
    failed: int = 0
    given_up: int = 0

    @property
    def is_nothing(self) -> bool:
        """Whether none was due."""
        return not (self.sent or self.failed or self.given_up)


def send_due(shop: Shop, mailer: Mailer, *, most: int = MOST_AT_ONCE, is_stopping: Callable[[], bool] = bool) -> Tally:
    """Send what is due, one message after the other, so many at most; several processes may do so at once.

    Each is leased in a transaction of its own, sent outside of any, and then noted. A process that dies in between leaves the
    lease to run out, and then the message is sent again: at least once, never lost. Whether one that the server had already
    taken arrives twice nobody can know from here (RFC 5321, 6.1); both then have the same Message-ID and date, by which a
    receiver can tell that they are one. Where the server cannot be reached the rest waits for the next time.
    """
    tally: Counter[str] = Counter()
    while sum(tally.values()) < most and not is_stopping():
        message = _leased(shop)
        if message is None:
            break
        outcome, kept = _sent(shop, mailer, message)
        tally[kept] += 1
        if outcome.went == "unreachable":
            break
    return Tally(**tally)


def _leased(shop: Shop) -> Message | None:
    """The next message that is due, leased to us; None where there is none or others took all that were there."""
    for _ in range(MOST_AT_ONCE):
        with shop.reading(SENDER) as work:
            number = next_due(work.session, work.now)
        if number is None:
            return None
        with shop.writing(SENDER) as work:
            message = lease(work.session, number, work.now, work.now + LEASE)
            work.commit()
        if message is not None:
            return message
    return None


def _sent(shop: Shop, mailer: Mailer, message: Message) -> tuple[Outcome, str]:
    """Try a leased message once and note what became of it, in a word of the tally."""
    with shop.reading(SENDER) as work:
        terms, began_at = work.catalogue.policy.shop, work.now
    is_stale = is_too_old(replace(message, tries=message.tries - 1), began_at)
    outcome = Outcome("refused", TOO_OLD) if is_stale else mailer.send(message, terms.name, terms.email)
    with shop.writing(SENDER) as work:
        kept = _noted(work, message, outcome)
        work.commit()
    return outcome, kept


def _noted(work: Work, message: Message, outcome: Outcome) -> str:
    if outcome.went == "sent":
        note_sent(work.session, message.id, work.now)
        return "sent"
    if outcome.went == "refused" or is_too_old(message, work.now):
        note_given_up(work.session, message.id, outcome.because, work.now)
        return "given_up"
    note_failed(work.session, message, outcome.because, next_at=work.now + wait_after(message.tries))
    return "failed"


# The owner's words.


def is_own_wording(work: Work, name: str) -> bool:
    """Whether the owner has put a text of their own in force for a kind of message."""
    return own_wording(work.session, name) is not None


def write_wording(work: Work, name: str, subject: str, body: str) -> None:
    """Put the owner's text in force for what is written from now on; raises `InvalidInput` with every fault, and `NotFound`."""
    kind = kind_named(name)
    text = check_wording(name, subject, body)
    save_wording(work.session, name, None if text == kind.usual else text, work.now, work.actor)
    work.note_deed(f"wrote the words of {name}")
    work.commit()


def restore_wording(work: Work, name: str) -> None:
    """Put the usual text of a kind of message back in force; raises `NotFound`."""
    kind_named(name)
    save_wording(work.session, name, None, work.now, work.actor)
    work.note_deed(f"put the usual words of {name} back")
    work.commit()


def send_test(work: Work, name: str, subject: str, body: str, to_email: str) -> str:
    """Put the text as typed, filled with samples, into the outbox to an address, on the same way as every other; its Message-ID.

    Raises `InvalidInput` with every fault of the text and of the address, and `NotFound`.
    """
    kind = kind_named(name)
    text, faults = read_wording(name, subject, body)
    all_faults = list(faults)
    try:
        contact = read_contact(work.actor, to_email or "-", "")
    except InvalidInput:
        all_faults.append(Fault("email", "This is not an e-mail address.", EMAIL_ACCEPTED))
    if all_faults:
        raise InvalidInput(all_faults)
    filled = sample_of(name, text)
    tried = Wording(f"Test: {filled.subject}", filled.body)
    sent_to = contact.email
    message_id = _write(
        work, kind.name, to_name=work.actor, to_email=sent_to, about=ABOUT_TEST, text=tried, calendar=None
    )
    work.commit()
    return message_id


def kind_named(name: str) -> Kind:
    """A kind of message by its name; raises `NotFound`."""
    if name not in WORDINGS:
        raise NotFound("message", "There is no message of this name.")
    return WORDINGS[name]
