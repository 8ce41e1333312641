"""What a draft of the policy would do, as the console shows it: in a sentence, as a chart and as tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from server.domain.kits import size_words
from server.domain.money import Cents
from server.domain.policy import Policy, TradeInTerms
from server.domain.refitting import Refitted, Refitting, Swapped
from server.domain.repricing import Repricing, Totals
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.domain.trade_in import value_from
from server.usecases.repricing import MoneyEffect, SizeEffect, money_effect, size_effect
from server.usecases.work import Work
from server.web.drawings.axis import EURO, whole_money
from server.web.drawings.curves import Curve, curves_chart
from server.web.drawings.margins import margins_chart
from server.web.pages.drawn import NARROW, WIDE, Pair
from server.web.pages.policy_fields import page_of
from server.web.pages.policy_words import changes_shown
from server.web.render import day_words, money_words

MOST_CHANGED, MOST_LEARNERS = 5, 20
PAID: Cents = 1_000_00
MOST_CURVES = 2
MONTHS, YEARS = 36, (12, 24, 36)
Money = Callable[[Cents], str]


@dataclass(frozen=True, slots=True)
class FigureRow:
    """A figure now, under the draft, and what is between them."""

    words: str
    now: str
    then: str
    change: str


@dataclass(frozen=True, slots=True)
class TierRow:
    """A kit discount: its quotes, what they bring and what is left of it, now and under the draft."""

    name: str
    quotes: str
    discount: tuple[str, str]
    margin: tuple[str, str]
    percent: tuple[str, str]


@dataclass(frozen=True, slots=True)
class QuoteRow:
    """A quote whose balance changes."""

    code: str
    tier: str
    now: str
    then: str
    change: str


@dataclass(frozen=True)
class MoneyShown:
    """Quotes priced again; without any there is nothing to draw."""

    quotes: int
    summary: tuple[str, ...]
    glance: str
    chart: Pair | None
    figures: tuple[FigureRow, ...]
    tiers: tuple[TierRow, ...]
    most_changed: tuple[QuoteRow, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SwapRow:
    """Learners who would get another part in a slot."""

    slot: str
    now: str
    then: str
    learners: int


@dataclass(frozen=True, slots=True)
class SlotRow:
    """A slot: how many learners would get another part there, and how many of them a larger, a smaller or one as large."""

    slot: str
    learners: int
    larger: int
    smaller: int
    others: int


@dataclass(frozen=True, slots=True)
class LearnerRow:
    """A learner who would get something else."""

    code: str
    mass_kg: float
    words: str


@dataclass(frozen=True)
class SizesShown:
    """Learners fitted again."""

    learners: int
    summary: str
    glance: str
    slots: tuple[SlotRow, ...]
    swaps: tuple[SwapRow, ...]
    changed: tuple[LearnerRow, ...]
    more: int
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WorthRow:
    """What a part fetches that was paid a round sum for, after each of the years."""

    slot: str
    now: tuple[str, ...]
    then: tuple[str, ...]


@dataclass(frozen=True)
class CurveShown:
    """The curve of old gear, drawn and worked out for a round sum."""

    paid: str
    chart: Pair
    rows: tuple[WorthRow, ...]


@dataclass(frozen=True)
class EffectShown:
    """All that a draft would do."""

    money: MoneyShown | None
    sizes: SizesShown | None


def effect_shown(
    work: Work, before: Mapping[str, Any], after: Mapping[str, Any], draft: Policy, days: int, from_day: date | None
) -> EffectShown:
    """What changed terms would do: to money, to sizes or to neither, by the pages on which they stand."""
    shop = work.catalogue.policy.shop
    pages = {page_of(one.key) for one in changes_shown(before, after, shop)}
    kinds = {page.effect for page in pages if page is not None}
    money = money_shown(work, money_effect(work, draft, days, from_day), draft) if "money" in kinds else None
    sizes = sizes_shown(size_effect(work, draft, days)) if "sizes" in kinds else None
    return EffectShown(money, sizes)


def money_shown(work: Work, effect: MoneyEffect, draft: Policy) -> MoneyShown:
    """Quotes priced again in words, as a chart and as tables."""
    shop = work.catalogue.policy.shop
    found = effect.repricing

    def money(cents: Cents) -> str:
        return money_words(cents, shop)

    def whole(cents: Cents) -> str:
        return whole_money(cents, money)

    most = tuple(
        QuoteRow(
            one.code,
            one.after.tier.name if one.after.tier else "no kit discount",
            money(one.before.due),
            money(one.after.due),
            _signed(one.change, money),
        )
        for one in found.most_changed(MOST_CHANGED)
    )
    return MoneyShown(
        len(found.quotes),
        _summary(found, effect.days, whole, _floors(work.catalogue.policy, draft)),
        _glance(found),
        _chart(found, work.catalogue.policy, draft),
        _figures(found, whole, _floors(work.catalogue.policy, draft)),
        tuple(_tier_row(one.name, one.before, one.after, whole) for one in found.by_tier()),
        most,
        (*_money_notes(effect), f"VAT on both sides as on {day_words(effect.vat_on, shop)}."),
    )


def _signed(cents: Cents, money: Money) -> str:
    return f"+{money(cents)}" if cents > 0 else money(cents)


def _rounded(cents: Cents) -> Cents:
    """To the whole unit, before differences are taken, so that every row adds up."""
    return round(cents / EURO) * EURO


def _percent(totals: Totals) -> str:
    return f"{100 * totals.margin / totals.revenue:.1f} %" if totals.revenue > 0 else "–"


def _floors(in_force: Policy, draft: Policy) -> tuple[str, str]:
    """The margin floors now and under the draft, as they are written."""
    return _percent_words(in_force.margin_floor_percent), _percent_words(draft.margin_floor_percent)


def _percent_words(percent: Decimal) -> str:
    return f"{percent:g}\N{NO-BREAK SPACE}%"


def _costing(found: Repricing, days: int) -> str:
    """How many quotes would cost less, more and the same."""
    changes = [one.change for one in found.quotes]
    counted = {
        "less": sum(change < 0 for change in changes),
        "more": sum(change > 0 for change in changes),
        "the same": changes.count(0),
    }
    told = [(number, way) for way, number in counted.items() if number]
    if len(told) == 1:
        all_of_them = "The only quote" if len(changes) == 1 else f"All {_quotes(len(changes))}"
        return f"{all_of_them} of the last {days} days would cost {told[0][1]}"
    (first, way), *others = told
    rest = " and ".join(f"{number} {way}" for number, way in others)
    return f"Of {_quotes(len(changes))} of the last {days} days {first} would cost {way}, {rest}"


def _summary(found: Repricing, days: int, money: Money, floors: tuple[str, str]) -> tuple[str, ...]:
    if not found.quotes:
        return (f"No quote was made in the last {days} days, so there is nothing to price again.",)
    before, after = found.before, found.after
    if not found.changed and before == after:
        return (
            f"Nothing of the {_quotes(len(found.quotes))} of the last {days} days would cost or earn anything else.",
        )
    change = _rounded(after.due) - _rounded(before.due)
    less = abs(change)
    way = "more" if change > 0 else "less"
    asked = f"customers would pay {money(less)} {way} in all" if change else "in all they come to the same"
    under = (
        f"Under your margin floor of {floors[0]}: {before.under_floor} now, {after.under_floor} then."
        if floors[0] == floors[1]
        else f"Under your margin floor: {before.under_floor} now, of {floors[0]}; {after.under_floor} then, of {floors[1]}."
    )
    return (
        f"{_costing(found, days)}; {asked}."
        if found.changed
        else f"No price of the {_quotes(len(found.quotes))} of the last {days} days would change.",
        f"Margin {money(before.margin)} → {money(after.margin)}, {_percent(before)} → {_percent(after)}.",
        under,
    )


def _glance(found: Repricing) -> str:
    """The most important of it in a line."""
    before, after = found.before, found.after
    return f"Margin {_percent(before)} → {_percent(after)}, under your floor {before.under_floor} → {after.under_floor}"


def _chart(found: Repricing, in_force: Policy, draft: Policy) -> Pair | None:
    both = [
        (float(one.before.margin.percent), float(one.after.margin.percent))
        for one in found.quotes
        if one.before.margin is not None and one.after.margin is not None
    ]
    if not both:
        return None
    before, after = [one for one, _ in both], [other for _, other in both]
    floors = (float(in_force.margin_floor_percent), float(draft.margin_floor_percent))
    return Pair(margins_chart(before, after, floors, WIDE), margins_chart(before, after, floors, NARROW))


def _figures(found: Repricing, money: Money, floors: tuple[str, str]) -> tuple[FigureRow, ...]:
    before, after = found.before, found.after

    def row(words: str, name: str) -> FigureRow:
        now, then = (_rounded(getattr(side, name)) for side in (before, after))
        return FigureRow(words, money(now), money(then), _signed(then - now, money) if then != now else "")

    under = after.under_floor - before.under_floor
    return (
        row("Customers pay", "due"),
        row("Revenue less VAT", "revenue"),
        row("Discounts", "discount"),
        row("For old gear", "trade_in"),
        row("Lesson fees back", "deposit_back"),
        row("Delivery charged", "delivery"),
        row("Margin", "margin"),
        FigureRow("Margin of revenue", _percent(before), _percent(after), ""),
        FigureRow(
            f"Under your margin floor of {' → '.join(dict.fromkeys(floors))}",
            f"{before.under_floor}",
            f"{after.under_floor}",
            f"{under:+d}".replace("-", "−") if under else "",
        ),
    )


def _tier_row(name: str, before: Totals, after: Totals, money: Money) -> TierRow:
    quotes = f"{before.quotes}" if before.quotes == after.quotes else f"{before.quotes} → {after.quotes}"
    return TierRow(
        name or "No kit discount",
        quotes,
        (money(before.discount), money(after.discount)),
        (money(before.margin), money(after.margin)),
        (_percent(before), _percent(after)),
    )


def _money_notes(effect: MoneyEffect) -> tuple[str, ...]:
    found = effect.repricing
    moved = [
        f"{number} {words}"
        for number, words in (
            (found.gaining, "would get a kit discount that have none"),
            (found.losing, "would get none that have one"),
            (found.switching, "would get another one"),
        )
        if number
    ]
    notes = ["Priced at today's prices on both sides, so that only the policy differs."]
    if moved:
        notes.append(f"Of them {', '.join(moved)}.")
    if effect.settled:
        notes.append(f"{effect.settled} of them {_are(effect.settled)} held or bought: what was agreed stays.")
    if found.of_unknown_cost:
        notes.append(f"{_quotes(found.of_unknown_cost)} with a part of unknown cost: in no margin and no revenue.")
    if found.unreadable:
        notes.append(f"{_quotes(found.unreadable)} left out, whose answers are not accepted today.")
    return tuple(notes)


def _are(number: int) -> str:
    return "is" if number == 1 else "are"


def _quotes(number: int) -> str:
    return "1 quote" if number == 1 else f"{number} quotes"


def sizes_shown(effect: SizeEffect) -> SizesShown:
    """Learners fitted again in words and as tables."""
    found = effect.refitting
    swaps = tuple(
        SwapRow(SLOT_WORDS[slot], _part(swap, "before"), _part(swap, "after"), number)
        for slot, rows in found.by_slot().items()
        for swap, number in rows
    )
    changed = tuple(LearnerRow(one.code, one.mass_kg, _learner_words(one)) for one in found.changed[:MOST_LEARNERS])
    more = max(0, len(found.changed) - MOST_LEARNERS)
    notes = ["Fitted on today's shelf on both sides, so that only the policy differs."]
    if len(found.learners) + found.unreadable >= effect.most:
        notes.append(f"Only the newest {effect.most} quotes were looked at.")
    if found.unreadable:
        notes.append(f"{_quotes(found.unreadable)} left out, whose answers are not accepted today.")
    slots = tuple(_slot_row(slot, rows) for slot, rows in found.by_slot().items())
    glance = f"{len(found.changed)} of {len(found.learners)} learners would get something else"
    summary = _sizes_summary(found, effect.days)
    return SizesShown(len(found.learners), summary, glance, slots, swaps, changed, more, tuple(notes))


def _slot_row(slot: str, rows: Sequence[tuple[Swapped, int]]) -> SlotRow:
    ways = Counter[int]()
    for swap, number in rows:
        was, now = (part.gear.size if part else 0.0 for part in (swap.before, swap.after))
        is_their_own = swap.before is None or swap.after is None
        ways[0 if is_their_own else (now > was) - (now < was)] += number
    return SlotRow(SLOT_WORDS[slot], ways.total(), ways[1], ways[-1], ways[0])


def _sizes_summary(found: Refitting, days: int) -> str:
    if not found.learners:
        return f"No quote was made in the last {days} days, so there is nobody to fit again."
    if not found.changed:
        return f"Nobody of {_learners(len(found.learners))} of the last {days} days would get another part."
    number = len(found.learners)
    all_of_them = "The only learner" if number == 1 else f"All {_learners(number)}"
    said = (
        f"{all_of_them} of the last {days} days would get something else"
        if len(found.changed) == number
        else f"Of {_learners(number)} of the last {days} days {len(found.changed)} would get something else"
    )
    if found.losing:
        said += f"; {found.losing} would find no sound kit any more"
    if found.gaining:
        said += f"; {found.gaining} would find one that find none now"
    return f"{said}."


def _learners(number: int) -> str:
    return "1 learner" if number == 1 else f"{number} learners"


def _part(swap: Swapped, side: str) -> str:
    part = swap.before if side == "before" else swap.after
    return "their own" if part is None else f"{size_words(part.gear)} {part.name}"


def _learner_words(one: Refitted) -> str:
    if one.before is None:
        return "no sound kit now, one then"
    if one.after is None:
        return "no sound kit any more"
    sizes = (f"{SLOT_WORDS[swap.slot]} {_size(swap, 'before')} → {_size(swap, 'after')}" for swap in one.swapped)
    return ", ".join(sizes)


def _size(swap: Swapped, side: str) -> str:
    part = swap.before if side == "before" else swap.after
    return "their own" if part is None else size_words(part.gear)


def curve_shown(work: Work, before: TradeInTerms, after: TradeInTerms) -> CurveShown:
    """What a part in good condition is worth against a new kit that a round sum was paid for; those
    that change, the slowest and the fastest are drawn."""
    shop = work.catalogue.policy.shop

    def money(cents: Cents) -> str:
        return money_words(cents, shop)

    def given(slot: str, months: int, terms: TradeInTerms) -> Cents:
        return value_from(Decimal(PAID), slot, months, "good", terms)

    rows = tuple(
        WorthRow(
            SLOT_WORDS[slot],
            tuple(money(given(slot, months, before)) for months in YEARS),
            tuple(money(given(slot, months, after)) for months in YEARS),
        )
        for slot in CORE_SLOTS
    )
    by_loss = sorted(CORE_SLOTS, key=lambda slot: after.yearly_loss[slot])
    moved = [slot for slot in CORE_SLOTS if before.yearly_loss[slot] != after.yearly_loss[slot]]
    curves = [
        Curve(
            SLOT_WORDS[slot],
            tuple(given(slot, months, before) for months in range(MONTHS + 1)),
            tuple(given(slot, months, after) for months in range(MONTHS + 1)),
        )
        for slot in dict.fromkeys((*moved[:MOST_CURVES], by_loss[0], by_loss[-1]))
    ]
    return CurveShown(money(PAID), Pair(curves_chart(curves, WIDE, money), curves_chart(curves, NARROW, money)), rows)
