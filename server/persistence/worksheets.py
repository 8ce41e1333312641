"""Worksheets in the database, each beside the draft of the same token."""

from __future__ import annotations

from dataclasses import asdict

from sqlmodel import Session, col, select

from server.domain.stock import Contact
from server.domain.worksheets import Worksheet
from server.persistence.tables import DraftRow, WorksheetRow

_FIELDS = tuple(Worksheet.__dataclass_fields__)


def save_worksheet(session: Session, sheet: Worksheet) -> None:
    """Put a worksheet in place of what stood under its token."""
    contact = Contact(sheet.name, sheet.email, sheet.phone)
    session.merge(WorksheetRow(**asdict(sheet), email_key=contact.email_key, phone_key=contact.phone_key))
    session.flush()


def load_worksheet(session: Session, token: str, *, to_change: bool = False) -> Worksheet | None:
    """The worksheet under a token, or None; with `to_change` nobody else may change it until this transaction ends."""
    wanted = select(WorksheetRow).where(col(WorksheetRow.token) == token)
    row = session.exec(wanted.with_for_update() if to_change else wanted).first()
    return None if row is None else worksheet_from(row)


def worksheet_from(row: WorksheetRow) -> Worksheet:
    """A worksheet from its row."""
    return Worksheet(**{name: getattr(row, name) for name in _FIELDS})


def save_kept(session: Session, draft: str, quote_token: str, copy: str) -> None:
    """Remember which quote came of the link to a draft, if the desk gave one.

    A further quote that comes of the same link gets a copy of its worksheet and draft, under the token `copy`, so that the desk
    knows for whom each of them is; the copy's own link leads nowhere.
    """
    row = session.exec(select(WorksheetRow).where(col(WorksheetRow.token) == draft).with_for_update()).first()
    if row is None or row.quote_token == quote_token:
        return
    if not row.quote_token:
        row.quote_token = quote_token
        session.flush()
        return
    if load_worksheets_of(session, quote_token):
        return
    beside = session.exec(select(DraftRow).where(col(DraftRow.token) == draft)).one()
    session.add(DraftRow(**{**beside.model_dump(), "token": copy, "revises": quote_token}))
    session.add(
        WorksheetRow(**{**row.model_dump(), "token": copy, "quote_token": quote_token, "lapses_at": row.sent_at})
    )
    session.flush()


def load_worksheets_of(session: Session, quote_token: str) -> list[Worksheet]:
    """The worksheets that a quote came of or was revised by, oldest first."""
    wanted = select(WorksheetRow).where(col(WorksheetRow.quote_token) == quote_token)
    return [worksheet_from(row) for row in session.exec(wanted.order_by(col(WorksheetRow.made_at)))]
