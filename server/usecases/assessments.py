"""What was seen on the water: kept once, and the customer's quote fitted again for it, in one transaction."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from server.domain.assessments import Assessed, Came, Seen, assessment_of
from server.domain.changes import Change, Said, changes_between
from server.domain.codes import spaced_code
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound, Unreadable
from server.domain.kits import Fitter
from server.domain.learner import SEEN, Sighting, read_sighting, sighting_as_answer
from server.domain.lessons import Booking, BookingState
from server.domain.quotes import Quote
from server.persistence.assessments import find_assessment, load_assessments_of, save_assessment, save_came
from server.persistence.quotes import lock_key
from server.persistence.stock import contact_of, open_hold_of
from server.usecases.fit import fitter_for
from server.usecases.lessons import booking_numbered, confirm_quote
from server.usecases.messages import tell
from server.usecases.quotes import keep_quote, locked_quote, wanted_kit
from server.usecases.work import Work, is_token

SEEABLE_STATES: tuple[BookingState, ...] = ("booked", "taken", "cut_short")
"""States of a booking in which its learner was on the water, or may have been."""
CLAIMED = "The code of a quote that they typed waits to be confirmed at the desk; then it is fitted again."
NOTHING_ELSE = "No size, answer or price has changed."


def keep_assessment(work: Work, number: int, seen: Seen, key: str) -> Assessed:
    """Keep what an instructor saw of a booking's learner, fit their quote again for it, and tell them, all together.

    The same sent again under its `key` gives what was kept; something else under it raises `Conflict`, as does a booking whose
    lesson has not begun or was not held. Raises `NotFound`, and `InvalidInput` for what can be no key.
    """
    if not is_token(key):
        raise InvalidInput([Fault("key", "This cannot be kept under such a key.", "8 to 64 letters, digits, - or _")])
    lock_key(work.session, hashlib.sha256(f"assessment:{key}".encode()).hexdigest())
    before = find_assessment(work.session, key)
    if before is not None:
        if (before.booking_id, replace(before.seen, seen_at=seen.seen_at)) != (number, seen):
            words = "Something else was sent under this key before: look at what was kept, and send what is to be added anew."
            raise Conflict([Fault("key", words)])
        return before
    booking = booking_numbered(work, number)
    if booking.state not in SEEABLE_STATES:
        raise Conflict([Fault("booking", "This lesson was not held with them: nothing can have been seen.")])
    if work.now < booking.time.starts_at:
        raise Conflict([Fault("booking", "This lesson has not begun yet.")])
    came = refit_from(work, booking, seen, by=work.actor)
    assessed = Assessed(key, number, seen, work.actor, work.now, came)
    save_assessment(work.session, assessed)
    work.note_deed(f"wrote down what was seen in booking {number}")
    work.commit()
    return assessed


def confirm_quote_of(work: Work, seen: Booking) -> Booking:
    """Confirm that a quote whose code a learner typed is theirs, and fit it again for what was last seen in their lesson.

    Raises `Conflict` where none waits to be confirmed.
    """
    booking = confirm_quote(work, seen)
    for assessed in load_assessments_of(work.session, booking.id)[:1]:
        save_came(work.session, assessed.key, refit_from(work, booking, assessed.seen, by=assessed.by))
    work.commit()
    return booking


def list_assessments(work: Work, number: int) -> list[Assessed]:
    """All that was seen in a booking's lesson, newest first."""
    return load_assessments_of(work.session, number)


def is_behind_a_boat(work: Work, booking: Booking) -> bool:
    """Whether a booking's lesson is one without a hand wing."""
    return booking.time.kind in work.catalogue.policy.lessons.without_wind


def refit_from(work: Work, booking: Booking, seen: Seen, *, by: str) -> Came:
    """Fit the quote of a booking again for what was seen, as its next revision, and tell its customer; committed by the caller.

    Not where its parts are held, since it was agreed to; nor where something seen later stands in it already.
    """
    if not booking.quote_token:
        return Came(because=CLAIMED if booking.claimed_quote_token else "They booked without a quote.")
    try:
        quote = locked_quote(work, booking.quote_token)
    except (NotFound, Unreadable):
        return Came(because="Their quote is not kept any more.")
    if open_hold_of(work.session, quote.token, work.now) is not None:
        return Came(
            quote.code, because="It is agreed to and its parts are held, so it stays as it is: talk it over with them."
        )
    known = quote.answers.get(SEEN)
    if known is not None and read_sighting(known).seen_at > seen.seen_at:
        return Came(quote.code, because="What was seen later stands in it already.")
    day = seen.seen_at.astimezone(work.zone).date()
    assessment = assessment_of(seen, is_behind_a_boat=is_behind_a_boat(work, booking))
    sighting = Sighting(assessment, seen.seen_at, day, by, seen.sentence)
    given = {**quote.answers, SEEN: sighting_as_answer(sighting)}
    try:
        agreed = replace(quote.agreed, fixed=(), why="", vouched_for="")
        skus = _skus_after(work, quote, given)
        revised = keep_quote(work, given, skus, revises=quote.token, agreed=agreed)
    except (InvalidInput, Conflict) as error:
        return Came(quote.code, because=f"{error.faults[0].message} Change it with them at the desk.")
    _tell(work, booking, revised, sighting, changes_between(quote, revised))
    return Came(quote.code, revised.revision)


def _skus_after(work: Work, quote: Quote, given: Mapping[str, Any]) -> tuple[str, ...]:
    """The kit for what was seen: the recommended one where the quote had the recommended one.

    Where parts were chosen otherwise, by the customer or by hand, those stay whose size is to be the same as before, if a sound
    kit can be made with them; only the others are chosen anew.
    """
    after = fitter_for(work, given, quote.token)
    chosen = tuple(part.sku for part in quote.kit.parts.values())
    before = _fitter_before(work, quote)
    recommended = before.recommended() if before is not None else None
    if before is not None and (recommended is None or set(recommended.skus) != set(chosen)):
        staying = tuple(part.sku for slot, part in quote.kit.parts.items() if _is_same_size(before, after, slot))
        after = fitter_for(work, given, quote.token, replace(after.agreed, fixed=staying))
    return wanted_kit(after, None).skus


def _fitter_before(work: Work, quote: Quote) -> Fitter | None:
    """The fitter for the answers before, before the shelf of today; None where an answer holds no longer."""
    try:
        return fitter_for(work, quote.answers, quote.token)
    except InvalidInput:
        return None


def _is_same_size(before: Fitter, after: Fitter, slot: str) -> bool:
    was, now = before.fitting.sizing.targets[slot], after.fitting.sizing.targets[slot]
    return (was.low, was.ideal, was.high) == (now.low, now.ideal, now.high)


def _tell(work: Work, booking: Booking, quote: Quote, sighting: Sighting, changes: Sequence[Change]) -> None:
    """Tell the customer what has changed and why: at the address they booked with, else the one they asked to hold with."""
    contact = contact_of(work.session, quote.token)
    name, email = booking.name, booking.email
    if not email and contact is not None:
        name, email = contact.name, contact.email
    currency = work.catalogue.policy.shop.currency
    lines = [_in_words(change, currency) for change in changes if change.field != SEEN]
    tell(
        work,
        "quote_changed",
        to_name=name,
        to_email=email,
        about=f"quote:{quote.token}",
        values={
            "code": spaced_code(quote.code),
            "link": f"/quotes/{quote.token}",
            "changes": "\n".join(lines) or NOTHING_ELSE,
            "because": sighting.words,
        },
    )


def _in_words(change: Change, currency: str) -> str:
    """A change as a line of a letter: Hand wing: 5 m², was 4 m²."""

    def words(said: Said) -> str:
        return said if isinstance(said, str) else f"{currency} {said / 100:,.2f}"

    what = change.what or re.sub("[_-]", " ", change.field)
    if not change.after:
        return f"{what[:1].upper()}{what[1:]}: taken out, was {words(change.before)}"
    was = f", was {words(change.before)}" if change.before else ", new"
    return f"{what[:1].upper()}{what[1:]}: {words(change.after)}{was}"
