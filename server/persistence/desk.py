"""What the desk's first page is made of, and where a caller was met before; names are compared in Python, alike on both databases."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import ColumnElement, and_, false, or_
from sqlmodel import Session, col, select

from server.domain.finding import Changed, Met, Sought, is_meant
from server.domain.stock import Contact
from server.domain.worksheets import Worksheet
from server.persistence.tables import (
    CallRow,
    DraftRow,
    HoldRow,
    QuoteRow,
    ReservationRow,
    RevisionRow,
    SaleRow,
    WorksheetRow,
)
from server.persistence.worksheets import worksheet_from


def load_changed(session: Session, since: datetime, most: int) -> list[Changed]:
    """The quotes whose newest revision was made since a moment, newest first, so many at most; without their names."""
    newest = and_(col(RevisionRow.quote_id) == col(QuoteRow.id), col(RevisionRow.revision) == col(QuoteRow.revision))
    wanted = (
        select(QuoteRow, RevisionRow.made_by, RevisionRow.issued_at)
        .join(RevisionRow, newest)
        .where(col(RevisionRow.issued_at) >= since)
        .order_by(col(RevisionRow.issued_at).desc(), col(RevisionRow.id).desc())
        .limit(most)
    )
    return [
        Changed(row.token, row.code, row.revision, by, at, row.seen_revision) for row, by, at in session.exec(wanted)
    ]


def names_by_token(session: Session, tokens: Iterable[str]) -> dict[str, str]:
    """For whom quotes are, as their newest hold or else their newest worksheet says; those of nobody known are left out."""
    these = list(tokens)
    sheets = (
        select(WorksheetRow.quote_token, WorksheetRow.name)
        .where(col(WorksheetRow.quote_token).in_(these), col(WorksheetRow.name) != "")
        .order_by(col(WorksheetRow.made_at))
    )
    holds = (
        select(QuoteRow.token, HoldRow.name)
        .join(HoldRow, col(HoldRow.quote_id) == col(QuoteRow.id))
        .where(col(QuoteRow.token).in_(these), col(HoldRow.name) != "")
        .order_by(col(HoldRow.id))
    )
    return dict(session.exec(sheets).all()) | dict(session.exec(holds).all())


def load_waiting(session: Session, kept_since: datetime, most: int) -> list[Worksheet]:
    """The worksheets that wait for the owner's word, those first that wait longest; drafts too old are not found."""
    waits = and_(col(WorksheetRow.asked_at).is_not(None), col(WorksheetRow.sent_at).is_(None))
    return _worksheets(session, waits, kept_since, most, col(WorksheetRow.asked_at).asc())


def load_unopened(session: Session, kept_since: datetime, now: datetime, most: int) -> list[Worksheet]:
    """The links that were sent, are good still and were never opened, newest first."""
    unopened = and_(
        col(WorksheetRow.sent_at).is_not(None),
        col(WorksheetRow.opened_at).is_(None),
        col(WorksheetRow.quote_token) == "",
        col(WorksheetRow.lapses_at) > now,
    )
    return _worksheets(session, unopened, kept_since, most, col(WorksheetRow.sent_at).desc())


def _worksheets(
    session: Session,
    condition: ColumnElement[bool],
    kept_since: datetime,
    most: int,
    order: ColumnElement[datetime | None],
) -> list[Worksheet]:
    wanted = (
        select(WorksheetRow)
        .join(DraftRow, col(DraftRow.token) == col(WorksheetRow.token))
        .where(condition, col(WorksheetRow.withdrawn_at).is_(None), col(DraftRow.changed_at) >= kept_since)
        .order_by(order, col(WorksheetRow.token))
        .limit(most)
    )
    return [worksheet_from(row) for row in session.exec(wanted)]


def find_met(session: Session, sought: Sought, kept_since: datetime, most: int) -> list[Met]:
    """Where somebody was met whom the words, the number or the address mean, newest first, so many at most."""
    met = [
        *_holds(session, sought),
        *_sheets(session, sought, kept_since),
        *_calls(session, sought),
        *_sales(session, sought),
        *_reservations(session, sought),
    ]
    return sorted(met, key=lambda one: one.at, reverse=True)[:most]


def _narrowed(
    table: type[HoldRow] | type[WorksheetRow] | type[CallRow] | type[SaleRow] | type[ReservationRow],
    sought: Sought,
    email: ColumnElement[bool],
) -> ColumnElement[bool]:
    """What of a table can be meant at all; digits hold no sign that means something in a pattern."""
    by_digits = col(table.phone_key).endswith(sought.digits) if sought.digits else false()
    by_name = col(table.name) != "" if sought.words and not sought.digits else false()
    return or_(email if sought.email else false(), by_digits, by_name)


def _is_met(sought: Sought, name: str) -> bool:
    return bool(sought.email or sought.digits) or is_meant(sought, name)


def _holds(session: Session, sought: Sought) -> list[Met]:
    wanted = (
        select(HoldRow.name, HoldRow.email, HoldRow.phone, HoldRow.made_at, QuoteRow.code)  # type: ignore[call-overload]
        .outerjoin(QuoteRow, col(QuoteRow.id) == col(HoldRow.quote_id))
        .where(_narrowed(HoldRow, sought, col(HoldRow.email_key) == sought.email))
    )
    return [
        Met("hold", Contact(name, email, phone), at, code or "")
        for name, email, phone, at, code in session.exec(wanted)
        if _is_met(sought, name)
    ]


def _sheets(session: Session, sought: Sought, kept_since: datetime) -> list[Met]:
    of_draft = and_(col(DraftRow.token) == col(WorksheetRow.token), col(DraftRow.changed_at) >= kept_since)
    wanted = (
        select(WorksheetRow, DraftRow.token, QuoteRow.code)
        .outerjoin(DraftRow, of_draft)
        .outerjoin(QuoteRow, col(QuoteRow.token) == col(WorksheetRow.quote_token))
        .where(_narrowed(WorksheetRow, sought, col(WorksheetRow.email_key) == sought.email))
    )
    return [
        Met("worksheet", Contact(row.name, row.email, row.phone), row.made_at, code or "", draft or "")
        for row, draft, code in session.exec(wanted)
        if _is_met(sought, row.name) and (code or draft)
    ]


def _calls(session: Session, sought: Sought) -> list[Met]:
    wanted = (
        select(CallRow.name, CallRow.phone, CallRow.made_at, QuoteRow.code)
        .outerjoin(QuoteRow, col(QuoteRow.id) == col(CallRow.quote_id))
        .where(_narrowed(CallRow, sought, false()))
    )
    return [
        Met("call", Contact(name, "", phone), at, code or "")
        for name, phone, at, code in session.exec(wanted)
        if _is_met(sought, name)
    ]


def _sales(session: Session, sought: Sought) -> list[Met]:
    wanted = select(SaleRow).where(_narrowed(SaleRow, sought, col(SaleRow.email_key) == sought.email))
    return [
        Met("sale", Contact(row.name, row.email, row.phone), row.made_at, row.code, sale=row.id or 0)
        for row in session.exec(wanted)
        if _is_met(sought, row.name)
    ]


def _reservations(session: Session, sought: Sought) -> list[Met]:
    wanted = select(ReservationRow).where(
        _narrowed(ReservationRow, sought, col(ReservationRow.email_key) == sought.email)
    )
    return [
        Met("reservation", Contact(row.name, row.email, row.phone), row.made_at, reservation=row.id or 0)
        for row in session.exec(wanted)
        if _is_met(sought, row.name)
    ]
