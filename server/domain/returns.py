"""What comes back: who may give what back until when, and what that comes to, line by line, before it is done.

Rights and days follow the Consumer Rights Act 2022 (Ireland) and Directive 2011/83/EU, as the policy's defaults do; local law decides.
What is kept for wear, freight and lessons was told before the purchase (`told_before`), and no more than that is kept.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Literal, Protocol, get_args

from server.domain.contracts import DELIVERY
from server.domain.days import day_in_words
from server.domain.errors import Fault
from server.domain.money import Cents, round_half_up, share_of
from server.domain.periods import last_day_of
from server.domain.policy import Policy, Tier
from server.domain.pricing import BY_HAND, LESSON, tier_for
from server.domain.sale_terms import SaleTerms
from server.domain.sales import Concluded, Gone, Item, Means, PaperLine, Sale, charged_for
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS, SLOT_WORDS

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
class FeeBack:
    """A lesson fee that was given back with the sale: under which code, how much, of which day, and whether the lesson was taken."""

    code: str
    amount: Cents
    day: date
    is_taken: bool


@dataclass(frozen=True, slots=True)
class GearIn:
    """Old gear that was taken in with the sale: its piece, what it is, the value agreed, and where it is."""

    piece: int
    label: str
    value: Cents
    is_sold: bool = False
    is_here: bool = True


@dataclass(frozen=True, slots=True)
class Around:
    """What stands around a sale: its own policy, today, holidays, its lessons and old gear, and what plain delivery costs."""

    policy: Policy
    today: date
    holidays: Container[date] = ()
    fees: tuple[FeeBack, ...] = ()
    free_taken: int = 0
    gear: tuple[GearIn, ...] = ()
    standard_delivery: Cents | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """One line as the customer sees it: positive what they get back, negative what is kept, and why as a sentence."""

    label: str
    amount: Cents
    because: str = ""


@dataclass(frozen=True)
class Worked:
    """What giving something back comes to: what is shown, and what is written when it is done.

    The rows add up to what the lines of the credit note and the settlements do to the balance. `charged_again` are codes of lessons,
    `gear_back` pieces that are handed back. With `refusals` nothing is done.
    """

    rows: tuple[Row, ...] = ()
    lines: tuple[PaperLine, ...] = ()
    settlements: tuple[tuple[Means, Cents, str], ...] = ()
    gone: Mapping[int, Gone] = field(default_factory=dict)
    charged_again: tuple[str, ...] = ()
    gear_back: tuple[int, ...] = ()
    is_whole: bool = False
    tier_before: Tier | None = None
    tier_after: Tier | None = None
    last_day: date | None = None
    due_on: date | None = None
    notes: tuple[str, ...] = ()
    refusals: tuple[Fault, ...] = ()

    @property
    def total(self) -> Cents:
        """What the customer gets back in all; negative where it costs them."""
        return sum(row.amount for row in self.rows)


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


def _refusals(sale: Sale, asked: Asked, around: Around) -> tuple[Fault, ...]:
    terms = around.policy.sales
    faults = [*_day_faults(sale, asked, around)]
    if not asked.coming:
        faults.append(Fault("take", "Nothing is ticked.", "at least one thing that comes back"))
    if asked.kind in ("goodwill", "fault") and not asked.why.strip():
        faults.append(Fault("why", "Say why, in a few words: it is not a right by itself.", "a reason"))
    for one in asked.coming:
        item = sale.item(one.number)
        if item is None or not may_come_back(item):
            faults.append(Fault("take", "One of these is not here to be given back (any more)."))
            continue
        most = terms.wear_of(item.slot)
        if not 0 <= one.wear_percent <= most:
            words = f"No more than {most:g} % is kept of a {_word(item)} for use: that was told before."
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


def _word(item: Item) -> str:
    return SLOT_WORDS.get(item.slot, item.label)


# What it comes to.


def work_out(sale: Sale, asked: Asked, around: Around) -> Worked:
    """What giving back comes to, line by line; it decides and writes nothing.

    For something faulty its price comes back and nothing is kept. Otherwise wear and freight are kept as they were told; where one
    part of a kit comes back, the discount that the rest still earns is worked out again, and so are the lessons and extras that
    came with it; with the whole kit, plain delivery comes back under the right to cancel, and old gear that was not sold on.
    """
    last = last_day_for(sale, asked.kind, around.policy.sales, around.holidays)
    refusals = _refusals(sale, asked, around)
    if refusals:
        return Worked(last_day=last, refusals=refusals)
    working = _Working(sale, asked, around)
    for one in asked.coming:
        item = sale.item(one.number)
        assert item is not None
        working.take_back(item, one)
    if asked.kind != "fault":
        working.work_out_the_rest()
    due = last_day_of(asked.notice_on, around.policy.sales.refund_days, around.holidays)
    return working.worked(last, due)


class _Working:
    """A return as it is being worked out: rows, lines and settlements are added one by one, always together."""

    def __init__(self, sale: Sale, asked: Asked, around: Around) -> None:
        self.sale, self.asked, self.around = sale, asked, around
        self.terms = around.policy.sales
        self.rows: list[Row] = []
        self.lines: list[PaperLine] = []
        self.settlements: list[tuple[Means, Cents, str]] = []
        self.notes: list[str] = []
        self.gone: dict[int, Gone] = {}
        self.charged_again: list[str] = []
        self.gear_back: list[int] = []
        coming = {one.number for one in asked.coming}
        kept = [item for item in sale.goods if not item.gone and item.number not in coming]
        self.kept = kept
        self.is_whole = asked.kind != "fault" and all(_came_free(item, sale) for item in kept)
        faulty = _gone_as_faulty(sale)
        bought = [item for item in sale.goods if not item.gone or item.number in faulty]
        self.tier_before = tier_for(_core_slots(bought), around.policy)
        staying = bought if asked.kind == "fault" else [item for item in bought if item.number not in coming]
        self.tier_after = None if self.is_whole else tier_for(_core_slots(staying), around.policy)

    # One thing that comes back.

    def take_back(self, item: Item, one: Coming) -> None:
        """Its price back, less wear and freight; what is kept stays taxed, so the credit is for what is given back."""
        charged = charged_for(self.sale.papers, item.number)
        kept = 0 if self.asked.kind == "fault" else share_of(charged, one.wear_percent)
        is_here = item.received_on is not None
        self.gone[item.number] = "returned" if is_here else "withdrawn"
        because = "It came free with the kit." if not charged and item.worth else ""
        self.rows.append(Row(item.label, charged, because or ("" if is_here else "It was not handed over yet.")))
        if kept:
            words = f"{one.wear_percent:g} % for use beyond trying it as in a shop."
            self.rows.append(Row(f"Wear of the {_word(item)}", -kept, words))
        if charged - kept:
            self.lines.append(self._line(item, item.label, kept - charged, bought=-item.bought))
        is_bulky = item.slot in self.terms.bulky_slots and self.terms.bulky_freight > 0
        if one.is_collected and is_bulky and self.asked.kind != "fault":
            label = f"Fetching the {_word(item)}"
            words = "It cannot go by post; what fetching costs was told before."
            self._charge(item, label, self.terms.bulky_freight, words)

    def _line(self, item: Item, label: str, gross: Cents, *, bought: Cents = 0) -> PaperLine:
        is_margin = bool(bought) and item.scheme == "margin"
        return PaperLine(
            label,
            gross,
            item.percent,
            item.scheme if is_margin else "standard",
            bought if is_margin else 0,
            item.number,
        )

    def _charge(self, item: Item, label: str, amount: Cents, because: str, *, is_of_item: bool = False) -> None:
        """Something that is charged on the same paper; of the item itself where it raises what is charged for it."""
        line = self._line(item, label, amount)
        self.lines.append(line if is_of_item else replace(line, item=None))
        self.rows.append(Row(label, -amount, because))

    # The rest of the kit.

    def work_out_the_rest(self) -> None:
        """The discount, the extras and the lessons of what stays; delivery and old gear where nothing stays."""
        before, after = self.tier_before, self.tier_after
        if after != before:
            self._charge_discount(before, after)
            self._charge_extras(after)
            self._charge_lessons(before, after)
        elif self.is_whole:
            self._charge_extras(None)
        if self.is_whole:
            self._give_back_delivery()
            self._settle_gear()
        self._note_the_rest()

    def _charge_discount(self, before: Tier | None, after: Tier | None) -> None:
        was, now = (before.percent if before else 0), (after.percent if after else 0)
        for item in self.kept:
            if not (item.is_tiered and item.is_core and item.piece is None):
                continue
            more = _price_at(item, now, self.sale.agreed_share) - charged_for(self.sale.papers, item.number)
            if more > 0:
                words = f"What stays earns {now} % instead of {was} %." if now else "What stays earns no kit discount."
                self._charge(item, f"{item.label}: less discount", more, words, is_of_item=True)

    def _charge_extras(self, after: Tier | None) -> None:
        included = after.extras if after else ()
        for item in self.kept:
            if not _came_free(item, self.sale) or item.slot in included:
                continue
            if item.received_on is None:
                self.gone[item.number] = "withdrawn"
                self.rows.append(Row(item.label, 0, "It came free with the kit, and does not follow any more."))
            else:
                words = "It came free with the kit and is kept: its price of that day."
                self._charge(item, item.label, item.worth, words, is_of_item=True)

    def _charge_lessons(self, before: Tier | None, after: Tier | None) -> None:
        """Lessons taken beyond those that what stays includes; the earliest stay covered."""
        is_same = before and after and before.lessons and after.lessons and before.lessons.kind == after.lessons.kind
        covered = after.lessons.number if is_same and after and after.lessons else 0
        taken = sorted((fee for fee in self.around.fees if fee.is_taken), key=lambda fee: (fee.day, fee.code))
        for fee in taken[covered:]:
            self.charged_again.append(fee.code)
            self.settlements.append(("lesson_fee", -fee.amount, f"lesson {fee.code}"))
            words = f"The fee was given back with the kit; the lesson was taken on {day_in_words(fee.day)}."
            self.rows.append(Row("Lesson fee, charged again", -fee.amount, words))
        covered = max(0, covered - len(taken))
        self._charge_free_lessons(covered)
        for fee in self.around.fees:
            if not fee.is_taken:
                self.notes.append(f"Lesson {fee.code} was not taken: if it is, its fee is to be paid.")

    def _charge_free_lessons(self, covered: int) -> None:
        lesson = next((item for item in self.sale.items if item.slot == LESSON and item.quantity), None)
        if lesson is None:
            return
        unit = lesson.worth // lesson.quantity
        charged = charged_for(self.sale.papers, lesson.number) // unit if unit else 0
        number = max(0, self.around.free_taken - charged - covered)
        if number and unit:
            label = "1 lesson taken" if number == 1 else f"{number} lessons taken"
            words = "It came free with the kit; a lesson that was given cannot come back."
            self._charge(lesson, label, number * unit, words, is_of_item=True)

    def _give_back_delivery(self) -> None:
        """Plain delivery comes back, not what a dearer one cost more (Directive 2011/83/EU, Article 13(1) and (2))."""
        paid = [
            line for paper in self.sale.papers for line in paper.lines if line.item is None and line.label == DELIVERY
        ]
        charged = sum(line.gross for line in paid)
        if charged <= 0 or self.asked.kind != "cancel":
            return
        was_sent = any(item.sent_on is not None or item.received_on is not None for item in self.sale.goods)
        plain = self.around.standard_delivery
        back = charged if plain is None or not was_sent else min(charged, plain)
        if back:
            self.lines.append(PaperLine(DELIVERY, -back, paid[0].percent))
            because = "" if back == charged else "What plain delivery costs; the dearer one was the customer’s choice."
            self.rows.append(Row(DELIVERY, back, because))

    def _settle_gear(self) -> None:
        """Old gear goes back where it was not sold on; where it was, its agreed value is paid out."""
        for gear in self.around.gear:
            if gear.is_sold:
                self.rows.append(Row(gear.label, 0, "Sold on already: the value that was agreed is paid out."))
                continue
            self.gear_back.append(gear.piece)
            words = "Handed back to the customer" if gear.is_here else "It did not come yet and stays with the customer"
            self.rows.append(Row(gear.label, -gear.value, f"{words}, so its value is not paid out."))
            if gear.value:
                self.settlements.append(("trade_in", -gear.value, gear.label))

    def _note_the_rest(self) -> None:
        voucher = sum(one.amount for one in self.sale.settlements if one.means == "voucher")
        if voucher > 0:
            self.notes.append("A part was paid by voucher: give that part back as a voucher, the rest as it was paid.")
        if not self.is_whole and sum(row.amount for row in self.rows) < 0:
            self.notes.append(
                "This would cost the customer more than it brings, since the rest earns less discount: say so, and ask"
                " whether a swap or keeping it is better."
            )

    def worked(self, last: date | None, due: date) -> Worked:
        """All of it."""
        return Worked(
            rows=tuple(self.rows),
            lines=tuple(self.lines),
            settlements=tuple(self.settlements),
            gone=dict(self.gone),
            charged_again=tuple(self.charged_again),
            gear_back=tuple(self.gear_back),
            is_whole=self.is_whole,
            tier_before=self.tier_before,
            tier_after=self.tier_after,
            last_day=last,
            due_on=due,
            notes=tuple(self.notes),
        )


def _core_slots(items: Iterable[Item]) -> list[str]:
    return [item.slot for item in items if item.is_core and item.piece is None]


def _came_free(item: Item, sale: Sale) -> bool:
    """Whether an extra came free with the kit and was not charged since."""
    return item.slot in EXTRA_SLOTS and item.worth > 0 and charged_for(sale.papers, item.number) == 0


def _gone_as_faulty(sale: Sale) -> frozenset[int]:
    """The items whose price came back because they were faulty: the customer loses no discount by that."""
    marks = (mark for mark in sale.marks if mark.kind == "returned" and mark.about.get("kind") == "fault")
    return frozenset(number for mark in marks for number in mark.about.get("items", ()))


def _price_at(item: Item, percent: int, agreed_share: tuple[Cents, Cents]) -> Cents:
    """What a part costs with another kit discount: never more than by itself, and with the share of a discount agreed by hand."""
    charged, before = agreed_share
    share = Fraction(charged, before) if before > 0 else Fraction(1)
    return round_half_up(min(Fraction(item.list * (100 - percent), 100), Fraction(item.alone)) * share)


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
