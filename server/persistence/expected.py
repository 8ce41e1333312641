"""Expected deliveries in the database."""

from __future__ import annotations

from datetime import datetime

from sqlmodel import Session, col, select

from server.domain.reservations import Delivery
from server.persistence.tables import ExpectedRow


def add_delivery(session: Session, delivery: Delivery, at: datetime, by: str, key: str) -> int:
    """Keep a new delivery; its number."""
    row = ExpectedRow(
        sku=delivery.sku,
        pieces=delivery.pieces,
        due_about=delivery.due_about,
        note=delivery.note,
        made_at=at,
        made_by=by,
        key=key,
    )
    session.add(row)
    session.flush()
    return row.id or 0


def _delivery_from(row: ExpectedRow) -> Delivery:
    return Delivery(row.id or 0, row.sku, row.pieces, row.due_about, row.note, row.arrived, row.ended_at is not None)


def load_delivery(session: Session, number: int, *, to_change: bool = False) -> Delivery | None:
    """A delivery by its number; with `to_change` nobody else changes it until this transaction ends."""
    wanted = select(ExpectedRow).where(col(ExpectedRow.id) == number)
    if to_change:
        wanted = wanted.with_for_update().execution_options(populate_existing=True)
    row = session.exec(wanted).first()
    return None if row is None else _delivery_from(row)


def delivery_under(session: Session, key: str) -> int | None:
    """The number of the delivery that a form's key made."""
    return session.exec(select(ExpectedRow.id).where(col(ExpectedRow.key) == key)).first()


def load_deliveries(session: Session, *, ended: bool = False, most: int = 200) -> list[Delivery]:
    """The deliveries to come, those first that are due first; or the newest of those that ended."""
    if ended:
        wanted = select(ExpectedRow).where(col(ExpectedRow.ended_at).is_not(None))
        wanted = wanted.order_by(col(ExpectedRow.ended_at).desc(), col(ExpectedRow.id).desc())
    else:
        wanted = select(ExpectedRow).where(col(ExpectedRow.ended_at).is_(None))
        wanted = wanted.order_by(col(ExpectedRow.due_about), col(ExpectedRow.id))
    return [_delivery_from(row) for row in session.exec(wanted.limit(most))]


def save_delivery(session: Session, delivery: Delivery, now: datetime) -> None:
    """Keep how a delivery stands now; it has to be there."""
    row = session.get_one(ExpectedRow, delivery.id)
    row.due_about, row.note, row.arrived = delivery.due_about, delivery.note, delivery.arrived
    if delivery.is_ended and row.ended_at is None:
        row.ended_at = now
