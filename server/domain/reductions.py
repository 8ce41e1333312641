"""Whether a markdown may be kept with the day it is said to hold from, and whether its part may then be called reduced.

Directive 98/6/EC, Article 6a: a reduction is told against the lowest price of the 30 days before its first day. What was charged
until yesterday is known, so that nobody sets a markdown's day into the past: what such a markdown may be is the same from today on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Literal

from server.domain.catalogue import Part
from server.domain.money import Cents
from server.domain.prices import (
    NOT_SOLD,
    PRIOR_DAYS,
    Markdown,
    PricePoint,
    Reduction,
    Spell,
    began_on,
    deciding_day,
    first_prior_day,
    history_after,
    known_since,
    price_in_force,
    reduction_from,
    spells_of,
)

Moved = Literal["", "past", "smaller"]
MoneyWords = Callable[[Cents], str]
DayWords = Callable[[date], str]


@dataclass(frozen=True, slots=True)
class Verdict:
    """A markdown as it may be kept, and what it may be called.

    `moved` says why its day is today rather than the one asked for: the price `until_today` is known ("past"), or it was lower than
    this ("smaller": a markdown that becomes smaller begins anew). `decides` is the lowest price of the 30 days before with its first
    day, None where nothing is known of them.
    """

    markdown: Markdown
    moved: Moved = ""
    until_today: Spell | None = None
    decides: PricePoint | None = None
    reduction: Reduction | None = None
    known_since: date | None = None
    """Since when its prices are known, where that is too short a time to call anything reduced."""


def judge_markdown(before: Part | None, after: Part, history: Iterable[PricePoint], today: date) -> Verdict | None:
    """What the law lets a part's markdown be, by what was charged for it; None where it has none.

    `before` is the part as it was, None for a new one; `history` what was charged until now. It is judged whether its day may be
    kept (a day past only if it was its day already, or the history says that the price fell on it and did not rise since), and
    whether it may be called reduced. It does not judge the price itself: any price below the list price may be charged.
    """
    asked, known = after.markdown, tuple(history)
    if asked is None:
        return None
    moved, until_today = _moved(before, asked, known, today)
    markdown = Markdown(asked.price, today) if moved else asked
    change = history_after(after.sku, after.asked, markdown, known, today)
    points = {point.since: point for point in (*known, *change.put)}
    then = [point for since, point in points.items() if since not in change.gone]
    if markdown.since is None:
        return Verdict(markdown, moved, until_today)
    began = began_on(then, markdown.since)
    known_from = known_since(then)
    is_short = known_from is not None and known_from > first_prior_day(began)
    return Verdict(
        markdown,
        moved,
        until_today,
        deciding_day(then, began),
        reduction_from(then, markdown),
        known_from if is_short else None,
    )


def _moved(
    before: Part | None, asked: Markdown, known: tuple[PricePoint, ...], today: date
) -> tuple[Moved, Spell | None]:
    """Why a markdown cannot have the day it is said to hold from, with what was charged until yesterday."""
    until_today = price_in_force(known, today - timedelta(days=1))
    if asked.since is None or asked.since >= today or until_today is None:
        return "", None
    was = before.markdown if before is not None else None
    if (was is None or was.since != asked.since) and not _fell_on(asked.since, known, today):
        return "past", until_today
    return ("smaller", until_today) if NOT_SOLD < until_today.price < asked.price else ("", None)


def _fell_on(day: date, known: tuple[PricePoint, ...], today: date) -> bool:
    """Whether the price fell on a day and did not rise again before today."""
    spells = [spell for spell in spells_of(known) if spell.since < today]
    since = [spell for spell in spells if spell.since >= day]
    earlier = [spell for spell in spells if spell.since < day]
    prices = [spell.price for spell in (*earlier[-1:], *since)]
    is_falling = all(after < before for before, after in pairwise(prices))
    return bool(earlier and since) and since[0].since == day and is_falling


def moved_words(verdict: Verdict, money: MoneyWords, day: DayWords) -> str:
    """Why a markdown's day cannot be the one asked for, naming the price that was charged; empty where it can."""
    was = verdict.until_today
    if was is None or not verdict.moved:
        return ""
    if was.price == NOT_SOLD:
        return "Until yesterday it was not on sale: a markdown begins today or later."
    charged = f"Until yesterday it cost {money(was.price)}, since {day(was.since)}"
    if verdict.moved == "smaller":
        return f"{charged}: a markdown that becomes smaller begins anew, today or later."
    return f"{charged}: a markdown begins today or later."


def called_words(verdict: Verdict, money: MoneyWords, day: DayWords) -> str:
    """What a markdown may be called, and which day's price decides."""
    reduction, decides = verdict.reduction, verdict.decides
    if reduction is not None:
        by = reduction.whole_percent or "less than 1"
        return (
            f"Called reduced by {by} %: on {day(reduction.decided_on)} it was {money(reduction.prior)}, the lowest "
            f"price of the {PRIOR_DAYS} days before, which decides."
        )
    if verdict.markdown.since is None:
        return "Not called reduced: nobody knows since when it is marked down."
    if decides is None:
        return f"Not called reduced: nothing is known of its price in the {PRIOR_DAYS} days before."
    if verdict.known_since is not None and decides.price > verdict.markdown.price:
        return f"Not called reduced: its prices are known since {day(verdict.known_since)}, less than {PRIOR_DAYS} days before."
    return (
        f"Not called reduced: on {day(decides.since)} it was {money(decides.price)}, the lowest price of the {PRIOR_DAYS} days before, "
        "which decides."
    )
