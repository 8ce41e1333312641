"""What customers ask after the handover, at the desk; and whom a maker's recall concerns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.aftercare import Waiting
from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.pieces import SOURCE_WORDS
from server.domain.policy import ShopTerms
from server.domain.recall import SoldPart, read_recall
from server.usecases.aftercare import (
    Recalled,
    answer_question,
    find_recalled,
    questions_answered,
    questions_to_answer,
    read_question,
)
from server.usecases.sales import read_sale
from server.usecases.work import Work
from server.web.pages.calls import RowNumber
from server.web.pages.desk import when_words
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.pages.owned import QuestionShown, questions_shown
from server.web.pages.tables import table_to_save
from server.web.render import day_words, see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

RECALL_FIELDS = ("maker", "sku", "first", "last", "listed")
RECALL_WORDS = {
    "maker": "Maker",
    "sku": "SKU",
    "first": "From serial number",
    "last": "To serial number",
    "listed": "A list of serial numbers",
}
RECALL_COLUMNS = ("name", "telephone", "e-mail", "part", "sku", "serial number", "since", "where", "sale")
LONGEST_SHOWN = 90


@dataclass(frozen=True, slots=True)
class QuestionRowShown:
    """A question in a list: who asks what, since when."""

    number: int
    name: str
    code: str
    words: str
    when: str
    answered: str


@dataclass(frozen=True)
class QuestionsPage:
    """The questions that wait, and those that were answered."""

    waiting: tuple[QuestionRowShown, ...]
    answered: tuple[QuestionRowShown, ...]


@dataclass(frozen=True)
class QuestionPage(TypedForm):
    """One question with what was asked before, and the answer as it was typed."""

    number: int
    sale: int
    code: str
    name: str
    phone: str
    email: str
    question: QuestionShown
    others: tuple[QuestionShown, ...]
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class OwnerShown:
    """An owner of a part that is called back, and how to reach them."""

    name: str
    phone: str
    email: str
    label: str
    serial: str
    since: str
    where: str
    sale: int


@dataclass(frozen=True)
class RecallPage(TypedForm):
    """A recall as it was typed, and whom it concerns; `is_asked` once it was looked for."""

    is_asked: bool
    owners: tuple[OwnerShown, ...]
    unknown: tuple[OwnerShown, ...]
    pieces: tuple[tuple[int, str, str, str], ...]
    shelf: tuple[tuple[str, str, int], ...]
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for."""
        return RECALL_WORDS.get(name, "")


def shortened(text: str) -> str:
    """The beginning of a text on one line."""
    line = " ".join(text.split())
    return line if len(line) <= LONGEST_SHOWN else f"{line[:LONGEST_SHOWN].rstrip()} …"


# Questions.


@router.get("/desk/questions")
def questions(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The questions that wait for an answer, oldest first, and those answered lately."""
    with shop.reading(account.name) as work:
        terms = work.catalogue.policy.shop

        def row(one: Waiting) -> QuestionRowShown:
            question = one.question
            when = when_words(question.asked_at, work.now, terms)
            by = f"by {question.answered_by}" if question.answered_at else ""
            return QuestionRowShown(question.id, one.name, one.code, shortened(question.text), when, by)

        page = QuestionsPage(
            tuple(map(row, questions_to_answer(work))), tuple(map(row, questions_answered(work, most=50)))
        )
        return pages.show(request, "owned/questions.html", page, terms)


@router.get("/desk/questions/{number}")
def question(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """One question, to be answered."""
    with shop.reading(account.name) as work:
        return pages.show(request, "owned/question.html", _question_page(work, number), work.catalogue.policy.shop)


def _question_page(work: Work, number: int, answer: str = "", faults: Sequence[Fault] = ()) -> QuestionPage:
    sale = read_sale(work, read_question(work, number).sale_id)
    shown = questions_shown(work, sale)
    return QuestionPage(
        number=number,
        sale=sale.id,
        code=sale.code,
        name=sale.contact.name,
        phone=sale.contact.phone,
        email=sale.contact.email,
        question=next(one for one in shown if one.number == number),
        others=tuple(one for one in shown if one.number != number),
        typed={"answer": answer},
        faults=tuple(faults),
    )


@router.post("/desk/questions/{number}")
def answer(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Answer a question, and on to the list."""
    text = text_in(form, "answer").replace("\r\n", "\n")
    try:
        with shop.writing(account.name) as work:
            answer_question(work, number, text)
        return see_other("/desk/questions")
    except InvalidInput as error:
        faults, status = error.faults, 422
    except Conflict as error:
        faults, status = error.faults, 409
    with shop.reading(account.name) as work:
        page = _question_page(work, number, text, faults)
        return pages.show(request, "owned/question.html", page, work.catalogue.policy.shop, status=status)


# Recalls.


@router.get("/desk/recall")
def recall(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """What a maker calls back: the form."""
    with shop.reading(account.name) as work:
        page = RecallPage(False, (), (), (), ())
        return pages.show(request, "owned/recall.html", page, work.catalogue.policy.shop)


@router.post("/desk/recall")
def find(request: Request, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Whom it concerns, on the page or as a table to save. Nothing is written: a form only because a list may be long."""
    typed = {name: text_in(form, name) for name in RECALL_FIELDS}
    with shop.reading(account.name) as work:
        terms = work.catalogue.policy.shop
        try:
            asked = read_recall(**typed)
            found = find_recalled(work, asked)
        except InvalidInput as error:
            page = RecallPage(False, (), (), (), (), typed, error.faults)
            return pages.show(request, "owned/recall.html", page, terms, status=422)
        if text_in(form, "do") == "csv":
            return _table(found)
        return pages.show(request, "owned/recall.html", _recall_page(found, typed, terms), terms)


def _recall_page(found: Recalled, typed: Mapping[str, str], terms: ShopTerms) -> RecallPage:
    return RecallPage(
        True,
        tuple(_owner(one, terms) for one in found.owners),
        tuple(_owner(one, terms) for one in found.unknown),
        tuple((one.id, one.name, one.serial or "not known", SOURCE_WORDS[one.source]) for one in found.pieces),
        tuple((part.sku, part.name, pieces) for part, pieces in found.shelf),
        typed,
    )


def _owner(one: SoldPart, terms: ShopTerms) -> OwnerShown:
    since = one.received_on or one.sent_on
    return OwnerShown(
        one.contact.name or "not kept any more",
        one.contact.phone,
        one.contact.email,
        one.label,
        one.serial or "not known",
        day_words(since, terms) if since else "",
        _where(one),
        one.sale_id,
    )


def _where(one: SoldPart) -> str:
    if one.gone:
        return f"came back: {one.gone}"
    return "with the customer" if one.received_on else "on its way"


def _table(found: Recalled) -> Response:
    """The list as a table to save."""
    rows: list[Sequence[str]] = [RECALL_COLUMNS, *(_cells(one) for one in (*found.owners, *found.unknown))]
    rows += [("", "", "", one.name, one.sku, one.serial, "", "with us", "") for one in found.pieces]
    return table_to_save("recall.csv", rows)


def _cells(one: SoldPart) -> Sequence[str]:
    since: date | None = one.received_on or one.sent_on
    day = since.isoformat() if since else ""
    contact = one.contact
    return (
        contact.name,
        contact.phone,
        contact.email,
        one.label,
        one.sku,
        one.serial,
        day,
        _where(one),
        str(one.sale_id),
    )
