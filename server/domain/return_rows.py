"""What giving something back comes to, line by line, before it is done: rows to be shown, and what is written when it is done."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from server.domain.contracts import DELIVERY
from server.domain.days import day_in_words
from server.domain.errors import Fault
from server.domain.kit_left import tier_left, uncovered
from server.domain.money import Cents, round_half_up
from server.domain.periods import last_day_of
from server.domain.policy import Tier
from server.domain.pricing import BY_HAND, LESSON
from server.domain.returns import Around, Asked, Coming, GearIn, Row, kept_for_use, last_day_for, refusals_of, word_of
from server.domain.sales import Gone, Item, Means, PaperLine, Sale, charged_for
from server.domain.slots import EXTRA_SLOTS


@dataclass(frozen=True)
class Worked:
    """What giving something back comes to: what is shown, and what is written when it is done.

    The rows add up to what the lines of the credit note and the settlements do to the balance. `charged_again` are codes of lessons,
    `gear_back` pieces that are handed back. It is `is_whole` where nothing stays that the sale was about. With `refusals` nothing is
    done.
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


def work_out(sale: Sale, asked: Asked, around: Around) -> Worked:
    """What giving back comes to, line by line; it decides and writes nothing.

    For something faulty its price comes back and nothing is kept. Otherwise wear and freight are kept as they were told; where one
    part of a kit comes back, the discount that the rest still earns is worked out again, and so are the lessons and extras that
    came with it. Once nothing stays that the sale was about, old gear comes back that was not sold on, whatever the ground; so does
    plain delivery under the right to cancel, and all of it where the last thing was faulty.
    """
    last = last_day_for(sale, asked.kind, around.policy.sales, around.holidays)
    refusals = refusals_of(sale, asked, around)
    if refusals:
        return Worked(last_day=last, refusals=refusals)
    working = _Working(sale, asked, around)
    for one in asked.coming:
        item = sale.item(one.number)
        assert item is not None
        working.take_back(item, one)
    if asked.kind != "fault":
        working.work_out_the_rest()
    if working.is_whole:
        working.give_back_delivery()
        working.settle_gear()
    working.note_the_rest()
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
        self.coming = frozenset(one.number for one in asked.coming)
        self.kept = [item for item in sale.goods if not item.gone and item.number not in self.coming]
        self.is_whole = not any(not item.gone and item.number not in self.coming for item in _bought_for(sale))
        self.tier_before = tier_left(sale, around.policy)
        is_faulty = asked.kind == "fault"
        self.tier_after = self.tier_before if is_faulty else tier_left(sale, around.policy, self.coming)

    # One thing that comes back.

    def take_back(self, item: Item, one: Coming) -> None:
        """Its price back, less wear and freight; what is kept stays taxed, so the credit is for what is given back."""
        charged = charged_for(self.sale.papers, item.number)
        kept = 0 if self.asked.kind == "fault" else kept_for_use(self.sale, item, one.wear_percent)
        self.gone[item.number] = "returned" if item.was_out else "withdrawn"
        because = "It came free with the kit." if not charged and item.worth else ""
        if not because and item.is_goods and not item.was_out:
            because = "It was not handed over yet."
        self.rows.append(Row(item.label, charged, because))
        if kept:
            words = f"{one.wear_percent:g} % for use beyond trying it as in a shop."
            self.rows.append(Row(f"Wear of the {word_of(item)}", -kept, words))
        if charged - kept:
            self.lines.append(_credit(item, kept - charged))
        is_bulky = item.slot in self.terms.bulky_slots and self.terms.bulky_freight > 0
        if one.is_collected and is_bulky and self.asked.kind != "fault":
            label = f"Fetching the {word_of(item)}"
            words = "It cannot go by post; what fetching costs was told before."
            self._charge(item, label, self.terms.bulky_freight, words)

    def _charge(self, item: Item, label: str, amount: Cents, because: str, *, is_of_item: bool = False) -> None:
        """Something that is charged on the same paper; of the item itself where it raises what is charged for it."""
        self.lines.append(PaperLine(label, amount, item.percent, item=item.number if is_of_item else None))
        self.rows.append(Row(label, -amount, because))

    # The rest of the kit.

    def work_out_the_rest(self) -> None:
        """The discount, the extras and the lessons of what stays."""
        if self.tier_after != self.tier_before:
            self._charge_discount()
        if self.tier_after != self.tier_before or self.is_whole:
            self._charge_extras()
        self._charge_lessons()

    def _charge_discount(self) -> None:
        was, now = (tier.percent if tier else 0 for tier in (self.tier_before, self.tier_after))
        for item in self.kept:
            if not (item.is_tiered and item.is_core and item.piece is None):
                continue
            more = _price_at(item, now, self.sale.agreed_share) - charged_for(self.sale.papers, item.number)
            if more > 0:
                words = f"What stays earns {now} % instead of {was} %." if now else "What stays earns no kit discount."
                self._charge(item, f"{item.label}: less discount", more, words, is_of_item=True)

    def _charge_extras(self) -> None:
        """What came free with the kit and does not come back is paid for, where the customer has it or it is on its way."""
        included = self.tier_after.extras if self.tier_after else ()
        for item in self.kept:
            if not _came_free(item, self.sale) or item.slot in included:
                continue
            if not item.was_out:
                self.gone[item.number] = "withdrawn"
                self.rows.append(Row(item.label, 0, "It came free with the kit, and does not follow any more."))
            else:
                words = "It came free with the kit and is kept: its price of that day."
                self._charge(item, item.label, item.worth, words, is_of_item=True)

    def _charge_lessons(self) -> None:
        """Lessons taken beyond those that what stays includes."""
        beyond = uncovered(self.sale, self.around.policy, self.around.fees, self.around.free_taken, self.coming)
        for fee in beyond.taken:
            self.charged_again.append(fee.code)
            self.settlements.append(("lesson_fee", -fee.amount, f"lesson {fee.code}"))
            words = f"The fee was given back with the kit; the lesson was taken on {day_in_words(fee.day)}."
            self.rows.append(Row("Lesson fee, charged again", -fee.amount, words))
        self._charge_free_lessons(beyond.free)
        for fee in beyond.not_taken:
            self.notes.append(f"Lesson {fee.code} was not taken: if it is, charge its fee again then, at the lesson.")

    def _charge_free_lessons(self, beyond: int) -> None:
        lesson = next((item for item in self.sale.items if item.slot == LESSON and item.quantity), None)
        unit = lesson.worth // lesson.quantity if lesson is not None else 0
        if lesson is None or not unit:
            return
        number = beyond - charged_for(self.sale.papers, lesson.number) // unit
        if number > 0:
            label = "1 lesson taken" if number == 1 else f"{number} lessons taken"
            words = "It came free with the kit; a lesson that was given cannot come back."
            self._charge(lesson, label, number * unit, words, is_of_item=True)

    # What comes back once nothing stays.

    def give_back_delivery(self) -> None:
        """Plain delivery comes back, not what a dearer one cost more (Directive 2011/83/EU, Article 13(1) and (2)).

        All of it for what was faulty, and for what never left.
        """
        if self.asked.kind not in ("cancel", "fault"):
            return
        lines = [line for paper in self.sale.papers for line in paper.lines if line.item is None]
        paid = [line for line in lines if line.label == DELIVERY]
        charged = sum(line.gross for line in paid if line.gross > 0)
        left = sum(line.gross for line in paid)
        plain, was_sent = self.around.plain_delivery, any(item.was_out for item in self.sale.goods)
        is_all = self.asked.kind == "fault" or plain is None or not was_sent
        back = left if is_all or plain is None else min(charged, plain) - (charged - left)
        if back > 0:
            self.lines.append(PaperLine(DELIVERY, -back, paid[0].percent))
            because = "" if back == left else "What plain delivery costs; the dearer one was the customer’s choice."
            self.rows.append(Row(DELIVERY, back, because))

    def settle_gear(self) -> None:
        """Old gear goes back where it was not sold on; where it was, its agreed value is paid out."""
        for gear in self.around.gear:
            if gear.where in ("sold", "scrapped"):
                self.rows.append(Row(gear.label, 0, _gone_words(gear)))
                continue
            self.gear_back.append(gear.piece)
            is_here = gear.where == "here"
            words = "Handed back to the customer" if is_here else "It did not come yet and stays with the customer"
            self.rows.append(Row(gear.label, -gear.value, f"{words}, so its value is not paid out."))
            if gear.value:
                self.settlements.append(("trade_in", -gear.value, gear.label))

    def note_the_rest(self) -> None:
        """What the desk has to mind besides."""
        if self.asked.kind == "fault":
            return
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


def _bought_for(sale: Sale) -> Iterable[Item]:
    """What a sale was about: its core parts and used pieces; where it has none, all its goods, or else its lines by hand."""
    main = [item for item in sale.goods if item.is_core or item.piece is not None]
    return main or sale.goods or [item for item in sale.items if item.slot == BY_HAND]


def _credit(item: Item, gross: Cents) -> PaperLine:
    """The line that takes an item back, under the scheme that it was sold by: one bought for nothing has a margin as well."""
    if item.scheme == "margin":
        return PaperLine(item.label, gross, item.percent, "margin", -item.bought, item.number)
    return PaperLine(item.label, gross, item.percent, item=item.number)


def _gone_words(gear: GearIn) -> str:
    if gear.where == "sold":
        return "Sold on already: the value that was agreed is paid out."
    if gear.value:
        return "It is not there any more: the value that was agreed is paid out."
    return "It was found unfit to be sold on and counted for nothing, so nothing is paid out for it."


def _came_free(item: Item, sale: Sale) -> bool:
    """Whether an extra came free with the kit and was not charged since."""
    return item.slot in EXTRA_SLOTS and item.worth > 0 and charged_for(sale.papers, item.number) == 0


def _price_at(item: Item, percent: int, agreed_share: tuple[Cents, Cents]) -> Cents:
    """What a part costs with another kit discount: never more than by itself, and with the share of a discount agreed by hand."""
    charged, before = agreed_share
    share = Fraction(charged, before) if before > 0 else Fraction(1)
    return round_half_up(min(Fraction(item.list * (100 - percent), 100), Fraction(item.alone)) * share)
