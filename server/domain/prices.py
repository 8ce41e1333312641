"""The prices a part had, each with its days, and what may be called a reduction.

A history holds what was charged, markdowns included: a point says that from its day on the part cost this much, until the next one.
Several prices of one day count as one, the last: what was put right on the day it was set never was the price of a day.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from server.domain.money import Cents, percent_below

PRIOR_DAYS = 30


@dataclass(frozen=True, slots=True)
class PricePoint:
    """From this day on the part cost this much."""

    sku: str
    since: date
    price: Cents


@dataclass(frozen=True, slots=True)
class Markdown:
    """A price below the list price, from a day on (None: no day is known)."""

    price: Cents
    since: date | None = None

    def holds_on(self, day: date) -> bool:
        """Whether it is the price of a day."""
        return self.since is None or self.since <= day


@dataclass(frozen=True, slots=True)
class Spell:
    """A price with the days it was in force, both included; `until` is None for the last one."""

    price: Cents
    since: date
    until: date | None


@dataclass(frozen=True, slots=True)
class Reduction:
    """A price that may be called reduced: its day, the lowest price of the 30 days before, and the percentage of that.

    `decided_on` is the first of those days on which that lowest price was in force.
    """

    since: date
    prior: Cents
    now: Cents
    decided_on: date

    @property
    def percent(self) -> int:
        """The reduction in whole per cent of the prior price, rounded down."""
        return percent_below(self.prior, self.now)


def spells_of(points: Iterable[PricePoint]) -> tuple[Spell, ...]:
    """A history as prices with their days, oldest first; neighbours of the same price are one."""
    changes: list[PricePoint] = []
    for point in sorted(points, key=lambda point: point.since):
        if not changes or changes[-1].price != point.price:
            changes.append(point)
    ends = [after.since - timedelta(days=1) for _, after in pairwise(changes)]
    return tuple(
        Spell(point.price, point.since, until)
        for point, until in zip(changes, [*ends, None] if changes else [], strict=True)
    )


def deciding_day(history: Iterable[PricePoint], reduced_from: date) -> PricePoint | None:
    """The lowest price in force on any of the 30 days before a reduction, with the first of those days on which it was.

    Directive 98/6/EC, Article 6a. None where the history does not reach those days: then nothing may be called reduced.
    """
    opens = reduced_from - timedelta(days=PRIOR_DAYS)
    in_force = [
        PricePoint(point.sku, max(point.since, opens), point.price)
        for point, after in _with_next(sorted(history, key=lambda point: point.since))
        if point.since < reduced_from and (after is None or after > opens)
    ]
    return min(in_force, key=lambda point: (point.price, point.since), default=None)


def _with_next(points: Sequence[PricePoint]) -> list[tuple[PricePoint, date | None]]:
    """Each point with the day of the next one."""
    nexts = [point.since for point in points[1:]]
    return list(zip(points, [*nexts, None], strict=True)) if points else []


def prior_price(history: Iterable[PricePoint], reduced_from: date) -> Cents | None:
    """The price that a reduction is compared with; lowest 20 and last 40 in the 30 days: 20. None where nothing is known of them."""
    point = deciding_day(history, reduced_from)
    return None if point is None else point.price


def reduction_from(history: Iterable[PricePoint], markdown: Markdown) -> Reduction | None:
    """What a markdown may be called, or None where the law lets no one call it reduced."""
    if markdown.since is None:
        return None
    history = tuple(history)
    began = began_on(history, markdown.since)
    point = deciding_day(history, began)
    if point is None or point.price <= markdown.price:
        return None
    return Reduction(began, point.price, markdown.price, point.since)


def began_on(history: Iterable[PricePoint], since: date) -> date:
    """The day on which a reduction said to hold since a day began: that day, or the first fall after the price last rose again.

    Directive 98/6/EC, Article 6a (5): only a reduction that grows without a break is compared with the prices before its first day.
    """
    began, has_risen = since, False
    for before, after in pairwise(spells_of(history)):
        if after.since > since and after.price > before.price:
            began, has_risen = after.since, True
        elif has_risen:
            began, has_risen = after.since, False
    return began


def price_in_force(history: Iterable[PricePoint], day: date) -> Spell | None:
    """The price of a day with its days, or None where the history does not reach so far back."""
    return next((spell for spell in reversed(spells_of(history)) if spell.since <= day), None)


@dataclass(frozen=True, slots=True)
class HistoryChange:
    """What a part's new price does to its history: points put (or put right), and days taken out."""

    put: tuple[PricePoint, ...] = ()
    gone: tuple[date, ...] = ()


def history_after(
    sku: str, price: Cents, markdown: Markdown | None, known: Iterable[PricePoint], today: date
) -> HistoryChange:
    """The history's change when a part has this price and markdown as of today; nothing where it says so already.

    Days to come are announced markdowns and follow the markdown; days past stay, whatever is changed now. A markdown said to hold
    since a day that the history knows nothing after is put down for that day.
    """
    points = sorted(known, key=lambda point: point.since)
    past = [point for point in points if point.since <= today]
    to_come = {point.since: point for point in points if point.since > today}
    put, gone = [], []
    now = markdown.price if markdown is not None and markdown.holds_on(today) else price
    if not past or past[-1].price != now:
        if len(past) > 1 and past[-1].since == today and past[-2].price == now:
            gone.append(today)
        else:
            put.append(PricePoint(sku, _since(markdown, past[-1:], today), now))
    if markdown is not None and not markdown.holds_on(today) and markdown.since is not None:
        announced = PricePoint(sku, markdown.since, markdown.price)
        if to_come.pop(markdown.since, None) != announced:
            put.append(announced)
    return HistoryChange(tuple(put), (*gone, *to_come))


def _since(markdown: Markdown | None, newest: Sequence[PricePoint], today: date) -> date:
    """From when a price that holds today did, if the history has nothing after that day."""
    if markdown is None or markdown.since is None or not markdown.holds_on(today):
        return today
    return markdown.since if not newest or newest[0].since < markdown.since else today
