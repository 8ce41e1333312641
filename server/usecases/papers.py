"""The papers of some days for the bookkeeper: VAT by rate, the tax on margins, and that their series is whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from server.domain.errors import Fault, InvalidInput, NotFound
from server.domain.money import Cents
from server.domain.sales import Paper, Sale, VatLine, margin_vat_of, series_faults
from server.persistence.sales import last_number, load_paper, load_papers, load_sales, paper_numbers
from server.usecases.sales import NO_SALE, read_sale
from server.usecases.work import Work

LONGEST_DAYS = 3660


@dataclass(frozen=True, slots=True)
class Entered:
    """A paper in the book with the code and number of its sale; `margin_vat` is what it adds to the tax on margins, in cents."""

    paper: Paper
    sale: int
    code: str
    margin_vat: Cents


@dataclass(frozen=True)
class PapersBook:
    """The papers of some days, both included, with their sums in cents; `faults` says what is wrong with the whole series."""

    first: date
    last: date
    entries: tuple[Entered, ...]
    vat: tuple[VatLine, ...]
    margin_gross: Cents
    faults: tuple[str, ...]
    newest: int

    @property
    def gross(self) -> Cents:
        """The sum of all papers."""
        return sum(one.paper.gross for one in self.entries)

    @property
    def margin_vat(self) -> Cents:
        """The tax on the margins of pieces sold, less those taken back."""
        return sum(one.margin_vat for one in self.entries)


def read_papers(work: Work, first: date, last: date) -> PapersBook:
    """The book of the papers of some days; raises `InvalidInput` where the first day is after the last, or they are too far apart."""
    if first > last or (last - first).days > LONGEST_DAYS:
        raise InvalidInput([Fault("to", "These days cannot be listed.", "a day after the first, within ten years")])
    papers = load_papers(work.session, first, last)
    sales = {sale.id: sale for sale in load_sales(work.session, sorted({sale for _, sale in papers}))}
    entries = tuple(_entered(paper, sales[sale]) for paper, sale in papers)
    newest = last_number(work.session)
    return PapersBook(
        first=first,
        last=last,
        entries=entries,
        vat=vat_sums([one.paper for one in entries]),
        margin_gross=sum(line.gross for one in entries for line in one.paper.lines if line.scheme == "margin"),
        faults=series_faults(paper_numbers(work.session), 1, newest),
        newest=newest,
    )


def _entered(paper: Paper, sale: Sale) -> Entered:
    before = [one for one in sale.papers if one.number < paper.number]
    return Entered(paper, sale.id, sale.code, margin_vat_of(before, paper))


def vat_sums(papers: Sequence[Paper]) -> tuple[VatLine, ...]:
    """The VAT by rate as it was written on papers, the highest rate first: summed, not worked out anew."""
    sums: dict[Decimal, tuple[Cents, Cents]] = {}
    for one in (line for paper in papers for line in paper.vat):
        gross, vat = sums.get(one.percent, (0, 0))
        sums[one.percent] = (gross + one.gross, vat + one.vat)
    return tuple(VatLine(percent, *sums[percent]) for percent in sorted(sums, reverse=True))


def read_paper(work: Work, number: int) -> tuple[Paper, Sale]:
    """A paper by its number in the series, with its sale; raises `NotFound`."""
    found = load_paper(work.session, number)
    if found is None:
        raise NotFound("paper", "There is no paper with this number.")
    paper, sale = found
    return paper, read_sale(work, sale)


def paper_of(sale: Sale, number: int) -> Paper:
    """A paper of a sale; raises `NotFound` for another's."""
    found = next((paper for paper in sale.papers if paper.number == number), None)
    if found is None:
        raise NotFound("paper", NO_SALE)
    return found
