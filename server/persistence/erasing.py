"""A person taken out of the rows that were found of them: what is theirs alone is deleted, ledgers keep their sums without them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import String, delete, update
from sqlmodel import Session, SQLModel, col, select

from server.domain.people import Note, Signs
from server.domain.quotes import without_person
from server.persistence.aftercare import drop_follow_ups
from server.persistence.assessments import forget_sentences_of
from server.persistence.people import Found
from server.persistence.quotes import delete_quotes, quote_from, record_from
from server.persistence.sales import forget_sales
from server.persistence.tables import (
    BookingRow,
    CallRow,
    DepositRow,
    DraftRow,
    ExpectedRow,
    HoldRow,
    LessonTimeRow,
    MarkRow,
    MessageRow,
    PaperRow,
    PhotoRow,
    PieceRow,
    QuestionRow,
    QuoteRow,
    ReservationRow,
    RevisionRow,
    SaleRow,
    SettlementRow,
    StockRow,
    WindowRow,
    WorksheetRow,
)

ERASED = "the person was erased"
NOTES: tuple[tuple[type[SQLModel], str, str], ...] = (
    (StockRow, "why", "stock"),
    (DepositRow, "why", "lesson fees"),
    (WindowRow, "why", "a longer time to give back"),
    (LessonTimeRow, "because", "a lesson time"),
    (PieceRow, "note", "a used piece"),
    (ExpectedRow, "note", "an expected delivery"),
    (QuoteRow, "withdrawn_because", "a withdrawn quote"),
    (HoldRow, "ended_because", "parts let go of"),
    (PaperRow, "why", "an invoice or credit note"),
    (SettlementRow, "note", "a payment"),
    (MarkRow, "why", "an entry of a sale"),
    (BookingRow, "note", "a booking"),
    (WorksheetRow, "note", "a worksheet"),
    (WorksheetRow, "staff_note", "a worksheet, for the shop"),
    (CallRow, "about", "a promised call"),
)
"""Where somebody at the desk writes words of their own, which may name a person whom the row is not about, and what it is called."""
TOLD_OF_A_ROW = ("sku", "code", "number", "id")
"""By what a row is told to the owner: the first of these that it has."""
NOBODY = {"name": "", "email": "", "phone": "", "email_key": "", "phone_key": ""}


def erase_rows(session: Session, found: Found, now: datetime) -> tuple[list[datetime], list[datetime]]:
    """Take the person out of everything found: what is theirs alone is deleted, ledgers keep their sums without them.

    The moments at which the deleted drafts were begun and the deleted quotes kept.
    """
    begun = [row.started_at for row in found.of(DraftRow) if not row.revises]
    forget_sales(session, found.ids(SaleRow))
    for number in found.ids(SaleRow):
        drop_follow_ups(session, number, ERASED)
    forget_sentences_of(session, found.ids(BookingRow))
    for kind in (HoldRow, ReservationRow):
        session.exec(update(kind).where(col(kind.id).in_(found.ids(kind))).values(**NOBODY))
    bookings = update(BookingRow).where(col(BookingRow.id).in_(found.ids(BookingRow)))
    session.exec(bookings.values(**NOBODY, note="", mass_kg=None))
    for call in found.of(CallRow):
        call.name = call.phone = call.phone_key = call.about = ""
        call.done_at = call.done_at or now
    return begun, _delete_theirs(session, found)


def _delete_theirs(session: Session, found: Found) -> list[datetime]:
    sold = [row for row in found.of(QuoteRow) if row.token in found.sold]
    gone = [row for row in found.of(QuoteRow) if row.token not in found.sold]
    for quote in sold:
        quote.withdrawn_because = quote.withdrawn_because and ""
    numbers = [quote.id for quote in sold]
    for revision in found.of(RevisionRow):
        if revision.quote_id in numbers:
            revision.record = record_from(without_person(quote_from(revision.record)))
    tokens = [quote.token for quote in gone]
    session.exec(update(BookingRow).where(col(BookingRow.quote_token).in_(tokens)).values(quote_token=""))
    claimed = update(BookingRow).where(col(BookingRow.claimed_quote_token).in_(tokens))
    session.exec(claimed.values(claimed_quote_token=""))
    session.flush()
    for kind in (MessageRow, PhotoRow, QuestionRow):
        session.exec(delete(kind).where(col(kind.id).in_(found.ids(kind))))
    drafts = [row.token for row in found.of(DraftRow)]
    sheets = [row.token for row in found.of(WorksheetRow)]
    session.exec(delete(WorksheetRow).where(col(WorksheetRow.token).in_([*sheets, *drafts])))
    session.exec(delete(DraftRow).where(col(DraftRow.token).in_(drafts)))
    return delete_quotes(session, [quote.id for quote in gone if quote.id is not None])


def notes_naming(session: Session, signs: Signs, found: Found) -> tuple[Note, ...]:
    """The notes of the desk that name a person, but for those of rows that are emptied as theirs anyway."""
    notes = []
    for kind, name, where in NOTES:
        theirs = {id(row) for row in found.rows.get(str(kind.__tablename__), ()) if kind in EMPTIED}
        for text in _texts_naming(session, signs, kind, name):
            rows = session.exec(select(kind).where(col(getattr(kind, name)) == text).order_by(*_key(kind)))
            notes += [Note(where, _told(row), text) for row in rows if id(row) not in theirs]
    return tuple(notes)


EMPTIED = (BookingRow, WorksheetRow, CallRow, PaperRow, SettlementRow, MarkRow)
"""Rows whose words go wherever a row of theirs is found, whomever they name."""


def _key(kind: type[SQLModel]) -> Sequence[Any]:
    return tuple(kind.__table__.primary_key)  # type: ignore[attr-defined]


def _told(row: SQLModel) -> str:
    return next((str(getattr(row, name)) for name in TOLD_OF_A_ROW if getattr(row, name, None)), "")


def _texts_naming(session: Session, signs: Signs, kind: type[SQLModel], name: str) -> list[str]:
    column = col(getattr(kind, name))
    texts = session.exec(select(column).where(column != "").distinct().order_by(column))
    return [text for text in texts if signs.are_in(text)]


def blank_notes(session: Session, signs: Signs) -> int:
    """Empty the notes of the desk that name a person; how many there were."""
    blanked = 0
    for kind, name, _ in NOTES:
        column = col(getattr(kind, name))
        for text in _texts_naming(session, signs, kind, name):
            blanked += session.exec(update(kind).where(column == text).values(**{name: ""})).rowcount
    return blanked


def tables_naming(session: Session, signs: Signs) -> dict[str, int]:
    """How many texts of each table still name a person, whatever they stand in."""
    left: dict[str, int] = {}
    for table in SQLModel.metadata.sorted_tables:
        columns = [column for column in table.columns if isinstance(column.type, String) and not column.primary_key]
        for column in columns:
            texts = session.connection().execute(select(column).where(column != "").distinct()).scalars()
            naming = sum(signs.are_in(text) for text in texts)
            if naming:
                left[table.name] = left.get(table.name, 0) + naming
    return left
