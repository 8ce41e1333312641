"""Kept quotes priced again under a draft policy: the same kits, answers and prices of today, so that nothing but the policy differs.

No quote is changed by it. Both sides are priced by `price_kit` and `margin_of`; a part that the catalogue does not list any more is
taken as it was quoted, and since nobody knows what it costs, its quote counts in no margin.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property
from types import MappingProxyType
from typing import Any

from server.domain.agreed import NOTHING_AGREED, Agreed, bounds_of
from server.domain.catalogue import Part, Shelf
from server.domain.deposits import PaidLesson
from server.domain.errors import InvalidInput
from server.domain.learner import Answers, read_answers
from server.domain.money import Cents
from server.domain.policy import Policy, Tier
from server.domain.pricing import Margin, margin_of, price_kit, tier_for
from server.domain.quotes import QuotedPart
from server.domain.slots import CORE_SLOTS


@dataclass(frozen=True, slots=True)
class Quoted:
    """What of a kept quote its price hangs on: the answers as given, the parts bought, and what was agreed by hand."""

    code: str
    issued_at: datetime
    answers: Mapping[str, Any]
    parts: Mapping[str, QuotedPart]
    agreed: Agreed = NOTHING_AGREED


@dataclass(frozen=True, slots=True)
class Priced:
    """What a quote comes to under one policy, in cents; its margin is None where the cost of a part is not known any more.

    Only sums are kept of it: the lines of ten thousand quotes would be a million things to keep, and nobody asks for them.
    """

    due: Cents
    discount: Cents
    trade_in: Cents
    deposit_back: Cents
    delivery: Cents
    margin: Margin | None
    is_under_floor: bool
    tier: Tier | None


@dataclass(frozen=True, slots=True)
class Repriced:
    """A quote under the policy in force and under the draft."""

    code: str
    before: Priced
    after: Priced

    @property
    def change(self) -> Cents:
        """How much more the customer would have to pay; less than nothing where it is less, or where we would owe them more."""
        return self.after.due - self.before.due


@dataclass(frozen=True, slots=True)
class Totals:
    """What quotes come to together, in cents. Revenue, margin and floor are of those alone whose costs are all known."""

    quotes: int = 0
    due: Cents = 0
    discount: Cents = 0
    trade_in: Cents = 0
    deposit_back: Cents = 0
    delivery: Cents = 0
    revenue: Cents = 0
    margin: Cents = 0
    under_floor: int = 0


@dataclass(frozen=True, slots=True)
class TierEffect:
    """What a kit discount's quotes come to before and after; `name` is empty for quotes without one."""

    name: str
    before: Totals
    after: Totals


@dataclass(frozen=True)
class Repricing:
    """Quotes priced again, with those left out: whose answers are not accepted any more, and whose costs are not all known."""

    quotes: tuple[Repriced, ...]
    unreadable: int = 0
    names: Mapping[object, str] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def of_unknown_cost(self) -> int:
        """The quotes that count in no margin."""
        return sum(one.before.margin is None for one in self.quotes)

    @cached_property
    def before(self) -> Totals:
        """All together under the policy in force."""
        return totals_of(one.before for one in self.quotes)

    @cached_property
    def after(self) -> Totals:
        """All together under the draft."""
        return totals_of(one.after for one in self.quotes)

    @property
    def changed(self) -> int:
        """How many would cost another amount."""
        return sum(one.change != 0 for one in self.quotes)

    def most_changed(self, most: int) -> tuple[Repriced, ...]:
        """Those whose balance would change most, whether up or down; of equal ones the earlier in the list."""
        moved = [one for one in self.quotes if one.change]
        return tuple(sorted(moved, key=lambda one: -abs(one.change))[:most])

    @property
    def gaining(self) -> int:
        """How many would get a kit discount that have none."""
        return sum(one.before.tier is None and one.after.tier is not None for one in self.quotes)

    @property
    def losing(self) -> int:
        """How many would get none that have one."""
        return sum(one.before.tier is not None and one.after.tier is None for one in self.quotes)

    @property
    def switching(self) -> int:
        """How many would get another kit discount than they have."""
        both = [(one.before.tier, one.after.tier) for one in self.quotes if one.before.tier and one.after.tier]
        return sum(_kind_of(before) != _kind_of(after) for before, after in both)

    def by_tier(self) -> tuple[TierEffect, ...]:
        """The effect by kit discount, in the order in which the policies have them; quotes without one come last."""
        found: dict[object, tuple[list[Priced], list[Priced]]] = {kind: ([], []) for kind in (*self.names, None)}
        for one in self.quotes:
            found[_kind_of(one.before.tier)][0].append(one.before)
            found[_kind_of(one.after.tier)][1].append(one.after)
        return tuple(
            TierEffect(self.names.get(kind, ""), totals_of(before), totals_of(after))
            for kind, (before, after) in found.items()
            if before or after
        )


def _kind_of(tier: Tier | None) -> object:
    """What makes a kit discount the same one under another name or percentage: which parts count, and how many."""
    return None if tier is None else (frozenset(tier.slots), tier.at_least)


def _names_of(before: Policy, after: Policy) -> dict[object, str]:
    """The kit discounts of both policies by what they are, the draft's words winning."""
    return {_kind_of(tier): tier.name for policy in (before, after) for tier in policy.tiers}


def totals_of(priced: Iterable[Priced]) -> Totals:
    """What they come to together."""
    rows = list(priced)
    known = [(one, one.margin) for one in rows if one.margin is not None]
    return Totals(
        quotes=len(rows),
        due=sum(one.due for one in rows),
        discount=sum(one.discount for one in rows),
        trade_in=sum(one.trade_in for one in rows),
        deposit_back=sum(one.deposit_back for one in rows),
        delivery=sum(one.delivery for one in rows),
        revenue=sum(margin.revenue for _, margin in known),
        margin=sum(margin.amount for _, margin in known),
        under_floor=sum(one.is_under_floor for one, _ in known),
    )


def under_policy(shelf: Shelf, policy: Policy) -> Shelf:
    """The same shelf under another policy."""
    return Shelf(replace(shelf.catalogue, policy=policy), shelf.free)


def _price(
    bought: Sequence[Part], agreed: Agreed, answers: Answers, shelf: Shelf, today: date, lessons: Sequence[PaidLesson]
) -> Priced:
    """A quote's kit at today's prices under the policy of a shelf, held to that policy's bounds of what was agreed by hand."""
    policy, listed = shelf.catalogue.policy, shelf.catalogue.parts
    is_known = not any(part.sku not in listed for part in bought)
    bounds = bounds_of(agreed, policy) if agreed.changes_price and is_known else None
    price = price_kit(bought, answers, lessons, shelf, today, agreed, bounds)
    margin = margin_of(price, answers, shelf.catalogue, agreed) if is_known else None
    return Priced(
        due=price.due,
        discount=price.discount,
        trade_in=price.trade_in,
        deposit_back=price.deposit_back,
        delivery=price.delivery,
        margin=None if margin is None else Margin(margin.revenue, margin.cost, margin.trade_in_loss),
        is_under_floor=margin is not None and margin.is_under(policy.margin_floor_percent),
        tier=tier_for((part.slot for part in bought), policy),
    )


def _part_of(quoted: QuotedPart, listed: Mapping[str, Part]) -> Part:
    """The part as it is listed today, else as it was quoted."""
    part = listed.get(quoted.sku)
    if part is not None:
        return part
    return Part(quoted.sku, quoted.name, quoted.maker, "", quoted.price, 0, quoted.gear, sold=False)


def reprice(
    quotes: Iterable[Quoted | None], shelf: Shelf, draft: Policy, today: date, lessons: Mapping[str, PaidLesson]
) -> Repricing:
    """Every quote under the policy of a shelf and under a draft; `lessons` are those paid, by their codes.

    A quote whose answers are not accepted today is counted and left out, as is None, one whose record nobody can read.
    """
    drafted, listed = under_policy(shelf, draft), shelf.catalogue.parts
    is_same_home = draft.shop.home_zone == shelf.catalogue.policy.shop.home_zone
    found: list[Repriced] = []
    unreadable = 0
    for quoted in quotes:
        if quoted is None:
            unreadable += 1
            continue
        try:
            answers = read_answers(quoted.answers, shelf.catalogue)
            then = answers if is_same_home else read_answers(quoted.answers, drafted.catalogue)
        except InvalidInput:
            unreadable += 1
            continue
        paid = [lessons[code] for code in answers.deposit_codes if code in lessons]
        bought = [_part_of(quoted.parts[slot], listed) for slot in CORE_SLOTS if slot in quoted.parts]
        before = _price(bought, quoted.agreed, answers, shelf, today, paid)
        found.append(Repriced(quoted.code, before, _price(bought, quoted.agreed, then, drafted, today, paid)))
    return Repricing(tuple(found), unreadable, _names_of(shelf.catalogue.policy, draft))
