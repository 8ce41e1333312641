"""The tables of the numbers: each shown on the page and written as CSV from the same cells."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from server.domain.asked_sizes import SizeCounted, count_answers, most_missed
from server.domain.deposits import decimal_of
from server.domain.earnings import Earned, count_lessons, earned
from server.domain.money import Cents
from server.domain.numbers import (
    QuoteFact,
    QuotesCounted,
    SaleFact,
    by_week,
    count_quotes,
    monday_of,
    share_words,
    weeks_between,
)
from server.domain.policy import ShopTerms
from server.domain.size_classes import SizeClass
from server.domain.slots import SLOT_WORDS, UNITS
from server.usecases.numbers import Numbers
from server.web.pages.words import UNIT_WORDS
from server.web.render import money_words

ANSWER_WORDS: Mapping[str, Mapping[str, str]] = {
    "foil_stage": {
        "none": "not yet",
        "towed": "behind a boat or in a lesson",
        "short_flights": "alone, under 50 m",
        "long_flights": "50 to 100 m and more",
        "turning": "turns while flying",
    },
    "board_background": {"strong": "years on boards", "some": "some", "none": "nothing yet"},
    "fitness": {"high": "200 m without stopping", "fair": "with a pause", "low": "less than that"},
    "to_feet": {"quick": "under 2 seconds", "average": "2 to 4 seconds", "slow": "longer, or with a hand"},
    "water": {"sea": "the sea", "lake": "a lake"},
    "came": {"customer": "kept by the customer", "desk": "kept at the desk"},
}
ASKED_WORDS: Mapping[str, str] = {
    "foil_stage": "Flown on a foil",
    "board_background": "Ridden before",
    "fitness": "Fitness",
    "to_feet": "Kneeling to standing",
    "water": "Water",
    "spot": "Spot",
    "came": "How it came about",
}


@dataclass(frozen=True, slots=True)
class Cell:
    """What a cell says on the page, and plainly in a file."""

    shown: str
    plain: str


@dataclass(frozen=True, slots=True)
class Table:
    """A table with the names of its columns, those of a file beside them; the first cell of a row is its header."""

    caption: str
    columns: tuple[tuple[str, str], ...]
    rows: tuple[tuple[Cell, ...], ...]
    words: int = 1
    """How many columns hold words; the others hold figures."""
    total: tuple[Cell, ...] = ()

    def as_rows(self) -> list[list[str]]:
        """All of it as a file has it, its header first."""
        body = [[cell.plain for cell in row] for row in (*self.rows, *([self.total] if self.total else []))]
        return [[name for _, name in self.columns], *body]


def text(words: str) -> Cell:
    """Words, the same in a file."""
    return Cell(words, words)


def count(number: int | None) -> Cell:
    """A number; a dash where it cannot be told."""
    return Cell("–", "") if number is None else Cell(f"{number:,}", str(number))


def share(part: int, whole: int) -> Cell:
    """A share with its count, which in a file stands in the columns beside it."""
    return Cell(share_words(part, whole), f"{part / whole:.4f}" if whole else "")


def per_cent(value: Fraction, *, is_there: bool) -> Cell:
    """Per cent to a tenth; a dash where there is nothing it could be of."""
    return Cell(per_cent_words(value), f"{float(value):.2f}") if is_there else Cell("–", "")


def per_cent_words(value: Fraction) -> str:
    """Per cent to a tenth, never broken before its sign: 12.5 %."""
    return f"{float(value):.1f}\N{NO-BREAK SPACE}%"


def week_words(monday: date) -> str:
    """A week by its Monday, shortly: 5 Oct 2026."""
    return f"{monday.day} {monday:%b %Y}"


def class_words(size: SizeClass) -> str:
    """A class of sizes as it is asked for: 100–102 l; those beyond what is stocked by the outermost size that is: over 165 l."""
    if size.where == "any":
        return "any size"
    if size.where == "between":
        return "between stocked sizes"
    sizes = f"{size.first:g}" if size.first == size.last else f"{size.first:g}–{size.last:g}"
    words = f"{sizes}\N{NO-BREAK SPACE}{UNIT_WORDS[UNITS[size.slot]]}"
    return words if size.is_stocked else f"{size.where} {words}"


def asked_class_words(size: SizeClass) -> str:
    """A class of sizes, and that nothing stocked fits where that is so."""
    return class_words(size) if size.is_stocked else f"{class_words(size)}: nothing stocked fits"


def size_words(slot: str, size: float) -> str:
    """A size by itself, as closely as sizes are told apart: 177 l, 4.6 m²."""
    unit = UNIT_WORDS[UNITS[slot]]
    return f"{size:.{1 if unit == 'm²' else 0}f}\N{NO-BREAK SPACE}{unit}"


def answer_words(asked: str, answer: str) -> str:
    """An answer as it is shown; that none was given is said so."""
    return ANSWER_WORDS.get(asked, {}).get(answer, answer) or "not said"


def amounts_in(terms: ShopTerms) -> Callable[[Cents], Cell]:
    """How amounts of this shop's money are said."""
    return lambda cents: Cell(money_words(cents, terms), decimal_of(cents))


# The weeks.


@dataclass(frozen=True, slots=True)
class WeekCounted:
    """The quotes of a week and the money of its contracts."""

    monday: date
    quotes: QuotesCounted
    money: Earned


def margins_of(sales: Iterable[tuple[SaleFact, QuoteFact | None]]) -> Earned:
    """The money of contracts, with the margins that their quotes tell."""
    return earned([(sale, None if quote is None else quote.margin) for sale, quote in sales])


def weeks_of(numbers: Numbers) -> tuple[WeekCounted, ...]:
    """Every week of the days, the first one first."""
    chosen = numbers.asked.chosen
    quotes = by_week(numbers.quotes, lambda quote: quote.day)
    sales = by_week(numbers.sales, lambda one: one[0].day)
    begun, gone = (
        dict.fromkeys(weeks_between(chosen.first, chosen.last), 0) | _weekly(some, numbers)
        for some in (numbers.begun, numbers.gone)
    )
    return tuple(
        WeekCounted(
            monday,
            count_quotes(quotes.get(monday, []), None if chosen.is_narrowed else begun[monday], gone[monday]),
            margins_of(sales.get(monday, [])),
        )
        for monday in weeks_between(chosen.first, chosen.last)
    )


def _weekly(days: Mapping[date, int], numbers: Numbers) -> dict[date, int]:
    sums: dict[date, int] = {}
    for day, number in days.items():
        if numbers.asked.chosen.holds(day):
            sums[monday_of(day)] = sums.get(monday_of(day), 0) + number
    return sums


def whole_of(numbers: Numbers) -> QuotesCounted:
    """The quotes of all the days."""
    return _all_quotes(numbers, numbers.quotes, numbers.asked.chosen.holds)


def before_of(numbers: Numbers) -> QuotesCounted:
    """The quotes of the days before."""
    return _all_quotes(numbers, numbers.before, numbers.asked.chosen.before.holds)


def _all_quotes(numbers: Numbers, quotes: Sequence[QuoteFact], holds: Callable[[date], bool]) -> QuotesCounted:
    begun = sum(number for day, number in numbers.begun.items() if holds(day))
    gone = sum(number for day, number in numbers.gone.items() if holds(day))
    return count_quotes(quotes, None if numbers.asked.chosen.is_narrowed else begun, gone)


def quotes_table(weeks: Sequence[WeekCounted], whole: QuotesCounted) -> Table:
    """Quotes by week, the newest week first."""
    return Table(
        "Quotes by the week they were kept in",
        (
            ("Week from", "week_from"),
            ("Begun", "begun"),
            ("Kept", "kept"),
            ("Seen", "seen"),
            ("Agreed", "agreed"),
            ("Bought", "bought"),
            ("Handed over", "handed_over"),
            ("Lapsed", "lapsed"),
            ("Withdrawn", "withdrawn"),
            ("Given back", "given_back"),
        ),
        tuple(
            (Cell(week_words(week.monday), week.monday.isoformat()), *_quote_cells(week.quotes))
            for week in reversed(weeks)
        ),
        total=(text("All"), *_quote_cells(whole)),
    )


def _quote_cells(one: QuotesCounted) -> tuple[Cell, ...]:
    numbers = (
        one.begun,
        one.kept,
        one.seen,
        one.agreed,
        one.bought,
        one.handed_over,
        one.lapsed,
        one.withdrawn,
        one.returned,
    )
    return tuple(count(number) for number in numbers)


def money_table(weeks: Sequence[WeekCounted], whole: Earned, terms: ShopTerms) -> Table:
    """The money of contracts by week, the newest week first."""
    return Table(
        "Contracts by the week they were made in",
        (
            ("Week from", "week_from"),
            ("Contracts", "contracts"),
            ("At list price", "list"),
            ("Discount", "discount"),
            ("of list", "discount_percent"),
            ("Charged", "charged"),
            ("Credited since", "credited"),
            ("Old gear", "trade_in"),
            ("Margin", "margin"),
            ("of revenue", "margin_percent"),
        ),
        tuple(
            (Cell(week_words(week.monday), week.monday.isoformat()), *_money_cells(week.money, terms))
            for week in reversed(weeks)
        ),
        total=(text("All"), *_money_cells(whole, terms)),
    )


def _money_cells(one: Earned, terms: ShopTerms) -> tuple[Cell, ...]:
    amount = amounts_in(terms)
    nothing = Cell("–", "")
    return (
        count(one.contracts),
        amount(one.list) if one.contracts else nothing,
        amount(one.discount) if one.contracts else nothing,
        per_cent(one.discount_percent, is_there=one.list > 0),
        amount(one.charged) if one.contracts else nothing,
        amount(one.credited) if one.credited else nothing,
        amount(one.trade_in) if one.trade_in else nothing,
        amount(one.margin) if one.with_margin else nothing,
        per_cent(one.margin_percent, is_there=one.revenue > 0),
    )


# Sizes.


def sizes_table(counted: Sequence[SizeCounted], slot: str) -> Table:
    """The sizes of a slot asked for beside those that are there."""
    return Table(
        f"Sizes asked for and there: {SLOT_WORDS[slot]}",
        (
            ("Size", "size"),
            ("Asked for", "asked"),
            ("Not there", "unmet"),
            ("On hand", "on_hand"),
            ("Held", "held"),
        ),
        tuple(
            (
                text(asked_class_words(one.size)),
                count(one.asked),
                count(one.unmet),
                count(one.on_hand if one.size.is_stocked else None),
                count(one.held if one.size.is_stocked else None),
            )
            for one in counted
            if one.size.is_stocked or one.asked
        ),
        total=(text("All"), *(count(sum(getattr(one, name) for one in counted)) for name in SUMMED)),
    )


SUMMED = ("asked", "unmet", "on_hand", "held")


def missed_in(numbers: Numbers) -> tuple[SizeCounted, ...]:
    """The sizes that nothing free met, the most missed first."""
    return most_missed(one for counted in numbers.sizes.values() for one in counted)


def unmet_table(missed: Sequence[SizeCounted]) -> Table:
    """What nothing free met, by slot and size."""
    return Table(
        "Asked for and not there",
        (
            ("Part", "slot"),
            ("Size", "size"),
            ("Not there", "unmet"),
            ("of all asked", "share"),
            ("On hand now", "on_hand"),
        ),
        tuple(
            (
                text(SLOT_WORDS[one.size.slot]),
                text(asked_class_words(one.size)),
                count(one.unmet),
                share(one.unmet, one.asked),
                count(one.on_hand if one.size.is_stocked else None),
            )
            for one in missed
        ),
        words=2,
    )


# Answers and lessons.


def answers_table(numbers: Numbers) -> Table:
    """How far quotes came, by one of their answers."""
    asked = numbers.asked.by
    return Table(
        f"How far quotes came: {ASKED_WORDS[asked].lower()}",
        (
            (ASKED_WORDS[asked], asked),
            ("Kept", "kept"),
            ("Seen", "seen"),
            ("Agreed", "agreed"),
            ("Bought", "bought"),
            ("Share bought", "share_bought"),
        ),
        tuple(
            (
                Cell(answer_words(asked, one.answer), one.answer),
                count(one.kept),
                count(one.seen),
                count(one.agreed),
                count(one.bought),
                share(one.bought, one.kept),
            )
            for one in count_answers(numbers.quotes, asked)
        ),
    )


def lessons_table(numbers: Numbers, window_days: int, titles: Mapping[str, str], terms: ShopTerms) -> Table:
    """Paid lessons by kind, and which of them led to a kit."""
    return Table(
        "Paid lessons by kind",
        (
            ("Lesson", "kind"),
            ("Paid", "paid"),
            ("Kit within the window", "in_window"),
            ("Share", "share"),
            ("Kit later", "later"),
            ("Days between", "median_days"),
            ("Fees given back", "given_back"),
        ),
        tuple(
            (
                Cell(titles.get(one.kind, one.kind), one.kind),
                count(one.paid),
                count(one.in_window),
                share(one.in_window, one.paid),
                count(one.later),
                _days_cell(one.days),
                amounts_in(terms)(one.given_back),
            )
            for one in count_lessons(numbers.lessons, window_days)
        ),
    )


def _days_cell(days: tuple[int, float, int] | None) -> Cell:
    if days is None:
        return Cell("–", "")
    least, median, most = days
    return Cell(f"{median:g}" if least == most else f"{median:g} ({least} to {most})", f"{median:g}")
