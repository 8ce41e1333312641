"""The books of sales: papers in their series, money, items and shelf of every sale, and that each act was done wholly."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Collection, Sequence

from sqlmodel import col, func, select

from server.domain.sales import MONEY, Sale
from server.persistence.sales import last_number, load_sales
from server.persistence.tables import CaseRow, MessageRow, PaperRow, PieceRow, SaleRow
from tests.bench.crash.books import AT_ONCE, Books
from tests.holding.sale_books import faults_of_items, faults_of_ledgers

NOT_OF_A_QUOTE = """SELECT sale.id FROM sale LEFT JOIN quote_revision ON quote_revision.revision = sale.revision
AND quote_revision.quote_id = (SELECT id FROM quote WHERE quote.token = sale.quote_token)
WHERE quote_revision.id IS NULL"""
TWICE_BOUGHT = "SELECT quote_token FROM sale GROUP BY quote_token HAVING COUNT(*) > 1"
TOLD = {"contract_made": ("confirmed",), "return_done": ("returned", "withdrawn"), "sent_off": ("sent",)}
"""Messages about a sale, and the marks that each is written with."""
LEFT_WITH = ("returned", "withdrawn")


def check_series(books: Books) -> None:
    """The series of papers is unbroken and unique, and no paper that was seen before has changed."""
    numbers = select(func.count(), func.min(PaperRow.number), func.max(PaperRow.number))
    count, first, last = books.session.exec(numbers).one()
    is_whole = (count, first or 0, last or 0) == (last or 0, min(1, count), last_number(books.session))
    books.must(is_whole, "the series of papers is broken", count, first, last, last_number(books.session))
    known = books.memory.papers
    new = books.session.exec(select(PaperRow).where(col(PaperRow.number) > max(known, default=0))).all()
    for row in new:
        known[row.number] = _said(row), row.gross
    for row in books.rows_with(PaperRow, PaperRow.number, books.sample(list(known))):
        books.must(known[row.number][0] == _said(row), "a paper has changed", row.number)
    gross = int(books.session.exec(select(func.sum(PaperRow.gross))).one() or 0)
    books.must(gross == sum(one for _, one in known.values()), "the sums of old papers have changed", gross)
    books.none_of(NOT_OF_A_QUOTE, "a sale of no revision")
    books.none_of(TWICE_BOUGHT, "a quote was bought twice")


def _said(row: PaperRow) -> str:
    told = (row.number, row.sale_id, row.kind, row.day, row.lines, row.vat, row.why, row.corrects, row.buyer)
    return hashlib.sha256(repr(told).encode()).hexdigest()


def check_sales(books: Books, touched: Collection[int]) -> None:
    """Every sale that was touched, and a sample of the others: its ledgers, its items, the shelf and the outbox agree."""
    every = books.session.exec(select(SaleRow.id)).all()
    numbers = [*{*touched, *books.sample([one for one in every if one is not None])}]
    for start in range(0, len(numbers), AT_ONCE):
        part = numbers[start : start + AT_ONCE]
        told, pieces, cases = _told(books, part), _pieces(books, part), _cases(books, part)
        for sale in load_sales(books.session, part):
            _check_sale(books, sale, told[sale.id], pieces[sale.id], cases[sale.id])


def _told(books: Books, numbers: Sequence[int]) -> dict[int, Counter[str]]:
    found: dict[int, Counter[str]] = {number: Counter() for number in numbers}
    for row in books.rows_with(MessageRow, MessageRow.about, [f"sale:{number}" for number in numbers]):
        found[int(row.about.removeprefix("sale:"))][row.name] += 1
    return found


def _pieces(books: Books, numbers: Sequence[int]) -> dict[int, Counter[int]]:
    found: dict[int, Counter[int]] = {number: Counter() for number in numbers}
    for row in books.rows_with(PieceRow, PieceRow.from_sale, numbers):
        found[row.from_sale or 0][row.from_item or 0] += 1
    return found


def _cases(books: Books, numbers: Sequence[int]) -> dict[int, dict[int, str]]:
    found: dict[int, dict[int, str]] = {number: {} for number in numbers}
    for row in books.rows_with(CaseRow, CaseRow.sale_id, numbers):
        found[row.sale_id][row.id or 0] = row.outcome
    return found


def _check_sale(books: Books, sale: Sale, told: Counter[str], pieces: Counter[int], cases: dict[int, str]) -> None:
    paid = [mark.about["amount"] for mark in sale.marks if mark.kind in ("payment", "paid_out")]
    ledgers = list(faults_of_ledgers(books.session, sale, sum(paid)))
    books.must(not ledgers, "the ledgers of a sale", sale.id, *ledgers)
    items = list(faults_of_items(books.session, sale))
    books.must(not items, "the items of a sale", sale.id, *items)
    money = [one.amount for one in sale.settlements if one.means in MONEY]
    books.must(money == paid, "payments and their marks are not one to one", sale.id, money, paid)
    keys = Counter(mark.key for mark in sale.marks)
    books.must(max(keys.values(), default=1) == 1, "one key has done two things", sale.id, keys.most_common(1))
    for name, kinds in TOLD.items():
        done = sum(mark.kind in kinds for mark in sale.marks)
        books.must(told[name] == done, "acts of a sale and messages of them", sale.id, name, told[name], done)
    _check_goods(books, sale, pieces)
    _check_returns(books, sale, cases)
    _check_swaps(books, sale)


def _check_goods(books: Books, sale: Sale, pieces: Counter[int]) -> None:
    """What has left the shelf for a sale is what its items say has left; what came back lies on the shelf or among the used pieces."""
    entries = books.memory.left_by_sale.get(sale.id, Counter())
    out = Counter[str]()
    for item in sale.goods:
        out[item.sku] += item.quantity if item.was_out and item.piece is None else 0
    left = Counter({sku: number for (kind, sku), number in entries.items() if kind == "handed_over"})
    books.must(+out == +left, "what left the shelf is not what the items say", sale.id, +out, +left)
    numbers = {
        row["number"]
        for mark in sale.marks
        if mark.kind in ("handed_over", "sent")
        for row in mark.about.get("items", ())
    }
    numbers |= {mark.about["new"] for mark in sale.marks if mark.kind == "swapped"}
    books.must(
        numbers == {item.number for item in sale.goods if item.was_out}, "items that left without a mark", sale.id
    )
    came = [item for item in sale.goods if item.gone and item.was_out and item.piece is None]
    as_new = sum(number for (kind, _), number in entries.items() if kind == "returned")
    looked_at = sum(pieces[item.number] for item in came)
    books.must(as_new + looked_at == len(came), "what came back is nowhere", sale.id, as_new, looked_at, len(came))


def _check_returns(books: Books, sale: Sale, cases: dict[int, str]) -> None:
    marks = [mark for mark in sale.marks if mark.kind in LEFT_WITH]
    back = Counter(number for mark in marks for number in mark.about.get("items", ()))
    gone = Counter(item.number for item in sale.items if item.gone in LEFT_WITH)
    books.must(back == gone, "what was given back is not what the items say", sale.id, back, gone)
    for mark in marks:
        books.must(cases.get(mark.about.get("case", 0)) == "done", "a return without its case", sale.id, mark.key)


def _check_swaps(books: Books, sale: Sale) -> None:
    marks = {mark.about["new"]: mark.about["item"] for mark in sale.marks if mark.kind == "swapped"}
    items = {item.number: item.takes_place_of for item in sale.items if item.takes_place_of is not None}
    books.must(marks == items, "what was swapped is not what the items say", sale.id, marks, items)
    swapped = {item.number for item in sale.items if item.gone == "swapped"}
    books.must(swapped == set(items.values()), "what was swapped is not gone", sale.id, swapped)
    invoices = sum(paper.kind == "invoice" for paper in sale.papers)
    books.must(invoices >= 1 + len(marks), "a contract or swap without its invoice", sale.id, invoices, len(marks))
