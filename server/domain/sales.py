"""A sale: from the contract on, what was sold, the papers written for it, what was paid, and where it stands.

A sale has two ledgers that only grow. Papers (invoices and credit notes in one unbroken series of numbers) say what is owed;
settlements (money, old gear, lesson fees, vouchers) say how that was met. What is left between them is the balance, either way.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Literal, get_args

from server.domain.deposits import decimal_of
from server.domain.errors import Fault
from server.domain.money import Cents, round_half_up, vat_inside
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS
from server.domain.stock import Contact

Concluded = Literal["counter", "beach", "distance"]
CONCLUDED: tuple[Concluded, ...] = get_args(Concluded)
CONCLUDED_WORDS: Mapping[str, str] = {
    "counter": "over the counter",
    "beach": "on the beach, away from the shop",
    "distance": "at a distance: by page, post or telephone",
}
Scheme = Literal["standard", "margin"]
PaperKind = Literal["invoice", "credit_note"]
PAPER_WORDS: Mapping[str, str] = {"invoice": "Invoice", "credit_note": "Credit note"}
Means = Literal["cash", "terminal", "transfer", "voucher", "other", "trade_in", "lesson_fee", "rounding"]
MONEY: tuple[Means, ...] = ("cash", "terminal", "transfer", "voucher", "other")
"""Means by which somebody pays at the desk; card numbers are never taken here."""
MEANS_WORDS: Mapping[str, str] = {
    "cash": "cash",
    "terminal": "card, on the terminal",
    "transfer": "bank transfer",
    "voucher": "voucher",
    "other": "otherwise",
    "trade_in": "old gear",
    "lesson_fee": "lesson fees given back",
    "rounding": "rounding of cash to five cent",
}
SaleState = Literal["confirmed", "paid", "on_its_way", "handed_over", "returned", "withdrawn"]
STATE_WORDS: Mapping[str, str] = {
    "draft": "Draft",
    "sent": "Sent",
    "seen": "Seen",
    "agreed": "Agreed, parts held",
    "lapsed": "Lapsed",
    "withdrawn": "Withdrawn",
    "confirmed": "Confirmed: the contract is made",
    "paid": "Paid in full",
    "on_its_way": "Sent off",
    "handed_over": "Handed over",
    "returned": "Returned",
}
MarkKind = Literal[
    "confirmed",
    "payment",
    "paid_out",
    "paid",
    "handed_over",
    "sent",
    "arrived",
    "swapped",
    "notice",
    "goods_back",
    "returned",
    "withdrawn",
    "fault",
    "claim",
    "traded_in",
    "address",
    "session",
    "entry_back",
    "session_undone",
    "serial",
]
MARK_WORDS: Mapping[str, str] = {
    "confirmed": "The contract was made",
    "payment": "Payment taken",
    "paid_out": "Paid out",
    "paid": "Paid in full",
    "handed_over": "Handed over",
    "sent": "Sent off",
    "arrived": "Arrived",
    "swapped": "Swapped",
    "notice": "Notice that it comes back",
    "goods_back": "Goods came back",
    "returned": "Return settled",
    "withdrawn": "Withdrawn",
    "fault": "Something faulty reported",
    "claim": "Claim settled",
    "traded_in": "Old gear taken in",
    "address": "Address changed",
    "session": "Support session",
    "entry_back": "Entry taken back",
    "session_undone": "A session was not taken after all",
    "serial": "Serial number corrected",
}
Gone = Literal["", "returned", "swapped", "withdrawn"]
CASH_STEP: Cents = 5
MOST_PAYMENT: Cents = 100_000_00
PHYSICAL_SLOTS = (*CORE_SLOTS, *EXTRA_SLOTS)


@dataclass(frozen=True, slots=True)
class Item:
    """One thing sold, by its number within the sale: what it is, what was charged for it, and where it is now.

    Amounts are in cents; `alone` is what it cost by itself that day, `worth` the price of what was included free. `percent` is its
    VAT rate; under the `margin` scheme `bought` is what the shop paid for it. `is_tiered` says that the package discount is in its
    price. `piece` is the number of a used or demonstration piece. `received_on` is the day the customer had it in hands; `gone` how
    it left them again.
    """

    number: int
    sku: str
    label: str
    slot: str
    list: Cents
    charged: Cents
    alone: Cents = 0
    worth: Cents = 0
    quantity: int = 1
    percent: Decimal = Decimal(0)
    scheme: Scheme = "standard"
    bought: Cents = 0
    is_tiered: bool = False
    piece: int | None = None
    serial: str = ""
    is_held: bool = False
    """Whether a piece of stock is set aside for it now."""
    sent_on: date | None = None
    received_on: date | None = None
    gone: Gone = ""
    gone_on: date | None = None
    takes_place_of: int | None = None
    """The number of the item that it was swapped for."""

    @property
    def is_goods(self) -> bool:
        """Whether it is a thing that is handed over: not a lesson, a line by hand or delivery."""
        return self.slot in PHYSICAL_SLOTS or self.piece is not None

    @property
    def is_core(self) -> bool:
        """Whether it is a part of the kit itself."""
        return self.slot in CORE_SLOTS

    @property
    def was_out(self) -> bool:
        """Whether it has left the shop, handed over or sent."""
        return self.received_on is not None or self.sent_on is not None

    @property
    def is_with_customer(self) -> bool:
        """Whether the customer has it now."""
        return self.received_on is not None and not self.gone

    @property
    def is_to_come(self) -> bool:
        """Whether it is still to be handed over or has not arrived yet."""
        return self.is_goods and self.received_on is None and not self.gone


@dataclass(frozen=True, slots=True)
class PaperLine:
    """A line of a paper: what for, how much (negative on a credit note), and the VAT inside it; `item` is the number of what it is for.

    Under the margin scheme the VAT is on the shop's margin and stands on no paper (Directive 2006/112/EC, Articles 325 and 333);
    `bought` is what the margin is counted from, with the sign of the line.
    """

    label: str
    gross: Cents
    percent: Decimal
    scheme: Scheme = "standard"
    bought: Cents = 0
    item: int | None = None
    quantity: int = 1


def counted_label(label: str, quantity: int) -> str:
    """A label with how many where there are several, unless it says so itself: 2 × fin screw, 3 private lessons."""
    return label if quantity == 1 or label.startswith(f"{quantity} ") else f"{quantity} × {label}"


@dataclass(frozen=True, slots=True)
class VatLine:
    """The VAT at one rate on a paper: gross and the tax inside it, in cents with the paper's sign."""

    percent: Decimal
    gross: Cents
    vat: Cents

    @property
    def net(self) -> Cents:
        """Gross less VAT."""
        return self.gross - self.vat


@dataclass(frozen=True, slots=True)
class Paper:
    """An invoice or a credit note with its number in the series; a credit note says which number it corrects."""

    number: int
    kind: PaperKind
    day: date
    lines: tuple[PaperLine, ...]
    vat: tuple[VatLine, ...]
    why: str = ""
    corrects: int | None = None
    by: str = ""
    buyer: str = ""
    """Name and address as they were that day, a line each; forgotten after the policy's years."""
    policy_version: int = 0
    """The policy of that day, with the seller's particulars; 0 for the newest."""

    @property
    def gross(self) -> Cents:
        """The sum of its lines; negative for a credit note."""
        return sum(line.gross for line in self.lines)

    @property
    def has_margin_lines(self) -> bool:
        """Whether second-hand goods under the margin scheme stand on it."""
        return any(line.scheme == "margin" for line in self.lines)


@dataclass(frozen=True, slots=True)
class Settlement:
    """One entry of what was paid: positive what the customer gave, negative what was given to them; in cents."""

    id: int
    means: Means
    amount: Cents
    day: date
    at: datetime
    by: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that was done, once: what, when, by whom, why, and its particulars."""

    kind: MarkKind
    at: datetime
    by: str
    why: str = ""
    about: Mapping[str, Any] = field(default_factory=dict)
    key: str = ""


@dataclass(frozen=True, slots=True)
class Sale:
    """A sale with its items and its ledgers. `code` is that of its quote, or its own; `revision` the quote's that was sold.

    `agreed_share` is what was left of the parts' price after a further discount agreed by hand, as (charged, before it).
    """

    id: int
    token: str
    code: str
    quote_token: str
    revision: int | None
    concluded: Concluded
    made_at: datetime
    made_on: date
    contact: Contact
    delivery: Literal["collect", "deliver"]
    zone: str
    address: str
    tier_name: str
    tier_percent: int
    agreed_share: tuple[Cents, Cents]
    policy_version: int
    may_write: bool = False
    items: tuple[Item, ...] = ()
    papers: tuple[Paper, ...] = ()
    settlements: tuple[Settlement, ...] = ()
    marks: tuple[Mark, ...] = ()

    @property
    def owed(self) -> Cents:
        """What is left to pay; negative where the shop owes the customer."""
        return owed(self.papers, self.settlements)

    @property
    def goods(self) -> tuple[Item, ...]:
        """The things that are handed over."""
        return tuple(item for item in self.items if item.is_goods)

    @property
    def received_on(self) -> date | None:
        """The day on which the last of its goods came; None while any is still to come.

        What went before it came, set aside or still in the parcel, is not waited for; nor does a swapped part begin it anew.
        """
        first = [item for item in self.goods if item.takes_place_of is None]
        days = [item.received_on for item in first if item.received_on is not None or not item.gone]
        return max((day for day in days if day is not None), default=None) if None not in days else None

    @property
    def state(self) -> SaleState:
        """Where it stands: how far it has come, and whether it is paid."""
        return state_of(self.items, any(mark.kind == "withdrawn" for mark in self.marks), self.owed)

    def item(self, number: int) -> Item | None:
        """The item of a number."""
        return next((item for item in self.items if item.number == number), None)

    def done(self, kind: MarkKind) -> Mark | None:
        """The last time something was done; None where it never was."""
        return next((mark for mark in reversed(self.marks) if mark.kind == kind), None)

    def sessions(self, what: str) -> tuple[Mark, ...]:
        """The sessions on the water (`support`) or included lessons (`lesson`) that were taken; not those taken back again."""
        undone = {mark.about.get("undoes") for mark in self.marks if mark.kind == "session_undone"}
        return tuple(
            mark
            for mark in self.marks
            if mark.kind == "session" and mark.about.get("what") == what and mark.key not in undone
        )

    def done_under(self, key: str) -> Mark | None:
        """What a form's key has done already."""
        return next((mark for mark in self.marks if key and mark.key == key), None)


def gone_as_faulty(marks: Iterable[Mark]) -> frozenset[int]:
    """The numbers of the items whose price came back because they were faulty: the customer loses no discount by that.

    Handed over or still in the parcel makes no difference.
    """
    told = (one for one in marks if one.kind in ("returned", "withdrawn") and one.about.get("kind") == "fault")
    return frozenset(number for one in told for number in one.about.get("items", ()))


def state_of(items: Iterable[Item], is_withdrawn: bool, left: Cents) -> SaleState:
    """Where a sale of some items stands: how far they have come, whether it was withdrawn, and whether anything is left to pay."""
    goods = tuple(item for item in items if item.is_goods)
    if goods and all(item.gone for item in goods):
        return "returned" if any(item.gone != "withdrawn" for item in goods) else "withdrawn"
    if is_withdrawn and not goods:
        return "withdrawn"
    core = [item for item in goods if not item.gone and (item.is_core or item.piece is not None)] or [
        item for item in goods if not item.gone
    ]
    if core and all(item.received_on is not None for item in core):
        return "handed_over"
    if core and all(item.received_on is not None or item.sent_on is not None for item in core):
        return "on_its_way"
    return "paid" if left <= 0 else "confirmed"


def owed(papers: Iterable[Paper], settlements: Iterable[Settlement]) -> Cents:
    """The sum of the papers less the sum of the settlements."""
    return sum(paper.gross for paper in papers) - sum(one.amount for one in settlements)


# Papers.


def vat_by_rate(lines: Iterable[PaperLine]) -> dict[Decimal, Cents]:
    """The gross of the lines of the standard scheme by rate."""
    by_rate: dict[Decimal, Cents] = {}
    for line in lines:
        if line.scheme == "standard":
            by_rate[line.percent] = by_rate.get(line.percent, 0) + line.gross
    return by_rate


def vat_of(before: Sequence[Paper], lines: Sequence[PaperLine]) -> tuple[VatLine, ...]:
    """The VAT by rate on a new paper, the highest rate first.

    Each is the tax inside all that was written so far with this paper, less the tax written so far: so the papers of a sale
    always add up to the tax inside what is left of it, to the cent, however often it is corrected.
    """
    written: dict[Decimal, Cents] = {}
    gross = vat_by_rate(line for paper in before for line in paper.lines)
    for paper in before:
        for one in paper.vat:
            written[one.percent] = written.get(one.percent, 0) + one.vat
    return tuple(
        VatLine(percent, amount, vat_inside(gross.get(percent, 0) + amount, percent) - written.get(percent, 0))
        for percent, amount in sorted(vat_by_rate(lines).items(), reverse=True)
    )


def write_paper(
    kind: PaperKind,
    number: int,
    day: date,
    lines: Sequence[PaperLine],
    before: Sequence[Paper],
    *,
    why: str = "",
    corrects: int | None = None,
    by: str = "",
    buyer: str = "",
    policy_version: int = 0,
) -> Paper:
    """A new paper of a sale after those written before."""
    vat = vat_of(before, lines)
    return Paper(number, kind, day, tuple(lines), vat, why, corrects, by, buyer, policy_version)


def margin_vat(sold: Cents, bought: Cents, percent: Decimal) -> Cents:
    """The VAT inside a dealer's margin on second-hand goods bought from private people; nothing where they were sold at a loss.

    (sold − bought) × rate / (100 + rate): bought at 300.00 and sold at 450.00 at 23 %: 28.05 (Directive 2006/112/EC, Art. 313 to 319).
    """
    return vat_inside(max(0, sold - bought), percent)


def margin_vat_of(before: Iterable[Paper], paper: Paper) -> Cents:
    """The VAT on the dealer's margin that a paper adds, in cents; negative where pieces are taken back.

    Worked out piece by piece on all that was written for it with this paper, less what was due before: so a piece that is taken
    back takes its tax back to the cent, and one sold at a loss takes none from the others.
    """
    earlier, now = _margins(before), _margins([paper])
    due = 0
    for piece, (sold, bought, percent) in now.items():
        sold_before, bought_before, _ = earlier.get(piece, (0, 0, percent))
        due += margin_vat(sold_before + sold, bought_before + bought, percent)
        due -= margin_vat(sold_before, bought_before, percent)
    return due


def _margins(papers: Iterable[Paper]) -> dict[int | str, tuple[Cents, Cents, Decimal]]:
    """What pieces under the margin scheme were sold for and bought for, each by the number of its item, else by its label."""
    sums: dict[int | str, tuple[Cents, Cents, Decimal]] = {}
    for line in (line for paper in papers for line in paper.lines if line.scheme == "margin"):
        piece = line.label if line.item is None else line.item
        sold, bought, _ = sums.get(piece, (0, 0, line.percent))
        sums[piece] = (sold + line.gross, bought + line.bought, line.percent)
    return sums


def series_faults(numbers: Iterable[int], first: int, last: int) -> tuple[str, ...]:
    """Which numbers of a series are missing between the first and the last, or stand there more than once; empty where it is whole."""
    counted = Counter(numbers)
    missing = [f"{number} is missing" for number in range(first, last + 1) if number not in counted]
    return (*missing, *(f"{number} is there {times} times" for number, times in sorted(counted.items()) if times > 1))


def paper_number(number: int, prefix: str) -> str:
    """A number of the series as it is printed: TH-000123."""
    return f"{prefix}{number:06d}"


def credited(papers: Iterable[Paper], item: int) -> Cents:
    """What was credited of an item so far, in cents of zero or more."""
    lines = (line for paper in papers if paper.kind == "credit_note" for line in paper.lines)
    return -sum(line.gross for line in lines if line.item == item)


def charged_for(papers: Iterable[Paper], item: int) -> Cents:
    """What is charged for an item after all papers written so far."""
    return sum(line.gross for paper in papers for line in paper.lines if line.item == item)


# Payments.


def cash_rounded(amount: Cents) -> Cents:
    """An amount to the nearest five cent, away from zero where it is as near; 10.22 is 10.20, 10.23 is 10.25.

    As the rounding programme of the Central Bank of Ireland (2015) has it: voluntary, of the total only, and only of cash.
    """
    return round_half_up(Decimal(amount) / CASH_STEP) * CASH_STEP


def rounding_for(means: Means, amount: Cents, left: Cents, rounds_cash: bool) -> Cents:
    """What rounding settles beside a payment in cash of exactly what is left, rounded; 0 for any other payment.

    10.22 left and 10.20 paid in cash: 0.02. 10.23 left and 10.25 paid: −0.02. Both signs alike where the shop pays.
    """
    if not rounds_cash or means != "cash" or left == 0 or amount != cash_rounded(left):
        return 0
    return left - amount


def check_payment(
    sale: Sale, means: Means, amount: Cents, rounds_cash: bool, said: Callable[[Cents], str] = decimal_of
) -> Fault | None:
    """Why a payment (positive) or a pay-out (negative) cannot be taken; None where it can.

    Nobody pays more than is left, and nobody is paid more than they are owed, but for the balance as cash is rounded: 10.23 left takes
    10.25 in cash, and no 10.24.
    `said` writes an amount in the shop's money.
    """
    left = sale.owed
    if amount == 0 or abs(amount) > MOST_PAYMENT:
        return Fault("amount", "This is not an amount to pay.", f"an amount from {said(1)} to {said(MOST_PAYMENT)}")
    if left == 0:
        return Fault("amount", "Nothing is left to pay on either side.")
    if (amount > 0) != (left > 0):
        return Fault("amount", "It is the shop that owes here." if left < 0 else "It is the customer who owes here.")
    rounded = cash_rounded(left) if means == "cash" and rounds_cash else left
    if abs(amount) > abs(left) and amount != rounded:
        more = f", or {said(abs(rounded))} as cash is rounded" if abs(rounded) > abs(left) else ""
        return Fault("amount", f"Only {said(abs(left))} is left.", f"at most {said(abs(left))}{more}")
    return None


def ways_paid(sale: Sale) -> tuple[Means, ...]:
    """How a customer has paid money, without what was taken back as a mistake, the largest sum first."""
    sums: dict[Means, Cents] = {}
    for one in sale.settlements:
        if one.amount > 0 and may_be_taken_back(sale, one):
            sums[one.means] = sums.get(one.means, 0) + one.amount
    return tuple(sorted(sums, key=lambda means: -sums[means]))


def check_way_back(sale: Sale, means: Means) -> Fault | None:
    """Why money should not go back this way; None where it was paid so, or nothing was paid in money.

    By Directive 2011/83/EU, Article 13(1), it goes back as it was paid, unless the customer has expressly agreed to another way.
    """
    ways = ways_paid(sale)
    if not ways or means in ways:
        return None
    paid = " and ".join(MEANS_WORDS[one] for one in ways)
    return Fault(
        "means", f"They paid by {paid}: it goes back the same way, unless they agree to another.", "or the tick"
    )


def taken_back(sale: Sale) -> Mapping[int, Mark]:
    """The entries of what was paid that were taken back, each with what was written down of it."""
    return {
        int(mark.about["entry"]): mark for mark in sale.marks if mark.kind == "entry_back" and "entry" in mark.about
    }


def may_be_taken_back(sale: Sale, one: Settlement) -> bool:
    """Whether an entry is money that was written down, was not taken back yet, and is no counter-entry itself."""
    counters = {mark.about.get("counter") for mark in sale.marks if mark.kind == "entry_back"}
    return one.means in MONEY and one.id not in taken_back(sale) and one.id not in counters
