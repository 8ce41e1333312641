"""Readings of wind and tide at the spots."""

from __future__ import annotations

from datetime import datetime

from sqlmodel import Session, col, select

from server.domain.lessons import Conditions
from server.domain.strand import Reading
from server.persistence.tables import ReadingRow


def save_reading(session: Session, reading: Reading) -> int:
    """Keep a reading; its number."""
    row = ReadingRow(
        spot=reading.spot,
        at=reading.at,
        mean_kn=reading.seen.mean_kn,
        gust_kn=reading.seen.gust_kn,
        from_deg=reading.seen.from_deg,
        has_lightning=reading.seen.has_lightning,
        tide_m=reading.tide_m,
        by=reading.by,
    )
    session.add(row)
    session.flush()
    return row.id or 0


def load_readings_since(session: Session, moment: datetime) -> dict[str, Reading]:
    """The newest reading of each spot since a moment."""
    wanted = select(ReadingRow).where(col(ReadingRow.at) >= moment).order_by(col(ReadingRow.at), col(ReadingRow.id))
    return {row.spot: _reading_from(row) for row in session.exec(wanted)}


def _reading_from(row: ReadingRow) -> Reading:
    return Reading(
        spot=row.spot,
        at=row.at,
        seen=Conditions(row.mean_kn, row.gust_kn, row.from_deg, row.has_lightning),
        tide_m=row.tide_m,
        by=row.by,
        id=row.id or 0,
    )
