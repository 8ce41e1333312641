"""What comes back: who may give what back until when, what stands against it, and what was told before the purchase.

Rights and days follow the Consumer Rights Act 2022 (Ireland) and Directive 2011/83/EU, as the policy's defaults do; local law decides.
What is kept for wear, freight and lessons was told before the purchase (`told_before`), and no more than that is kept.
"""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal, Protocol, get_args

from server.domain.days import day_in_words
from server.domain.errors import Fault
from server.domain.kit_left import FeeBack
from server.domain.money import Cents, share_of
from server.domain.periods import last_day_of
from server.domain.policy import Policy
from server.domain.pricing import BY_HAND, LESSON
from server.domain.sale_terms import SaleTerms
from server.domain.sales import Concluded, Item, Sale, charged_for
from server.domain.slots import CORE_SLOTS, SLOT_WORDS

ReturnKind = Literal["cancel", "counter", "goodwill", "fault"]
RETURN_KINDS: tuple[ReturnKind, ...] = get_args(ReturnKind)
RETURN_WORDS: Mapping[str, str] = {
    "cancel": "right to cancel: bought at a distance or on the beach",
    "counter": "our own policy: bought over the counter, unused",
    "goodwill": "we agree to it",
    "fault": "it is faulty: the price back",
}
NO_RIGHT = ("lesson", "repair")
"""Lines by hand that are services: on a fixed day, or done (Directive 2011/83/EU, Article 16 (l) and (a))."""
HELD_BACK = "The money may wait until the goods are here, or until the customer shows that they were sent."
LONGER = "Where nobody told the customer of the right to cancel, the time is longer: local law decides."


@dataclass(frozen=True, slots=True)
class Coming:
    """An item that comes back: the per cent kept for use (0: only tried), and whether the shop fetches it."""

    number: int
    wear_percent: Decimal = Decimal(0)
    is_collected: bool = False


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked for: on which ground, the day of the notice, what comes back, and why."""

    kind: ReturnKind
    notice_on: date
    coming: tuple[Coming, ...]
    why: str = ""


@dataclass(frozen=True, slots=True)
class GearIn:
    """Old gear that was taken in with the sale: its piece, what it is, what it counts for, and where it is; not come yet, for one."""

    piece: int
    label: str
    value: Cents
    where: Literal["expected", "here", "sold", "scrapped"] = "here"


@dataclass(frozen=True, slots=True)
class Around:
    """What stands around a sale: its own policy, today, holidays, its lessons and old gear.

    `plain_delivery` is what the plainest delivery cost when the contract was made; None where what was charged was the plainest.
    """

    policy: Policy
    today: date
    holidays: Container[date] = ()
    fees: tuple[FeeBack, ...] = ()
    free_taken: int = 0
    gear: tuple[GearIn, ...] = ()
    plain_delivery: Cents | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """One line as the customer sees it: positive what they get back, negative what is kept, and why as a sentence."""

    label: str
    amount: Cents
    because: str = ""


# Until when.


def last_day_to_cancel(sale: Sale, terms: SaleTerms, holidays: Container[date]) -> date | None:
    """The last day of the right to cancel; None while goods are still to come.

    It runs from the day on which the last of the goods came (Directive 2011/83/EU, Article 9(2)(b)(i)).
    """
    received = sale.received_on
    return None if received is None else last_day_of(received, terms.cancel_days, holidays)


def last_day_at_counter(sale: Sale, terms: SaleTerms, holidays: Container[date]) -> date | None:
    """The last day of the shop's own policy for what was bought over its counter; None while goods are still to come."""
    received = sale.received_on
    return None if received is None else last_day_of(received, terms.counter_days, holidays)


def usual_kind(sale: Sale) -> ReturnKind:
    """The ground on which a sale is given back as a rule, by where it was concluded."""
    return "counter" if sale.concluded == "counter" else "cancel"


def last_day_for(sale: Sale, kind: ReturnKind, terms: SaleTerms, holidays: Container[date]) -> date | None:
    """The last day for a ground that has one; None where it has none, or goods are still to come."""
    if kind == "cancel":
        return last_day_to_cancel(sale, terms, holidays)
    return last_day_at_counter(sale, terms, holidays) if kind == "counter" else None


# What may come back.


def may_come_back(item: Item) -> bool:
    """Whether an item can be named in a return: a thing that has not gone, or a line by hand that was charged."""
    return not item.gone and (item.is_goods or (item.slot == BY_HAND and item.charged > 0))


def refusals_of(sale: Sale, asked: Asked, around: Around) -> tuple[Fault, ...]:
    """Everything that stands against a return; none where it may be done."""
    terms = around.policy.sales
    faults = [*_day_faults(sale, asked, around)]
    if not asked.coming:
        faults.append(Fault("take", "Nothing is ticked.", "at least one thing that comes back"))
    if asked.kind in ("goodwill", "fault") and not asked.why.strip():
        faults.append(Fault("why", "Say why, in a few words: it is not a right by itself.", "a reason"))
    if len({one.number for one in asked.coming}) < len(asked.coming):
        faults.append(Fault("take", "Something is named twice here.", "each thing once"))
    for one in asked.coming:
        item = sale.item(one.number)
        if item is None or not may_come_back(item):
            faults.append(Fault("take", "One of these is not here to be given back (any more)."))
            continue
        most = terms.wear_of(item.slot)
        if one.is_collected and not item.was_out:
            faults.append(Fault(f"fetch-{item.number}", "It was not handed over yet: there is nothing to fetch."))
        if one.wear_percent and not item.was_out:
            words = "It was not handed over yet: nothing is kept for use."
            faults.append(Fault(f"wear-{item.number}", words, "0"))
        elif not (one.wear_percent.is_finite() and 0 <= one.wear_percent <= most):
            words = f"No more than {most:g} % is kept of a {word_of(item)} for use: that was told before."
            faults.append(Fault(f"wear-{item.number}", words, f"a number from 0 to {most:g}"))
        elif one.wear_percent and asked.kind == "counter":
            words = "Over the counter we take back what is unused; for a used part say that we agree to it, and why."
            faults.append(Fault(f"wear-{item.number}", words, "0"))
        if item.slot == BY_HAND and item.sku in NO_RIGHT and asked.kind in ("cancel", "counter"):
            words = f"{item.label}: for lessons on a fixed day and repairs that were done there is no right to cancel."
            faults.append(Fault("take", words))
    return tuple(faults)


def _day_faults(sale: Sale, asked: Asked, around: Around) -> Iterable[Fault]:
    terms = around.policy.sales
    if not sale.made_on <= asked.notice_on <= around.today:
        accepted = f"a day from {sale.made_on.isoformat()} to {around.today.isoformat()}"
        yield Fault("notice_on", "The customer cannot have told us on this day.", accepted)
        return
    if asked.kind == "cancel" and sale.concluded == "counter":
        yield Fault("kind", "It was bought over the counter: the law gives no right to cancel, our own policy may.")
    elif asked.kind == "cancel" and terms.cancel_days == 0:
        yield Fault("kind", "There is no right to cancel under the terms of this sale.")
    elif asked.kind == "counter" and sale.concluded != "counter":
        yield Fault("kind", "It was not bought over the counter: here it is the right to cancel.")
    elif asked.kind == "counter" and terms.counter_days == 0:
        yield Fault("kind", "The shop takes nothing back over the counter under the terms of this sale.")
    else:
        last = last_day_for(sale, asked.kind, terms, around.holidays)
        if last is not None and asked.notice_on > last:
            words = f"The last day was {day_in_words(last)}. {LONGER}"
            yield Fault("notice_on", words, "an earlier notice, or another ground")


def word_of(item: Item) -> str:
    """What a thing is called in a sentence: its slot's word, or else its label."""
    return SLOT_WORDS.get(item.slot, item.label)


def as_new_faults(asked: Asked, as_new: Collection[int]) -> tuple[Fault, ...]:
    """Why things cannot go back to the shelf as new: nobody sells as new what is faulty, or what money was kept of for use."""
    faults = []
    for one in asked.coming:
        if one.number in as_new and asked.kind == "fault":
            words = "What is faulty does not go back to the shelf: it is looked at first."
            faults.append(Fault(f"new-{one.number}", words, "no tick here"))
        elif one.number in as_new and one.wear_percent:
            words = "What was used is not sold as new again: it goes to the used pieces."
            faults.append(Fault(f"new-{one.number}", words, "no tick here, or nothing kept for use"))
    return tuple(faults)


def kept_for_use(sale: Sale, item: Item, percent: Decimal) -> Cents:
    """What is kept of a thing for use, in cents: a share of what it cost in the contract, of which the most was told in money.

    Never of what it cost more since, because other parts went back and took their discount along.
    """
    return share_of(min(item.charged, charged_for(sale.papers, item.number)), percent)


# What is told before.


class Sold(Protocol):
    """A line of a quote or an item of a sale."""

    @property
    def label(self) -> str:
        """What it is called."""

    @property
    def slot(self) -> str:
        """Where it belongs."""

    @property
    def charged(self) -> Cents:
        """What is charged for it, in cents."""


@dataclass(frozen=True, slots=True)
class ToldPart:
    """The most that is kept of a part for use, in per cent and in cents; what fetching it costs where it is bulky.

    `swap_fee` is what swapping it for another size costs in cents, None where it is not swapped.
    """

    label: str
    percent: Decimal
    most: Cents
    freight: Cents = 0
    word: str = ""
    swap_fee: Cents | None = None

    @property
    def percent_words(self) -> str:
        """The per cent as it is written: 20, 12.5."""
        return f"{self.percent:g}"


@dataclass(frozen=True, slots=True)
class Told:
    """What is told before the purchase about giving back; `concluded` is empty where it is not known yet."""

    cancel_days: int
    counter_days: int
    refund_days: int
    swap_days: int
    concluded: Concluded | Literal[""]
    parts: tuple[ToldPart, ...]
    has_lessons: bool
    swap_lessons: int = 0
    swap_days_after_lesson: int = 0

    @property
    def swaps(self) -> tuple[tuple[str, Cents], ...]:
        """What may be swapped for another size, each with its fee in cents; empty where the shop swaps nothing."""
        if not (self.swap_days or self.swap_days_after_lesson):
            return ()
        return tuple((part.word, part.swap_fee) for part in self.parts if part.swap_fee is not None)

    @property
    def has_bulky(self) -> bool:
        """Whether a part among them does not go by post."""
        return any(part.freight for part in self.parts)


def told_before(
    terms: SaleTerms, parts: Sequence[Sold], concluded: Concluded | Literal[""] = "", *, is_used: bool = False
) -> Told:
    """What is told about giving back these very parts, with amounts (Directive 2011/83/EU, Article 6(1)(h) to (k)).

    And what swapping them for another size costs; a used or demonstration piece is not swapped.
    """
    rows = []
    for part in parts:
        if part.charged <= 0 or part.slot in (LESSON, BY_HAND):
            continue
        percent = terms.wear_of(part.slot)
        freight = terms.bulky_freight if part.slot in terms.bulky_slots else 0
        word = SLOT_WORDS.get(part.slot, part.label)
        fee = terms.swap_fee_of(part.slot) if part.slot in CORE_SLOTS and not is_used else None
        rows.append(ToldPart(part.label, percent, share_of(part.charged, percent), freight, word, fee))
    has_lessons = any(part.slot == LESSON for part in parts)
    return Told(
        terms.cancel_days,
        terms.counter_days,
        terms.refund_days,
        terms.swap_days,
        concluded,
        tuple(rows),
        has_lessons,
        terms.swap_lessons,
        terms.swap_days_after_lesson,
    )
