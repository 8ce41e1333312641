"""The books of quotes: revisions that never change, keys, drafts, and what every worker was answered about its own."""

from __future__ import annotations

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import datetime

from sqlmodel import col, select

from server.domain.errors import Unreadable
from server.persistence.quotes import quote_from
from server.persistence.tables import DraftRow, HoldRow, OnceRow, QuoteRow, RevisionRow
from tests.bench.crash.books import Books
from tests.bench.crash.journal import Journal, Kept
from tests.holding.sale_books import skus_of

REVISIONS = """SELECT quote.id FROM quote LEFT JOIN quote_revision ON quote_revision.quote_id = quote.id
GROUP BY quote.id, quote.revision
HAVING COUNT(quote_revision.id) <> quote.revision OR MAX(quote_revision.revision) <> quote.revision
    OR MIN(quote_revision.revision) <> 1"""
KEYS = """SELECT quote_revision.id FROM quote_revision LEFT JOIN done_once
ON done_once.quote_id = quote_revision.quote_id AND done_once.revision = quote_revision.revision
GROUP BY quote_revision.id HAVING COUNT(done_once.key) <> 1"""


def digest_of(key: str) -> str:
    """How a key of the interface is kept."""
    return hashlib.sha256(f"api:{key}".encode()).hexdigest()


def check_quotes(books: Books) -> None:
    """Every quote has its revisions from 1 on, each made under one key; none that was seen before has changed."""
    books.none_of(REVISIONS, "revisions are not 1 to n")
    books.none_of(KEYS, "a revision is not of one key")
    same = books.count(OnceRow) == books.count(RevisionRow)
    books.must(same, "keys and revisions are not one to one")
    _check_new(books, books.new_rows(RevisionRow))
    known = list(books.memory.digests)
    books.must(books.count(RevisionRow) == len(known), "a revision has gone", len(known))
    seen = books.sample(known)
    for row in books.rows_with(RevisionRow, RevisionRow.quote_id, {quote for quote, _ in seen}):
        digest = books.memory.digests.get((row.quote_id, row.revision))
        books.must(digest == _digest(row), "a revision has changed", row.quote_id, row.revision)


def _digest(row: RevisionRow) -> str:
    return hashlib.sha256(row.record.encode()).hexdigest()


def _check_new(books: Books, rows: Sequence[RevisionRow]) -> None:
    quotes = {row.id: row.token for row in books.rows_with(QuoteRow, QuoteRow.id, {row.quote_id for row in rows})}
    for row in rows:
        books.memory.digests[row.quote_id, row.revision] = _digest(row)
        try:
            quote = quote_from(row.record)
        except Unreadable:
            books.must(False, "a record cannot be read", row.quote_id, row.revision)
            continue
        is_its_own = quote.revision == row.revision and quote.token == quotes.get(row.quote_id)
        books.must(is_its_own, "a record of another quote", row.quote_id, row.revision)


def check_answered(books: Books, journal: Journal) -> None:
    """All that one worker was answered about quotes and drafts is there; what was in flight is there wholly or not at all."""
    tokens = sorted(journal.touched_quotes & set(journal.quotes))
    tokens += books.sample(sorted(set(journal.quotes) - set(tokens)))
    rows = {row.token: row for row in books.rows_with(QuoteRow, QuoteRow.token, tokens)}
    holds = _open_holds(books, rows)
    for token in tokens:
        kept, row = journal.quotes[token], rows.get(token)
        books.must(row is not None and row.revision >= kept.revision, "an answered quote is not there", kept)
        if row is not None:
            kept.revision = row.revision
            _check_hold(books, kept, holds[row.id or 0])
    _check_keys(books, journal)
    _check_drafts(books, journal)
    journal.touched_quotes.clear()


def _open_holds(books: Books, quotes: dict[str, QuoteRow]) -> dict[int, list[HoldRow]]:
    found: dict[int, list[HoldRow]] = defaultdict(list)
    for row in books.rows_with(HoldRow, HoldRow.quote_id, {row.id for row in quotes.values()}):
        if row.ended_at is None and row.expires_at > books.now:
            found[row.quote_id or 0].append(row)
    return found


def _check_hold(books: Books, kept: Kept, held: list[HoldRow]) -> None:
    books.must(len(held) <= 1, "a quote has two open holds", kept)
    if kept.held is True:
        books.must(len(held) == 1, "an answered hold is not open", kept)
    elif kept.held is False:
        books.must(not held, "a hold is open that nobody was answered", kept)
    if kept.held is True and held and kept.expires_at:
        same = held[0].expires_at == datetime.fromisoformat(kept.expires_at)
        books.must(same and skus_of(held[0]) == list(kept.skus), "a hold is not as it was answered", kept)
    is_confirmed = bool(held) and held[0].confirmed_at is not None
    if kept.confirmed is not None and held:
        books.must(kept.confirmed is is_confirmed, "a hold is not confirmed as it was answered", kept)
    kept.held, kept.confirmed = bool(held), is_confirmed
    if held:
        kept.expires_at, kept.skus = held[0].expires_at.isoformat(), tuple(skus_of(held[0]))


def _check_keys(books: Books, journal: Journal) -> None:
    answered = [once for once in journal.onces if once.answered is not None]
    new = [once for once in answered if not once.is_looked_at]
    onces = {digest_of(once.key): once for once in [*new, *books.sample(answered)]}
    done = {row.key: row for row in books.rows_with(OnceRow, OnceRow.key, onces)}
    quotes = books.rows_with(QuoteRow, QuoteRow.id, {row.quote_id for row in done.values()})
    tokens = {row.id: row.token for row in quotes}
    for key, once in onces.items():
        row, once.is_looked_at = done.get(key), True
        there = row is not None and (tokens.get(row.quote_id), row.revision) == once.answered
        books.must(there, "what was answered under a key is not kept under it", once.key)


def _check_drafts(books: Books, journal: Journal) -> None:
    tokens = sorted(journal.touched_drafts)
    tokens += books.sample(sorted(set(journal.drafts) - journal.touched_drafts))
    drafts = {row.token: row for row in books.rows_with(DraftRow, DraftRow.token, tokens)}
    for token in tokens:
        draft, typed = drafts.get(token), journal.drafts[token]
        answers = json.loads(draft.answers) if draft else {}
        missing = [name for name in typed if name not in answers]
        books.must(draft is not None and not missing, "an answered step is not in its draft", token, missing)
    journal.touched_drafts.clear()


def check_confirmed(books: Books) -> None:
    """Whoever asked for a hold that was confirmed is told so once for each time, in the transaction that confirmed it."""
    confirmed = select(QuoteRow.token).join(HoldRow, col(HoldRow.quote_id) == col(QuoteRow.id))
    tokens = Counter(books.session.exec(confirmed.where(col(HoldRow.confirmed_by).is_not(None))).all())
    told = "SELECT about FROM message WHERE name = 'hold_confirmed'"
    messages = Counter(about.removeprefix("quote:") for about in books.column(told))
    books.must(tokens == messages, "holds confirmed and messages of them", tokens - messages, messages - tokens)
