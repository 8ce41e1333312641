"""The shop's numbers: everything of some days that is counted, read once, beside as many days before."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from server.domain.asked_sizes import ASKED_BY, SizeCounted, count_sizes
from server.domain.catalogue import Catalogue
from server.domain.earnings import LessonFact
from server.domain.errors import Fault, InvalidInput
from server.domain.learner import QUESTIONS, ChoiceQuestion
from server.domain.lessons import read_day
from server.domain.money import Cents
from server.domain.numbers import DRAFT_BEGUN, QUOTE_KEPT, Chosen, QuoteFact, SaleFact
from server.domain.periods import months_after
from server.domain.policy import ShopTerms
from server.domain.seasons import Days, season_of
from server.domain.size_classes import Asked as AskedSize
from server.domain.size_classes import SizesBySlot, all_classes, class_of
from server.domain.slots import CORE_SLOTS
from server.domain.standing import state_before_sale
from server.persistence.numbers import (
    QuoteRead,
    begun_drafts,
    contracts_with_codes,
    load_tally,
    read_counter,
    read_lessons,
    read_missed,
    read_missed_by_deleted,
    read_quotes,
    read_sales,
)
from server.persistence.stock import load_held, load_on_hand
from server.usecases.work import Work

USUAL_WEEKS = 13
MOST_DAYS = 732
"""Two years: a chart of more weeks could not be read, nor are unbought quotes kept for longer."""
DAY_ACCEPTED = "a day such as 2026-11-25"
CAME = ("customer", "desk")


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of the numbers: which quotes are counted, whose sizes are shown, and which question splits them."""

    chosen: Chosen
    slot: str = "board"
    by: str = "foil_stage"


@dataclass(frozen=True)
class Numbers:
    """What was counted: quotes, contracts, what was begun and what nothing met, by their days; `before` of as many days before.

    `begun` and `gone` are numbers by day: of drafts begun, and of quotes that were deleted since.
    """

    asked: Asked
    quotes: tuple[QuoteFact, ...]
    before: tuple[QuoteFact, ...]
    sales: tuple[tuple[SaleFact, QuoteFact | None], ...]
    sales_before: tuple[tuple[SaleFact, QuoteFact | None], ...]
    begun: Mapping[date, int]
    gone: Mapping[date, int]
    unmet: int
    unmet_before: int
    counter: Cents
    counter_before: Cents
    sizes: Mapping[str, tuple[SizeCounted, ...]]
    lessons: tuple[LessonFact, ...]


def usual_days(today: date) -> tuple[date, date]:
    """The days that are shown where none are named: this week and the twelve before it."""
    return today - timedelta(days=today.weekday() + 7 * (USUAL_WEEKS - 1)), today


def usual_periods(today: date) -> Mapping[str, Days]:
    """Days that are often looked at, by their names."""
    month = today.replace(day=1)
    season = season_of(today)
    return {
        "last month": Days(months_after(month, -1), month - timedelta(days=1)),
        "30 days": Days(today - timedelta(days=29), today),
        "90 days": Days(today - timedelta(days=89), today),
        "this season" if season.first.year == today.year else "last season": season,
    }


def read_asked(typed: Mapping[str, str], today: date, catalogue: Catalogue) -> Asked:
    """What an address asks for; raises `InvalidInput` with all that cannot be read."""
    faults: list[Fault] = []
    first, last = read_days(typed, ("from", "to"), usual_days(today), faults)

    def one_of(name: str, accepted: Iterable[str], usual: str = "") -> str:
        value, known = typed.get(name, "").strip(), tuple(accepted)
        if value and value not in known:
            faults.append(Fault(name, "There is no such choice.", "one of: " + ", ".join(known) or "none"))
        return value or usual

    stages = QUESTIONS["foil_stage"]
    assert isinstance(stages, ChoiceQuestion)
    chosen = Chosen(
        first,
        last,
        spot=one_of("spot", catalogue.spots),
        water=one_of("water", ("sea", "lake")),
        came=one_of("came", CAME),
        foil_stage=one_of("foil_stage", stages.options),
    )
    asked = Asked(chosen, one_of("slot", CORE_SLOTS, "board"), one_of("by", ASKED_BY, "foil_stage"))
    if faults:
        raise InvalidInput(faults)
    return asked


def read_days(
    typed: Mapping[str, str], names: tuple[str, str], usual: tuple[date, date], faults: list[Fault]
) -> tuple[date, date]:
    """Two days, both included, with what is usual for each left blank; what is wrong with them is added to the faults."""
    texts = [typed.get(name, "").strip() for name in names]
    read = [read_day(text) if text else day for text, day in zip(texts, usual, strict=True)]
    for name, day in zip(names, read, strict=True):
        if day is None or not 1900 <= day.year <= 2200:
            faults.append(Fault(name, "This is not a day.", DAY_ACCEPTED))
            return usual
    first, last = read[0] or usual[0], read[1] or usual[1]
    if first > last or (last - first).days >= MOST_DAYS:
        words = "a day after the first, within two years of it"
        faults.append(Fault(names[1], "These days cannot be counted.", words))
        return usual
    return first, last


def moments_of(terms: ShopTerms, first: date, last: date) -> tuple[datetime, datetime]:
    """The moments at which a first day begins and the day after a last one, by the shop's clock."""
    zone = ZoneInfo(terms.time_zone)
    begin, end = (datetime.combine(day, time.min, tzinfo=zone) for day in (first, last + timedelta(days=1)))
    return begin, end


def facts_of(work: Work, first: date, last: date) -> tuple[list[tuple[QuoteRead, QuoteFact]], list[SaleFact]]:
    """The quotes first kept on some days, those of contracts made since the first, and these contracts."""
    terms = work.catalogue.policy.shop
    since, until = moments_of(terms, first, last)
    sales = read_sales(work.session, first)
    sold = {sale.quote: sale for sale in sales if sale.quote}
    read = read_quotes(work.session, since, until, first, work.now)
    return [(one, _fact(one, terms, work.today, sold.get(one.token))) for one in read], sales


def _fact(one: QuoteRead, terms: ShopTerms, today: date, sale: SaleFact | None) -> QuoteFact:
    state = state_before_sale(one.revision, one.valid_until, today, one.held, one.seen, is_withdrawn=one.is_withdrawn)
    return QuoteFact(
        day=terms.day_of(one.started_at),
        is_desks=one.is_desks,
        answers=one.answers,
        water=one.water,
        spot=one.spot,
        ideals=one.ideals,
        state=state if sale is None else sale.state,
        was_seen=one.seen is not None,
        was_agreed=one.was_held,
        lines=one.lines,
        margin=one.margin,
        sale=sale,
    )


def read_numbers(work: Work, asked: Asked) -> Numbers:
    """Count everything that an address asks for, of its days and of as many before."""
    session, chosen = work.session, asked.chosen
    first, last = chosen.before.first, chosen.last
    read, sales = facts_of(work, first, last)
    quotes = [fact for _, fact in read if chosen.has(fact)]
    of_quote = {one.token: fact for one, fact in read}
    paired = [(sale, of_quote.get(sale.quote)) for sale in sales]
    paired = [(sale, quote) for sale, quote in paired if not chosen.is_narrowed or (quote and chosen.has(quote))]
    asked_for = asked_sizes(work, [(one, fact) for one, fact in read if chosen.has(fact)], first)
    if not chosen.is_narrowed:
        asked_for += read_missed_by_deleted(session, first, last)
    asked_now = [one for one in asked_for if chosen.holds(one.day)]
    kept = tuple(quote for quote in quotes if chosen.holds(quote.day))
    terms = work.catalogue.policy.shop
    return Numbers(
        asked=asked,
        quotes=kept,
        before=tuple(quote for quote in quotes if chosen.before.holds(quote.day)),
        sales=tuple((sale, quote) for sale, quote in paired if chosen.holds(sale.day)),
        sales_before=tuple((sale, quote) for sale, quote in paired if chosen.before.holds(sale.day)),
        begun={} if chosen.is_narrowed else _begun(work, first, last),
        gone={} if chosen.is_narrowed else load_tally(session, QUOTE_KEPT, first, last),
        unmet=sum(one.is_unmet for one in asked_now),
        unmet_before=sum(one.is_unmet for one in asked_for if chosen.before.holds(one.day)),
        counter=read_counter(session, *moments_of(terms, chosen.first, last))[1],
        counter_before=read_counter(session, *moments_of(terms, first, chosen.before.last))[1],
        sizes=_sizes(work, asked_now),
        lessons=_lessons(work, chosen.first, last),
    )


def asked_sizes(work: Work, quotes: Iterable[tuple[QuoteRead, QuoteFact]], since: date) -> list[AskedSize]:
    """The sizes that quotes kept since a day ask for, each as its newest revision has it, on the day the quote was kept.

    One is missed if nothing free met it when the quote, or a revision of it that asked for about the same size, was kept.
    """
    missed = read_missed(work.session, since)
    return [
        AskedSize(
            slot,
            ideal,
            offered.get(slot, ""),
            _is_missed(missed.get((one.id, slot)), slot, ideal),
            *one.bounds[slot],
            fact.day,
        )
        for one, fact in quotes
        for offered in [{line.slot: line.sku for line in fact.lines}]
        for slot, ideal in fact.ideals.items()
    ]


def _is_missed(missed: float | None, slot: str, ideal: float) -> bool:
    return missed is not None and AskedSize(slot, missed).takes(ideal)


def _begun(work: Work, first: date, last: date) -> Mapping[date, int]:
    terms = work.catalogue.policy.shop
    there = Counter(terms.day_of(moment) for moment in begun_drafts(work.session, *moments_of(terms, first, last)))
    there.update(load_tally(work.session, DRAFT_BEGUN, first, last))
    return there


def classes_in(catalogue: Catalogue) -> SizesBySlot:
    """The classes of sizes of every core slot, by the parts on sale."""
    return all_classes({slot: [part.gear.size for part in catalogue.sold_in(slot)] for slot in CORE_SLOTS})


def _sizes(work: Work, asked: Sequence[AskedSize]) -> Mapping[str, tuple[SizeCounted, ...]]:
    classes = classes_in(work.catalogue)
    on_hand = pieces_by_class(work.catalogue, classes, load_on_hand(work.session))
    held = pieces_by_class(work.catalogue, classes, load_held(work.session, work.now))
    return {slot: count_sizes(slot, classes, asked, on_hand, held) for slot in CORE_SLOTS}


def pieces_by_class(catalogue: Catalogue, classes: SizesBySlot, pieces: Mapping[str, int]) -> Mapping[str, int]:
    """Pieces of parts on sale by the key of their class."""
    sums: Counter[str] = Counter()
    for slot in CORE_SLOTS:
        for part in catalogue.sold_in(slot):
            sums[class_of(classes[slot], part.gear.size).key] += pieces.get(part.sku, 0)
    return sums


def _lessons(work: Work, first: date, last: date) -> tuple[LessonFact, ...]:
    contracts = contracts_with_codes(work.session, first)
    by_code: dict[str, date] = {}
    by_lesson: dict[str, date] = {}
    for code, day, lessons in contracts:
        by_code[code] = day
        for lesson in lessons:
            by_lesson.setdefault(lesson, day)
    return tuple(
        LessonFact(
            one.kind,
            one.day,
            one.given_back,
            next((by_code[quote] for quote in one.quotes if quote in by_code), by_lesson.get(one.code)),
        )
        for one in read_lessons(work.session, first, last)
    )
