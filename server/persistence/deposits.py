"""Paid lessons, the ledger of their deposits and the windows that were extended, in the database."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import cast

from sqlalchemy import ColumnElement, case, func
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from server.domain.deposits import SIGNS, Entry, EntryKind, Extension, LessonState, PaidLesson, Recorded
from server.persistence.tables import DepositRow, LessonRow, WindowRow


def load_lessons(session: Session, codes: Sequence[str], *, to_change: bool = False) -> dict[str, PaidLesson]:
    """The paid lessons under some codes, each with its entries in order.

    With `to_change` nobody else makes an entry for them until this transaction ends; they are locked in the order of their codes.
    """
    if not codes:
        return {}
    wanted = select(LessonRow).where(col(LessonRow.code).in_(codes)).order_by(col(LessonRow.code))
    if to_change:
        wanted = wanted.with_for_update().execution_options(populate_existing=True)
    lessons = list(session.exec(wanted))
    entries: dict[str, list[Entry]] = {}
    made = select(DepositRow).where(col(DepositRow.code).in_(codes)).order_by(col(DepositRow.id))
    for row in session.exec(made):
        entries.setdefault(row.code, []).append(_entry_from(row))
    extensions: dict[str, list[Extension]] = {}
    for extended in session.exec(select(WindowRow).where(col(WindowRow.code).in_(codes)).order_by(col(WindowRow.id))):
        extensions.setdefault(extended.code, []).append(Extension(extended.until, extended.why, extended.by))
    return {
        row.code: PaidLesson(
            row.code,
            row.kind,
            row.day,
            cast(LessonState, row.state),
            tuple(entries.get(row.code, ())),
            tuple(extensions.get(row.code, ())),
            row.off_since,
        )
        for row in lessons
    }


def save_lesson(session: Session, lesson: PaidLesson, at: datetime, by: str) -> None:
    """Keep a lesson with the entries it has so far."""
    session.add(LessonRow(code=lesson.code, kind=lesson.kind, day=lesson.day, state=lesson.state, recorded_at=at))
    session.flush()
    save_entries(session, lesson.entries, at, by)


def save_state(session: Session, lesson: PaidLesson) -> None:
    """Keep how a lesson went, its day, and since when it was called off; it has to be there."""
    row = session.get_one(LessonRow, lesson.code)
    row.state, row.day, row.off_since = lesson.state, lesson.day, lesson.off_since
    session.flush()


def save_entries(session: Session, entries: Sequence[Entry], at: datetime, by: str) -> None:
    """Add entries to the ledger."""
    for entry in entries:
        session.add(
            DepositRow(
                code=entry.code,
                kind=entry.kind,
                amount=entry.amount,
                day=entry.day,
                quote=entry.quote,
                at=at,
                by=by,
                method=entry.method or None,
                why=entry.why or None,
                worth_cents=entry.worth,
            )
        )
    session.flush()


def save_extension(session: Session, code: str, extension: Extension, at: datetime, by: str) -> None:
    """Add an extension of a window."""
    session.add(WindowRow(code=code, until=extension.until, why=extension.why, at=at, by=by))
    session.flush()


def codes_given_back_with(session: Session, quote: str) -> list[str]:
    """The codes of lessons whose fees were ever given back against a quote, by its code."""
    wanted = select(DepositRow.code).where(col(DepositRow.quote) == quote, col(DepositRow.kind) == "given_back")
    return sorted(set(session.exec(wanted)))


def load_recorded(session: Session, first: date, last: date) -> list[Recorded]:
    """The entries of some days, the first and the last among them, in the order they were made."""
    return _recorded(session, col(DepositRow.day) >= first, col(DepositRow.day) <= last)


def load_recorded_of(session: Session, code: str) -> list[Recorded]:
    """The entries of a lesson in the order they were made, each with when and by whom."""
    return _recorded(session, col(DepositRow.code) == code)


def _recorded(session: Session, *wanted: ColumnElement[bool]) -> list[Recorded]:
    paid = aliased(DepositRow)
    first_paid = (
        select(func.min(col(paid.id)))
        .where(col(paid.code) == col(DepositRow.code), col(paid.kind) == "paid")
        .scalar_subquery()
    )
    taken = aliased(DepositRow)
    rows = session.exec(
        select(DepositRow, LessonRow.kind, taken.at)
        .join(LessonRow, col(LessonRow.code) == col(DepositRow.code))
        .join(taken, col(taken.id) == first_paid, isouter=True)
        .where(*wanted)
        .order_by(col(DepositRow.day), col(DepositRow.id))
    )
    return [
        Recorded(_entry_from(row), kind, row.at, row.by, row.at if row.kind == "paid" or taken_at is None else taken_at)
        for row, kind, taken_at in rows
    ]


def sum_of_entries(session: Session, first: date, last: date) -> int:
    """The sum of the entries of some days with their signs, in cents, added up by the database."""
    signed = case(*((col(DepositRow.kind) == kind, sign * col(DepositRow.amount)) for kind, sign in SIGNS.items()))
    wanted = select(func.coalesce(func.sum(signed), 0)).where(col(DepositRow.day) >= first, col(DepositRow.day) <= last)
    return int(session.exec(wanted).one())


def _entry_from(row: DepositRow) -> Entry:
    kind = cast(EntryKind, row.kind)
    return Entry(row.code, kind, row.amount, row.day, row.quote, row.method or "", row.why or "", row.worth_cents)
