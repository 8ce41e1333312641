"""Reservations in the database; whether one is still open is asked of the clock in the query."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ColumnElement, and_, func, or_
from sqlmodel import Session, col, select

from server.domain.reservations import EXPIRED, Reservation
from server.domain.stock import Contact
from server.persistence.tables import ReservationRow


def _is_open(now: datetime) -> ColumnElement[bool]:
    return and_(col(ReservationRow.ended_at).is_(None), col(ReservationRow.expires_at) > now)


def reservation_from(row: ReservationRow) -> Reservation:
    """A reservation from its row."""
    return Reservation(
        id=row.id or 0,
        token=row.token,
        piece=row.piece_id,
        delivery=row.expected_id,
        contact=Contact(row.name, row.email, row.phone),
        made_at=row.made_at,
        expires_at=row.expires_at,
        is_confirmed=row.confirmed_at is not None,
        ended_because=row.ended_because if row.ended_at is not None else "",
        hold=row.hold_id,
    )


def add_reservation(session: Session, one: Reservation, key: str) -> int:
    """Keep a new reservation; its number."""
    row = ReservationRow(
        token=one.token,
        piece_id=one.piece,
        expected_id=one.delivery,
        name=one.contact.name,
        email=one.contact.email,
        phone=one.contact.phone,
        email_key=one.contact.email_key,
        phone_key=one.contact.phone_key,
        made_at=one.made_at,
        expires_at=one.expires_at,
        key=key,
    )
    session.add(row)
    session.flush()
    return row.id or 0


def load_reservation(session: Session, number: int, *, to_change: bool = False) -> Reservation | None:
    """A reservation by its number; with `to_change` nobody else changes it until this transaction ends."""
    wanted = select(ReservationRow).where(col(ReservationRow.id) == number)
    if to_change:
        wanted = wanted.with_for_update().execution_options(populate_existing=True)
    row = session.exec(wanted).first()
    return None if row is None else reservation_from(row)


def reservation_at(session: Session, token: str) -> int | None:
    """The number of the reservation at an address."""
    return session.exec(select(ReservationRow.id).where(col(ReservationRow.token) == token)).first()


def reservation_under(session: Session, key: str) -> int | None:
    """The number of the reservation that a form's key made."""
    return session.exec(select(ReservationRow.id).where(col(ReservationRow.key) == key)).first()


def load_open_reservations(session: Session, now: datetime) -> list[Reservation]:
    """All reservations open at a moment, in the order they were made."""
    wanted = select(ReservationRow).where(_is_open(now)).order_by(col(ReservationRow.id))
    return [reservation_from(row) for row in session.exec(wanted)]


def open_reservation_of_piece(session: Session, piece: int, now: datetime) -> Reservation | None:
    """The reservation of a piece that is open at a moment, or None."""
    wanted = select(ReservationRow).where(col(ReservationRow.piece_id) == piece, _is_open(now))
    row = session.exec(wanted.execution_options(populate_existing=True)).first()
    return None if row is None else reservation_from(row)


def waiting_for_delivery(session: Session, delivery: int, now: datetime) -> list[Reservation]:
    """The open reservations of a delivery for which nothing has come yet, in the order they were made."""
    wanted = select(ReservationRow).where(
        col(ReservationRow.expected_id) == delivery, col(ReservationRow.hold_id).is_(None), _is_open(now)
    )
    rows = session.exec(wanted.order_by(col(ReservationRow.id)).execution_options(populate_existing=True))
    return [reservation_from(row) for row in rows]


def open_reservations_for(session: Session, contact: Contact, now: datetime) -> int:
    """How many reservations are open at a moment for this e-mail address or this telephone number."""
    same = or_(
        and_(col(ReservationRow.email_key) == contact.email_key, col(ReservationRow.email_key) != ""),
        and_(col(ReservationRow.phone_key) == contact.phone_key, col(ReservationRow.phone_key) != ""),
    )
    return session.exec(select(func.count()).select_from(ReservationRow).where(same, _is_open(now))).one()


def extend_reservation(
    session: Session, number: int, until: datetime, *, confirmed_at: datetime | None = None, hold: int | None = None
) -> None:
    """Keep a reservation until another moment; from now on confirmed, or with the stock that is set aside for it."""
    row = session.get_one(ReservationRow, number)
    row.expires_at = until
    if confirmed_at is not None:
        row.confirmed_at = row.confirmed_at or confirmed_at
    if hold is not None:
        row.hold_id = hold


def end_reservation(session: Session, number: int, now: datetime, because: str) -> None:
    """End a reservation, so that what was set aside is free again."""
    row = session.get_one(ReservationRow, number)
    row.ended_at, row.ended_because = now, because


def end_lapsed_reservations(session: Session, now: datetime) -> int:
    """Write down that reservations have expired; they were free by the clock already. How many there were."""
    wanted = select(ReservationRow).where(col(ReservationRow.ended_at).is_(None), col(ReservationRow.expires_at) <= now)
    rows = session.exec(wanted.with_for_update()).all()
    for row in rows:
        row.ended_at, row.ended_because = row.expires_at, EXPIRED
    return len(rows)


def forget_reservations_before(session: Session, moment: datetime) -> int:
    """Forget who made the reservations that ended before a moment; how many there were."""
    wanted = select(ReservationRow).where(
        col(ReservationRow.ended_at).is_not(None),
        col(ReservationRow.ended_at) < moment,
        col(ReservationRow.name) != "",
    )
    rows = session.exec(wanted).all()
    for row in rows:
        row.name = row.email = row.phone = row.email_key = row.phone_key = ""
    return len(rows)
