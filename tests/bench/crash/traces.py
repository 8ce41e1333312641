"""What a form has left in the database, by its key; and sending forms again, which must do nothing twice."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any

import httpx
from sqlalchemy import text
from sqlmodel import Session, SQLModel, col, select
from sqlmodel.sql.expression import SelectOfScalar

from server.persistence.tables import (
    CaseRow,
    CatalogueRow,
    CounterSaleRow,
    DepositRow,
    HoldRow,
    LessonRow,
    MarkRow,
    MessageRow,
    OnceRow,
    PaperRow,
    PieceRow,
    PricePointRow,
    QuoteRow,
    RevisionRow,
    SaleItemRow,
    SaleRow,
    SettlementRow,
    StepRow,
    StockRow,
)
from tests.bench.crash.books import Books
from tests.bench.crash.books_quotes import digest_of
from tests.bench.crash.customers import made_by
from tests.bench.crash.journal import OF_A_SALE, Form, Journal, Once
from tests.bench.crash.worker import number_in, visitor
from tests.bench.harness import Outcome
from tests.pages.reader import FORM

GROWING: tuple[type[SQLModel], ...] = (
    *(CaseRow, CatalogueRow, CounterSaleRow, DepositRow, HoldRow, LessonRow, MarkRow, MessageRow, OnceRow, PaperRow),
    *(PieceRow, PricePointRow, QuoteRow, RevisionRow, SaleItemRow, SaleRow, SettlementRow, StepRow, StockRow),
)
"""Tables of which every act of the shop adds a row to one at least."""
NOT_BY_A_KEY = ("import", "undo", "take_back")
"""Acts whose refusal may be followed by another form that does the same."""
SENT_AGAIN = 1
"""Of so many acts each worker sends one that was done again: the rare ones as often as the frequent."""


def trace(session: Session, form: Form) -> int | None:
    """The number of what a form has done, as the database has it; None where it has done nothing."""
    if form.act in OF_A_SALE:
        mark = select(MarkRow).where(col(MarkRow.sale_id) == int(form.subject), col(MarkRow.key) == form.key)
        row = session.exec(mark).one_or_none()
        return None if row is None else row.id
    match form.act:
        case "contract":
            return session.exec(select(SaleRow.id).where(col(SaleRow.key) == form.key)).one_or_none()
        case "sell":
            return session.exec(select(CounterSaleRow.id).where(col(CounterSaleRow.key) == form.key)).one_or_none()
        case "take_back":
            sale = session.get(CounterSaleRow, int(form.subject))
            return None if sale is None or sale.taken_back_at is None else sale.id
        case "fee":
            return session.exec(_entries(form, "paid")).first()
        case "refund":
            return session.exec(
                _entries(form, "refunded").where(col(DepositRow.why) == form.about["why"])
            ).one_or_none()
        case "undo":
            return session.exec(select(StepRow.version).where(col(StepRow.undoes) == int(form.subject))).one_or_none()
    newer = select(StepRow.version).where(col(StepRow.kind) == "import", col(StepRow.version) > form.about["newest"])
    return session.exec(newer.order_by(col(StepRow.version))).first()


def _entries(form: Form, kind: str, why: str | None = None) -> SelectOfScalar[Any]:
    of_code = select(DepositRow.id).where(col(DepositRow.code) == form.subject, col(DepositRow.kind) == kind)
    return of_code if why is None else of_code.where(col(DepositRow.why) == why)


def check_forms(books: Books, journal: Journal) -> None:
    """What was answered as done is there, what was refused is not, and what was in flight is there or not; the journal then knows."""
    old = books.sample(journal.forms[: journal.looked_at])
    for form in [*old, *journal.new_forms()]:
        found = trace(books.session, form)
        if form.state == "done":
            books.must(found is not None, "an answered act is not there", form.act, form.subject, form.key)
            _check_amount(books, form, found)
        elif form.state == "refused" and form.act not in NOT_BY_A_KEY:
            books.must(found is None, "a refused act is there", form.act, form.subject, form.key)
        elif form.state == "sent":
            books.outcome.done["in flight and done" if found is not None else "in flight and not done"] += 1
            journal.settle(form, found)
    journal.looked_at = len(journal.forms)


def _check_amount(books: Books, form: Form, found: int | None) -> None:
    if form.act in ("pay", "pay_out") and found is not None:
        amount = json.loads(books.session.get_one(MarkRow, found).about)["amount"]
        books.must(amount == form.about["amount"], "a payment has another amount than was typed", form.subject, amount)


def rows_counted(session: Session) -> tuple[int, ...]:
    """How many rows every table that grows by acts has, in one query."""
    query = " UNION ALL ".join(f"SELECT COUNT(*) FROM {table.__tablename__}" for table in GROWING)
    counted = tuple(session.execute(text(query)).scalars().all())
    session.rollback()
    return counted


class Again:
    """Sends what was sent before once more, while nobody else works."""

    def __init__(self, session: Session, outcome: Outcome, address: str, cookie: str) -> None:
        self.session, self.outcome = session, outcome
        self.customers, self.desk = visitor(address), visitor(address, cookie)

    def close(self) -> None:
        """Nothing is sent any more."""
        self.customers.close()
        self.desk.close()

    def _counted(self, answer: httpx.Response) -> httpx.Response:
        self.outcome.statuses[answer.status_code] += 1
        self.outcome.done["requests"] += 1
        self.outcome.done["sent again"] += 1
        return answer

    def forms(self, journal: Journal, interrupted: Sequence[Form]) -> None:
        """What was in flight, until it is done or refused, and a few of those that were done: nothing is done twice."""
        for form in interrupted:
            self._finish(journal, form)
        done = [form for form in journal.forms if form.state == "done"]
        for act in journal.draw.sample(acts := sorted({form.act for form in done}), min(SENT_AGAIN, len(acts))):
            self._changes_nothing(journal.draw.choice([form for form in done if form.act == act]))

    def _finish(self, journal: Journal, form: Form) -> None:
        """What was not done before is done or refused now; sent once more still it changes nothing."""
        if form.state != "done":
            answer = self._sent(form)
            self.outcome.must(answer.status_code in (303, 404, 409, 422), "sent again", form.act, answer.status_code)
            found = self._done_by(form, answer)
            if answer.status_code == 303:
                is_there = found is not None or self._was_bought_meanwhile(journal, form, answer)
                self.outcome.must(is_there, "sent again it was answered as done and is not there", form.act)
            journal.settle(form, found)
        self._changes_nothing(form)

    def _done_by(self, form: Form, answer: httpx.Response) -> int | None:
        """What a form has done by now; an import has no key, and another one may have come since, so that its answer says it."""
        if form.act == "import":
            return number_in(answer.headers["location"], form) if answer.status_code == 303 else None
        found = trace(self.session, form)
        self.session.rollback()
        return found

    def _was_bought_meanwhile(self, journal: Journal, form: Form, answer: httpx.Response) -> bool:
        """Whether a contract was refused because another form has made it since: that one's sale is then shown, and no other."""
        if form.act != "contract":
            return False
        others = {one.key for one in journal.forms if one.act == "contract" and one.subject == form.subject} - {
            form.key
        }
        sale = self.session.exec(select(SaleRow).where(col(SaleRow.quote_token) == form.subject)).one_or_none()
        shown = None if sale is None else f"/desk/sales/{sale.id}"
        is_theirs = sale is not None and sale.key in others and answer.headers["location"] == shown
        self.session.rollback()
        return is_theirs

    def _changes_nothing(self, form: Form) -> None:
        before = rows_counted(self.session)
        answer = self._sent(form)
        after = rows_counted(self.session)
        grown = [str(table.__tablename__) for table, a, b in zip(GROWING, before, after, strict=True) if a != b]
        self.outcome.must(not grown, "sent again it did something twice", form.act, form.subject, grown)
        self.outcome.must(answer.status_code in (303, 404, 409, 422), "sent again", form.act, answer.status_code)

    def _sent(self, form: Form) -> httpx.Response:
        return self._counted(self.desk.post(form.path, content=form.body, headers=FORM))

    def onces(self, onces: Iterable[Once]) -> None:
        """Quotes under the same keys: what was kept is found again, the rest is kept now or refused."""
        for once in onces:
            done = self.session.get(OnceRow, digest_of(once.key), populate_existing=True)
            was = (self.session.get_one(QuoteRow, done.quote_id).token, done.revision) if done else None
            self.session.rollback()
            answer = self._counted(
                self.customers.post("/api/quotes", json=once.body, headers={"Idempotency-Key": once.key})
            )
            is_right = answer.status_code == 201 or (was is None and answer.status_code in (409, 422))
            self.outcome.must(is_right, "sent again", once.key, answer.status_code)
            if answer.status_code == 201:
                once.answered = made_by(answer)
                self.outcome.must(was in (None, once.answered), "sent again, it made another quote", once.key, was)
