"""The shop's numbers for its owner: what was kept, bought and missed, as a chart and a table each, over days of the address."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.asked_sizes import SizeCounted
from server.domain.errors import Fault, InvalidInput, NotFound
from server.domain.learner import QUESTIONS, ChoiceQuestion
from server.domain.money import Cents
from server.domain.numbers import share_words
from server.domain.policy import ShopTerms
from server.domain.slots import SLOT_WORDS
from server.usecases.numbers import Numbers, read_asked, read_numbers, usual_periods
from server.usecases.work import Work
from server.web.pages.forms import TypedForm
from server.web.pages.number_sections import Section, query_of, sections_of, typed_of, whole_words
from server.web.pages.number_tables import (
    ANSWER_WORDS,
    answer_words,
    asked_class_words,
    before_of,
    margins_of,
    missed_in,
    per_cent_words,
    whole_of,
)
from server.web.pages.tables import table_to_save
from server.web.render import day_words
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

FIELDS = ("from", "to", "spot", "water", "came", "foil_stage", "slot", "by")


@dataclass(frozen=True, slots=True)
class Compared:
    """A number of these days beside the same of the days before."""

    words: str
    now: str
    before: str


@dataclass(frozen=True)
class NumbersPage(TypedForm):
    """The numbers of some days: money and contracts first, then what was not there, then section by section."""

    days: str
    before: str
    charged: str
    contracts: int
    kept: int
    share: str
    compared: tuple[Compared, ...]
    missing: tuple[str, ...]
    narrowed: str
    periods: tuple[tuple[str, str, bool], ...]
    """Days that are often looked at: words, address, and whether they are these."""
    sections: tuple[Section, ...]
    choices: Mapping[str, tuple[tuple[str, str], ...]]
    orders: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()


@owner_router.get("/console/numbers")
def show(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The numbers of the days in the address, the last thirteen weeks where none are named."""
    typed = {name: request.query_params.get(name, "") for name in FIELDS}
    with shop.reading(account.name) as work:
        faults: tuple[Fault, ...] = ()
        try:
            asked = read_asked(typed, work.today, work.catalogue)
        except InvalidInput as error:
            faults, asked = error.faults, read_asked({}, work.today, work.catalogue)
        page = _page(work, read_numbers(work, asked), typed if faults else typed_of(asked), faults)
        return pages.show(
            request, "console/numbers.html", page, work.catalogue.policy.shop, status=422 if faults else 200
        )


@owner_router.get("/console/numbers/{name}.csv")
def export(request: Request, name: str, account: OwnerOf, shop: ShopOf) -> Response:
    """The table of one section, exactly as the page with the same address has it."""
    typed = {field: request.query_params.get(field, "") for field in FIELDS}
    with shop.reading(account.name) as work:
        asked = read_asked(typed, work.today, work.catalogue)
        sections = {one.key: one for one in sections_of(work, read_numbers(work, asked))}
    if name not in sections:
        raise NotFound("name", "There is no such table: " + ", ".join(sections) + " are there.")
    days = f"{asked.chosen.first.isoformat()}-{asked.chosen.last.isoformat()}"
    return table_to_save(f"{name}-{days}.csv", sections[name].table.as_rows())


def _page(work: Work, numbers: Numbers, typed: Mapping[str, str], faults: tuple[Fault, ...]) -> NumbersPage:
    terms, chosen = work.catalogue.policy.shop, numbers.asked.chosen
    now, whole = margins_of(numbers.sales), whole_of(numbers)
    return NumbersPage(
        days=f"{day_words(chosen.first, terms)} to {day_words(chosen.last, terms)}",
        before=f"{day_words(chosen.before.first, terms)} to {day_words(chosen.before.last, terms)}",
        charged=whole_words(now.charged, terms),
        contracts=now.contracts,
        kept=whole.kept,
        share=share_words(whole.bought, whole.kept),
        compared=_compared(numbers, terms),
        missing=tuple(_missed_words(one) for one in missed_in(numbers)[:3]),
        periods=tuple(
            (
                words,
                f"/console/numbers?{query_of(numbers.asked, **{'from': days.first.isoformat(), 'to': days.last.isoformat()})}",
                (days.first, days.last) == (chosen.first, chosen.last),
            )
            for words, days in usual_periods(work.today).items()
        ),
        narrowed="Some quotes only: lessons, drafts begun and sales over the counter cannot be told apart by answers."
        if chosen.is_narrowed
        else "",
        sections=sections_of(work, numbers),
        choices=_choices(work),
        orders="/console/orders",
        typed=typed,
        faults=faults,
    )


def _missed_words(one: SizeCounted) -> str:
    words = f"{SLOT_WORDS[one.size.slot]}, {asked_class_words(one.size)}; {one.unmet} of {one.asked} asked in vain"
    return f"{words}, {one.on_hand or 'none'} on hand now" if one.size.is_stocked else words


def _choices(work: Work) -> Mapping[str, tuple[tuple[str, str], ...]]:
    stages = QUESTIONS["foil_stage"]
    assert isinstance(stages, ChoiceQuestion)
    return {
        "spot": tuple((spot, spot) for spot in work.catalogue.spots),
        "water": tuple(ANSWER_WORDS["water"].items()),
        "came": tuple(ANSWER_WORDS["came"].items()),
        "foil_stage": tuple((stage, answer_words("foil_stage", stage)) for stage in stages.options),
    }


def _compared(numbers: Numbers, terms: ShopTerms) -> tuple[Compared, ...]:
    whole, before = whole_of(numbers), before_of(numbers)
    money, earlier = margins_of(numbers.sales), margins_of(numbers.sales_before)

    def amount(cents: Cents) -> str:
        return whole_words(cents, terms)

    def margin(percent: Fraction, cents: Cents, is_there: int) -> str:
        return f"{amount(cents)}, {per_cent_words(percent)}" if is_there else "–"

    pairs = [
        ("Quotes kept", f"{whole.kept:,}", f"{before.kept:,}"),
        ("of them bought so far", share_words(whole.bought, whole.kept), share_words(before.bought, before.kept)),
        ("Contracts made", f"{money.contracts:,}", f"{earlier.contracts:,}"),
        ("Charged in them", amount(money.charged), amount(earlier.charged)),
        (
            "Discount",
            _of_list(money.discount, money.discount_percent, terms),
            _of_list(earlier.discount, earlier.discount_percent, terms),
        ),
        (
            "Margin, of net revenue",
            margin(money.margin_percent, money.margin, money.with_margin),
            margin(earlier.margin_percent, earlier.margin, earlier.with_margin),
        ),
        ("Asked for and not there", f"{numbers.unmet:,}", f"{numbers.unmet_before:,}"),
    ]
    if whole.begun is not None:
        pairs.insert(0, ("Drafts begun", f"{whole.begun:,}", f"{before.begun or 0:,}"))
        pairs.append(("Sold over the counter", amount(numbers.counter), amount(numbers.counter_before)))
    return tuple(Compared(*pair) for pair in pairs)


def _of_list(cents: Cents, percent: Fraction, terms: ShopTerms) -> str:
    return f"{whole_words(cents, terms)}, {per_cent_words(percent)}" if cents else "–"
