"""Invoices and credit notes as a page and as a PDF, and the book of all papers with its export."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import cast
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.codes import spaced_code
from server.domain.deposits import decimal_of
from server.domain.errors import Fault, InvalidInput
from server.domain.lessons import read_day
from server.domain.money import Cents, vat_inside
from server.domain.policy import Policy, ShopTerms
from server.domain.sales import MEANS_WORDS, PAPER_WORDS, Paper, PaperLine, Sale, counted_label, paper_number
from server.outside.pdf import pdf_of
from server.usecases.papers import Entered, PapersBook, paper_of, read_paper, read_papers
from server.usecases.sales import paper_name, policy_at, sale_for
from server.usecases.work import Work
from server.web.pages.calls import RowNumber
from server.web.pages.deposits import DAY_ACCEPTED, rate_words
from server.web.pages.forms import TypedForm
from server.web.pages.tables import table_to_save
from server.web.render import TEMPLATES, day_words, money_words
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

open_router = APIRouter(include_in_schema=False)
router = APIRouter(include_in_schema=False)

TEMPLATE = TEMPLATES / "sales" / "paper.typ"
MARGIN_NOTE = (
    "Margin scheme, second-hand goods: the tax on these goods is inside the seller’s margin and is not shown."
    " It cannot be deducted (Directive 2006/112/EC, Articles 226(14) and 325)."
)
COLUMNS = (
    "number",
    "day",
    "paper",
    "corrects",
    "sale",
    "scheme",
    "vat_percent",
    "gross",
    "vat",
    "net",
    "margin_vat",
)


@dataclass(frozen=True, slots=True)
class SellerShown:
    """The seller as a paper names it."""

    name: str
    lines: tuple[str, ...]
    vat_number: str


@dataclass(frozen=True, slots=True)
class LineShown:
    """A line of a paper, its amounts in the shop's money; the net one is rounded by itself, and empty under the margin scheme."""

    label: str
    rate: str
    net: str
    gross: str


@dataclass(frozen=True, slots=True)
class AmountShown:
    """An amount with its words."""

    words: str
    amount: str


@dataclass(frozen=True)
class PaperShown:
    """All that stands on a paper, in words, as the page and the PDF both say it.

    Its particulars are those of Directive 2006/112/EC, Article 226 (listed from memory): day, number, VAT number and names and
    addresses of both, what and how much, day of supply, taxable amount and VAT by rate.
    """

    kind: str
    number: str
    day: str
    supplied: str
    corrects: str
    why: str
    code: str
    seller: SellerShown
    buyer: tuple[str, ...]
    lines: tuple[LineShown, ...]
    vat: tuple[tuple[str, str, str, str], ...]
    total: str
    margin_note: str
    account: tuple[AmountShown, ...]
    left: AmountShown
    as_of: str
    bank: tuple[str, ...]
    """The shop's account and what to write on a transfer, while something is left to pay."""


@dataclass(frozen=True)
class PaperPage:
    """A paper as a page, where its PDF is, and the way back."""

    paper: PaperShown
    pdf: str
    back_to: str


@dataclass(frozen=True, slots=True)
class EnteredShown:
    """A paper in the book; amounts in cents."""

    number: int
    name: str
    day: str
    kind: str
    corrects: str
    sale: int
    code: str
    gross: Cents
    vat: Cents


@dataclass(frozen=True)
class PapersPage(TypedForm):
    """The book of papers from one day to another; amounts in cents."""

    title: str
    rows: tuple[EnteredShown, ...]
    vat: tuple[tuple[str, Cents, Cents, Cents], ...]
    gross: Cents
    margin_gross: Cents
    margin_vat: Cents
    series: str
    series_faults: tuple[str, ...]
    query: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()


# The book.


@router.get("/desk/papers")
def book(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The papers from one day to another, this month's where none is named, with VAT by rate and whether the series is whole."""
    with shop.reading(account.name) as work:
        faults: tuple[Fault, ...] = ()
        try:
            listed = read_papers(work, *_days_asked(request, work))
        except InvalidInput as error:
            faults = error.faults
            listed = read_papers(work, *_usual_days(work))
        typed = {name: request.query_params.get(name, "") for name in ("from", "to")} if faults else {}
        page = _papers_page(work, listed, typed, faults)
        status = 422 if faults else 200
        return pages.show(request, "sales/papers.html", page, work.catalogue.policy.shop, status=status)


@router.get("/desk/papers/export.csv")
def export(request: Request, account: StaffOf, shop: ShopOf) -> Response:
    """The same papers for the bookkeeper, a row for each rate on each, without anybody's name."""
    with shop.reading(account.name) as work:
        listed = read_papers(work, *_days_asked(request, work))
        rows = [row for one in listed.entries for row in _rows(one, paper_name(work, one.paper))]
    return table_to_save(f"papers-{listed.first.isoformat()}-{listed.last.isoformat()}.csv", [COLUMNS, *rows])


def _rows(one: Entered, name: str) -> Iterable[tuple[str, ...]]:
    """The rows of a paper: one for each rate, and one for what stands under the margin scheme."""
    paper = one.paper
    corrects = str(paper.corrects or "")
    head = (name, paper.day.isoformat(), paper.kind, corrects, one.code)
    for rate in paper.vat:
        amounts = (decimal_of(rate.gross), decimal_of(rate.vat), decimal_of(rate.net))
        yield (*head, "standard", rate_words(rate.percent), *amounts, "")
    margin = sum(line.gross for line in paper.lines if line.scheme == "margin")
    if paper.has_margin_lines:
        yield (*head, "margin", "", decimal_of(margin), "", "", decimal_of(one.margin_vat))


def _usual_days(work: Work) -> tuple[date, date]:
    return work.today.replace(day=1), work.today


def _days_asked(request: Request, work: Work) -> tuple[date, date]:
    """The days of the address, both included; raises `InvalidInput` for what is no day."""
    usual = _usual_days(work)
    asked = [request.query_params.get(name, "").strip() for name in ("from", "to")]
    read = [read_day(text) if text else day for text, day in zip(asked, usual, strict=True)]
    faults = [
        Fault(name, "This is not a day.", DAY_ACCEPTED)
        for name, day in zip(("from", "to"), read, strict=True)
        if day is None
    ]
    if faults:
        raise InvalidInput(faults)
    return cast(tuple[date, date], tuple(read))


def _papers_page(work: Work, listed: PapersBook, typed: Mapping[str, str], faults: tuple[Fault, ...]) -> PapersPage:
    terms, prefix = work.catalogue.policy.shop, work.catalogue.policy.sales.invoice_prefix
    here = {"from": listed.first.isoformat(), "to": listed.last.isoformat()}
    series = "No paper was written yet."
    if listed.newest:
        series = f"The series runs from {paper_number(1, prefix)} to {paper_number(listed.newest, prefix)}"
    return PapersPage(
        title=f"{day_words(listed.first, terms)} to {day_words(listed.last, terms)}",
        rows=tuple(
            EnteredShown(
                one.paper.number,
                paper_name(work, one.paper),
                day_words(one.paper.day, terms),
                PAPER_WORDS[one.paper.kind],
                paper_number(one.paper.corrects, prefix) if one.paper.corrects else "",
                one.sale,
                one.code,
                one.paper.gross,
                sum(rate.vat for rate in one.paper.vat),
            )
            for one in listed.entries
        ),
        vat=tuple((f"{rate_words(one.percent)} %", one.gross, one.vat, one.net) for one in listed.vat),
        gross=listed.gross,
        margin_gross=listed.margin_gross,
        margin_vat=listed.margin_vat,
        series=series,
        series_faults=listed.faults,
        query=urlencode(here),
        typed={**here, **typed},
        faults=faults,
    )


# One paper.


@router.get("/desk/papers/{number}")
def show(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """A paper at the desk, to read or to print."""
    with shop.reading(account.name) as work:
        paper, sale = read_paper(work, number)
        page = PaperPage(shown_paper(work, paper, sale), f"/desk/papers/{number}/pdf", f"/desk/sales/{sale.id}")
        return pages.show(request, "sales/paper.html", page, work.catalogue.policy.shop)


@router.get("/desk/papers/{number}/pdf")
def as_pdf(number: RowNumber, account: StaffOf, shop: ShopOf) -> Response:
    """A paper as a PDF."""
    with shop.reading(account.name) as work:
        paper, sale = read_paper(work, number)
        shown = shown_paper(work, paper, sale)
    return _pdf(shown)


@open_router.get("/owned/{token}/papers/{number}")
def customers(request: Request, token: str, number: RowNumber, shop: ShopOf, pages: PagesOf) -> Response:
    """A paper of the customer's own."""
    with shop.reading() as work:
        sale = sale_for(work, token)
        shown = shown_paper(work, paper_of(sale, number), sale)
        page = PaperPage(shown, f"/owned/{token}/papers/{number}/pdf", f"/owned/{token}")
        return pages.show(request, "sales/paper.html", page, work.catalogue.policy.shop)


@open_router.get("/owned/{token}/papers/{number}/pdf")
def customers_pdf(token: str, number: RowNumber, shop: ShopOf) -> Response:
    """A paper of the customer's own as a PDF."""
    with shop.reading() as work:
        sale = sale_for(work, token)
        shown = shown_paper(work, paper_of(sale, number), sale)
    return _pdf(shown)


def _pdf(shown: PaperShown) -> Response:
    name = "".join(sign for sign in shown.number if sign.isalnum() or sign == "-")
    headers = {"Content-Disposition": f'inline; filename="{shown.kind.lower().replace(" ", "-")}-{name}.pdf"'}
    return Response(pdf_of(TEMPLATE, asdict(shown)), media_type="application/pdf", headers=headers)


def seller_of(policy: Policy) -> SellerShown:
    """The seller's name, address and VAT number; without an address of its own, the place of the shop."""
    lines = tuple(line.strip() for line in policy.sales.seller_lines.split("\n") if line.strip())
    return SellerShown(policy.shop.name, lines or (policy.shop.place,), policy.sales.vat_number)


def shown_paper(work: Work, paper: Paper, sale: Sale) -> PaperShown:
    """A paper in words, with the seller as it was that day, and what was paid of the sale up to now."""
    policy = policy_at(work, paper.policy_version)
    terms = policy.shop

    def money(cents: Cents) -> str:
        return money_words(cents, terms)

    corrected = next((one for one in sale.papers if one.number == paper.corrects), None)
    corrects = ""
    if corrected is not None:
        corrects = f"{paper_name(work, corrected)} of {day_words(corrected.day, terms)}"
    owed = sale.owed
    left = ("Left to pay", owed) if owed > 0 else ("We owe you", -owed) if owed < 0 else ("Nothing is left to pay", 0)
    return PaperShown(
        kind=PAPER_WORDS[paper.kind],
        number=paper_name(work, paper),
        day=day_words(paper.day, terms),
        supplied=_supplied(paper, sale, terms),
        corrects=corrects,
        why=paper.why,
        code=spaced_code(sale.code),
        seller=seller_of(policy),
        buyer=tuple(paper.buyer.split("\n")) if paper.buyer else (),
        lines=tuple(_line(line, terms) for line in paper.lines),
        vat=tuple(
            (f"{rate_words(one.percent)} %", money(one.net), money(one.vat), money(one.gross)) for one in paper.vat
        ),
        total=money(paper.gross),
        margin_note=MARGIN_NOTE if paper.has_margin_lines else "",
        account=tuple(_account(work, sale, terms)),
        left=AmountShown(left[0], money(left[1]) if left[1] else ""),
        as_of=day_words(work.today, terms),
        bank=bank_of(work.catalogue.policy, sale) if paper.kind == "invoice" else (),
    )


def bank_of(policy: Policy, sale: Sale) -> tuple[str, ...]:
    """Where to pay by transfer and with which reference; empty where nothing is left to pay, or the shop takes none."""
    lines = tuple(line.strip() for line in policy.sales.bank_lines.split("\n") if line.strip())
    return (*lines, f"Reference: {spaced_code(sale.code)}") if lines and sale.owed > 0 else ()


def _supplied(paper: Paper, sale: Sale, terms: ShopTerms) -> str:
    """The day of supply of an invoice; before the goods were handed over nobody knows it yet."""
    if paper.kind == "credit_note":
        return ""
    numbers = {line.item for line in paper.lines}
    goods = [item for item in sale.goods if item.number in numbers and not (item.gone and item.received_on is None)]
    days = [item.received_on for item in goods]
    if not goods or None in days:
        return "on the day it is handed over" if goods else day_words(paper.day, terms)
    return day_words(max(day for day in days if day is not None), terms)


def _line(line: PaperLine, terms: ShopTerms) -> LineShown:
    label = counted_label(line.label, line.quantity)
    gross = money_words(line.gross, terms)
    if line.scheme == "margin":
        return LineShown(label, "margin scheme", "", gross)
    net = line.gross - vat_inside(line.gross, line.percent)
    return LineShown(label, f"{rate_words(line.percent)} %", money_words(net, terms), gross)


def _account(work: Work, sale: Sale, terms: ShopTerms) -> Iterator[AmountShown]:
    """The account of a sale: its papers, and what met them, with its sign."""
    for paper in sale.papers:
        words = f"{PAPER_WORDS[paper.kind]} {paper_name(work, paper)}, {day_words(paper.day, terms)}"
        yield AmountShown(words, money_words(paper.gross, terms))
    for one in sale.settlements:
        means = MEANS_WORDS[one.means]
        words = f"{means[:1].upper()}{means[1:]}, {day_words(one.day, terms)}"
        yield AmountShown(words if one.amount > 0 else f"{words}, to you", money_words(-one.amount, terms))
