"""What is due from makers, and what the owner wants to order in place of what is suggested, in the database."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import func
from sqlmodel import Session, col, select

from server.persistence.tables import ExpectedRow, OrderRow, ReservationRow


def load_due(session: Session, until: date, now: datetime) -> dict[str, int]:
    """Pieces by SKU that makers are to deliver until a day, less those set aside for somebody."""
    expected = session.exec(
        select(ExpectedRow.id, ExpectedRow.sku, ExpectedRow.pieces, ExpectedRow.arrived).where(
            col(ExpectedRow.ended_at).is_(None), col(ExpectedRow.due_about) <= until
        )
    ).all()
    spoken_for = dict(
        session.exec(
            select(ReservationRow.expected_id, func.count())
            .where(
                col(ReservationRow.expected_id).is_not(None),
                col(ReservationRow.hold_id).is_(None),
                col(ReservationRow.ended_at).is_(None),
                col(ReservationRow.expires_at) > now,
            )
            .group_by(col(ReservationRow.expected_id))
        ).all()
    )
    due: dict[str, int] = {}
    for number, sku, pieces, arrived in expected:
        due[sku] = due.get(sku, 0) + max(0, pieces - arrived - spoken_for.get(number, 0))
    return due


def load_choices(session: Session, season: str) -> dict[str, int]:
    """What the owner wants for a season in place of what is suggested: pieces by size."""
    return dict(session.exec(select(OrderRow.size, OrderRow.pieces).where(col(OrderRow.season) == season)).all())


def save_choice(session: Session, season: str, size: str, pieces: int, at: datetime, by: str) -> None:
    """Keep how many of a size the owner wants."""
    session.merge(OrderRow(season=season, size=size, pieces=pieces, at=at, by=by))
    session.flush()


def drop_choice(session: Session, season: str, size: str) -> None:
    """Forget how many of a size the owner wanted."""
    row = session.get(OrderRow, (season, size))
    if row is not None:
        session.delete(row)
        session.flush()
