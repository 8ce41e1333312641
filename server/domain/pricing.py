"""The price of a kit as an ordered list of lines whose sum is the total; tiers, extras, trade-in, deposit, delivery, VAT."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from server.domain.agreed import CHARGED_KINDS, NOTHING_AGREED, Agreed, Bounds, FreeLine
from server.domain.catalogue import Catalogue, Part, Shelf
from server.domain.deposits import DepositDecision, PaidLesson, decide_deposits
from server.domain.learner import Answers
from server.domain.money import Cents, percent_below, round_half_up, share_of, spread, vat_inside
from server.domain.policy import Policy, Tier
from server.domain.slots import CORE_SLOTS, SIZED_AT_THE_SHOP, SLOT_WORDS
from server.domain.trade_in import TradeIn, Valuation, take_in, value_trade

LESSON = "lesson"
BY_HAND = "by_hand"
COST_KINDS = ("parts", "extras", "lessons", "delivery", "by hand")
VOUCHER_LEFT = "The voucher is worth more than what is left to pay: the rest of it stays on the voucher."
SMALLER_DISCOUNT = "With these parts the discount we agreed on is smaller than with those we spoke about: ask us."
OTHER_ANSWERS = "Part of what was agreed by hand held for other answers and is not in this price: talk to us."
TERMS = ("delivery", "lines", "values")
"""What is left out, one after the other, where the margin would be too small even without the discount."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line: list price, what is charged, the discount between them, and the worth of what is included; in cents.

    `alone` is what it costs by itself on that day, `prior` the lowest price of the 30 days before where it is charged at a markdown
    that may be called a reduction; None where that is not known. The list price is no former price, and is shown as none.
    A line of lessons stands for several, and its amounts are for all of them.
    """

    sku: str
    label: str
    slot: str
    list: Cents
    charged: Cents
    worth: Cents = 0
    quantity: int = 1
    alone: Cents | None = None
    prior: Cents | None = None

    @property
    def discount(self) -> Cents:
        """List price less what is charged."""
        return self.list - self.charged

    @property
    def off(self) -> Cents:
        """What is taken off the price that it has by itself on that day; zero where that is not known."""
        return 0 if self.alone is None or self.worth else self.alone - self.charged

    @property
    def percent_reduced(self) -> int:
        """By how many whole per cent of the lowest price of the 30 days before it is reduced; zero where that may not be said."""
        if self.prior is None or self.alone is None:
            return 0
        return percent_below(self.prior, self.alone)

    @property
    def is_core(self) -> bool:
        """Whether it is a part of the kit itself."""
        return self.slot in CORE_SLOTS


@dataclass(frozen=True, slots=True)
class TierTaken:
    """The package discount that holds: its name, percentage and part of the discount in cents."""

    name: str
    percent: int
    discount: Cents


@dataclass(frozen=True, slots=True)
class VatShare:
    """The tax inside what is paid at one rate."""

    rate: Decimal
    gross: Cents
    vat: Cents


@dataclass(frozen=True, slots=True)
class Breakdown:
    """A whole price. Σ charged + delivery − trade-in − deposit given back − voucher = balance − owed to the customer.

    `agreed_off` is the part of the core lines' discounts that was agreed by hand; `left_out` are the `TERMS` agreed by hand that
    this price is without.
    """

    currency: str
    lines: tuple[Line, ...]
    tier: TierTaken | None
    trade_in: Cents
    deposit_back: Cents
    delivery: Cents
    vat: tuple[VatShare, ...]
    trades: tuple[Valuation, ...] = ()
    notes: tuple[str, ...] = ()
    agreed_off: Cents = 0
    voucher: Cents = 0
    left_out: tuple[str, ...] = ()

    @property
    def charged(self) -> Cents:
        """The sum of the lines."""
        return sum([line.charged for line in self.lines])

    @property
    def core_charged(self) -> Cents:
        """The sum of the kit's own parts: what kits are compared by."""
        return sum(line.charged for line in self.lines if line.is_core)

    @property
    def discount(self) -> Cents:
        """The sum of the lines' discounts."""
        return sum([line.list - line.charged for line in self.lines])

    @property
    def due(self) -> Cents:
        """What is left after trade-in, deposit and voucher; negative where the shop owes."""
        return self.charged + self.delivery - self.trade_in - self.deposit_back - self.voucher

    @property
    def balance(self) -> Cents:
        """What the customer pays; never negative."""
        return max(self.due, 0)

    @property
    def owed_to_customer(self) -> Cents:
        """What the shop pays; never negative, and zero where there is a balance."""
        return max(-self.due, 0)


@dataclass(frozen=True, slots=True)
class Margin:
    """What the owner earns on a quote, net of VAT, in cents; not for customers. `costs` are the cost by its kinds."""

    revenue: Cents
    cost: Cents
    trade_in_loss: Cents
    costs: tuple[tuple[str, Cents], ...] = ()

    @property
    def amount(self) -> Cents:
        """Revenue less cost and expected loss."""
        return self.revenue - self.cost - self.trade_in_loss

    @property
    def percent(self) -> Decimal:
        """In per cent of the revenue, to a hundredth, rounded down; zero without revenue."""
        return Decimal(self.amount * 100_00 // self.revenue) / 100 if self.revenue > 0 else Decimal(0)

    def is_under(self, floor_percent: Decimal) -> bool:
        """Whether it is less than a percentage of the revenue."""
        numerator, denominator = floor_percent.as_integer_ratio()
        return self.amount * 100 * denominator < numerator * self.revenue


def tier_for(slots_bought: Iterable[str], policy: Policy) -> Tier | None:
    """The tier of the highest percentage that holds for the core slots bought; None where none does."""
    bought = set(slots_bought)
    best: Tier | None = None
    for tier in policy.tiers:
        if (best is None or tier.percent > best.percent) and len(bought.intersection(tier.slots)) >= tier.at_least:
            best = tier
    return best


def price_core(parts: Sequence[Part], policy: Policy, today: date) -> tuple[list[Line], TierTaken | None]:
    """The lines of the core parts bought, each with the better of its markdown and the kit discount; equal, the markdown.

    The tier's percentage of all lines it beats the markdown on is rounded once and spread over them by largest remainder.
    """
    return _core_under(tier_for((part.slot for part in parts), policy), parts, policy, today)


def _core_under(
    tier: Tier | None, parts: Sequence[Part], policy: Policy, today: date
) -> tuple[list[Line], TierTaken | None]:
    percent = tier.percent if tier else 0
    now = [part.markdown_on(today) for part in parts]
    in_tier = [
        part.price
        for part, price in zip(parts, now, strict=True)
        if price is None or not _is_at_markdown(part, price, percent, policy)
    ]
    discount = share_of(sum(in_tier), percent)
    shares = iter(spread(discount, in_tier))
    lines = []
    for part, price in zip(parts, now, strict=True):
        alone = part.price if price is None else price
        is_reduced = price is not None and _is_at_markdown(part, price, percent, policy)
        charged = alone if is_reduced else part.price - next(shares)
        lines.append(Line(part.sku, part.name, part.slot, part.price, charged, alone=alone))
    return lines, TierTaken(tier.name, percent, discount) if tier else None


def _is_at_markdown(part: Part, now: Cents, percent: int, policy: Policy) -> bool:
    """Whether a core line is charged at its marked-down price, which takes it out of the kit discount."""
    in_tier = part.price * (100 - percent)
    return now * 100 < in_tier or (now * 100 == in_tier and policy.markdown_wins_ties)


def _prior(part: Part, charged: Cents, catalogue: Catalogue, today: date) -> Cents | None:
    """The lowest price of the 30 days before, where a part is charged at a markdown that may be called a reduction."""
    if part.markdown_on(today) != charged:
        return None
    reduction = catalogue.reduction_of(part, today)
    return None if reduction is None else reduction.prior


def _with_prior(line: Line, part: Part, catalogue: Catalogue, today: date) -> Line:
    """A line as it is, but for one that may be called reduced."""
    prior = None if part.markdown is None else _prior(part, line.charged, catalogue, today)
    return line if prior is None else replace(line, prior=prior)


def extra_for(slot: str, mass_kg: float, shelf: Shelf, today: date) -> Part | None:
    """The extra of a slot for a learner: its mass range holds them, in stock first, then cheapest, then by SKU."""
    ranges = shelf.ranges_in(slot, today)
    return next((part for least_kg, most_kg, part in ranges if least_kg <= mass_kg <= most_kg), None)


def _extras(answers: Answers, included: Sequence[str], shelf: Shelf, today: date) -> tuple[list[Line], list[str]]:
    lines: list[Line] = []
    notes: list[str] = []
    wanted = [slot for slot in answers.extras if slot not in included]
    for slot in [*included, *wanted]:
        word = SLOT_WORDS[slot]
        part = extra_for(slot, answers.mass_kg, shelf, today)
        if part is None:
            notes.append(f"We have no {word} in your size listed today: ask the shop.")
            continue
        label = part.name + (", size at the shop" if slot in SIZED_AT_THE_SHOP else "")
        price = part.price_on(today)
        if slot in included:
            lines.append(_included(part.sku, label, slot, price))
            if not shelf.is_free(part):
                notes.append(f"The {word} is not in stock today: it follows, at no cost.")
        elif shelf.is_free(part):
            prior = _prior(part, price, shelf.catalogue, today)
            lines.append(Line(part.sku, label, slot, part.price, price, alone=price, prior=prior))
        else:
            notes.append(f"The {word} is not in stock today, so it is not charged here: ask the shop when it comes.")
    return lines, notes


@lru_cache(maxsize=512)  # The same few lines stand in almost every price.
def _included(sku: str, label: str, slot: str, worth: Cents, quantity: int = 1) -> Line:
    """What a kit discount includes."""
    return Line(sku, label, slot, 0, 0, worth, quantity)


def lesson_words(number: int, title: str) -> str:
    """A number of lessons in words: 1 private lesson, 3 private lessons."""
    plain = title[:1].lower() + title[1:]
    return f"{number} {plain}" + ("" if number == 1 or plain.endswith("s") else "s")


def _lesson_line(tier: Tier | None, catalogue: Catalogue) -> list[Line]:
    if tier is None or tier.lessons is None:
        return []
    kind = catalogue.lessons.get(tier.lessons.kind)
    title, fee = (kind.title, kind.fee) if kind else (f"{tier.lessons.kind} lesson", 0)
    number = tier.lessons.number
    return [_included(tier.lessons.kind, lesson_words(number, title), LESSON, number * fee, number)]


def delivery_fee(slots_bought: Iterable[str], answers: Answers, catalogue: Catalogue) -> Cents:
    """Collection is free; else what the table says."""
    return 0 if answers.delivery == "collect" else fee_to(answers.zone, slots_bought, catalogue)


def fee_to(zone_name: str, slots_bought: Iterable[str], catalogue: Catalogue) -> Cents:
    """What delivery to a zone costs by the table: nothing for a full kit inside the home zone, else the zone's fee."""
    full = set(slots_bought) >= set(CORE_SLOTS)
    if full and zone_name == catalogue.policy.shop.home_zone:
        return 0
    zone = catalogue.zones.get(zone_name)
    return zone.fee if zone else 0


def price_kit(
    bought: Sequence[Part],
    answers: Answers,
    lessons: Sequence[PaidLesson],
    shelf: Shelf,
    today: date,
    agreed: Agreed = NOTHING_AGREED,
    bounds: Bounds | None = None,
) -> Breakdown:
    """The whole price of the core parts bought, with the extras, trade-ins, deposit codes and delivery of the answers.

    `bought` are core parts in slot order, a hand wing for stronger wind beside a kept one last; `lessons` are those whose codes
    the learner gave. What was agreed by hand is in it. Where it would go over `bounds`, a further discount is made smaller, to
    nothing if need be; if the margin is too small even then, those of the `TERMS` that lower it are left out, one after the
    other, until it is not. Notes say so. Without any of them the price is the policy's own, whatever its margin.
    """
    catalogue = shelf.catalogue
    tier = tier_for((part.slot for part in bought), catalogue.policy)
    plain, taken = _core_under(tier, bought, catalogue.policy, today)
    core = [_with_prior(line, part, catalogue, today) for part, line in zip(bought, plain, strict=True)]

    def priced(off: Cents, left_out: tuple[str, ...] = ()) -> Breakdown:
        return _priced(core, tier, taken, off, bought, answers, lessons, shelf, today, agreed, left_out)

    charged = sum([line.charged for line in core])
    asked = min(agreed.discount, charged)
    price = priced(asked)
    if bounds is None or not agreed.changes_price:
        return price

    def left_by(price: Breakdown) -> Margin:
        return margin_of(price, answers, catalogue, agreed)

    def holds(off: Cents) -> bool:
        return not left_by(priced(off)).is_under(bounds.least_margin_percent)

    most = asked if bounds.most_percent is None else min(asked, int(Fraction(bounds.most_percent) * charged // 100))
    off = _most_that(holds, most)
    if off < asked:
        price = priced(off)
    for term in TERMS if off == 0 else ():
        margin = left_by(price)
        without = priced(0, (*price.left_out, term))
        if margin.is_under(bounds.least_margin_percent) and left_by(without).amount > margin.amount:
            price = without
    return replace(price, notes=(*price.notes, SMALLER_DISCOUNT)) if off < asked else price


def _most_that(holds: Callable[[Cents], bool], most: Cents) -> Cents:
    """The largest amount up to `most` for which something holds that stops holding as the amount grows; zero where it never does."""
    if holds(most):
        return most
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


def _priced(
    core: Sequence[Line],
    tier: Tier | None,
    taken: TierTaken | None,
    off: Cents,
    bought: Sequence[Part],
    answers: Answers,
    lessons: Sequence[PaidLesson],
    shelf: Shelf,
    today: date,
    agreed: Agreed,
    left_out: tuple[str, ...],
) -> Breakdown:
    """The whole price with so many cents off the core lines, spread over them by what each is charged, without some terms."""
    catalogue = shelf.catalogue
    is_whole = not left_out and agreed.holds_for(answers)
    agreed = _without(agreed, left_out, catalogue)
    policy = catalogue.policy
    slots = {part.slot for part in bought}
    reduced = _with_off(core, off)
    extras, notes = _extras(answers, tier.extras if tier else (), shelf, today)
    by_hand = [Line("", line.label, BY_HAND, line.amount, line.amount) for line in agreed.charged_lines]
    lines = [*reduced, *extras, *by_hand, *_lesson_line(tier, catalogue)]
    trade_in = take_in(
        answers.trades, sum([line.charged for line in reduced]), catalogue, agreed.values_of(answers.trades)
    )
    deposit = decide_deposits(lessons, tier.lessons if tier else None, policy.refund_window_days, today)
    agreed_fee = agreed.delivery_for(answers)
    fee = delivery_fee(slots, answers, catalogue) if agreed_fee is None else agreed_fee
    delivery = fee if lines else 0
    gross = sum([line.charged for line in lines]) + delivery
    vat = VatShare(policy.shop.vat_percent, gross, vat_inside(gross, policy.shop.vat_percent))
    voucher = min(agreed.voucher, max(0, gross - trade_in.total - deposit.total))
    if voucher < agreed.voucher:
        notes.append(VOUCHER_LEFT)
    if not is_whole:
        notes.append(OTHER_ANSWERS)
    return Breakdown(
        currency=policy.shop.currency,
        lines=tuple(lines),
        tier=taken,
        trade_in=trade_in.total,
        deposit_back=deposit.total,
        delivery=delivery,
        vat=(vat,),
        trades=trade_in.valuations,
        notes=(*notes, *_trade_notes(answers, trade_in), *_deposit_notes(deposit, tier)),
        agreed_off=off if core else 0,
        voucher=voucher,
        left_out=left_out,
    )


def _with_off(core: Sequence[Line], off: Cents) -> list[Line]:
    """The core lines with so many cents taken off, spread over them by what each is charged."""
    if not off:
        return list(core)
    shares = spread(off, [line.charged for line in core])
    return [replace(line, charged=line.charged - share) for line, share in zip(core, shares, strict=True)]


def _without(agreed: Agreed, terms: Sequence[str], catalogue: Catalogue) -> Agreed:
    """What was agreed without some of the `TERMS`; of the lines only those go that cost more than they bring."""
    if not terms:
        return agreed
    vat_percent = catalogue.policy.shop.vat_percent

    def stays(line: FreeLine) -> bool:
        if line.kind in CHARGED_KINDS and "lines" in terms:
            return cost_by_hand(line, catalogue) <= line.amount - vat_inside(line.amount, vat_percent)
        return line.kind != "delivery" or "delivery" not in terms

    values = () if "values" in terms else agreed.values
    return replace(agreed, lines=tuple(line for line in agreed.lines if stays(line)), values=values)


def _trade_notes(answers: Answers, trade_in: TradeIn) -> list[str]:
    notes = [trade_in.note] if trade_in.note else []
    notes += [
        f"Invoice {trade.invoice} is not among our records: valued from the price you gave."
        for trade in answers.trades
        if trade.invoice is not None
    ]
    return notes


def _deposit_notes(deposit: DepositDecision, tier: Tier | None) -> list[str]:
    notes = [f"Lesson {fee.code}: not given back. {fee.because}" for fee in deposit.refused]
    if deposit.given_back and tier is not None and tier.lessons is not None:
        left = deposit.free_lessons_left
        notes.append(
            f"Of the {tier.lessons.number} lessons included, {len(deposit.given_back)} you have paid: their fees are given back"
            + (f", and {left} more come free." if left else ".")
        )
    return notes


def cost_by_hand(line: FreeLine, catalogue: Catalogue) -> Cents:
    """What a free line costs, net; one whose cost nobody knows is taken to earn nothing.

    A lesson of unknown cost costs at least what one lesson of the dearest kind in the catalogue's table does.
    """
    if line.cost is not None:
        return line.cost
    earned = line.amount - vat_inside(line.amount, catalogue.policy.shop.vat_percent)
    return max(earned, dearest_lesson(catalogue)) if line.kind == LESSON else earned


def dearest_lesson(catalogue: Catalogue) -> Cents:
    """What one lesson of the kind that costs the shop most costs it, net; zero where there is no table of lessons."""
    return max((kind.cost for kind in catalogue.lessons.values()), default=0)


def margin_of(breakdown: Breakdown, answers: Answers, catalogue: Catalogue, agreed: Agreed = NOTHING_AGREED) -> Margin:
    """What the owner earns on a priced kit, net of VAT: parts, included extras, lessons and delivery at their cost.

    Included lessons are counted whole, since a fee given back was a lesson given free. The expected loss on trade-ins is
    the policy's share of their sum. A voucher is money paid before, so it changes nothing here.
    """
    policy = catalogue.policy
    agreed = _without(agreed, breakdown.left_out, catalogue)
    gross = breakdown.charged + breakdown.delivery
    costs = _costs(breakdown, answers, catalogue, agreed)
    loss = round_half_up(policy.trade_in.expected_loss * breakdown.trade_in)
    loss += min(_given_above_the_curve(answers, catalogue, agreed), breakdown.trade_in)
    revenue = gross - vat_inside(gross, policy.shop.vat_percent)
    return Margin(revenue, sum(costs.values()), loss, tuple(costs.items()))


def _given_above_the_curve(answers: Answers, catalogue: Catalogue, agreed: Agreed) -> Cents:
    """What old gear was valued at by hand beyond the trade-in curve: given away, as a discount is."""
    valued = zip(answers.trades, agreed.values_of(answers.trades), strict=True)
    return sum(max(0, value - value_trade(trade, catalogue).value) for trade, value in valued if value is not None)


def _costs(breakdown: Breakdown, answers: Answers, catalogue: Catalogue, agreed: Agreed) -> dict[str, Cents]:
    """What the shop pays, net, by kind; kinds that cost nothing are left out."""
    costs, parts = dict.fromkeys(COST_KINDS, 0), catalogue.parts
    for line in breakdown.lines:
        if line.slot == LESSON:
            kind = catalogue.lessons.get(line.sku)
            costs["lessons"] += line.quantity * kind.cost if kind else 0
        elif line.slot != BY_HAND:
            costs["parts" if line.slot in CORE_SLOTS else "extras"] += parts[line.sku].cost
    costs["by hand"] = sum(cost_by_hand(line, catalogue) for line in agreed.charged_lines)
    zone = catalogue.zones.get(answers.zone)
    if (
        (answers.delivery == "deliver" or agreed.delivery_for(answers) is not None)
        and zone is not None
        and breakdown.lines
    ):
        costs["delivery"] = zone.cost
    return {kind: cost for kind, cost in costs.items() if cost}


def bought_one_by_one(bought: Iterable[Part], today: date) -> Cents:
    """What the parts cost bought one by one today: what a kit's price is shown against."""
    return sum(part.price_on(today) for part in bought)
