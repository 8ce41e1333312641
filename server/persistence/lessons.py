"""Lesson times and bookings in the database. Whoever changes a booking locks its time first, then the booking."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import cast

from sqlmodel import Session, and_, col, func, or_, select

from server.domain.lessons import OPEN_STATES, PLACE_STATES, Booking, BookingState, CallVerdict, LessonTime, PlannedTime
from server.domain.stock import Contact
from server.persistence.tables import BookingRow, LessonTimeRow


def save_new_time(session: Session, planned: PlannedTime, now: datetime, by: str, key: str = "") -> int:
    """Put a time on the calendar, under the key of the form that made it; its number."""
    row = LessonTimeRow(
        kind=planned.kind,
        starts_at=planned.starts_at,
        minutes=planned.minutes,
        places=planned.places,
        instructor=planned.instructor,
        spot=planned.spot,
        key=key,
        made_at=now,
        made_by=by,
    )
    session.add(row)
    session.flush()
    return row.id or 0


def save_time(session: Session, time: LessonTime) -> None:
    """Keep what was changed of a time."""
    row = session.get_one(LessonTimeRow, time.id)
    row.starts_at, row.minutes, row.places = time.starts_at, time.minutes, time.places
    row.instructor, row.spot = time.instructor, time.spot
    row.provisional, row.final = time.provisional or "", time.final or ""
    row.because, row.sequence = time.because, time.sequence


def times_under(session: Session, key: str) -> list[LessonTime]:
    """The times that were made under a key, in the order in which they were made."""
    wanted = select(LessonTimeRow).where(col(LessonTimeRow.key) == key).order_by(col(LessonTimeRow.id))
    return [_time_from(row) for row in session.exec(wanted)]


def load_time(session: Session, number: int) -> LessonTime | None:
    """A time by its number, or None."""
    row = session.get(LessonTimeRow, number)
    return _time_from(row) if row is not None else None


def lock_times(session: Session, numbers: Iterable[int]) -> dict[int, LessonTime]:
    """Times that nobody else may book or change until this transaction ends, as they are now, by their numbers."""
    wanted = (
        select(LessonTimeRow)
        .where(col(LessonTimeRow.id).in_(sorted(set(numbers))))
        .order_by(col(LessonTimeRow.id))
        .with_for_update()
        .execution_options(populate_existing=True)
    )
    return {row.id or 0: _time_from(row) for row in session.exec(wanted)}


def load_times(session: Session, start: datetime, end: datetime) -> list[tuple[LessonTime, int]]:
    """The times that begin from one moment on and before another, in order, each with its places taken."""
    taken = (
        select(func.count())
        .where(col(BookingRow.time_id) == col(LessonTimeRow.id), col(BookingRow.state).in_(PLACE_STATES))
        .scalar_subquery()
    )
    wanted = (
        select(LessonTimeRow, taken)
        .where(col(LessonTimeRow.starts_at) >= start, col(LessonTimeRow.starts_at) < end)
        .order_by(col(LessonTimeRow.starts_at), col(LessonTimeRow.id))
    )
    return [(_time_from(row), int(count or 0)) for row, count in session.exec(wanted)]


def places_taken(session: Session, number: int) -> int:
    """How many places of a time are taken."""
    wanted = (
        select(func.count())
        .select_from(BookingRow)
        .where(col(BookingRow.time_id) == number, col(BookingRow.state).in_(PLACE_STATES))
    )
    return session.exec(wanted).one()


def save_new_booking(session: Session, booking: Booking, contact: Contact, by: str, key: str = "") -> int:
    """Keep a new booking, whose paid lesson is kept already, under the key of the form that made it; its number."""
    row = BookingRow(
        token=booking.token,
        code=booking.code,
        time_id=booking.time.id,
        name=contact.name,
        email=contact.email,
        phone=contact.phone,
        email_key=contact.email_key,
        phone_key=contact.phone_key,
        mass_kg=booking.mass_kg,
        state=booking.state,
        quote_token=booking.quote_token,
        claimed_quote_token=booking.claimed_quote_token,
        note=booking.note,
        key=key or None,
        repeats=booking.repeats,
        fee_cents=booking.fee,
        handed_back_before_cents=booking.handed_back_before,
        made_at=booking.made_at,
        made_by=by,
    )
    session.add(row)
    session.flush()
    return row.id or 0


def save_booking(session: Session, booking: Booking) -> None:
    """Keep what became of a booking: its time, its state, its quote, what was noted, and how often calendars were told."""
    row = session.get_one(BookingRow, booking.id)
    row.time_id, row.state = booking.time.id, booking.state
    row.taught_share, row.sequence = booking.taught_share, booking.sequence
    row.handed_back_before_cents = booking.handed_back_before
    row.moved_by_shop, row.note = booking.moved_by_shop, booking.note
    row.quote_token, row.claimed_quote_token = booking.quote_token, booking.claimed_quote_token


def find_booking(
    session: Session, *, token: str = "", number: int = 0, code: str = "", key: str = ""
) -> Booking | None:
    """The booking under an address, of a number, with a code or made under a key, or None."""
    wanted = select(BookingRow, LessonTimeRow).join(LessonTimeRow, col(LessonTimeRow.id) == col(BookingRow.time_id))
    if token:
        wanted = wanted.where(col(BookingRow.token) == token)
    elif code:
        wanted = wanted.where(col(BookingRow.code) == code)
    elif key:
        wanted = wanted.where(col(BookingRow.key) == key)
    else:
        wanted = wanted.where(col(BookingRow.id) == number)
    found = session.exec(wanted.execution_options(populate_existing=True)).first()
    return _booking_from(*found) if found is not None else None


def first_of(session: Session, booking: Booking) -> Booking:
    """The booking that one repeats, however often it was repeated, or the booking itself: its code is the fee's."""
    while booking.repeats is not None:
        first = find_booking(session, number=booking.repeats)
        if first is None:
            break
        booking = first
    return booking


def lock_booking(session: Session, number: int) -> Booking:
    """A booking that nobody else may change until this transaction ends, as it is now; its time is to be locked before."""
    wanted = select(BookingRow).where(col(BookingRow.id) == number)
    row = session.exec(wanted.with_for_update().execution_options(populate_existing=True)).one()
    return _booking_from(row, session.get_one(LessonTimeRow, row.time_id))


def load_bookings_of(session: Session, numbers: Sequence[int]) -> list[Booking]:
    """The bookings of some times, in the order in which they were made."""
    wanted = (
        select(BookingRow, LessonTimeRow)
        .join(LessonTimeRow, col(LessonTimeRow.id) == col(BookingRow.time_id))
        .where(col(BookingRow.time_id).in_(numbers))
        .order_by(col(BookingRow.id))
    )
    return [_booking_from(row, time) for row, time in session.exec(wanted)]


def load_repeats_of(session: Session, number: int) -> list[Booking]:
    """The bookings that repeat one at no cost, oldest first."""
    wanted = (
        select(BookingRow, LessonTimeRow)
        .join(LessonTimeRow, col(LessonTimeRow.id) == col(BookingRow.time_id))
        .where(col(BookingRow.repeats) == number)
        .order_by(col(BookingRow.id))
    )
    return [_booking_from(row, time) for row, time in session.exec(wanted)]


def open_bookings_of(session: Session, contact: Contact, now: datetime) -> int:
    """How many lessons that are still to come are booked under this e-mail address or this telephone number."""
    same = or_(
        and_(col(BookingRow.email_key) == contact.email_key, col(BookingRow.email_key) != ""),
        and_(col(BookingRow.phone_key) == contact.phone_key, col(BookingRow.phone_key) != ""),
    )
    wanted = (
        select(func.count())
        .select_from(BookingRow)
        .join(LessonTimeRow, col(LessonTimeRow.id) == col(BookingRow.time_id))
        .where(same, col(BookingRow.state).in_(OPEN_STATES), col(LessonTimeRow.starts_at) > now)
    )
    return session.exec(wanted).one()


def forget_bookings_before(session: Session, moment: datetime) -> int:
    """Forget who had booked the lessons that began before a moment, and what was noted of them; how many there were."""
    wanted = (
        select(BookingRow)
        .join(LessonTimeRow, col(LessonTimeRow.id) == col(BookingRow.time_id))
        .where(col(LessonTimeRow.starts_at) < moment, col(BookingRow.name) != "")
    )
    rows = session.exec(wanted).all()
    for row in rows:
        row.name = row.email = row.phone = row.email_key = row.phone_key = row.note = ""
        row.mass_kg = None
    return len(rows)


def _time_from(row: LessonTimeRow) -> LessonTime:
    return LessonTime(
        id=row.id or 0,
        kind=row.kind,
        starts_at=row.starts_at,
        minutes=row.minutes,
        places=row.places,
        instructor=row.instructor,
        spot=row.spot,
        provisional=cast(CallVerdict, row.provisional) if row.provisional else None,
        final=cast(CallVerdict, row.final) if row.final else None,
        because=row.because,
        sequence=row.sequence,
    )


def _booking_from(row: BookingRow, time: LessonTimeRow) -> Booking:
    return Booking(
        id=row.id or 0,
        token=row.token,
        code=row.code,
        time=_time_from(time),
        name=row.name,
        email=row.email,
        phone=row.phone,
        mass_kg=row.mass_kg,
        state=cast(BookingState, row.state),
        made_at=row.made_at,
        quote_token=row.quote_token,
        claimed_quote_token=row.claimed_quote_token,
        note=row.note,
        moved_by_shop=row.moved_by_shop,
        taught_share=row.taught_share,
        repeats=row.repeats,
        fee=row.fee_cents,
        handed_back_before=row.handed_back_before_cents,
        sequence=row.sequence,
    )
