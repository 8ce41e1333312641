"""Quotes in the database: each revision a frozen record, the short code and the address, and what was done under a key."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import bindparam, func, update
from sqlmodel import Session, col, delete, select

from server.domain.errors import Unreadable
from server.domain.quotes import Quote
from server.persistence.plain import plain_value, table_of
from server.persistence.tables import CallRow, HoldRow, OnceRow, QuoteRow, RevisionRow, UnmetRow

_RECORD = TypeAdapter(Quote)

_QUOTES, _REVISIONS = table_of(QuoteRow).c, table_of(RevisionRow).c
_OF_TOKEN = _QUOTES.token == bindparam("token")
_RECORDS = select(_REVISIONS.record).join(table_of(QuoteRow), _QUOTES.id == _REVISIONS.quote_id).where(_OF_TOKEN)
_RECORD_OF_NEWEST = _RECORDS.where(_REVISIONS.revision == _QUOTES.revision)
_RECORD_OF_REVISION = _RECORDS.where(_REVISIONS.revision == bindparam("revision"))
_NEWEST = select(_QUOTES.revision).where(_OF_TOKEN)
_TOKEN = select(_QUOTES.token).where(_QUOTES.code == bindparam("code"))
_DONE = select(table_of(OnceRow).c.quote_id).where(table_of(OnceRow).c.key == bindparam("key"))
"""Asked for by every page of a quote or a kit, and by pages that wait for news, so they are put together once."""


def record_from(quote: Quote) -> str:
    """A quote as the text that is kept of it."""
    return _RECORD.dump_json(quote).decode()


def quote_from(record: str) -> Quote:
    """The quote that a text was kept of; raises `Unreadable` where another version of the program wrote it."""
    try:
        return _RECORD.validate_json(record)
    except ValidationError as error:
        raise Unreadable("this quote's record cannot be read") from error


def save_new_quote(session: Session, quote: Quote, by: str) -> int:
    """Keep the first revision of a quote; its row's id."""
    row = QuoteRow(token=quote.token, code=quote.code, revision=quote.revision, started_at=quote.issued_at)
    session.add(row)
    session.flush()
    return _save_revision(session, row, quote, by)


def save_next_revision(session: Session, quote: Quote, by: str) -> int:
    """Keep a further revision of a quote that is there; its row's id."""
    row = session.exec(select(QuoteRow).where(col(QuoteRow.token) == quote.token)).one()
    row.revision = quote.revision
    return _save_revision(session, row, quote, by)


def _save_revision(session: Session, row: QuoteRow, quote: Quote, by: str) -> int:
    quote_id = row.id or 0
    session.add(
        RevisionRow(
            quote_id=quote_id,
            revision=quote.revision,
            issued_at=quote.issued_at,
            valid_until=quote.valid_until,
            made_by=by,
            record=record_from(quote),
        )
    )
    session.flush()
    return quote_id


def load_quote(session: Session, token: str, revision: int | None = None) -> Quote | None:
    """A quote by its token, the newest revision unless one is named."""
    wanted = _RECORD_OF_NEWEST if revision is None else _RECORD_OF_REVISION
    record = plain_value(session, wanted, {"token": token, "revision": revision})
    return None if record is None else quote_from(record)


def newest_revision(session: Session, token: str) -> int | None:
    """The number of a quote's newest revision, without its record; None where there is no quote."""
    found: int | None = plain_value(session, _NEWEST, {"token": token})
    return found


def makers_since(session: Session, token: str, revision: int) -> list[str]:
    """Who made the revisions of a quote after one of them, in order."""
    wanted = (
        select(RevisionRow.made_by)
        .join(QuoteRow, col(QuoteRow.id) == col(RevisionRow.quote_id))
        .where(col(QuoteRow.token) == token, col(RevisionRow.revision) > revision)
        .order_by(col(RevisionRow.revision))
    )
    return list(session.exec(wanted))


def load_revisions(session: Session, token: str, most: int) -> list[tuple[Quote, str]]:
    """The newest revisions of a quote with who made each, newest first, so many at most."""
    wanted = (
        select(RevisionRow.record, RevisionRow.made_by)
        .join(QuoteRow, col(QuoteRow.id) == col(RevisionRow.quote_id))
        .where(col(QuoteRow.token) == token)
        .order_by(col(RevisionRow.revision).desc())
        .limit(most)
    )
    return [(quote_from(record), by) for record, by in session.exec(wanted)]


def save_seen(session: Session, token: str, revision: int, at: datetime) -> None:
    """Record that a revision of a quote was looked at, unless it or a newer one was before, or there is no such revision."""
    is_news = col(QuoteRow.seen_revision).is_(None) | (col(QuoteRow.seen_revision) < revision)
    wanted = (col(QuoteRow.token) == token, col(QuoteRow.revision) >= revision, is_news)
    session.exec(update(QuoteRow).where(*wanted).values(seen_revision=revision, seen_at=at))


def save_withdrawn(session: Session, token: str, at: datetime, by: str, because: str) -> None:
    """Keep that a quote was withdrawn; it has to be there."""
    row = session.exec(select(QuoteRow).where(col(QuoteRow.token) == token)).one()
    row.withdrawn_at, row.withdrawn_by, row.withdrawn_because = at, by, because


def lock_quote(session: Session, token: str) -> Quote | None:
    """The newest revision of a quote, which nobody else may change or agree to until this transaction ends."""
    session.exec(select(QuoteRow.id).where(col(QuoteRow.token) == token).with_for_update()).first()
    return load_quote(session, token)


def token_of(session: Session, code: str) -> str | None:
    """The token of the quote with a code, or None."""
    found: str | None = plain_value(session, _TOKEN, {"code": code})
    return found


def lock_key(session: Session, key: str) -> None:
    """Keep others from doing something under the same key until this transaction ends (SQLite's writers are alone anyway)."""
    if session.get_bind().dialect.name == "postgresql":
        session.execute(select(func.pg_advisory_xact_lock(func.hashtextextended(key, 0))))


def is_code_taken(session: Session, code: str) -> bool:
    """Whether a quote has this code already."""
    return session.exec(select(QuoteRow.id).where(col(QuoteRow.code) == code)).first() is not None


def delete_quotes_good_until(session: Session, day: date) -> list[datetime]:
    """Delete the quotes whose price was good until before a day and that the shop never confirmed; when each was first kept.

    What nobody had in stock for them stays counted, without the quote.
    """
    newest = (
        select(RevisionRow.quote_id).group_by(col(RevisionRow.quote_id)).having(func.max(RevisionRow.valid_until) < day)
    )
    confirmed = select(HoldRow.quote_id).where(
        col(HoldRow.confirmed_at).is_not(None), col(HoldRow.quote_id).is_not(None)
    )
    wanted = select(QuoteRow.id).where(col(QuoteRow.id).in_(newest), col(QuoteRow.id).not_in(confirmed))
    return delete_quotes(session, [number for number in session.exec(wanted.with_for_update()) if number is not None])


def delete_quotes(session: Session, quotes: Sequence[int]) -> list[datetime]:
    """Delete quotes with their revisions; the moments they were kept at. What nobody had in stock for them stays counted."""
    kept = list(session.exec(select(QuoteRow.started_at).where(col(QuoteRow.id).in_(quotes))))
    for table in (UnmetRow, HoldRow, CallRow):
        session.exec(update(table).where(col(table.quote_id).in_(quotes)).values(quote_id=None))
    for row in (OnceRow, RevisionRow):
        session.exec(delete(row).where(col(row.quote_id).in_(quotes)))
    session.exec(delete(QuoteRow).where(col(QuoteRow.id).in_(quotes)))
    return kept


def save_unmet(session: Session, quote_id: int, ideals: dict[str, float], day: date) -> None:
    """Record the slots that nothing free would meet, once for each quote and slot."""
    known = set(session.exec(select(UnmetRow.slot).where(col(UnmetRow.quote_id) == quote_id)))
    for slot, ideal in ideals.items():
        if slot not in known:
            session.add(UnmetRow(quote_id=quote_id, slot=slot, ideal=ideal, day=day))


def unmet_since(session: Session, day: date) -> dict[str, int]:
    """For how many quotes nothing free was right in a slot since a day, by slot, the most first."""
    number = func.count()
    wanted = select(UnmetRow.slot, number).where(col(UnmetRow.day) >= day).group_by(col(UnmetRow.slot))
    return dict(session.exec(wanted.order_by(number.desc(), col(UnmetRow.slot))).all())


def load_done(session: Session, key: str) -> tuple[str, Quote] | None:
    """What was done under a key: the digest of its request, and the quote it made."""
    row = session.get(OnceRow, key)
    if row is None:
        return None
    token = session.get_one(QuoteRow, row.quote_id).token
    quote = load_quote(session, token, row.revision)
    return None if quote is None else (row.digest, quote)


def is_done(session: Session, key: str) -> bool:
    """Whether anything was done under a key."""
    return plain_value(session, _DONE, {"key": key}) is not None


def save_done(session: Session, key: str, digest: str, quote_id: int, revision: int, at: datetime) -> None:
    """Remember what was done under a key."""
    session.add(OnceRow(key=key, digest=digest, quote_id=quote_id, revision=revision, at=at))
