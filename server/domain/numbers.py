"""What the shop's numbers are counted from, and the counting: quotes by week and by answer, sizes asked for, money, lessons.

Every count is of things, never of people. A quote counts once, with its newest revision, on the day it was first kept; how far it
has come is told as of today.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from typing import Any, TypeVar

from server.domain.money import Cents, round_half_up
from server.domain.pricing import Margin
from server.domain.sales import SaleState
from server.domain.standing import StandingState

DRAFT_BEGUN, QUOTE_KEPT = "draft begun", "quote kept"
"""What is tallied by day once drafts and quotes themselves are deleted."""
NO_MARGIN = Margin(0, 0, 0)
FEWEST_FOR_A_SHARE = 10
"""Of fewer cases no per cent is said: one more or less would move it by more than ten."""


@dataclass(frozen=True, slots=True)
class Ordered:
    """A line of a quote's price: a part with its list price and what is charged, in cents."""

    sku: str
    slot: str
    list: Cents
    charged: Cents


@dataclass(frozen=True, slots=True)
class SaleFact:
    """A contract as it is counted: its day, where it stands, and its money in cents.

    `list` and `charged` are of what was sold at first, without what was swapped in; `invoiced` and `credited` (not negative) are
    of its papers, `trade_in` what old gear paid. `skus` are the parts sold.
    """

    id: int
    day: date
    state: SaleState
    was_handed_over: bool
    list: Cents
    charged: Cents
    invoiced: Cents
    credited: Cents
    trade_in: Cents
    code: str = ""
    quote: str = ""
    """The token of the quote it was made from."""
    skus: tuple[str, ...] = ()

    @property
    def discount(self) -> Cents:
        """List price less what was charged."""
        return self.list - self.charged


@dataclass(frozen=True, slots=True)
class QuoteFact:
    """A quote as it is counted: the day it was first kept, by whom, its answers, the sizes asked for, and how far it has come.

    `ideals` are the ideal sizes of the slots that were to be bought, not of gear that is kept. `margin` is frozen in its record.
    """

    day: date
    is_desks: bool
    answers: Mapping[str, Any]
    water: str
    spot: str
    ideals: Mapping[str, float]
    state: StandingState
    was_seen: bool = False
    was_agreed: bool = False
    lines: tuple[Ordered, ...] = ()
    margin: Margin = NO_MARGIN
    sale: SaleFact | None = None

    @property
    def reached(self) -> int:
        """How far it ever came: 0 kept, 1 seen, 2 agreed, 3 bought, 4 handed over; who came further came through the steps before."""
        if self.sale is not None:
            return 4 if self.sale.was_handed_over else 3
        return 2 if self.was_agreed else int(self.was_seen)

    @property
    def is_decided(self) -> bool:
        """Whether it was bought, or is lapsed or withdrawn: no more is to be waited for."""
        return self.sale is not None or self.state in ("lapsed", "withdrawn")


SEEN, AGREED, BOUGHT, HANDED_OVER = 1, 2, 3, 4


def came_to(quotes: Iterable[QuoteFact], step: int) -> int:
    """How many quotes ever came as far as a step."""
    return sum(quote.reached >= step for quote in quotes)


def weeks_between(first: date, last: date) -> tuple[date, ...]:
    """The Mondays of the weeks from a day to another."""
    monday = first - timedelta(days=first.weekday())
    return tuple(monday + timedelta(days=days) for days in range(0, (last - monday).days + 1, 7))


def monday_of(day: date) -> date:
    """The Monday of a day's week."""
    return day - timedelta(days=day.weekday())


@dataclass(frozen=True, slots=True)
class QuotesCounted:
    """Quotes of a week, or of all days: begun (None where that cannot be told), how far those kept ever came, where others ended."""

    begun: int | None
    kept: int
    seen: int
    agreed: int
    bought: int
    handed_over: int
    lapsed: int
    withdrawn: int
    returned: int


def count_quotes(quotes: Sequence[QuoteFact], begun: int | None, gone: int = 0) -> QuotesCounted:
    """Quotes counted; `gone` of them were deleted since, unbought and lapsed, and only their number was kept."""
    ended = Counter(quote.state for quote in quotes)
    return QuotesCounted(
        begun,
        len(quotes) + gone,
        came_to(quotes, SEEN),
        came_to(quotes, AGREED),
        came_to(quotes, BOUGHT),
        came_to(quotes, HANDED_OVER),
        ended["lapsed"] + gone,
        ended["withdrawn"],
        ended["returned"],
    )


Fact = TypeVar("Fact")


def by_week(facts: Iterable[Fact], day_of: Callable[[Fact], date]) -> dict[date, list[Fact]]:
    """Facts by the Monday of the week of their day."""
    weeks: dict[date, list[Fact]] = {}
    for fact in facts:
        weeks.setdefault(monday_of(day_of(fact)), []).append(fact)
    return weeks


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which quotes are counted: the days (both included) they were kept on, and what their answers are; empty counts all."""

    first: date
    last: date
    spot: str = ""
    water: str = ""
    came: str = ""
    foil_stage: str = ""

    @property
    def days(self) -> int:
        """How many days they are."""
        return (self.last - self.first).days + 1

    @property
    def is_narrowed(self) -> bool:
        """Whether only some quotes are counted, so that what is known of no quote's answers cannot be."""
        return bool(self.spot or self.water or self.came or self.foil_stage)

    @property
    def before(self) -> Chosen:
        """As many days just before these, chosen alike."""
        return replace(self, first=self.first - timedelta(days=self.days), last=self.first - timedelta(days=1))

    def has(self, quote: QuoteFact) -> bool:
        """Whether a quote is one of them by its answers, whatever its day."""
        return (
            self.spot in ("", quote.spot)
            and self.water in ("", quote.water)
            and self.came in ("", "desk" if quote.is_desks else "customer")
            and self.foil_stage in ("", quote.answers.get("foil_stage"))
        )

    def holds(self, day: date) -> bool:
        """Whether a day is one of them."""
        return self.first <= day <= self.last


def share_words(part: int, whole: int) -> str:
    """A share with its count: 3 of 12, 25 %; without per cent where the cases are too few, and a dash where there are none."""
    if not whole:
        return "–"
    counted = f"{part} of {whole}"
    return counted if whole < FEWEST_FOR_A_SHARE else f"{counted}, {whole_per_cent(part, whole)}\N{NO-BREAK SPACE}%"


def whole_per_cent(part: int, whole: int) -> int:
    """A share in whole per cent, rounded half up: 4 of 32 are 13."""
    return round_half_up(Fraction(100 * part, whole))
