"""What old gear is worth against a new kit: a yearly loss, its condition, the shop's handling; never firm before it is seen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext
from functools import lru_cache

from server.domain.catalogue import Catalogue
from server.domain.learner import Trade
from server.domain.money import Cents, round_down_to, round_half_up
from server.domain.policy import TradeInTerms
from server.domain.slots import SLOT_WORDS

DIGITS = 28
YEAR = 12
VALUED_BY_US = "Valued by us; firm once we have seen that it is as you say."

FAULT_WORDS = {
    "delaminated": "a delaminated skin",
    "cracked": "a crack",
    "loose_track_box": "a loose track box",
    "seized_bolts": "seized bolts",
    "corroded_bolts": "corroded bolts",
    "leaking_bladder": "a leaking bladder",
}
CONDITION_WORDS = {"like_new": "like new", "good": "good", "worn": "worn", "poor": "poor"}


@dataclass(frozen=True, slots=True)
class Valuation:
    """A piece traded in: the base its value is counted from, the value (a whole step), and why, as a sentence."""

    slot: str
    base: Cents
    value: Cents
    because: str


@dataclass(frozen=True, slots=True)
class TradeIn:
    """All pieces traded in, and the sum that is set against the purchase."""

    valuations: tuple[Valuation, ...] = ()
    total: Cents = 0
    note: str = ""


def worth(base: Decimal, yearly_loss: Decimal, months: int, factor: Decimal, first_year_extra: Decimal) -> Decimal:
    """base × (1 − a − extra)^(min(months, 12)/12) × (1 − a)^(max(months − 12, 0)/12) × factor, with 28 digits.

    Declining balance by months, steeper in the first year. 1000.00 at a = 0.22, extra 0.10, 24 months, factor 1: 530.40.
    """
    with localcontext() as context:
        context.prec = DIGITS
        return _worth(base, yearly_loss, months, factor, first_year_extra)


def _worth(base: Decimal, yearly_loss: Decimal, months: int, factor: Decimal, first_year_extra: Decimal) -> Decimal:
    """The same, in a context that works with as many digits."""
    first, later = _left_after(yearly_loss, first_year_extra, months)
    return base * first * later * factor


@lru_cache(maxsize=4096)  # Powers of decimals are slow, and there are few: each slot's loss by months.
def _left_after(yearly_loss: Decimal, first_year_extra: Decimal, months: int) -> tuple[Decimal, Decimal]:
    """The shares that are left of a value after the months of the first year, and of that after the months since."""
    with localcontext() as context:
        context.prec = DIGITS
        first = (1 - yearly_loss - first_year_extra) ** (Decimal(min(months, 12)) / 12)
        return first, (1 - yearly_loss) ** (Decimal(max(months - 12, 0)) / 12)


def fetches(price_new: Cents, slot: str, months: int, terms: TradeInTerms, condition: str = "good") -> Cents:
    """What such a part fetches used, between people: the trade-in curve without the shop's handling, to the cent.

    price × (1 − a − extra)^(min(months, 12)/12) × (1 − a)^(max(months − 12, 0)/12) × condition, rounded half up.
    A board of 1,000.00 after 12 months in good condition, at a = 0.22 and 0.10 more in the first year: 578.00.
    """
    return fetches_at(price_new, slot, (months,), terms, condition)[0]


def fetches_at(
    price_new: Cents, slot: str, many_months: Iterable[int], terms: TradeInTerms, condition: str = "good"
) -> list[Cents]:
    """The same after each of several numbers of months."""
    factor, loss, extra = terms.condition[condition], terms.yearly_loss[slot], terms.first_year_extra_loss
    base = Decimal(price_new)
    with localcontext() as context:
        context.prec = DIGITS
        return [round_half_up(_worth(base, loss, months, factor, extra)) for months in many_months]


def base_of(trade: Trade, catalogue: Catalogue) -> Decimal:
    """The smaller of the price declared and the dearest list price of that slot today less the whole kit's percentage.

    So a new kit cannot be traded back at a gain. Zero where no part of that slot is sold.
    """
    dearest = catalogue.dearest_list_price(trade.slot)
    if dearest is None:
        return Decimal(0)
    full = catalogue.policy.full_tier
    most = Decimal(dearest) * (100 - (full.percent if full else 0)) / 100
    return min(Decimal(trade.price_new), most)


def value_trade(trade: Trade, catalogue: Catalogue) -> Valuation:
    """What one piece is worth, rounded down once to a whole step; zero for gear with a safety fault."""
    terms = catalogue.policy.trade_in
    base = base_of(trade, catalogue)
    shown = round_half_up(base)
    if trade.faults:
        faults = " and ".join(FAULT_WORDS[fault] for fault in trade.faults)
        return Valuation(trade.slot, shown, 0, f"Nothing, because {faults} makes it unsafe to sell on.")
    value = value_from(base, trade.slot, trade.months, trade.condition, terms)
    return Valuation(trade.slot, shown, value, _because(trade, base, terms))


def value_from(base: Decimal, slot: str, months: int, condition: str, terms: TradeInTerms) -> Cents:
    """What sound gear is worth to the shop, counted from a base: the curve less handling, rounded down once to a whole step."""
    factor = terms.condition[condition] * (1 - terms.handling)
    exact = worth(base, terms.yearly_loss[slot], months, factor, terms.first_year_extra_loss)
    return round_down_to(exact, terms.step)


def _valuation(trade: Trade, catalogue: Catalogue, by_hand: Cents | None) -> Valuation:
    if by_hand is None:
        return value_trade(trade, catalogue)
    return Valuation(trade.slot, round_half_up(base_of(trade, catalogue)), by_hand, VALUED_BY_US)


def valuation_steps(trade: Trade, catalogue: Catalogue) -> tuple[tuple[str, Cents], ...]:
    """How a piece comes to its value, step by step: what is done in words, and the cents that are left after it.

    Each amount is rounded by itself for reading; the value is worked out exactly and rounded only at the end, as by
    `value_trade`. Empty for gear with a safety fault, which is worth nothing from the start.
    """
    if trade.faults:
        return ()
    terms = catalogue.policy.trade_in
    base, loss, extra = base_of(trade, catalogue), terms.yearly_loss[trade.slot], terms.first_year_extra_loss
    one = Decimal(1)
    counted = "what was paid" if base == trade.price_new else f"the dearest new {SLOT_WORDS[trade.slot]} in a kit today"
    steps = [(f"counted from {counted}", round_half_up(base))]
    first = min(trade.months, YEAR)
    if first:
        words = f"after {first} months at {100 * (loss + extra):.0f} % a year"
        steps.append((words, round_half_up(worth(base, loss, first, one, extra))))
    if trade.months > YEAR:
        words = f"after {trade.months - YEAR} more at {100 * loss:.0f} % a year"
        steps.append((words, round_half_up(worth(base, loss, trade.months, one, extra))))
    condition = terms.condition[trade.condition]
    if condition != 1:
        words = f"in {CONDITION_WORDS[trade.condition]} condition, {100 * condition:.0f} % of that"
        steps.append((words, round_half_up(worth(base, loss, trade.months, condition, extra))))
    steps.append(
        (
            f"less {100 * terms.handling:.0f} % for looking it over and selling it on, in whole steps",
            value_trade(trade, catalogue).value,
        )
    )
    return tuple(steps)


def _because(trade: Trade, base: Decimal, terms: TradeInTerms) -> str:
    limited = base < trade.price_new
    return (
        f"{trade.months} months old, {CONDITION_WORDS[trade.condition]}: {100 * terms.yearly_loss[trade.slot]:.0f} % a year "
        f"and {100 * terms.first_year_extra_loss:.0f} % more in the first, less {100 * terms.handling:.0f} % for handling"
        + (f"; counted from the dearest new {SLOT_WORDS[trade.slot]} in a kit today" if limited else "")
        + ". An estimate until we have seen it."
    )


def take_in(
    trades: Sequence[Trade],
    core_charged: Cents,
    catalogue: Catalogue,
    valued: Sequence[Cents | None] = (),
) -> TradeIn:
    """All pieces, together at most the policy's share of the core parts charged, rounded down to a whole step once more.

    `valued` says for each piece what the shop has valued it at, or None where the curve decides; empty, it always does.
    """
    if not trades:
        return TradeIn()
    terms = catalogue.policy.trade_in
    by_hand = valued or (None,) * len(trades)
    valuations = tuple(_valuation(trade, catalogue, value) for trade, value in zip(trades, by_hand, strict=True))
    wanted = sum(valuation.value for valuation in valuations)
    most = round_down_to(terms.share * core_charged, terms.step)
    if wanted <= most:
        return TradeIn(valuations, wanted)
    share = f"{100 * terms.share:.0f} %"
    return TradeIn(
        valuations, most, f"Old gear pays at most {share} of the parts bought, so not all of its value counts."
    )
