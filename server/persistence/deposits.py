"""Paid lessons and the ledger of their deposits in the database."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import cast

from sqlmodel import Session, col, select

from server.domain.deposits import Entry, EntryKind, LessonState, PaidLesson
from server.persistence.tables import DepositRow, LessonRow


def load_lessons(session: Session, codes: Sequence[str]) -> dict[str, PaidLesson]:
    """The paid lessons under some codes, each with its entries in order."""
    if not codes:
        return {}
    entries: dict[str, list[Entry]] = {}
    wanted = select(DepositRow).where(col(DepositRow.code).in_(codes)).order_by(col(DepositRow.id))
    for row in session.exec(wanted):
        entry = Entry(row.code, cast(EntryKind, row.kind), row.amount, row.day, row.quote)
        entries.setdefault(row.code, []).append(entry)
    lessons = session.exec(select(LessonRow).where(col(LessonRow.code).in_(codes)))
    return {
        row.code: PaidLesson(
            row.code, row.kind, row.day, cast(LessonState, row.state), tuple(entries.get(row.code, ()))
        )
        for row in lessons
    }


def save_lesson(session: Session, lesson: PaidLesson, at: datetime, by: str) -> None:
    """Keep a lesson with the entries it has so far."""
    session.add(LessonRow(code=lesson.code, kind=lesson.kind, day=lesson.day, state=lesson.state, recorded_at=at))
    session.flush()
    save_entries(session, lesson.entries, at, by)


def save_entries(session: Session, entries: Sequence[Entry], at: datetime, by: str) -> None:
    """Add entries to the ledger."""
    for entry in entries:
        session.add(
            DepositRow(
                code=entry.code, kind=entry.kind, amount=entry.amount, day=entry.day, quote=entry.quote, at=at, by=by
            )
        )
