"""Lesson deposits: a lesson is paid when it is booked, and given back when a kit that includes lessons of its kind is bought.

The ledger only grows: what is paid, given back or charged again is an entry, and a balance is the fold of the entries.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Literal, get_args

from server.domain.days import day_in_words
from server.domain.money import Cents, vat_inside
from server.domain.policy import IncludedLessons, Tier

LessonState = Literal["taken", "booked", "missed", "called_off_late", "called_off_by_shop", "called_off"]
LESSON_STATES: tuple[LessonState, ...] = get_args(LessonState)
NOT_HELD_STATES: tuple[LessonState, ...] = ("called_off", "called_off_by_shop")
"""States of lessons that were not held and whose fee is the learner's to move or have back."""
EntryKind = Literal["paid", "given_back", "charged_again", "refunded"]
ENTRY_KINDS: tuple[EntryKind, ...] = get_args(EntryKind)
SIGNS: dict[EntryKind, int] = {"paid": 1, "given_back": -1, "charged_again": 1, "refunded": -1}
ENTRY_WORDS: dict[EntryKind, str] = {
    "paid": "paid",
    "given_back": "given back with a kit",
    "charged_again": "charged again, kit came back",
    "refunded": "handed back",
}
MOST_FEE: Cents = 10_000_00


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the ledger: an amount of zero or more cents under a lesson's code, at a day.

    `method` is how money changed hands, and empty where none did: a fee that is given back or charged again is settled with the
    kit of its `quote`. `why` is a reason or note. `worth` is what a voucher was worth, in cents, where less was paid for it.
    """

    code: str
    kind: EntryKind
    amount: Cents
    day: date
    quote: str = ""
    method: str = ""
    why: str = ""
    worth: Cents | None = None

    @property
    def change(self) -> Cents:
        """What the entry does to the balance."""
        return SIGNS[self.kind] * self.amount


@dataclass(frozen=True, slots=True)
class Extension:
    """A window that the shop has extended: its new last day, and why."""

    until: date
    why: str
    by: str = ""


@dataclass(frozen=True, slots=True)
class PaidLesson:
    """A lesson under its code: its kind and day, how it went, the ledger of its money, and how its window was extended.

    `off_since` is the day for which the shop called it off, where it was put on another day after that; the earliest such day.
    """

    code: str
    kind: str
    day: date
    state: LessonState
    entries: tuple[Entry, ...] = ()
    extensions: tuple[Extension, ...] = ()
    off_since: date | None = None

    def went(self, state: LessonState, day: date) -> PaidLesson:
        """It with how it went, or put on another day; one that the shop had called off remembers since when."""
        is_made_up = self.state == "called_off_by_shop" and state != self.state and day != self.day
        return replace(
            self, state=state, day=day, off_since=self.off_since or self.day if is_made_up else self.off_since
        )

    @property
    def balance(self) -> Cents:
        """What was really paid and not given back: the fold of the entries."""
        return balance_of(self.entries)

    @property
    def paid(self) -> Cents:
        """All that was ever paid for it."""
        return sum(entry.amount for entry in self.entries if entry.kind == "paid")

    @property
    def handed_back(self) -> Cents:
        """All that was ever handed back of it without a kit."""
        return sum(entry.amount for entry in self.entries if entry.kind == "refunded")

    @property
    def voucher_more(self) -> Cents:
        """What its vouchers are worth beyond what was paid for them; nothing once all the money was handed back."""
        more = balance = 0
        for entry in self.entries:
            balance += entry.change
            if entry.worth is not None:
                more += entry.worth - entry.amount
            elif entry.kind == "refunded" and balance <= 0:
                more = 0
        return more

    @property
    def was_given_back(self) -> bool:
        """Whether its fee has been given back with a kit and not charged again since."""
        return self.with_kit() > 0

    def with_kit(self, quote: str | None = None) -> Cents:
        """What was given back with a kit and not charged again since: with any kit, or with the one of a quote."""
        settled = (
            entry
            for entry in self.entries
            if entry.kind in ("given_back", "charged_again") and quote in (None, entry.quote)
        )
        return -balance_of(settled)

    @property
    def refunded_on(self) -> date | None:
        """The day on which money for it was last handed back; None where none was."""
        return max((entry.day for entry in self.entries if entry.kind == "refunded"), default=None)


def balance_of(entries: Iterable[Entry]) -> Cents:
    """The sum of the entries with their signs."""
    return sum(entry.change for entry in entries)


@dataclass(frozen=True, slots=True)
class Recorded:
    """An entry as it stands in the book: of which kind of lesson, when and by whom it was made.

    `taken_at` is when the fee was taken that it is or lowers.
    """

    entry: Entry
    lesson_kind: str
    at: datetime
    by: str
    taken_at: datetime


@dataclass(frozen=True, slots=True)
class GivenBack:
    """A fee to be given back with the kit."""

    code: str
    amount: Cents


@dataclass(frozen=True, slots=True)
class NotGivenBack:
    """A fee that stays where it is, and why, as a sentence."""

    code: str
    because: str


@dataclass(frozen=True, slots=True)
class DepositDecision:
    """What is given back of the lessons whose codes were named, and what is not."""

    given_back: tuple[GivenBack, ...] = ()
    refused: tuple[NotGivenBack, ...] = ()
    free_lessons_left: int = 0

    @property
    def total(self) -> Cents:
        """The sum given back."""
        return sum(fee.amount for fee in self.given_back)


@dataclass(frozen=True, slots=True)
class Window:
    """Until when a purchase gives fees of a kind back: counted from the last lesson taken, paused, extended.

    `last_taken` and `last_day` are None while no lesson of the kind was taken: the window is open.
    """

    last_taken: date | None = None
    days: int = 0
    paused_days: int = 0
    extension: Extension | None = None
    last_day: date | None = None

    def is_open(self, today: date) -> bool:
        """Whether a purchase still gives fees back; it does on the last day, too."""
        return self.last_day is None or today <= self.last_day

    @property
    def because(self) -> str:
        """How the last day comes about, as a sentence."""
        if self.last_taken is None:
            return "No lesson of this kind was taken yet: the window is open."
        words = f"{self.days} days from the last lesson taken, on {day_in_words(self.last_taken)}"
        if self.paused_days:
            words += f", and {self.paused_days} more for lessons that the shop called off"
        if self.extension is not None:
            words += f"; extended until {day_in_words(self.extension.until)}: {self.extension.why.rstrip('.')}"
        return words + "."


def _pauses(lessons: Sequence[PaidLesson], today: date) -> Iterator[tuple[date, date]]:
    """From when until when lessons that the shop called off keep a learner waiting."""
    for lesson in lessons:
        since = lesson.off_since or lesson.day
        if lesson.state == "called_off_by_shop":
            booked = (one.day for one in lessons if one.state == "booked" and one.day > lesson.day)
            yield since, min(booked, default=lesson.refunded_on or today)
        elif lesson.off_since is not None:
            yield since, lesson.day


def window_of(lessons: Iterable[PaidLesson], kind: str, window_days: int, today: date) -> Window:
    """The window of the lessons of a kind as it stands today.

    It runs for `window_days` from the last lesson taken. A lesson that the shop called off pauses it: from its day, if that lies
    after the last lesson taken, not after today and within the window so far, the days are added up to the one it was put on
    instead, or else to the next lesson booked; where none is, up to the day the fee was handed back, or else up to today. A day
    counts once, however many lessons were called off. Taken 1 June, 45 days: 16 July; called off on 10 June and booked anew for 17
    June: 23 July. An extension by the shop is a day of its own: the latest one counts, and none makes the window shorter.
    """
    mine = sorted((lesson for lesson in lessons if lesson.kind == kind), key=lambda lesson: lesson.day)
    last_taken = max((lesson.day for lesson in mine if lesson.state == "taken"), default=None)
    if last_taken is None:
        return Window(days=window_days)
    last_day, counted_to, paused = last_taken + timedelta(days=window_days), last_taken, 0
    for since, until in sorted(_pauses(mine, today)):
        if last_taken < since <= min(today, last_day):
            more = max(0, (until - max(since, counted_to)).days)
            counted_to, paused = max(counted_to, until), paused + more
            last_day += timedelta(days=more)
    extensions = (one for lesson in mine for one in lesson.extensions)
    latest = max(extensions, key=lambda one: one.until, default=None)
    extension = latest if latest is not None and latest.until > last_day else None
    return Window(last_taken, window_days, paused, extension, extension.until if extension else last_day)


def last_day_to_buy(lessons: Iterable[PaidLesson], kind: str, window_days: int, today: date = date.min) -> date | None:
    """The last day on which fees of this kind are given back, as the window stands today; without a day nothing pauses it.

    None while no lesson of the kind was taken: the window is open.
    """
    return window_of(lessons, kind, window_days, today).last_day


def decide_deposits(
    lessons: Sequence[PaidLesson],
    included: IncludedLessons | None,
    window_days: int,
    today: date,
    already: int = 0,
) -> DepositDecision:
    """Which fees a purchase today gives back: of the included kind, taken or still booked, earliest first, up to the number.

    Each fee is given back once, and only what was really paid. `included` is None for a purchase without lessons in its tier,
    `already` the number of fees that were given back with this purchase before. It decides
    and writes nothing; the entry is made with the contract.
    """
    if included is None:
        part = "The fee is given back with a kit that includes lessons; buy the rest within the window and it counts."
        return DepositDecision(refused=tuple(NotGivenBack(lesson.code, part) for lesson in lessons))
    if not lessons:
        return DepositDecision(free_lessons_left=max(0, included.number - already))
    given: list[GivenBack] = []
    refused: list[NotGivenBack] = []
    last_day = last_day_to_buy(lessons, included.kind, window_days, today)
    for lesson in sorted(lessons, key=lambda lesson: lesson.day):
        because = _why_not(lesson, included.kind, last_day, today)
        if because is None and already + len(given) >= included.number:
            because = f"The kit includes {included.number} lessons; the fees of the earliest are given back."
        if because is None:
            given.append(GivenBack(lesson.code, lesson.balance))
        else:
            refused.append(NotGivenBack(lesson.code, because))
    return DepositDecision(tuple(given), tuple(refused), max(0, included.number - already - len(given)))


@dataclass(frozen=True, slots=True)
class Missing:
    """What a purchase lacks for a tier that includes lessons: so many more of some slots, and the lessons it would include."""

    tier: str
    more: int
    slots: tuple[str, ...]
    lessons: IncludedLessons


def missing_for_lessons(slots_bought: Iterable[str], tiers: Iterable[Tier]) -> tuple[Missing, ...]:
    """What each tier that includes lessons still lacks, the nearest first; nothing of those that the purchase reaches."""
    bought = set(slots_bought)
    lacking = [
        Missing(tier.name, more, tuple(slot for slot in tier.slots if slot not in bought), tier.lessons)
        for tier in tiers
        if tier.lessons is not None and (more := tier.at_least - len(bought.intersection(tier.slots))) > 0
    ]
    return tuple(sorted(lacking, key=lambda one: one.more))


def _why_not(lesson: PaidLesson, kind: str, last_day: date | None, today: date) -> str | None:
    if lesson.kind != kind:
        return f"It was a {lesson.kind} lesson; the kit includes {kind} lessons, and uses up none of these."
    if lesson.state == "missed":
        return "The lesson was missed, so its fee stays paid."
    if lesson.state == "called_off_late":
        return "The lesson was called off late, so its fee stays paid."
    if lesson.was_given_back:
        return "This fee has been given back already; each is given back once."
    if lesson.balance <= 0 and lesson.refunded_on is not None:
        return "Its fee was handed back, so there is nothing left to give back."
    if lesson.balance <= 0:
        return "Nothing was paid for it, so there is nothing to give back."
    if lesson.state in NOT_HELD_STATES:
        return (
            "The lesson was called off, so its fee is moved to another time or handed back, not given back with a kit."
        )
    if last_day is not None and today > last_day:
        return f"The window closed on {day_in_words(last_day)}; ask the shop, it may extend it with a reason."
    return None


# What may become of a fee: each move answers its entry, or why there is none. Nothing else makes entries.


def pay(
    lesson: PaidLesson, amount: Cents, day: date, method: str = "", why: str = "", worth: Cents | None = None
) -> Entry | NotGivenBack:
    """The entry of a fee, `amount` being what was really paid, or why none is taken; nothing may be paid, for a gift."""
    if lesson.was_given_back:
        words = "Its fee was given back with a kit: the lesson is paid by that. If the kit came back, charge it again."
        return NotGivenBack(lesson.code, words)
    return Entry(lesson.code, "paid", amount, day, "", method, why, worth)


def really_paid(amount: Cents, method: str, paid_for_voucher: Cents | None = None) -> Cents:
    """What counts as paid of a fee: of one paid by voucher no more than money was once paid for that voucher."""
    if method != "voucher" or paid_for_voucher is None:
        return amount
    return min(amount, paid_for_voucher)


def give_back(lesson: PaidLesson, quote: str, day: date) -> Entry | NotGivenBack:
    """The entry that gives a lesson's fee back against a quote, or why there is none to give."""
    if lesson.was_given_back or lesson.balance <= 0:
        return NotGivenBack(lesson.code, "This fee has been given back already; each is given back once.")
    return Entry(lesson.code, "given_back", lesson.balance, day, quote)


def charge_again(lesson: PaidLesson, quote: str, day: date, why: str = "") -> Entry | NotGivenBack:
    """The entry that takes a given-back fee again when the kit of its quote comes back, or why there is none to take."""
    amount = lesson.with_kit(quote)
    if amount <= 0:
        return NotGivenBack(
            lesson.code, "This fee was not given back with this quote, so there is nothing to charge again."
        )
    return Entry(lesson.code, "charged_again", amount, day, quote, "", why)


def refund(lesson: PaidLesson, amount: Cents, day: date, why: str, method: str = "") -> Entry | NotGivenBack:
    """The entry that hands money back, no more than is left of what was paid, or why there is none."""
    if lesson.was_given_back:
        return NotGivenBack(lesson.code, "Its fee was given back with a kit already, so nothing is left to hand back.")
    if not 0 < amount <= lesson.balance:
        left = f"{decimal_of(lesson.balance)} is left of what was paid" if lesson.balance else "Nothing is left of it"
        return NotGivenBack(lesson.code, f"{left}; no more than that is handed back.")
    return Entry(lesson.code, "refunded", amount, day, "", method or last_method(lesson), why)


def last_method(lesson: PaidLesson) -> str:
    """How its fee was paid last, which is how money is handed back unless somebody says otherwise."""
    return next((entry.method for entry in reversed(lesson.entries) if entry.kind == "paid"), "")


def decide_charges(
    lessons: Iterable[PaidLesson], quote: str, day: date, why: str = ""
) -> tuple[tuple[Entry, ...], tuple[NotGivenBack, ...]]:
    """Which fees are charged again when the kit of a quote comes back: those of lessons taken; and why not the others.

    A lesson that was not taken is not charged for; if it is taken later, its fee can be charged then.
    """
    entries: list[Entry] = []
    refused: list[NotGivenBack] = []
    for lesson in sorted(lessons, key=lambda lesson: lesson.day):
        answer = charge_again(lesson, quote, day, why)
        if isinstance(answer, NotGivenBack):
            refused.append(answer)
        elif lesson.state != "taken":
            words = "The lesson was not taken, so it is not charged for; if it is taken later, charge it then."
            refused.append(NotGivenBack(lesson.code, words))
        else:
            entries.append(answer)
    return tuple(entries), tuple(refused)


def decimal_of(amount: Cents) -> str:
    """An amount of cents as a decimal with a point: 12345 is 123.45, −5 is -0.05."""
    whole, cents = divmod(abs(amount), 100)
    return f"{'-' if amount < 0 else ''}{whole}.{cents:02d}"


# The books: entries added up by day or month, and the tax inside them.

Period = Literal["day", "month"]


@dataclass(frozen=True, slots=True)
class Sum:
    """Entries of one kind and method added up: how many, and what they do to the balance, in cents."""

    kind: EntryKind
    method: str
    entries: int
    change: Cents


@dataclass(frozen=True, slots=True)
class PeriodSums:
    """The sums of a day, or of a month under its first day."""

    first: date
    sums: tuple[Sum, ...]

    @property
    def change(self) -> Cents:
        """All of it added up."""
        return sum(one.change for one in self.sums)


def sums_by(period: Period, recorded: Iterable[Recorded]) -> tuple[PeriodSums, ...]:
    """Entries added up by day or month, and in it by kind and method; their sums add up to the sum of the entries."""
    by_key: dict[tuple[date, int, str], list[Entry]] = {}
    for one in recorded:
        entry = one.entry
        first = entry.day if period == "day" else entry.day.replace(day=1)
        by_key.setdefault((first, ENTRY_KINDS.index(entry.kind), entry.method), []).append(entry)
    periods: dict[date, list[Sum]] = {}
    for (first, kind, method), entries in sorted(by_key.items()):
        periods.setdefault(first, []).append(Sum(ENTRY_KINDS[kind], method, len(entries), balance_of(entries)))
    return tuple(PeriodSums(first, tuple(sums)) for first, sums in periods.items())


@dataclass(frozen=True, slots=True)
class Taxed:
    """An entry with the tax inside it: gross, VAT and net in cents with the entry's sign, the rate in per cent."""

    recorded: Recorded
    percent: Decimal
    vat: Cents

    @property
    def gross(self) -> Cents:
        """What the entry does to the balance."""
        return self.recorded.entry.change

    @property
    def net(self) -> Cents:
        """Gross less VAT."""
        return self.gross - self.vat


@dataclass(frozen=True, slots=True)
class VatSum:
    """The tax at one rate, rounded once over the sum of the entries; in cents. Entries' own are rounded each, and may add up to
    some cents more or less."""

    percent: Decimal
    gross: Cents
    vat: Cents

    @property
    def net(self) -> Cents:
        """Gross less VAT."""
        return self.gross - self.vat


def taxed(recorded: Recorded, rates: Sequence[tuple[datetime, Decimal]]) -> Taxed:
    """An entry with the VAT inside it, at the rate that was in force when the fee was taken: what lowers a fee is a credit on it.

    `rates` are the shop's rates in per cent with the moment each came into force, oldest first, one at least. An entry from
    before the oldest has the oldest. 123.00 at 23 % holds 23.00.
    """
    since = [percent for moment, percent in rates if moment <= recorded.taken_at]
    percent = since[-1] if since else rates[0][1]
    return Taxed(recorded, percent, vat_inside(recorded.entry.change, percent))


def vat_by_rate(entries: Iterable[Taxed]) -> tuple[VatSum, ...]:
    """The tax of some entries by rate, the highest rate first."""
    by_rate: dict[Decimal, list[Taxed]] = {}
    for one in entries:
        by_rate.setdefault(one.percent, []).append(one)
    sums = ((percent, sum(one.gross for one in ones)) for percent, ones in sorted(by_rate.items(), reverse=True))
    return tuple(VatSum(percent, gross, vat_inside(gross, percent)) for percent, gross in sums)
