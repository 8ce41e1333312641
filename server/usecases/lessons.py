"""Lessons: times on the calendar, places in them, the call on the weather, and what becomes of the fee."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Literal

from server.domain.catalogue import LessonKind
from server.domain.codes import spaced_code
from server.domain.days import moment_in_words
from server.domain.deposits import PaidLesson
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound, TooMany
from server.domain.lessons import (
    MOST_OPEN_BOOKINGS,
    MOST_REASON,
    MOVABLE_STATES,
    OPEN_STATES,
    PLACE_STATES,
    REASON_ACCEPTED,
    WEEKS_AHEAD,
    Booking,
    BookingState,
    CallStage,
    CallVerdict,
    Conditions,
    FeeStand,
    LessonTime,
    PlaceAsked,
    call_due,
    call_to_make,
    ledger_state,
    read_plan,
    settle,
    stand_of_fee,
    state_on_call_off,
    why_not_booked,
    why_not_teach,
)
from server.domain.money import Cents
from server.domain.stock import Contact
from server.outside.calendar_file import Appointment, calendar_file, uid_of
from server.persistence.deposits import load_lessons
from server.persistence.lessons import (
    find_booking,
    first_of,
    load_bookings_of,
    load_repeats_of,
    load_time,
    load_times,
    lock_booking,
    lock_times,
    open_bookings_of,
    places_taken,
    save_booking,
    save_new_booking,
    save_new_time,
    save_time,
    times_under,
)
from server.persistence.quotes import load_quote, lock_key, token_of
from server.persistence.stock import contact_of, lock_contact
from server.usecases.deposits import begin_lesson, check_unchanged, mark_lesson, record_fee, record_refund
from server.usecases.desk import quote_by_code
from server.usecases.messages import tell
from server.usecases.work import Work, is_token, new_token

NO_LESSON = "No such lesson stands on the calendar."
NO_BOOKING = "There is no booking at this address."
TOO_MANY = "We could not take this booking here: call us."
DECLINE_WHEN = (
    "They may decline from the hours of the final call on, until the lesson ends, and not where it needs no wind: before that"
    " they call it off, or move."
)
CORRECTABLE: tuple[BookingState, ...] = ("booked", "taken", "missed", "cut_short")
WENT: tuple[BookingState, ...] = ("taken", "missed", "cut_short", "declined")


@dataclass(frozen=True, slots=True)
class Calendared:
    """A time as it stands on the calendar: its kind, how many places are taken, and the call that is to be made now."""

    time: LessonTime
    kind: LessonKind
    taken: int
    to_call: CallStage | None

    @property
    def left(self) -> int:
        """Places that can still be booked."""
        return 0 if self.time.is_called_off else max(0, self.time.places - self.taken)


# Times on the calendar.


def kind_of(work: Work, lesson: LessonTime) -> LessonKind:
    """What is taught; of a kind that the shop lists no more its bare word, without a fee."""
    listed = work.catalogue.lessons.get(lesson.kind)
    return listed or LessonKind(lesson.kind, lesson.kind, 0, 0, lesson.minutes, lesson.places)


def day_of(work: Work, lesson: LessonTime) -> date:
    """The day of a lesson by the shop's clock."""
    return lesson.starts_at.astimezone(work.zone).date()


def _calendared(work: Work, lesson: LessonTime, taken: int) -> Calendared:
    to_call = call_to_make(lesson, work.now, work.catalogue.policy) if taken else None
    return Calendared(lesson, kind_of(work, lesson), taken, to_call)


def list_times(work: Work, first: date, days: int) -> list[Calendared]:
    """The times of some days by the shop's clock, in order."""
    start = datetime.combine(first, time(), work.zone)
    end = datetime.combine(first + timedelta(days=days), time(), work.zone)
    return [_calendared(work, lesson, taken) for lesson, taken in load_times(work.session, start, end)]


def list_open_times(work: Work, kind: str = "") -> list[Calendared]:
    """The times of the next weeks with places left that a customer may book now, of one kind if it is named."""
    times = list_times(work, work.today, 7 * WEEKS_AHEAD)
    return [one for one in times if one.left and not _too_late(work, one.time) and kind in ("", one.time.kind)]


def _too_late(work: Work, lesson: LessonTime) -> bool:
    """Whether the final call is due, so that whoever wants a place has to call the shop."""
    return work.now >= call_due(lesson, "final", work.catalogue.policy)


def read_time(work: Work, number: int) -> Calendared:
    """A time by its number; raises `NotFound`."""
    lesson = load_time(work.session, number)
    if lesson is None:
        raise NotFound("number", NO_LESSON)
    return _calendared(work, lesson, places_taken(work.session, number))


def _locked_time(work: Work, number: int) -> LessonTime:
    locked = lock_times(work.session, [number])
    if number not in locked:
        raise NotFound("number", NO_LESSON)
    return locked[number]


def _lock_form(work: Work, key: str) -> None:
    """Keep the same form from being done twice at once; raises `InvalidInput` for what can be no key."""
    if not is_token(key):
        raise InvalidInput([Fault("key", "This form was not complete: open it anew.")])
    lock_key(work.session, f"lessons:{key}")


def make_times(work: Work, typed: Mapping[str, str], key: str = "") -> tuple[int, ...]:
    """Put a time on the calendar, or one every week; their numbers. The same form again, by its key, gives those it made.

    Raises `InvalidInput` with every fault, and `Conflict` where something else was made under the key.
    """
    catalogue = work.catalogue
    planned = read_plan(typed, catalogue.lessons, tuple(catalogue.spots), work.now, work.zone)
    if key:
        _lock_form(work, key)
        made = times_under(work.session, key)
        if made:
            before, wanted = [(one.kind, one.starts_at) for one in made], [(one.kind, one.starts_at) for one in planned]
            if before != wanted:
                raise Conflict(
                    [Fault("day", "This form has put other lessons on the calendar: look, then send it anew.")]
                )
            return tuple(one.id for one in made)
    numbers = tuple(save_new_time(work.session, one, work.now, work.actor, key) for one in planned)
    times = "1 lesson time," if len(numbers) == 1 else f"{len(numbers)} lesson times from"
    work.note_deed(f"made {times} number {numbers[0]}")
    work.commit()
    return numbers


def change_time(work: Work, number: int, typed: Mapping[str, str]) -> LessonTime:
    """Change when, where, by whom or for how many; the learners are told, and calls on the old hour's weather count no more.

    Raises `InvalidInput` with every fault, `NotFound`, and `Conflict` where it was called off or has begun.
    """
    lesson = _locked_time(work, number)
    if lesson.is_called_off or work.now >= lesson.starts_at:
        raise Conflict([Fault("number", "A lesson that was called off or has begun is not changed any more.")])
    kinds = work.catalogue.lessons
    known = kinds if lesson.kind in kinds else {**kinds, lesson.kind: kind_of(work, lesson)}
    only = {**typed, "weeks": ""}
    [planned] = read_plan(only, known, tuple(work.catalogue.spots), work.now, work.zone, kind=lesson.kind)
    taken = places_taken(work.session, number)
    if planned.places < taken:
        raise InvalidInput([Fault("places", f"{taken} places are taken already.", f"{taken} or more")])
    changed = replace(
        lesson,
        starts_at=planned.starts_at,
        minutes=planned.minutes,
        places=planned.places,
        instructor=planned.instructor,
        spot=planned.spot,
    )
    if changed == lesson:
        return lesson
    changed = replace(changed, sequence=lesson.sequence + 1)
    is_moved = (changed.starts_at, changed.spot) != (lesson.starts_at, lesson.spot)
    if is_moved:
        changed = replace(changed, provisional=None, final=None, because="")
    save_time(work.session, changed)
    is_news = is_moved or changed.minutes != lesson.minutes or changed.instructor != lesson.instructor
    for booking in _locked_bookings(work, number) if is_news else ():
        moved = replace(
            booking, time=changed, sequence=booking.sequence + 1, moved_by_shop=booking.moved_by_shop or is_moved
        )
        _keep(work, moved)
        _tell(work, "booking_moved", moved)
    work.note_deed(f"changed lesson {number}")
    work.commit()
    return changed


def _locked_bookings(work: Work, number: int, states: Collection[BookingState] = OPEN_STATES) -> list[Booking]:
    """The learners who are booked at a time that is locked, or stand there in other states, each of them locked too."""
    there = [lock_booking(work.session, one.id) for one in load_bookings_of(work.session, [number])]
    return [one for one in there if one.state in states]


# The call on the weather.


def why_not(work: Work, lesson: LessonTime, seen: Conditions) -> tuple[str, ...]:
    """Why a lesson is called off in this wind; raises `Conflict` where its spot is not in the catalogue any more."""
    spot = work.catalogue.spots.get(lesson.spot)
    if spot is None:
        raise Conflict([Fault("spot", f"The catalogue lists no {lesson.spot} any more: change where it is held.")])
    return why_not_teach(kind_of(work, lesson), spot, seen, work.catalogue.policy.lessons)


def call_weather(
    work: Work, number: int, stage: CallStage, verdict: CallVerdict, seen: Conditions | None, because: str = ""
) -> LessonTime:
    """Call a lesson on or off, provisionally or for good, and tell all its learners.

    A lesson is called on only on a wind that was typed and speaks for it: the shop may call off more than the rule says, never
    less. Called off for good, its learners are in the same transaction; those who had called off late too, since the lesson for
    which they would pay is not held. Raises `InvalidInput`, `NotFound` or `Conflict`.
    """
    lesson = _locked_time(work, number)
    if lesson.is_called_off:
        raise Conflict([Fault("number", "This lesson was called off already.")])
    if work.now >= (lesson.ends_at if verdict == "off" else lesson.starts_at):
        raise Conflict([Fault("number", "This lesson has begun already: say of each learner how it went.")])
    if stage == "provisional" and lesson.final is not None:
        raise Conflict([Fault("number", "The final call was made already.")])
    if len(because) > MOST_REASON or not because.isprintable():
        raise InvalidInput([Fault("because", "This cannot be kept.", REASON_ACCEPTED)])
    reasons = why_not(work, lesson, seen) if seen is not None else ()
    if verdict == "on":
        because = _why_on(seen, reasons, because)
    elif not because and not reasons:
        raise InvalidInput(
            [Fault("because", "A reason is needed, so that the learners know: type it, or the wind.", REASON_ACCEPTED)]
        )
    words = because or " ".join(reasons)
    called = replace(lesson, because=words)
    called = replace(called, final=verdict) if stage == "final" else replace(called, provisional=verdict)
    save_time(work.session, called)
    states: tuple[BookingState, ...] = ("booked", "called_off_late") if called.is_called_off else ("booked",)
    for booking in _locked_bookings(work, number, states):
        booking = replace(booking, time=called)
        if called.is_called_off:
            booking = replace(booking, state="called_off_by_shop", sequence=booking.sequence + 1)
            _keep(work, booking)
            _tell(work, "lesson_called_off", booking)
        else:
            _tell(work, "lesson_final" if stage == "final" else "lesson_provisional", booking)
    work.note_deed(f"called lesson {number} {verdict}, {stage}")
    work.commit()
    return called


def _why_on(seen: Conditions | None, reasons: tuple[str, ...], because: str) -> str:
    """What a lesson is called on for, as a sentence; raises where no wind was typed or it speaks against the lesson."""
    if seen is None:
        raise InvalidInput([Fault("mean_kn", "Type the wind that this call is made on.", "mean, gust and direction")])
    if reasons:
        raise Conflict([Fault("mean_kn", f"Not in this wind. {' '.join(reasons)}")])
    return because or f"Mean {seen.mean_kn:g} kn, gusts {seen.gust_kn:g} kn, from {seen.from_deg:.0f}°."


# Bookings.


def read_booking(work: Work, token: str) -> Booking:
    """The booking under an address; raises `NotFound`."""
    found = find_booking(work.session, token=token) if is_token(token) else None
    if found is None:
        raise NotFound("token", NO_BOOKING)
    return found


def booking_numbered(work: Work, number: int) -> Booking:
    """A booking by its number; raises `NotFound`."""
    found = find_booking(work.session, number=number)
    if found is None:
        raise NotFound("number", "There is no such booking.")
    return found


def list_bookings(work: Work, number: int) -> list[Booking]:
    """Who has booked a time, in the order in which they did; those who gave their place up too."""
    return load_bookings_of(work.session, [number])


def times_to_move_to(work: Work, kind: str) -> list[Calendared]:
    """The times of a kind in the next weeks that the desk can still put somebody into."""
    times = list_times(work, work.today, 7 * WEEKS_AHEAD)
    return [one for one in times if one.left and one.time.kind == kind and work.now < one.time.starts_at]


def quote_code_of(work: Work, booking: Booking) -> str:
    """The code of the quote that a booking was made with; empty where there is none (any more)."""
    quote = load_quote(work.session, booking.quote_token) if booking.quote_token else None
    return quote.code if quote is not None else ""


def repeat_of(work: Work, booking: Booking) -> Booking | None:
    """The booking that repeats this one at no cost, or None."""
    repeats = load_repeats_of(work.session, booking.id)
    return repeats[-1] if repeats else None


def book_lesson(work: Work, number: int, asked: PlaceAsked, account_id: int | None = None, key: str = "") -> Booking:
    """Book a place: for a customer, or at the desk by the account named; nothing is paid yet. The same form again, by its key,
    gives the booking that it made.

    A customer's code of a quote is only claimed until the desk confirms it (`confirm_quote`), unless they are who asked to hold
    that quote's parts: codes are made to be read out, so whoever types one need not be whose it is. They are never told whether a code
    leads anywhere, or codes could be tried out here.

    Raises `NotFound`, `Conflict` where no place is left or it is too late or the form was used for another place, and for a
    customer `TooMany` where two lessons are booked already under this address or number; at the desk `InvalidInput` or `TooMany`
    for a quote's code that leads nowhere.
    """
    if key:
        _lock_form(work, key)
        made = find_booking(work.session, key=key)
        if made is not None:
            if (made.time.id, made.name, made.email, made.phone) != (
                number,
                asked.contact.name,
                asked.contact.email,
                asked.contact.phone,
            ):
                raise Conflict(
                    [Fault("number", "This form has booked another place already: look, then send it anew.")]
                )
            return made
    quote_token = claimed = ""
    if asked.code and account_id is not None:
        quote_token = quote_by_code(work, account_id, asked.code)
    elif asked.code:
        claimed = token_of(work.session, asked.code) or ""
    if claimed and _is_quote_of(work, claimed, asked.contact):
        quote_token, claimed = claimed, ""
    lesson = _locked_time(work, number)
    if account_id is None and not lesson.is_called_off and _too_late(work, lesson):
        hours = work.catalogue.policy.lessons.final_call_hours
        raise Conflict([Fault("number", f"It begins in less than {hours} hours: call the shop for a place.")])
    if account_id is None:
        _refuse_too_many(work, asked.contact)
    booking = _booked(
        work,
        lesson,
        asked.contact,
        mass_kg=asked.mass_kg,
        note=asked.note,
        quote_token=quote_token,
        claimed=claimed,
        key=key,
    )
    work.commit()
    return booking


def _is_quote_of(work: Work, token: str, contact: Contact) -> bool:
    """Whether a quote's parts were last asked for under this e-mail address or telephone number."""
    known = contact_of(work.session, token)
    if known is None:
        return False
    return contact.email_key == known.email_key != "" or contact.phone_key == known.phone_key != ""


def claimed_code_of(work: Work, booking: Booking) -> str:
    """The code of the quote that a booking was made with and nobody has confirmed; empty where there is none (any more)."""
    quote = load_quote(work.session, booking.claimed_quote_token) if booking.claimed_quote_token else None
    return quote.code if quote is not None else ""


def confirm_quote(work: Work, seen: Booking) -> Booking:
    """Say at the desk that the quote whose code was typed is the learner's own; raises `Conflict` where none waits for it.

    It does not commit.
    """
    booking, _ = _locked_booking(work, seen)
    if not booking.claimed_quote_token:
        raise Conflict([Fault("booking", "No quote waits to be confirmed here (any more).")])
    booking = replace(booking, quote_token=booking.claimed_quote_token, claimed_quote_token="")
    save_booking(work.session, booking)
    work.note_deed(f"confirmed the quote of booking {booking.id}")
    return booking


def _refuse_too_many(work: Work, contact: Contact) -> None:
    """Refuse in words that do not tell whoever types another's address whether anything is booked under it."""
    lock_contact(work.session, contact)
    if open_bookings_of(work.session, contact, work.now) >= MOST_OPEN_BOOKINGS:
        raise TooMany("number", TOO_MANY)


def _booked(
    work: Work,
    lesson: LessonTime,
    contact: Contact,
    *,
    mass_kg: float | None,
    note: str,
    quote_token: str,
    claimed: str = "",
    repeats: Booking | None = None,
    key: str = "",
) -> Booking:
    """A new booking at a time that is locked, at today's fee or that of the booking which it repeats, with the paid lesson that
    its fee will stand under; raises `Conflict`."""
    _refuse_full(work, lesson)
    code = begin_lesson(work, lesson.kind, "booked", day_of(work, lesson)).code
    booking = Booking(
        id=0,
        token=new_token(),
        code=code,
        time=lesson,
        name=contact.name,
        email=contact.email,
        phone=contact.phone,
        mass_kg=mass_kg,
        state="booked",
        made_at=work.now,
        quote_token=quote_token,
        claimed_quote_token=claimed,
        note=note,
        repeats=repeats.id if repeats else None,
        fee=repeats.fee if repeats else kind_of(work, lesson).fee,
        handed_back_before=_ledger_of(work, repeats).handed_back if repeats else 0,
    )
    booking = replace(booking, id=save_new_booking(work.session, booking, contact, work.actor, key))
    _tell(work, "booking_made", booking)
    return booking


def _refuse_full(work: Work, lesson: LessonTime) -> None:
    because = why_not_booked(lesson, places_taken(work.session, lesson.id), work.now)
    if because:
        raise Conflict([Fault("number", because, "another time with places left")])


def _locked_booking(work: Work, seen: Booking, *others: int) -> tuple[Booking, dict[int, LessonTime]]:
    """A booking as it is now, locked after its time and other times; raises `Conflict` where it was moved meanwhile."""
    times = lock_times(work.session, [seen.time.id, *others])
    booking = lock_booking(work.session, seen.id)
    _refuse_moved(seen, booking)
    return booking, times


def _refuse_moved(seen: Booking, booking: Booking) -> None:
    if booking.time.id != seen.time.id:
        raise Conflict([Fault("booking", "This booking was moved meanwhile: look at it again.")])


def _keep(work: Work, booking: Booking) -> None:
    """Keep what became of a booking, the ledger of fees in step: its own code, and those of the lessons that it repeats."""
    save_booking(work.session, booking)
    state, day = ledger_state(booking.state, booking.taught_share), day_of(work, booking.time)
    at: Booking | None = booking
    while at is not None:
        mark_lesson(work, at.code, state, day)
        at = find_booking(work.session, number=at.repeats) if at.repeats is not None else None


def state_if_called_off(work: Work, booking: Booking) -> BookingState | None:
    """What the learner's calling off would come to now; None where there is nothing to call off any more."""
    if booking.state != "booked" or work.now >= booking.time.starts_at:
        return None
    terms = work.catalogue.policy.lessons
    return state_on_call_off(work.now, booking.time, terms, is_free_to_go=booking.is_free_to_go)


def call_off_booking(work: Work, seen: Booking, expected: str = "") -> Booking:
    """The learner calls it off, in time or late; what it costs is as it was said before (`expected`), or it is not done.

    Raises `Conflict` where there is nothing to call off any more, or it has become late meanwhile.
    """
    booking, _ = _locked_booking(work, seen)
    state = state_if_called_off(work, booking)
    if state is None:
        raise Conflict([Fault("booking", "There is nothing to call off any more.")])
    if expected and expected != state:
        raise Conflict([Fault("booking", "It has become late meanwhile: look at what calling off costs now.")])
    booking = replace(booking, state=state, sequence=booking.sequence + 1)
    _keep(work, booking)
    _tell(work, "booking_called_off", booking)
    work.commit()
    return booking


def may_move(work: Work, booking: Booking, *, is_desk: bool) -> bool:
    """Whether a booking may move to another time: for its learner only while calling off would be free.

    Never once its learner was forgotten: nobody would be in it.
    """
    if booking.is_forgotten:
        return False
    if booking.state == "booked":
        state = state_if_called_off(work, booking)
        return state == "called_off" or (is_desk and state is not None)
    return booking.state in MOVABLE_STATES or (is_desk and booking.state == "called_off_late")


def move_booking(work: Work, seen: Booking, to: int, *, is_desk: bool) -> Booking:
    """Move a booking with its fee to another time of the same kind that has a place; one that was called off is booked again.

    One that stands at that time already is as it should be: a second press finds what the first did. Raises `Conflict` where it may
    not move or no place is left, `NotFound`, and `TooMany` where a customer has two already.
    """
    times = lock_times(work.session, [seen.time.id, to])
    booking = lock_booking(work.session, seen.id)
    if booking.time.id == to and booking.state == "booked":
        return booking
    _refuse_moved(seen, booking)
    target = times.get(to)
    if target is None or target.kind != booking.time.kind:
        raise NotFound("to", "No lesson of this kind stands on the calendar then.")
    if target.id == booking.time.id or not may_move(work, booking, is_desk=is_desk):
        raise Conflict([Fault("to", "This booking cannot be moved there (any more): call the shop.")])
    if not is_desk and _too_late(work, target):
        raise Conflict([Fault("to", "It begins too soon: call the shop for a place.")])
    if not is_desk and booking.state != "booked":
        _refuse_too_many(work, Contact(booking.name, booking.email, booking.phone))
    _refuse_full(work, target)
    moved = replace(
        booking,
        time=target,
        state="booked",
        taught_share=None,
        sequence=booking.sequence + 1,
        moved_by_shop=False,
        handed_back_before=_ledger_of(work, booking).handed_back,
    )
    _keep(work, moved)
    _tell(work, "booking_moved", moved)
    work.commit()
    return moved


def repeat_booking(work: Work, seen: Booking, to: int) -> Booking:
    """Book a lesson of which less than half was taught again at another time, without a fee of its own; the new booking.

    Raises `Conflict` where it is not to be repeated, or was already, or no place is left; `NotFound`.
    """
    booking, times = _locked_booking(work, seen, to)
    target = times.get(to)
    if target is None or target.kind != booking.time.kind:
        raise NotFound("to", "No lesson of this kind stands on the calendar then.")
    terms = work.catalogue.policy.lessons
    is_to_repeat = settle(booking.state, 0, terms, booking.taught_share).is_repeated
    if not is_to_repeat or booking.is_forgotten or repeat_of(work, booking) is not None:
        raise Conflict([Fault("to", "This lesson is not to be repeated, or was already.")])
    contact = Contact(booking.name, booking.email, booking.phone)
    again = _booked(
        work,
        target,
        contact,
        mass_kg=booking.mass_kg,
        note=booking.note,
        quote_token=booking.quote_token,
        claimed=booking.claimed_quote_token,
        repeats=booking,
    )
    _keep(work, again)
    work.commit()
    return again


# How it went, and the fee.


def may_decline(work: Work, booking: Booking) -> bool:
    """Whether a learner may decline now because the wind is over their own window: from the hours of the final call on, until the
    lesson ends, and only where it wants wind."""
    lesson, terms = booking.time, work.catalogue.policy.lessons
    is_near = call_due(lesson, "final", work.catalogue.policy) <= work.now < lesson.ends_at
    return booking.state == "booked" and is_near and lesson.kind not in terms.without_wind


def mark_booking(
    work: Work, seen: Booking, went: BookingState, share: float | None = None, method: str = "", because: str = ""
) -> Booking:
    """Say how a lesson went for a learner, and put right what was said before; money that goes back at once by a method.

    Taken, missed and cut short (with the share that was taught, 0 to 1) from its start on; declined while `may_decline` says so,
    with its reason, which is noted. Raises `InvalidInput` or `Conflict`.
    """
    booking, _ = _locked_booking(work, seen)
    lesson = booking.time
    if went not in WENT or booking.state not in CORRECTABLE or (went == "declined" and booking.state != "booked"):
        raise Conflict([Fault("went", "That cannot be said of this booking (any more).")])
    if went != "declined" and work.now < lesson.starts_at:
        raise Conflict([Fault("went", "This lesson has not begun yet.")])
    if went == "declined" and not may_decline(work, booking):
        raise Conflict([Fault("went", DECLINE_WHEN)])
    if went == "declined" and not because:
        raise InvalidInput([Fault("declined_because", "Say why they decline.", REASON_ACCEPTED)])
    if went == "cut_short" and (share is None or not 0 <= share < 1):
        raise InvalidInput([Fault("share", "How much was taught is needed.", "a number from 0 to 99 %")])
    money_went_back = _ledger_of(work, booking).handed_back > booking.handed_back_before
    if repeat_of(work, booking) is not None or (booking.state != "booked" and money_went_back):
        raise Conflict([Fault("went", "It was repeated, or money went back: that is not changed any more.")])
    booking = replace(booking, state=went, taught_share=share if went == "cut_short" else None)
    if went == "declined":
        noted = f"{booking.note} Declined: {because}".strip()
        booking = replace(booking, note=noted, sequence=booking.sequence + 1)
    _keep(work, booking)
    if went == "declined":
        _tell(work, "booking_called_off", booking)
    if method and stand_of(work, booking).to_give_back:
        _hand_back(work, booking, method)
    work.note_deed(f"booking {booking.id}: {went.replace('_', ' ')}")
    work.commit()
    return booking


def fee_code_of(work: Work, booking: Booking) -> str:
    """The code that a booking's fee stands under, which is told as its own: its own, or that of the lesson that it repeats."""
    return first_of(work.session, booking).code


def stand_of(work: Work, booking: Booking) -> FeeStand:
    """How a booking's fee stands; where it was repeated the fee stands with the repeat."""
    ledger = _ledger_of(work, booking)
    stand = stand_of_fee(
        booking,
        ledger.paid,
        ledger.handed_back,
        work.catalogue.policy.lessons,
        voucher_more=ledger.voucher_more,
        is_back_with_kit=ledger.was_given_back,
    )
    stand = replace(stand, entries=len(ledger.entries))
    return replace(stand, due=0, to_give_back=0) if repeat_of(work, booking) is not None else stand


def _ledger_of(work: Work, booking: Booking) -> PaidLesson:
    """The ledger of a booking's fee."""
    code = fee_code_of(work, booking)
    return load_lessons(work.session, [code])[code]


def take_fee(
    work: Work,
    seen: Booking,
    amount: Cents,
    method: str,
    *,
    paid_for_voucher: Cents | None = None,
    expected_entries: int | None = None,
) -> Booking:
    """Record what was paid of a booking's fee, in cents, and how; of a voucher its worth, and what was once paid for it.

    With `expected_entries`, those of the ledger that was shown, nothing is recorded where it has others by now. Raises `Conflict`
    then, and `InvalidInput` for more than is due, or for nothing.
    """
    booking, _ = _locked_booking(work, seen)
    code = fee_code_of(work, booking)
    if expected_entries is not None:
        check_unchanged(work, code, expected_entries)
    due = stand_of(work, booking).due
    if not 0 < amount <= due:
        raise InvalidInput([Fault("amount", "This is not what is to pay.", f"an amount up to {due / 100:.2f}")])
    record_fee(work, code, amount, method, paid_for_voucher=paid_for_voucher)
    work.commit()
    return booking


def hand_back(work: Work, seen: Booking, method: str, *, expected_entries: int | None = None) -> Booking:
    """Record that all that is to be given back of a fee was handed over, and how.

    Raises `Conflict` where nothing is, or where the ledger has other entries by now than the `expected_entries` that were shown.
    """
    booking, _ = _locked_booking(work, seen)
    if expected_entries is not None:
        check_unchanged(work, fee_code_of(work, booking), expected_entries, "back")
    if not stand_of(work, booking).to_give_back:
        raise Conflict([Fault("back", "Nothing is to be given back (any more).")])
    _hand_back(work, booking, method)
    work.commit()
    return booking


def _hand_back(work: Work, booking: Booking, method: str) -> None:
    stand = stand_of(work, booking)
    settled = settle(booking.state, stand.fee, work.catalogue.policy.lessons, booking.taught_share)
    why = settled.because if settled.given_back else "More was paid than the lesson costs."
    record_refund(work, fee_code_of(work, booking), stand.to_give_back, why, method)


# What is told, and calendars.


Told = Literal[
    "booking_made", "booking_moved", "booking_called_off", "lesson_called_off", "lesson_provisional", "lesson_final"
]
WITH_CALENDAR: tuple[Told, ...] = ("booking_made", "booking_moved", "booking_called_off", "lesson_called_off")


def _tell(work: Work, name: Told, booking: Booking) -> None:
    """Tell a learner, in the transaction of what is told, with the calendar's update where it changes one.

    Who left a telephone number alone is called by the desk, which has it before it on the lesson's page.
    """
    lesson = booking.time
    local = lesson.starts_at.astimezone(work.zone)
    values = {
        "lesson": kind_of(work, lesson).title,
        "when": moment_in_words(local),
        "where": lesson.spot,
        "instructor": lesson.instructor,
        "code": spaced_code(fee_code_of(work, booking)),
        "link": f"/bookings/{booking.token}",
    }
    if name == "booking_moved":
        values["fee"] = _fee_words(work, booking)
    if name == "booking_called_off":
        values["because"] = settle(booking.state, 0, work.catalogue.policy.lessons).because
        if booking.state == "declined":
            values["because"] = "The wind was over your own window: it costs you nothing."
    elif name.startswith("lesson_"):
        values["because"] = lesson.because
    if name == "lesson_provisional":
        values["looks"] = lesson.provisional or ""
    tell(
        work,
        name,
        to_name=booking.name,
        to_email=booking.email,
        about=f"booking:{booking.id}",
        values=values,
        calendar=calendar_of(work, booking) if name in WITH_CALENDAR else None,
    )


def _fee_words(work: Work, booking: Booking) -> str:
    """How the fee of a booking that was moved stands, as its learner reads it, and whether they are free to go."""
    stand = stand_of(work, booking)
    if stand.due:
        words = "What you have paid came along; the rest" if stand.paid else "The fee"
        words += " is to pay at the shop."
    else:
        words = "What you have paid came along." if stand.paid else "There is nothing to pay."
    if booking.moved_by_shop:
        words += " Since it was we who moved it, calling it off is free until it begins."
    return words


def calendar_of(work: Work, booking: Booking) -> str:
    """The booking as a calendar file: an invitation or its update, and once it was called off its cancellation."""
    lesson, terms = booking.time, work.catalogue.policy.shop
    return calendar_file(
        Appointment(
            uid=uid_of(booking.token),
            sequence=booking.sequence,
            made_at=work.now,
            starts_at=lesson.starts_at,
            ends_at=lesson.ends_at,
            summary=f"{kind_of(work, lesson).title}, {terms.name}",
            place=lesson.spot,
            words=f"With {lesson.instructor}. Code {spaced_code(fee_code_of(work, booking))}.",
            shop_name=terms.name,
            shop_email=terms.email,
            learner_name=booking.name,
            learner_email=booking.email,
            is_called_off=booking.state not in PLACE_STATES,
        )
    )
