"""Questions, follow-ups and what was sold under which serial number, in the database."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime

from sqlmodel import Session, col, delete, func, or_, select

from server.domain.aftercare import Question, Waiting
from server.domain.pieces import Piece
from server.domain.recall import SoldPart
from server.domain.stock import Contact
from server.persistence.pieces import piece_from
from server.persistence.tables import FollowUpRow, PhotoRow, PieceRow, QuestionRow, SaleItemRow, SaleRow

PIECES_AWAY = ("sold", "scrapped", "given_back")


def _question_from(row: QuestionRow) -> Question:
    return Question(
        row.id or 0, row.sale_id, row.item, row.text, row.asked_at, row.answer, row.answered_at, row.answered_by
    )


def add_question(session: Session, sale_id: int, item: int | None, text: str, at: datetime, key: str) -> int:
    """Keep a new question; its number."""
    row = QuestionRow(sale_id=sale_id, item=item, text=text, asked_at=at, key=key)
    session.add(row)
    session.flush()
    return row.id or 0


def question_under(session: Session, key: str) -> Question | None:
    """The question that a form's key has asked already."""
    row = session.exec(select(QuestionRow).where(col(QuestionRow.key) == key)).first()
    return None if row is None else _question_from(row)


def load_question(session: Session, number: int, *, to_change: bool = False) -> Question | None:
    """A question by its number; with `to_change` nobody else answers it until this transaction ends."""
    wanted = select(QuestionRow).where(col(QuestionRow.id) == number)
    if to_change:
        wanted = wanted.with_for_update().execution_options(populate_existing=True)
    row = session.exec(wanted).first()
    return None if row is None else _question_from(row)


def save_answer(session: Session, number: int, answer: str, at: datetime, by: str) -> None:
    """Keep the answer to a question; it has to be there."""
    row = session.get_one(QuestionRow, number)
    row.answer, row.answered_at, row.answered_by = answer, at, by


def questions_of(session: Session, sale_id: int) -> list[Question]:
    """The questions about a sale, newest first."""
    wanted = select(QuestionRow).where(col(QuestionRow.sale_id) == sale_id).order_by(col(QuestionRow.id).desc())
    return [_question_from(row) for row in session.exec(wanted)]


def open_questions_of(session: Session, sale_id: int) -> int:
    """How many questions about a sale wait for an answer."""
    wanted = select(func.count()).select_from(QuestionRow)
    wanted = wanted.where(col(QuestionRow.sale_id) == sale_id, col(QuestionRow.answered_at).is_(None))
    return session.exec(wanted).one()


def waiting_questions(session: Session, most: int) -> list[Waiting]:
    """The questions that wait for an answer, oldest first."""
    return _with_names(session, col(QuestionRow.answered_at).is_(None), col(QuestionRow.id), most)


def answered_questions(session: Session, most: int) -> list[Waiting]:
    """The questions that were answered, newest first."""
    return _with_names(session, col(QuestionRow.answered_at).is_not(None), col(QuestionRow.answered_at).desc(), most)


def _with_names(session: Session, where: object, order: object, most: int) -> list[Waiting]:
    wanted = select(QuestionRow, SaleRow.name, SaleRow.code).join(SaleRow, col(SaleRow.id) == col(QuestionRow.sale_id))
    rows = session.exec(wanted.where(where).order_by(order).limit(most))  # type: ignore[arg-type]
    return [Waiting(_question_from(row), name, code) for row, name, code in rows]


def delete_questions_before(session: Session, day: date) -> int:
    """Delete the questions about sales that were made before a day, with their photographs; how many there were."""
    old = (
        select(QuestionRow.id)
        .join(SaleRow, col(SaleRow.id) == col(QuestionRow.sale_id))
        .where(col(SaleRow.made_on) < day)
    )
    numbers = list(session.exec(old))
    session.exec(delete(PhotoRow).where(col(PhotoRow.about).in_([f"question:{number}" for number in numbers])))
    session.exec(delete(QuestionRow).where(col(QuestionRow.id).in_(numbers)))
    return len(numbers)


# Follow-ups.


def add_follow_ups(session: Session, sale_id: int, weeks: Iterable[tuple[int, date]]) -> None:
    """Keep when to ask how it goes; a week that is kept already stays as it is."""
    there = set(session.exec(select(FollowUpRow.week).where(col(FollowUpRow.sale_id) == sale_id)))
    session.add_all(
        FollowUpRow(sale_id=sale_id, week=week, due_on=due_on) for week, due_on in weeks if week not in there
    )
    session.flush()


def _waiting() -> tuple[object, object]:
    return col(FollowUpRow.told_at).is_(None), col(FollowUpRow.dropped_because) == ""


def sales_with_follow_ups_due(session: Session, today: date) -> list[int]:
    """The numbers of the sales with a follow-up due by a day, in order."""
    wanted = select(FollowUpRow.sale_id).where(*_waiting(), col(FollowUpRow.due_on) <= today)  # type: ignore[arg-type]
    return sorted(set(session.exec(wanted)))


def due_follow_ups(session: Session, sale_id: int, today: date) -> list[int]:
    """The weeks of a sale's follow-ups due by a day and not written yet, earliest first; the sale has to be locked."""
    wanted = select(FollowUpRow.week).where(
        col(FollowUpRow.sale_id) == sale_id,
        *_waiting(),  # type: ignore[arg-type]
        col(FollowUpRow.due_on) <= today,
    )
    return list(session.exec(wanted.order_by(col(FollowUpRow.week))))


def note_follow_up_told(session: Session, sale_id: int, week: int, at: datetime) -> None:
    """The follow-up of a week was written."""
    wanted = select(FollowUpRow).where(col(FollowUpRow.sale_id) == sale_id, col(FollowUpRow.week) == week)
    session.exec(wanted).one().told_at = at


def drop_follow_ups(session: Session, sale_id: int, because: str, weeks: Sequence[int] | None = None) -> None:
    """Write no more of a sale's follow-ups that wait, or none of some weeks; for good."""
    wanted = select(FollowUpRow).where(col(FollowUpRow.sale_id) == sale_id, *_waiting())  # type: ignore[arg-type]
    if weeks is not None:
        wanted = wanted.where(col(FollowUpRow.week).in_(weeks))
    for row in session.exec(wanted):
        row.dropped_because = because


def take_up_follow_ups(session: Session, sale_id: int, because: str, today: date) -> None:
    """Write a sale's follow-ups that were dropped because of this after all, those whose days are to come."""
    wanted = select(FollowUpRow).where(
        col(FollowUpRow.sale_id) == sale_id,
        col(FollowUpRow.told_at).is_(None),
        col(FollowUpRow.dropped_because) == because,
        col(FollowUpRow.due_on) > today,
    )
    for row in session.exec(wanted):
        row.dropped_because = ""


def follow_ups_of(session: Session, sale_id: int) -> list[tuple[int, date, bool]]:
    """A sale's follow-ups that were not dropped: the week, its day, and whether it was written."""
    wanted = select(FollowUpRow).where(col(FollowUpRow.sale_id) == sale_id, col(FollowUpRow.dropped_because) == "")
    return [
        (row.week, row.due_on, row.told_at is not None) for row in session.exec(wanted.order_by(col(FollowUpRow.week)))
    ]


# Recall.


def sold_parts(session: Session, skus: Sequence[str], pieces: Sequence[int]) -> list[SoldPart]:
    """What was sold of some SKUs or used pieces, in the order of the sales; what is neither sent nor handed over is left out."""
    is_away = or_(col(SaleItemRow.received_on).is_not(None), col(SaleItemRow.sent_on).is_not(None))
    is_one = or_(col(SaleItemRow.sku).in_(skus), col(SaleItemRow.piece).in_(pieces))
    wanted = (
        select(SaleItemRow, SaleRow)
        .join(SaleRow, col(SaleRow.id) == col(SaleItemRow.sale_id))
        .where(is_one, is_away)
        .order_by(col(SaleRow.id), col(SaleItemRow.number))
    )
    return [
        SoldPart(
            sale.id or 0,
            sale.code,
            Contact(sale.name, sale.email, sale.phone),
            item.label,
            item.sku,
            item.serial,
            item.sent_on,
            item.received_on,
            item.gone,
        )
        for item, sale in session.exec(wanted)
    ]


def pieces_of(session: Session, skus: Sequence[str], makers: Sequence[str]) -> list[Piece]:
    """The used pieces of some SKUs or makers (folded as `str.casefold` does), wherever they are."""
    # Makers are compared here, not in SQL: SQLite makes only the letters of ASCII small.
    spelt = [maker for maker in session.exec(select(PieceRow.maker).distinct()) if maker.casefold() in makers]
    wanted = select(PieceRow).where(or_(col(PieceRow.sku).in_(skus), col(PieceRow.maker).in_(spelt)))
    return [piece_from(row) for row in session.exec(wanted.order_by(col(PieceRow.id)))]
