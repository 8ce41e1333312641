"""What still names a zone, a kind of lesson or a spot in the database: goods to be delivered, lesson times, lessons paid for."""

from __future__ import annotations

from datetime import datetime

from sqlmodel import Session, and_, col, func, or_, select

from server.domain.lessons import OPEN_STATES
from server.persistence.tables import BookingRow, LessonRow, LessonTimeRow, SaleItemRow, SaleRow


def deliveries_to(session: Session, zone: str) -> int:
    """How many sales have goods that are still to be delivered to a zone."""
    to_come = and_(col(SaleItemRow.received_on).is_(None), col(SaleItemRow.gone) == "", col(SaleItemRow.slot) != "")
    wanted = (
        select(func.count(func.distinct(col(SaleRow.id))))
        .join(SaleItemRow, col(SaleItemRow.sale_id) == col(SaleRow.id))
        .where(col(SaleRow.zone) == zone, col(SaleRow.delivery) == "deliver", to_come)
    )
    return session.exec(wanted).one()


def times_naming(session: Session, now: datetime, *, kind: str | None = None, spot: str | None = None) -> int:
    """How many lesson times of a kind, or at a spot, are still to come or have a booking that is open."""
    open_booking = (
        select(BookingRow.id)
        .where(col(BookingRow.time_id) == col(LessonTimeRow.id), col(BookingRow.state).in_(OPEN_STATES))
        .exists()
    )
    to_come = and_(col(LessonTimeRow.starts_at) > now, col(LessonTimeRow.final) != "off")
    wanted = select(func.count()).select_from(LessonTimeRow).where(or_(to_come, open_booking))
    if kind is not None:
        wanted = wanted.where(col(LessonTimeRow.kind) == kind)
    if spot is not None:
        wanted = wanted.where(col(LessonTimeRow.spot) == spot)
    return session.exec(wanted).one()


def lessons_still_booked(session: Session, kind: str) -> int:
    """How many lessons of a kind are paid for or booked and not taken yet."""
    wanted = select(func.count()).select_from(LessonRow)
    return session.exec(wanted.where(col(LessonRow.kind) == kind, col(LessonRow.state) == "booked")).one()
