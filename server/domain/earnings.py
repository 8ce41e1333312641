"""What contracts bring: discount, old gear and margin by week; and which paid lessons led to a kit."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from server.domain.money import Cents
from server.domain.numbers import SaleFact
from server.domain.pricing import Margin


@dataclass(frozen=True, slots=True)
class Earned:
    """The money of some contracts in cents; `margin` is of those whose quote tells it, `with_margin` how many they are.

    `revenue` is what such quotes bring without VAT, which the margin is a share of.
    """

    contracts: int
    list: Cents
    discount: Cents
    charged: Cents
    credited: Cents
    trade_in: Cents
    margin: Cents
    revenue: Cents
    with_margin: int

    @property
    def discount_percent(self) -> Fraction:
        """The discount as a share of the list price, in per cent; zero without any."""
        return Fraction(100 * self.discount, self.list) if self.list else Fraction(0)

    @property
    def margin_percent(self) -> Fraction:
        """The margin as a share of the revenue, in per cent; zero without any."""
        return Fraction(100 * self.margin, self.revenue) if self.revenue > 0 else Fraction(0)


def earned(sales: Sequence[tuple[SaleFact, Margin | None]]) -> Earned:
    """Contracts added up, each with the margin of its quote, or None where there is none: used pieces, say.

    A margin is what was expected when the contract was made: what was given back since is `credited`, and not taken off it.
    """
    margins = [margin for _, margin in sales if margin is not None]
    return Earned(
        contracts=len(sales),
        list=sum(sale.list for sale, _ in sales),
        discount=sum(sale.discount for sale, _ in sales),
        charged=sum(sale.charged for sale, _ in sales),
        credited=sum(sale.credited for sale, _ in sales),
        trade_in=sum(sale.trade_in for sale, _ in sales),
        margin=sum(margin.amount for margin in margins),
        revenue=sum(margin.revenue for margin in margins),
        with_margin=len(margins),
    )


@dataclass(frozen=True, slots=True)
class LessonFact:
    """A lesson somebody paid for: its kind, its day, what was given back of its fee with a kit, and the contract that named it."""

    kind: str
    day: date
    given_back: Cents = 0
    bought_on: date | None = None

    @property
    def days_between(self) -> int | None:
        """From the lesson to the contract; nought where the contract came first, None where there is none."""
        return None if self.bought_on is None else max(0, (self.bought_on - self.day).days)

    def led_to_a_kit(self, window_days: int) -> bool:
        """Whether a kit was bought within the window: its fee was given back, or the contract came soon enough."""
        days = self.days_between
        return self.given_back > 0 or (days is not None and days <= window_days)


@dataclass(frozen=True, slots=True)
class LessonsCounted:
    """Paid lessons of a kind: how many, how many led to a kit within the window and later, the days between, the fees given back.

    `days` are the least, the median and the most; None where nothing was bought.
    """

    kind: str
    paid: int
    in_window: int
    later: int
    days: tuple[int, float, int] | None
    given_back: Cents


def count_lessons(lessons: Iterable[LessonFact], window_days: int) -> tuple[LessonsCounted, ...]:
    """Paid lessons by their kind, the most frequent first."""
    kinds: dict[str, list[LessonFact]] = {}
    for lesson in lessons:
        kinds.setdefault(lesson.kind, []).append(lesson)
    counted = [_counted(kind, some, window_days) for kind, some in kinds.items()]
    return tuple(sorted(counted, key=lambda one: (-one.paid, one.kind)))


def _counted(kind: str, lessons: Sequence[LessonFact], window_days: int) -> LessonsCounted:
    led = [one.led_to_a_kit(window_days) for one in lessons]
    days = sorted(one.days_between for one in lessons if one.days_between is not None)
    return LessonsCounted(
        kind=kind,
        paid=len(lessons),
        in_window=sum(led),
        later=sum(one.bought_on is not None and not yes for one, yes in zip(lessons, led, strict=True)),
        days=(days[0], statistics.median(days), days[-1]) if days else None,
        given_back=sum(one.given_back for one in lessons),
    )
