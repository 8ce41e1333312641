"""What instructors saw, in the database: once for each key, as JSON with what came of it."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import datetime

from pydantic import TypeAdapter
from sqlmodel import Session, col, select

from server.domain.assessments import Assessed, Came, Seen
from server.persistence.tables import AssessmentRow, BookingRow, LessonTimeRow

_SEEN = TypeAdapter(Seen)
_CAME = TypeAdapter(Came)


def save_assessment(session: Session, assessed: Assessed) -> None:
    """Keep an assessment with what came of it."""
    seen = _SEEN.dump_python(assessed.seen, mode="json")
    session.add(
        AssessmentRow(
            key=assessed.key,
            booking_id=assessed.booking_id,
            seen=json.dumps({"seen": seen, "came": asdict(assessed.came)}),
            seen_at=assessed.seen.seen_at,
            received_at=assessed.received_at,
            by=assessed.by,
        )
    )
    session.flush()


def save_came(session: Session, key: str, came: Came) -> None:
    """Keep what came of an assessment after all."""
    row = session.exec(select(AssessmentRow).where(col(AssessmentRow.key) == key)).one()
    row.seen = json.dumps({**json.loads(row.seen), "came": asdict(came)})
    session.flush()


def find_assessment(session: Session, key: str) -> Assessed | None:
    """The assessment under a key, or None."""
    row = session.exec(select(AssessmentRow).where(col(AssessmentRow.key) == key)).first()
    return _assessed_from(row) if row is not None else None


def load_assessments_of(session: Session, booking_id: int) -> list[Assessed]:
    """All that was seen in a booking's lesson, newest first."""
    wanted = (
        select(AssessmentRow)
        .where(col(AssessmentRow.booking_id) == booking_id)
        .order_by(col(AssessmentRow.seen_at).desc(), col(AssessmentRow.id).desc())
    )
    return [_assessed_from(row) for row in session.exec(wanted)]


def assessed_among(session: Session, booking_ids: list[int]) -> set[int]:
    """Which of some bookings have an assessment."""
    wanted = select(AssessmentRow.booking_id).where(col(AssessmentRow.booking_id).in_(booking_ids))
    return set(session.exec(wanted))


def forget_sentences_before(session: Session, moment: datetime) -> int:
    """Take the instructors' words out of what was seen in the lessons that began before a moment; how many there were."""
    wanted = (
        select(AssessmentRow)
        .join(BookingRow, col(BookingRow.id) == col(AssessmentRow.booking_id))
        .join(LessonTimeRow, col(LessonTimeRow.id) == col(BookingRow.time_id))
        .where(col(LessonTimeRow.starts_at) < moment)
    )
    return sum(_forget_sentence(row) for row in session.exec(wanted))


def forget_sentences_of(session: Session, booking_ids: list[int]) -> None:
    """Take the instructors' words out of what was seen in some bookings."""
    for row in session.exec(select(AssessmentRow).where(col(AssessmentRow.booking_id).in_(booking_ids))):
        _forget_sentence(row)


def _forget_sentence(row: AssessmentRow) -> bool:
    kept = json.loads(row.seen)
    had = bool(kept["seen"]["sentence"])
    if had:
        kept["seen"]["sentence"] = ""
        row.seen = json.dumps(kept)
    return had


def _assessed_from(row: AssessmentRow) -> Assessed:
    kept = json.loads(row.seen)
    return Assessed(
        key=row.key,
        booking_id=row.booking_id,
        seen=_SEEN.validate_python(kept["seen"]),
        by=row.by,
        received_at=row.received_at,
        came=_CAME.validate_python(kept["came"]),
    )
