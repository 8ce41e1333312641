"""What of many kept quotes their price hangs on, read from their records without the rest."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import func, or_
from sqlmodel import Session, col, select

from server.domain.agreed import NOTHING_AGREED, Agreed
from server.domain.quotes import QuotedPart
from server.domain.repricing import Quoted
from server.persistence.tables import HoldRow, QuoteRow, RevisionRow, SaleRow

READ_AT_ONCE = (
    200  # Records are long: read all at once, ten thousand of them take more time and memory than in portions.
)


@dataclass(frozen=True, slots=True)
class _Kit:
    parts: dict[str, QuotedPart]


@dataclass(frozen=True, slots=True)
class _Record:
    """The part of a quote's record that is read; whatever else stands in it is passed over."""

    code: str
    issued_at: datetime
    answers: dict[str, Any]
    kit: _Kit
    agreed: Agreed = NOTHING_AGREED


_RECORD = TypeAdapter(_Record)


def load_quoted(session: Session, since: datetime, most: int | None = None) -> Iterator[Quoted | None]:
    """The newest revisions of the quotes that were issued since a moment, newest first, so many at most where told.

    None stands for one whose record another version of the program wrote, and that cannot be read. They come one by one, so that
    nobody has to hold ten thousand at once.
    """
    wanted = (
        select(RevisionRow.record)
        .join(QuoteRow, col(QuoteRow.id) == col(RevisionRow.quote_id))
        .where(col(RevisionRow.revision) == col(QuoteRow.revision), col(RevisionRow.issued_at) >= since)
        .order_by(col(RevisionRow.issued_at).desc(), col(RevisionRow.id).desc())
        .limit(most)
        .execution_options(yield_per=READ_AT_ONCE)
    )
    for text in session.exec(wanted):
        try:
            record = _RECORD.validate_json(text)
        except ValidationError:
            yield None
            continue
        yield Quoted(record.code, record.issued_at, record.answers, record.kit.parts, record.agreed)


def count_settled(session: Session, since: datetime, now: datetime) -> int:
    """How many of the quotes whose newest revision was issued since a moment are held or were bought."""
    held = select(HoldRow.quote_id).where(col(HoldRow.ended_at).is_(None), col(HoldRow.expires_at) > now)
    bought = select(SaleRow.quote_token).where(col(SaleRow.quote_token) != "")
    wanted = (
        select(func.count())
        .select_from(RevisionRow)
        .join(QuoteRow, col(QuoteRow.id) == col(RevisionRow.quote_id))
        .where(
            col(RevisionRow.revision) == col(QuoteRow.revision),
            col(RevisionRow.issued_at) >= since,
            or_(col(QuoteRow.id).in_(held.where(col(HoldRow.quote_id).is_not(None))), col(QuoteRow.token).in_(bought)),
        )
    )
    return session.exec(wanted).one()
