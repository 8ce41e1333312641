"""The prices a part had, each with its days, and what may be called a reduction.

A history holds what was charged, markdowns included: a point says that from its day on the part cost this much, until the next one; or
that it was not on sale, so that a price nobody was asked for decides nothing. Several prices of one day count as one: the last, or the
lowest of them if the part was offered or sold at that.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from server.domain.money import Cents, percent_below

PRIOR_DAYS = 30
NOT_SOLD: Cents = 0
"""In place of a price: from this day on the part was not on sale."""


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
    def percent(self) -> float:
        """The reduction in per cent of the prior price: 550 to 500 is 9.09."""
        return 100 * (self.prior - self.now) / self.prior

    @property
    def whole_percent(self) -> int:
        """As it is said: in whole per cent, rounded down."""
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
    opens = first_prior_day(reduced_from)
    in_force = [
        PricePoint(point.sku, max(point.since, opens), point.price)
        for point, after in _with_next(sorted(history, key=lambda point: point.since))
        if point.price != NOT_SOLD and point.since < reduced_from and (after is None or after > opens)
    ]
    return min(in_force, key=lambda point: (point.price, point.since), default=None)


def first_prior_day(reduced_from: date) -> date:
    """The first of the 30 days before a reduction."""
    return reduced_from - timedelta(days=PRIOR_DAYS)


def known_since(history: Iterable[PricePoint]) -> date | None:
    """The first day of which the price is known, or that the part was not on sale."""
    return min((point.since for point in history), default=None)


def _with_next(points: Sequence[PricePoint]) -> list[tuple[PricePoint, date | None]]:
    """Each point with the day of the next one."""
    nexts = [point.since for point in points[1:]]
    return list(zip(points, [*nexts, None], strict=True)) if points else []


def prior_price(history: Iterable[PricePoint], reduced_from: date) -> Cents | None:
    """The price that a reduction is compared with; lowest 20 and last 40 in the 30 days: 20. None where nothing is known of them."""
    point = deciding_day(history, reduced_from)
    return None if point is None else point.price


def reduction_from(history: Iterable[PricePoint], markdown: Markdown) -> Reduction | None:
    """What a markdown may be called, or None where the law lets no one call it reduced.

    All of the 30 days have to be known: Article 6a (2) wants a period of no less. A shop may be allowed less by its country for what
    has not been sold so long (6a (5)); here it is then not called reduced.
    """
    if markdown.since is None:
        return None
    history = tuple(history)
    began = began_on(history, markdown.since)
    point, known = deciding_day(history, began), known_since(history)
    if point is None or point.price <= markdown.price or known is None or known > first_prior_day(began):
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
    sku: str,
    price: Cents | None,
    markdown: Markdown | None,
    known: Iterable[PricePoint],
    today: date,
    *,
    offered: Cents | None = None,
    was_watched: bool = True,
) -> HistoryChange:
    """The history's change when a part has this price and markdown as of today; nothing where it says so already.

    A `price` of None: it is not on sale. Days to come are announced markdowns and follow the markdown; days past stay, whatever is
    changed now. `offered` is the lowest price at which the part was quoted or sold today: a price of today as low as that stays the
    day's, and the new one begins tomorrow. Where nobody `was_watched`, so that the shop's own history has nothing after the day of a
    markdown, that is put down for its day.
    """
    points = sorted(known, key=lambda point: point.since)
    past = [point for point in points if point.since <= today]
    to_come = {point.since: point for point in points if point.since > today}
    wanted = _announced(sku, price, markdown, today)
    now = _now(price, markdown, today)
    put, gone = [], []
    last = past[-1] if past else None
    if last is not None and _stays_lowest(last, now, today, offered, to_come):
        wanted.setdefault(today + timedelta(days=1), PricePoint(sku, today + timedelta(days=1), now))
    elif last is None or last.price != now:
        if last is not None and last.since == today and len(past) > 1 and past[-2].price == now:
            gone.append(today)
        else:
            put.append(PricePoint(sku, today if was_watched else _since(markdown, past[-1:], today), now))
    put += [point for since, point in wanted.items() if to_come.get(since) != point]
    return HistoryChange(tuple(put), (*gone, *(since for since in to_come if since not in wanted)))


def _now(price: Cents | None, markdown: Markdown | None, today: date) -> Cents:
    if price is None:
        return NOT_SOLD
    return markdown.price if markdown is not None and markdown.holds_on(today) else price


def _announced(sku: str, price: Cents | None, markdown: Markdown | None, today: date) -> dict[date, PricePoint]:
    """A markdown of a day to come, by its day."""
    if price is None or markdown is None or markdown.since is None or markdown.holds_on(today):
        return {}
    return {markdown.since: PricePoint(sku, markdown.since, markdown.price)}


def _stays_lowest(
    last: PricePoint, now: Cents, today: date, offered: Cents | None, to_come: Mapping[date, PricePoint]
) -> bool:
    """Whether a price set today stays the price of today although another has taken its place."""
    if last.since != today or last.price == NOT_SOLD or NOT_SOLD < now <= last.price or last.price == now:
        return False
    after = to_come.get(today + timedelta(days=1))
    return (after is not None and after.price == now) or (offered is not None and offered <= last.price)


def _since(markdown: Markdown | None, newest: Sequence[PricePoint], today: date) -> date:
    """From when a price that holds today did, if the history has nothing after that day."""
    if markdown is None or markdown.since is None or not markdown.holds_on(today):
        return today
    return markdown.since if not newest or newest[0].since < markdown.since else today
