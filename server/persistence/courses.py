"""How far a quote has come, by one question: pages of quotes ask it, and open ones every few seconds for news."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Row, and_, bindparam, select
from sqlmodel import Session

from server.domain.quotes import Quote
from server.domain.stock import Hold
from server.persistence.plain import plain_row, table_of
from server.persistence.quotes import quote_from
from server.persistence.stock import STILL_OPEN, hold_from
from server.persistence.tables import HoldRow, QuoteRow, RevisionRow, SaleRow


@dataclass(frozen=True, slots=True)
class Course:
    """How far a quote has come: its newest revision, its open hold, what its customer has had before them, how it was withdrawn, which
    sale it became; None for what did not happen."""

    revision: int
    hold: Hold | None = None
    seen: tuple[int, datetime] | None = None
    withdrawn: tuple[datetime, str, str] | None = None
    sale: int | None = None


_QUOTES, _HOLDS, _SALES = table_of(QuoteRow), table_of(HoldRow), table_of(SaleRow)
_REVISIONS = table_of(RevisionRow)
_SALE = select(_SALES.c.id).where(_SALES.c.quote_token == _QUOTES.c.token).limit(1).scalar_subquery()
_TOLD_OF_QUOTE = (
    _QUOTES.c[name] for name in ("seen_revision", "seen_at", "withdrawn_at", "withdrawn_by", "withdrawn_because")
)
_TOLD_OF_HOLD = (
    _HOLDS.c[name]
    for name in ("id", "revision", "skus", "made_at", "expires_at", "confirmed_at", "ended_at", "deposit_back")
)
_AND_ITS_HOLD = _QUOTES.outerjoin(_HOLDS, and_(_HOLDS.c.quote_id == _QUOTES.c.id, STILL_OPEN))
_COURSE = (
    select(_QUOTES.c.revision.label("newest"), _SALE.label("sale"), *_TOLD_OF_QUOTE, *_TOLD_OF_HOLD)
    .select_from(_AND_ITS_HOLD)
    .where(_QUOTES.c.token == bindparam("token"))
    .order_by(_HOLDS.c.id.desc())
    .limit(1)
)
_WITH_RECORD = _COURSE.add_columns(_REVISIONS.c.record).join(
    _REVISIONS, and_(_REVISIONS.c.quote_id == _QUOTES.c.id, _REVISIONS.c.revision == _QUOTES.c.revision)
)


def load_course(session: Session, token: str, now: datetime) -> Course | None:
    """How far a quote has come by a moment, without its record; None where there is no such quote."""
    row = plain_row(session, _COURSE, {"token": token, "now": now})
    return None if row is None else _course_from(row)


def load_quote_with_course(session: Session, token: str, now: datetime) -> tuple[Quote, Course] | None:
    """The newest revision of a quote and how far it has come by a moment; None where there is no such quote."""
    row = plain_row(session, _WITH_RECORD, {"token": token, "now": now})
    return None if row is None else (quote_from(row.record), _course_from(row))


def _course_from(row: Row[Any]) -> Course:
    by_whom = (row.withdrawn_by or "", row.withdrawn_because or "")
    return Course(
        revision=row.newest,
        hold=None if row.id is None else hold_from(row),
        seen=None if row.seen_revision is None or row.seen_at is None else (row.seen_revision, row.seen_at),
        withdrawn=None if row.withdrawn_at is None else (row.withdrawn_at, *by_whom),
        sale=row.sale,
    )
