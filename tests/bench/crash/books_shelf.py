"""The books of the shelf: the stock ledger, what holds set aside, and what was sold over the counter."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from sqlmodel import col, func, select

from server.persistence.tables import CounterSaleRow, HoldRow, StockRow
from tests.bench.crash.books import AT_ONCE, Books
from tests.holding.sale_books import faults_of_holds, skus_of

OF_SALE = re.compile(r"sale (\d+)\b")
TWO_OPEN = """SELECT quote_id FROM hold WHERE quote_id IS NOT NULL AND ended_at IS NULL AND expires_at > :now
GROUP BY quote_id HAVING COUNT(*) > 1"""
OF_NO_REVISION = """SELECT hold.id FROM hold LEFT JOIN quote_revision
ON quote_revision.quote_id = hold.quote_id AND quote_revision.revision = hold.revision
WHERE quote_revision.id IS NULL"""
HELD_BY_KIND = {"hold": 1, "release": -1, "handed_over": -1}


def check_shelf(books: Books) -> None:
    """On hand is the sum of the entries and never below zero, and nothing is promised twice."""
    entries = books.new_rows(StockRow)
    _check_entries(books, entries)
    _check_sums(books)
    _check_holds(books, entries)
    _check_counter(books)


def _check_entries(books: Books, entries: Sequence[StockRow]) -> None:
    memory = books.memory
    for entry in entries:
        memory.on_hand[entry.sku] += entry.change
        books.must(memory.on_hand[entry.sku] >= 0, "on hand is below zero", entry.sku, entry.id)
        if entry.hold_id is not None:
            is_right = entry.held == HELD_BY_KIND.get(entry.kind) and entry.change == min(0, _leaves(entry))
            books.must(is_right, "an entry of a hold has other pieces than its kind", entry.id, entry.kind)
        named = OF_SALE.match(entry.why)
        if named:
            memory.left_by_sale.setdefault(int(named[1]), Counter())[entry.kind, entry.sku] += abs(
                entry.change or entry.held
            )
    count, change, held = memory.entries
    memory.entries = (
        count + len(entries),
        change + sum(entry.change for entry in entries),
        held + sum(entry.held for entry in entries),
    )


def _leaves(entry: StockRow) -> int:
    return -1 if entry.kind == "handed_over" else 0


def _check_sums(books: Books) -> None:
    """What the database adds up is what was seen entry by entry, so that no old entry has changed or gone."""
    sums = select(func.count(), func.sum(StockRow.change), func.sum(StockRow.held)).select_from(StockRow)
    found = tuple(int(one or 0) for one in books.session.exec(sums).one())
    books.must(found == books.memory.entries, "old entries of the stock have changed", found, books.memory.entries)
    on_hand = select(StockRow.sku, func.sum(StockRow.change)).group_by(col(StockRow.sku))
    there = {sku: int(pieces) for sku, pieces in books.session.exec(on_hand)}
    held = (
        select(StockRow.sku, func.sum(StockRow.held))
        .join(HoldRow, col(HoldRow.id) == col(StockRow.hold_id))
        .where(col(HoldRow.ended_at).is_(None), col(HoldRow.expires_at) > books.now)
        .group_by(col(StockRow.sku))
    )
    for sku, pieces in books.session.exec(held):
        books.must(0 <= pieces <= there.get(sku, 0), "held is not between zero and on hand", sku, pieces)
    for sku, pieces in there.items():
        books.must(pieces == books.memory.on_hand[sku], "on hand is not the sum of the entries", sku, pieces)


def _check_holds(books: Books, entries: Sequence[StockRow]) -> None:
    books.none_of(TWO_OPEN, "a quote has two open holds", now=_as_kept(books))
    books.none_of(OF_NO_REVISION, "a hold of no revision")
    known = books.memory.open_holds
    named = {entry.hold_id for entry in entries if entry.hold_id is not None}
    not_ended = set(books.session.exec(select(HoldRow.id).where(col(HoldRow.ended_at).is_(None))).all())
    every = set(books.session.exec(select(HoldRow.id)).all()) if books.is_whole else set()
    holds = books.rows_with(HoldRow, HoldRow.id, named | not_ended | known | every)
    books.must(named <= {hold.id for hold in holds}, "entries of a hold that is not there", named)
    for start in range(0, len(holds), AT_ONCE):
        part = holds[start : start + AT_ONCE]
        faults = list(faults_of_holds(books.session, part))
        books.must(not faults, "a hold's entries", *faults[:3])
        books.outcome.done["checks"] += len(part) - 1
    for hold in holds:
        is_right = bool(skus_of(hold)) or hold.ended_at is not None
        books.must(is_right, "a hold that sets nothing aside has not ended", hold.id)
    books.memory.open_holds = {hold.id or 0 for hold in holds if hold.ended_at is None}


def _as_kept(books: Books) -> object:
    """The moment as the database compares it; SQLite keeps moments as text without their zone."""
    is_sqlite = books.session.get_bind().dialect.name == "sqlite"
    return books.now.replace(tzinfo=None).isoformat(" ", "microseconds") if is_sqlite else books.now


def _check_counter(books: Books) -> None:
    """What was sold over the counter and taken back has left the shelf and come back, piece by piece."""
    summed = select(CounterSaleRow.sku, func.sum(CounterSaleRow.pieces))
    sold = dict(books.session.exec(summed.group_by(col(CounterSaleRow.sku))).all())
    is_back = summed.where(col(CounterSaleRow.taken_back_at).is_not(None))
    back = dict(books.session.exec(is_back.group_by(col(CounterSaleRow.sku))).all())
    left = select(StockRow.sku, func.sum(StockRow.change)).where(col(StockRow.kind) == "counter_sale")
    gone = dict(books.session.exec(left.group_by(col(StockRow.sku))).all())
    came = (
        select(StockRow.sku, func.sum(StockRow.change))
        .where(col(StockRow.kind) == "returned", col(StockRow.why).not_like("sale %"))
        .group_by(col(StockRow.sku))
    )
    returned = dict(books.session.exec(came).all())
    for sku in {*sold, *gone}:
        books.must(sold.get(sku, 0) == -gone.get(sku, 0), "sold over the counter is not what left the shelf", sku)
        books.must(back.get(sku, 0) == returned.get(sku, 0), "taken back is not what came to the shelf", sku)
