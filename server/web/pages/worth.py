"""What gear fetches later: the kit's own value over three years, such parts bought used, and old gear traded in, step by step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.domain.catalogue import Catalogue
from server.domain.kits import Fitter, Kit, size_words
from server.domain.learner import Trade
from server.domain.money import to_whole
from server.domain.policy import ShopTerms
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.domain.trade_in import fetches_at, valuation_steps
from server.web.drawings.axis import whole_money
from server.web.drawings.value import value_chart
from server.web.pages.drawn import NARROW, WIDE, Pair
from server.web.render import money_words

MONTHS = 36
YEARS = (12, 24, 36)
TO_INSPECT = (
    ("Track box", "where the mast is screwed in: no crack around it, nothing moves, no water comes out of it."),
    ("Bolts", "every one turns by hand once loosened; none is seized, corroded or stripped of its thread."),
    ("Bladders and valves", "pumped up hard, the hand wing keeps its pressure over night."),
    ("Skin", "press and tap it: soft or hollow places are delamination, and water is in the core."),
    ("Foils and mast", "no crack at the roots, no bent edge; the joints sit without play."),
    ("Papers", "used gear seldom has a warranty left, and a private seller need not give one: ask for the receipt."),
)


@dataclass(frozen=True, slots=True)
class WorthRow:
    """A part: what it costs new, and what such a part fetches used after one, two and three years."""

    word: str
    size: str
    new: str
    used: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WorthShown:
    """The kit's value over three years, its parts used, and what to look at before buying used."""

    rows: tuple[WorthRow, ...]
    new: str
    used: tuple[str, ...]
    chart: Pair
    years: tuple[int, ...] = YEARS
    to_inspect: tuple[tuple[str, str], ...] = TO_INSPECT


@dataclass(frozen=True, slots=True)
class ValuationShown:
    """A piece traded in and how it comes to its value."""

    word: str
    steps: tuple[tuple[str, str], ...]


def worth_shown(kit: Kit, fitter: Fitter, terms: ShopTerms) -> WorthShown | None:
    """What the bought parts of a kit fetch over three years, in good condition; None where nothing is bought.

    Each part counts from what is charged for it in this kit; what it fetches is said to the euro (or whatever the shop's
    money is), since nobody can know it better.
    """
    trade_in = fitter.shelf.catalogue.policy.trade_in
    charged = {line.slot: line.charged for line in kit.price.lines if line.is_core}
    if not charged:
        return None

    def money(cents: int) -> str:
        return money_words(cents, terms)

    slots = [slot for slot in CORE_SLOTS if slot in charged]
    months = range(MONTHS + 1)
    used = {slot: [to_whole(one) for one in fetches_at(charged[slot], slot, months, trade_in)] for slot in slots}
    points = list(zip(months, map(sum, zip(*used.values(), strict=True)), strict=True))
    rows = tuple(
        WorthRow(
            SLOT_WORDS[slot],
            size_words(kit.bought[slot].gear),
            money(charged[slot]),
            tuple(whole_money(used[slot][year], money) for year in YEARS),
        )
        for slot in slots
    )
    return WorthShown(
        rows=rows,
        new=money(sum(charged.values())),
        used=tuple(whole_money(points[year][1], money) for year in YEARS),
        chart=Pair(value_chart(points, WIDE, money), value_chart(points, NARROW, money)),
    )


def valuations_shown(trades: Sequence[Trade], catalogue: Catalogue, terms: ShopTerms) -> tuple[ValuationShown, ...]:
    """How each piece traded in comes to its value; pieces with a safety fault have no steps and are left out."""
    shown = []
    for trade in trades:
        steps = tuple((words, money_words(cents, terms)) for words, cents in valuation_steps(trade, catalogue))
        if steps:
            shown.append(ValuationShown(SLOT_WORDS[trade.slot], steps))
    return tuple(shown)
