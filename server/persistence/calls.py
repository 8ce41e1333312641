"""Promised calls in the database."""

from __future__ import annotations

from datetime import datetime

from sqlmodel import Session, col, select

from server.domain.calls import Call, Promise
from server.domain.stock import Contact
from server.persistence.tables import CallRow, QuoteRow


def save_promise(session: Session, promise: Promise, quote_token: str, now: datetime, by: str) -> int:
    """Keep a promise, with the quote it is about unless the token is empty; its number."""
    quote_id = session.exec(select(QuoteRow.id).where(col(QuoteRow.token) == quote_token)).first()
    row = CallRow(
        quote_id=quote_id,
        name=promise.contact.name,
        phone=promise.contact.phone,
        phone_key=promise.contact.phone_key,
        about=promise.about,
        due_at=promise.due_at,
        made_by=by,
        made_at=now,
    )
    session.add(row)
    session.flush()
    return row.id or 0


def load_promised(session: Session, most: int) -> list[Call]:
    """The calls that are still to be made, those first that are due first, so many at most."""
    wanted = (
        select(CallRow, QuoteRow.code)
        .outerjoin(QuoteRow, col(QuoteRow.id) == col(CallRow.quote_id))
        .where(col(CallRow.done_at).is_(None))
        .order_by(col(CallRow.due_at), col(CallRow.id))
        .limit(most)
    )
    return [_call_from(row, code) for row, code in session.exec(wanted)]


def finish_call(session: Session, call_id: int, now: datetime, by: str) -> bool:
    """Tick a call off, unless it was before; whether there is such a call at all."""
    row = session.exec(select(CallRow).where(col(CallRow.id) == call_id).with_for_update()).first()
    if row is not None and row.done_at is None:
        row.done_at, row.done_by = now, by
    return row is not None


def forget_calls_before(session: Session, moment: datetime) -> int:
    """Forget whom the calls were promised to that were due before a moment, and about what; how many there were."""
    wanted = select(CallRow).where(col(CallRow.due_at) < moment, col(CallRow.name) != "")
    rows = session.exec(wanted).all()
    for row in rows:
        row.done_at = row.done_at or moment
        row.name = row.phone = row.phone_key = row.about = ""
    return len(rows)


def _call_from(row: CallRow, code: str | None) -> Call:
    return Call(
        id=row.id or 0,
        contact=Contact(row.name, "", row.phone),
        about=row.about,
        due_at=row.due_at,
        made_by=row.made_by,
        code=code or "",
        done_at=row.done_at,
        done_by=row.done_by,
    )
