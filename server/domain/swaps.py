"""A part swapped for the next size: until when, at what price, and what that comes to, line by line.

The days, lessons and fees are the shop's own policy, told before the purchase; no law asks for them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from server.domain.catalogue import Gear, Part
from server.domain.fit import do_not_join, is_less
from server.domain.money import Cents, round_half_up
from server.domain.policy import Policy
from server.domain.pricing import tier_for
from server.domain.returns import Row
from server.domain.sale_terms import SaleTerms
from server.domain.sales import Item, PaperLine, Sale, charged_for, gone_as_faulty
from server.domain.slots import SLOT_WORDS


@dataclass(frozen=True, slots=True)
class Swap:
    """What a swap comes to: what is credited for the old part, what is charged for the new one and the fee, in cents.

    `left` is what the customer then owes with all that was owed before, to be paid at once; negative where the shop owes.
    """

    rows: tuple[Row, ...]
    credit: tuple[PaperLine, ...]
    invoice: tuple[PaperLine, ...]
    new: Item
    left: Cents

    @property
    def total(self) -> Cents:
        """What the customer gets back; negative where they pay the difference."""
        return sum(row.amount for row in self.rows)


def last_day_to_swap(item: Item, terms: SaleTerms, lesson_days: Iterable[date]) -> date | None:
    """The last day on which a part may be swapped; None where the customer does not have it.

    The later of some days from the day it was handed over, and some days after the lesson that the policy names, once it was taken.
    Handed over 1 June, 30 days, second lesson on 28 June and 7 days: 5 July.
    """
    if not item.is_with_customer or item.received_on is None:
        return None
    last = item.received_on + timedelta(days=terms.swap_days)
    taken = sorted(lesson_days)
    if terms.swap_lessons and len(taken) >= terms.swap_lessons:
        last = max(last, taken[terms.swap_lessons - 1] + timedelta(days=terms.swap_days_after_lesson))
    return last


def may_be_swapped(item: Item) -> bool:
    """Whether a part can be swapped at all: a new core part that the customer has, and that was not swapped for another before."""
    return is_new_part(item) and item.takes_place_of is None


def is_new_part(item: Item) -> bool:
    """Whether it is a core part, sold new, that the customer has."""
    return item.is_core and item.piece is None and item.is_with_customer


def price_in_kit(part: Part, percent: int, agreed_share: tuple[Cents, Cents], today: date) -> Cents:
    """What a part costs in a kit of some discount: no more than by itself today, with the share of a discount agreed by hand.

    List 1,000.00 at 22 % is 780.00; where a tenth of the kit's price was let off by hand, 702.00.
    """
    charged, before = agreed_share
    share = Fraction(charged, before) if before > 0 else Fraction(1)
    return round_half_up(min(Fraction(part.price * (100 - percent), 100), Fraction(part.price_on(today))) * share)


def work_out_swap(sale: Sale, old: Item, part: Part, policy: Policy, vat: Decimal, today: date) -> Swap:
    """What swapping a part for another size comes to; `policy` is the sale's own, `vat` today's rate in per cent.

    The kit's discount is kept, also by parts whose price came back because they were faulty. The fee is for what the old part lost by
    being used, and is charged with the new one.
    """
    faulty = gone_as_faulty(sale.marks)
    bought = [item for item in sale.goods if not item.gone or item.number in faulty]
    tier = tier_for([item.slot for item in bought if item.is_core and item.piece is None], policy)
    percent = tier.percent if tier else 0
    back = charged_for(sale.papers, old.number)
    price = price_in_kit(part, percent, sale.agreed_share, today)
    is_tiered = percent > 0 and Fraction(part.price * (100 - percent), 100) <= part.price_on(today)
    fee = policy.sales.swap_fee_of(old.slot)
    number = max(item.number for item in sale.items) + 1
    new = Item(
        number=number,
        sku=part.sku,
        label=part.name,
        slot=part.slot,
        list=part.price,
        charged=price,
        alone=part.price_on(today),
        percent=vat,
        is_tiered=is_tiered,
        received_on=today,
        takes_place_of=old.number,
    )
    word = SLOT_WORDS[old.slot]
    rows = [
        Row(f"{old.label}, back", back, "What was charged for it."),
        Row(
            f"{part.name}, instead",
            -price,
            f"With the kit discount of {tier.percent} % that you have." if tier and is_tiered else "",
        ),
    ]
    invoice = [PaperLine(part.name, price, vat, item=number)]
    if fee:
        label = f"Swapping a {word}"
        rows.append(Row(label, -fee, "For its use until now, as told before the purchase."))
        invoice.append(PaperLine(label, fee, vat))
    credit = (PaperLine(old.label, -back, old.percent, item=old.number),) if back else ()
    left = sale.owed - sum(row.amount for row in rows)
    return Swap(tuple(rows), credit, tuple(invoice), new, left)


def nearest_sizes(gear: Gear, parts: Sequence[Part], others: Sequence[Gear]) -> tuple[Part, ...]:
    """The nearest smaller and the nearest larger part among those that join the others; for a kit that is not whole any more."""
    joining = [part for part in parts if not any(do_not_join(part.gear, other) for other in others)]
    smaller = [part for part in joining if is_less(part.gear.size, gear.size)]
    larger = [part for part in joining if is_less(gear.size, part.gear.size)]
    found = (
        min(side, key=lambda part: (abs(part.gear.size - gear.size), part.sku), default=None)
        for side in (smaller, larger)
    )
    return tuple(part for part in found if part is not None)
