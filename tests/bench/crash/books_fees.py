"""The books of lesson fees: every ledger folds to its state, and has the entries that were answered."""

from __future__ import annotations

from server.domain.deposits import SIGNS
from server.persistence.deposits import load_lessons
from tests.bench.crash.books import Books
from tests.bench.crash.journal import Journal

BELOW_ZERO = """SELECT code FROM deposit_entry GROUP BY code
HAVING SUM(CASE WHEN kind IN ('paid', 'charged_again') THEN amount ELSE -amount END) < 0"""
WITHOUT_FEE = """SELECT paid_lesson.code FROM paid_lesson LEFT JOIN deposit_entry ON deposit_entry.code = paid_lesson.code
GROUP BY paid_lesson.code HAVING SUM(CASE WHEN deposit_entry.kind = 'paid' THEN 1 ELSE 0 END) <> 1"""
WITH_KITS = """SELECT sale.code FROM sale JOIN sale_settlement ON sale_settlement.sale_id = sale.id
WHERE sale_settlement.means = 'lesson_fee' AND sale_settlement.amount > 0 AND sale.code NOT IN
(SELECT quote FROM deposit_entry WHERE kind = 'given_back')"""

NEWEST = 50


def check_fees(books: Books, journals: list[Journal]) -> None:
    """No ledger is below zero, each lesson was paid once, and what was answered stands in its ledger in its order."""
    books.none_of(BELOW_ZERO, "a ledger of a lesson is below zero")
    books.none_of(WITHOUT_FEE, "a lesson was not paid once")
    books.none_of(WITH_KITS, "a fee is counted in a sale and not given back in its ledger")
    fees = {fee.code: fee for journal in journals for fee in journal.fees.values()}
    codes = list(fees)
    seen = [*{*codes[-NEWEST:], *books.sample(codes)}]
    lessons = load_lessons(books.session, seen)
    books.must(set(seen) <= set(lessons), "an answered lesson is not there", len(seen), len(lessons))
    for code, lesson in lessons.items():
        by_hand = [(one.kind, one.amount) for one in lesson.entries if one.kind in ("paid", "refunded")]
        books.must(by_hand == fees[code].entries, "a ledger is not as it was answered", code, by_hand)
        balance = sum(SIGNS[one.kind] * one.amount for one in lesson.entries)
        books.must(lesson.balance == balance, "a balance is not the fold of its entries", code, balance)
        is_out = balance == 0 if lesson.was_given_back else balance == sum(_signed(*one) for one in by_hand)
        books.must(is_out, "a ledger says another thing than its entries", code, balance)


def _signed(kind: str, amount: int) -> int:
    return amount if kind == "paid" else -amount
