"""The ledger of lesson fees: paid, handed back, given back with a kit and charged again; windows; and the books of days and months."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from server.domain.codes import read_code
from server.domain.days import day_in_words
from server.domain.deposits import (
    LESSON_STATES,
    MOST_FEE,
    DepositDecision,
    Entry,
    Extension,
    LessonState,
    Missing,
    NotGivenBack,
    PaidLesson,
    Period,
    PeriodSums,
    Recorded,
    Taxed,
    VatSum,
    Window,
    decide_charges,
    decide_deposits,
    decimal_of,
    give_back,
    missing_for_lessons,
    pay,
    really_paid,
    refund,
    sums_by,
    taxed,
    vat_by_rate,
    window_of,
)
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.lessons import METHODS
from server.domain.money import Cents
from server.domain.policy import Tier
from server.domain.pricing import tier_for
from server.domain.quotes import Quote
from server.persistence.deposits import (
    codes_given_back_with,
    load_lessons,
    load_recorded,
    load_recorded_of,
    save_entries,
    save_extension,
    save_lesson,
    save_state,
    sum_of_entries,
)
from server.persistence.lessons import find_booking, first_of
from server.persistence.policies import load_vat_rates
from server.persistence.quotes import lock_key
from server.persistence.sales import sale_of_quote
from server.usecases.clock import check_clock
from server.usecases.quotes import find_quote, locked_quote, read_quote
from server.usecases.stock import open_hold
from server.usecases.work import Work, new_code

EARLIEST = date(2000, 1, 1)
FARTHEST_DAYS = 730
LONGEST_BOOK_DAYS = 3700
LONGEST_WHY = 300
WHY_ACCEPTED = f"a reason, of 1 to {LONGEST_WHY} characters"
AMOUNT_ACCEPTED = f"an amount from 0.00 to {decimal_of(MOST_FEE)}"
NO_LESSON = "We know no paid lesson under this code."
NOT_AGREED = (
    "Nobody has agreed to this quote, or its parts are not held any more: fees are given back with the contract, so let it be"
    " agreed to first."
)


# Lessons and their fees. What does not commit is there for other verbs, which commit.


def begin_lesson(work: Work, kind: str, state: LessonState, day: date, code: str = "") -> PaidLesson:
    """A new lesson under a new code (or one drawn before), nothing paid for it yet. It does not commit.

    Raises `InvalidInput` for a kind of lesson that the shop does not list, and for a day that cannot be: a lesson taken
    or missed has had its day.
    """
    kinds = work.catalogue.lessons
    faults = []
    if kind not in kinds:
        faults.append(Fault("kind", f"The shop lists no {kind!r} lesson.", "one of: " + ", ".join(kinds)))
    faults += _day_faults(work, state, day)
    if faults:
        raise InvalidInput(faults)
    code = code or draw_code(work)
    lesson = PaidLesson(code, kind, day, state)
    save_lesson(work.session, lesson, work.now, work.actor)
    return lesson


def draw_code(work: Work) -> str:
    """A code that no lesson has."""
    return new_code(lambda code: bool(load_lessons(work.session, [code])))


def _day_faults(work: Work, state: LessonState, day: date) -> list[Fault]:
    if state not in LESSON_STATES:
        return [Fault("state", "This is not how a lesson goes.", "one of: " + ", ".join(LESSON_STATES))]
    last = work.today if state in ("taken", "missed") else work.today + timedelta(days=FARTHEST_DAYS)
    if EARLIEST <= day <= last:
        return []
    message = f"A lesson {state.replace('_', ' ')} on {day_in_words(day)} cannot be."
    return [Fault(state, message, f"a day from {EARLIEST.isoformat()} to {last.isoformat()}")]


def mark_lesson(work: Work, code: str, state: LessonState, day: date | None = None) -> PaidLesson:
    """Record how a lesson went, or that it is on another day. It does not commit; raises `NotFound` or `InvalidInput`."""
    lesson = _locked_lesson(work, code)
    faults = _day_faults(work, state, day or lesson.day)
    if faults:
        raise InvalidInput(faults)
    save_state(work.session, lesson.went(state, day or lesson.day))
    return _lesson(work, code)


def take_deposit(work: Work, kind: str, fee: Cents, state: LessonState, day: date) -> PaidLesson:
    """Record a lesson that was paid for, under a new code; `fee` is what was really paid.

    Raises `InvalidInput` for a kind of lesson that the shop does not list, and for a day that cannot be: a lesson taken
    or missed has had its day.
    """
    check_clock(work)
    lesson = begin_lesson(work, kind, state, day)
    save_entries(work.session, [Entry(lesson.code, "paid", fee, work.today)], work.now, work.actor)
    work.note_deed(f"took {decimal_of(fee)} for lesson {lesson.code}")
    work.commit()
    return _lesson(work, lesson.code)


@dataclass(frozen=True, slots=True)
class Fee:
    """A fee as the desk takes it: an amount in cents, how it is paid, and of a voucher what was once paid for it."""

    amount: Cents
    method: str
    note: str = ""
    paid_for_voucher: Cents | None = None


def take_fee(work: Work, kind: str, state: LessonState, day: date, fee: Fee, code: str) -> PaidLesson:
    """Record a new lesson with its fee under a code that was drawn for the form; the same form sent again changes nothing.

    Raises `InvalidInput` with every fault, and `Conflict` where another lesson was recorded under the code.
    """
    check_clock(work)
    lock_key(work.session, f"lesson:{code}")
    there = load_lessons(work.session, [read_code(code)]).get(code)
    if there is not None:
        first = there.entries[0] if there.entries else None
        counted = really_paid(fee.amount, fee.method, fee.paid_for_voucher)
        if first is not None and (there.kind, first.amount, first.method) == (kind, counted, fee.method):
            return there
        raise Conflict([Fault("kind", "This form has recorded another lesson already: begin a new one.")])
    faults: list[Fault] = []
    try:
        begin_lesson(work, kind, state, day, code)
    except InvalidInput as error:
        faults += (
            Fault("day" if fault.field == state else fault.field, fault.message, fault.accepted)
            for fault in error.faults
        )
    faults += _fee_faults(fee)
    if faults:
        raise InvalidInput(faults)
    record_fee(work, code, fee.amount, fee.method, fee.note, paid_for_voucher=fee.paid_for_voucher)
    work.commit()
    return _lesson(work, code)


def take_further_fee(work: Work, code: str, fee: Fee, expected_entries: int) -> Entry:
    """Record a further fee for a lesson; raises as `record_fee` does, and `Conflict` where its ledger has grown meanwhile."""
    check_unchanged(work, code, expected_entries)
    entry = record_fee(work, code, fee.amount, fee.method, fee.note, paid_for_voucher=fee.paid_for_voucher)
    work.commit()
    return entry


def hand_back(work: Work, code: str, amount: Cents, why: str, method: str, expected_entries: int) -> Entry:
    """Hand money back for a lesson; raises as `record_refund` does, and `Conflict` where its ledger has grown meanwhile."""
    check_unchanged(work, code, expected_entries)
    entry = record_refund(work, code, amount, why, method)
    work.commit()
    return entry


def check_unchanged(work: Work, code: str, expected_entries: int, field: str = "amount") -> None:
    """Refuse a form about a lesson's money whose ledger has other entries by now than when it was shown; raises `Conflict`."""
    if len(_locked_lesson(work, code).entries) != expected_entries:
        raise Conflict(
            [Fault(field, "An entry was made meanwhile, perhaps by this very form: look at the ledger first.")]
        )


def record_fee(
    work: Work, code: str, amount: Cents, method: str, note: str = "", *, paid_for_voucher: Cents | None = None
) -> Entry:
    """Record a fee for a lesson that is there, in cents and by one of `METHODS`; no card data is ever taken. It does not commit.

    Of a fee paid by voucher no more counts than money was once paid for the voucher, `paid_for_voucher`; without it the amount is
    what was really paid. Raises `NotFound`, `InvalidInput`, or `Conflict` where the fee was given back with a kit, or the lesson
    repeats another, under whose code the fee stands.
    """
    lesson = _locked_lesson(work, code)
    _refuse_repeat(work, code)
    faults = _fee_faults(Fee(amount, method, note, paid_for_voucher))
    if faults:
        raise InvalidInput(faults)
    counted = really_paid(amount, method, paid_for_voucher)
    if counted != amount:
        said = f"Voucher worth {decimal_of(amount)}, for which {decimal_of(counted)} was paid."
        note = f"{said} {note}".strip()
    worth = amount if counted != amount else None
    entry = _made(work, pay(lesson, counted, work.today, method, note, worth), "amount")
    work.note_deed(f"took {decimal_of(counted)} for lesson {code}")
    return entry


def _refuse_repeat(work: Work, code: str) -> None:
    booking = find_booking(work.session, code=code)
    if booking is not None and booking.repeats is not None:
        first = first_of(work.session, booking).code
        words = f"This lesson repeats another at no cost, and its fee stands under the code of that one: {first}."
        raise Conflict([Fault("amount", words, "a fee under that code")])


def _fee_faults(fee: Fee) -> list[Fault]:
    faults = []
    if not 0 <= fee.amount <= MOST_FEE:
        faults.append(Fault("amount", "This is not an amount for a lesson.", AMOUNT_ACCEPTED))
    if fee.paid_for_voucher is not None and not 0 <= fee.paid_for_voucher <= MOST_FEE:
        faults.append(Fault("paid_for_voucher", "This is not an amount for a voucher.", AMOUNT_ACCEPTED))
    if fee.method not in METHODS:
        faults.append(Fault("method", "This is not a way to pay here.", "one of: " + ", ".join(METHODS)))
    if len(fee.note) > LONGEST_WHY:
        faults.append(Fault("note", "This note is too long.", f"at most {LONGEST_WHY} characters"))
    if not fee.note.isprintable():
        faults.append(Fault("note", "This note cannot be kept.", "letters, figures and signs in one line"))
    return faults


def record_refund(work: Work, code: str, amount: Cents, why: str, method: str = "") -> Entry:
    """Hand money back for a lesson, in cents, no more than is left of what was paid. It does not commit.

    Without a `method` it goes the way it was paid last. Raises `NotFound`, `InvalidInput` (no reason, an unknown method), or
    `Conflict` where there is not so much left, or the fee was given back with a kit.
    """
    lesson = _locked_lesson(work, code)
    faults = why_faults(why)
    if method and method not in METHODS:
        faults.append(Fault("method", "This is not a way to hand money back.", "one of: " + ", ".join(METHODS)))
    if faults:
        raise InvalidInput(faults)
    entry = _made(work, refund(lesson, amount, work.today, why.strip(), method), "amount")
    work.note_deed(f"handed back {decimal_of(amount)} for lesson {code}")
    return entry


def why_faults(why: str, field: str = "why") -> list[Fault]:
    """What is wrong with a reason."""
    is_fine = 0 < len(why.strip()) <= LONGEST_WHY and why.strip().isprintable()
    return [] if is_fine else [Fault(field, "Say why, in a few words.", WHY_ACCEPTED)]


def _made(work: Work, answer: Entry | NotGivenBack, field: str) -> Entry:
    if isinstance(answer, NotGivenBack):
        raise Conflict([Fault(field, answer.because)])
    save_entries(work.session, [answer], work.now, work.actor)
    return answer


def _locked_lesson(work: Work, code: str) -> PaidLesson:
    lesson = load_lessons(work.session, [code], to_change=True).get(code)
    if lesson is None:
        raise NotFound("code", NO_LESSON)
    return lesson


def _lesson(work: Work, code: str) -> PaidLesson:
    lesson = load_lessons(work.session, [code]).get(code)
    if lesson is None:
        raise NotFound("code", NO_LESSON)
    return lesson


# One lesson, and its window.


@dataclass(frozen=True)
class Ledger:
    """A lesson at the desk: its entries with when and by whom, and its window by itself, as of today."""

    lesson: PaidLesson
    recorded: tuple[Recorded, ...]
    window: Window


def read_ledger(work: Work, code: str) -> Ledger:
    """A lesson's ledger; raises `NotFound`."""
    lesson = _lesson(work, code)
    window = window_of([lesson], lesson.kind, work.catalogue.policy.refund_window_days, work.today)
    return Ledger(lesson, tuple(load_recorded_of(work.session, code)), window)


def extend_window(work: Work, code: str, until: date, why: str) -> Window:
    """Extend the window of a lesson's kind until a day, with a reason; the window as it stands then.

    Raises `NotFound`, or `InvalidInput` for a day that is over, too far ahead or no extension, and for no reason.
    """
    lesson = _locked_lesson(work, code)
    days = work.catalogue.policy.refund_window_days
    last_day = window_of([lesson], lesson.kind, days, work.today).last_day
    first, last = work.today, work.today + timedelta(days=FARTHEST_DAYS)
    faults = why_faults(why)
    if last_day is not None and first <= until <= last_day:
        faults.append(Fault("until", f"The window is open until {day_in_words(last_day)} already.", "a later day"))
    elif not first <= until <= last:
        accepted = f"a day from {first.isoformat()} to {last.isoformat()}"
        faults.append(Fault("until", "The window cannot be extended to this day.", accepted))
    if faults:
        raise InvalidInput(faults)
    save_extension(work.session, code, Extension(until, why.strip(), work.actor), work.now, work.actor)
    work.note_deed(f"extended the window of lesson {code} until {until.isoformat()}")
    work.commit()
    return window_of([_lesson(work, code)], lesson.kind, days, work.today)


# A kit bought, whole or in stages, and a kit that comes back.


@dataclass(frozen=True)
class Purchase:
    """What a purchase does to the fees of its lessons, as of today.

    The purchase is the newest revision of a quote, `together` with those of the parts bought before it. `with_kit` are the lessons
    whose fees it has given back and not charged again, in cents; `charges` and `not_charged` what would become of these if the kit
    came back. `missing` is what it lacks for a tier with lessons, and `window` until when the rest may be bought, where the
    tier or a lesson tells the kind.
    """

    quote: Quote
    together: tuple[Quote, ...]
    is_agreed: bool
    tier: Tier | None
    lessons: tuple[PaidLesson, ...]
    decision: DepositDecision
    window: Window | None
    missing: tuple[Missing, ...]
    with_kit: tuple[tuple[str, Cents], ...]
    charges: tuple[Entry, ...]
    not_charged: tuple[NotGivenBack, ...]

    @property
    def given_before(self) -> Cents:
        """What was given back with it before, in cents."""
        return sum(amount for _, amount in self.with_kit)


def decide_for(work: Work, quote_code: str, together: Sequence[str] = ()) -> Purchase:
    """What the purchase of a quote, by its code, gives back today, `together` with quotes of parts bought before; writes nothing.

    Raises `InvalidInput` or `NotFound` for a code that is none.
    """
    quote = read_quote(work, find_quote(work, quote_code))
    return _decided(work, quote, _earlier(work, quote, together))


def give_back_for(
    work: Work, quote_code: str, together: Sequence[str] = (), expected: Cents | None = None
) -> tuple[Entry, ...]:
    """Give back every fee that the purchase of a quote gives back today, once, whoever else asks at the same time; with the
    contract, so only while the quote is agreed to and its parts are held.

    With `expected`, the sum in cents that was shown before, nothing is given back where it is another one by now. Raises `Conflict`
    then, and with every reason where nothing is given back; `InvalidInput` or `NotFound` for a code that is none.
    """
    code = read_code(quote_code)
    plain = sorted({code, *(read_code(one, "together") for one in together)})
    quotes = {one: locked_quote(work, find_quote(work, one)) for one in plain}
    quote = quotes.pop(code)
    _refuse_sold(work, quote)
    if not _is_agreed(work, quote):
        raise Conflict([Fault("quote", NOT_AGREED)])
    bought = _decided(work, quote, tuple(quotes.values()), to_change=True)
    if not bought.decision.given_back:
        reasons = [Fault("quote", f"Lesson {one.code}: {one.because}") for one in bought.decision.refused]
        raise Conflict(reasons or [Fault("quote", "The quote names no paid lesson.", "a quote with lesson codes")])
    if expected is not None and expected != bought.decision.total:
        words = f"It is {decimal_of(bought.decision.total)} by now, not {decimal_of(expected)}: look at it again."
        raise Conflict([Fault("quote", words)])
    entries = _given_back(work, bought)
    work.commit()
    return entries


def give_back_with(work: Work, quote: Quote, together: Sequence[str], as_of: date) -> Cents:
    """Give back the fees that a purchase gives back as of the day it was agreed to, `together` with quotes of parts bought before.

    What it has given back in all, in cents, with what was given back for it before; none is no error. It does not commit.
    """
    bought = _decided(work, quote, _earlier(work, quote, together), to_change=True, as_of=as_of)
    before = sum(lesson.with_kit(quote.code) for lesson in bought.lessons)
    return before + sum(entry.amount for entry in _given_back(work, bought))


def fees_back_with(work: Work, quote: Quote, together: Sequence[str], as_of: date) -> Cents:
    """What `give_back_with` would have given back in all, in cents; it writes nothing. Raises as `decide_for`."""
    bought = _decided(work, quote, _earlier(work, quote, together), as_of=as_of)
    return bought.decision.total + sum(lesson.with_kit(quote.code) for lesson in bought.lessons)


def charge_again_with(work: Work, quote_code: str, codes: Collection[str], why: str) -> tuple[Entry, ...]:
    """Charge the fees of some lessons taken again that were given back with a quote, by their codes. It does not commit."""
    lessons = load_lessons(work.session, codes_given_back_with(work.session, quote_code), to_change=True)
    wanted = [lesson for code, lesson in lessons.items() if code in codes]
    entries, _ = decide_charges(wanted, quote_code, work.today, why)
    save_entries(work.session, entries, work.now, work.actor)
    return entries


def lessons_given_back_with(work: Work, quote_code: str) -> tuple[PaidLesson, ...]:
    """The lessons whose fees were given back with a quote and not charged again, by their days."""
    lessons = load_lessons(work.session, codes_given_back_with(work.session, quote_code))
    return tuple(
        sorted((one for one in lessons.values() if one.with_kit(quote_code) > 0), key=lambda lesson: lesson.day)
    )


def _refuse_sold(work: Work, quote: Quote) -> None:
    """A quote that was bought has a sale, and its fees move with that one."""
    if sale_of_quote(work.session, quote.token) is not None:
        raise Conflict(
            [Fault("quote", "This quote was bought: its fees are given back and charged again with its sale.")]
        )


def _given_back(work: Work, bought: Purchase) -> tuple[Entry, ...]:
    lessons = {lesson.code: lesson for lesson in bought.lessons}
    code = bought.quote.code
    answers = [give_back(lessons[fee.code], code, work.today) for fee in bought.decision.given_back]
    entries = tuple(answer for answer in answers if isinstance(answer, Entry))
    if entries:
        save_entries(work.session, entries, work.now, work.actor)
        words = f"gave back {decimal_of(bought.decision.total)} with quote {code}"
        work.note_deed(words)
    return entries


def charge_again_for(work: Work, quote_code: str, why: str, expected: Cents | None = None) -> tuple[Entry, ...]:
    """Charge the fees of lessons taken again that were given back with a quote whose kit has come back; once, with a reason.

    With `expected`, the sum in cents that was shown before, nothing is charged where it is another one by now. Raises
    `InvalidInput` (no reason, no such code), `NotFound`, or `Conflict` with every reason where nothing is charged.
    """
    if faults := why_faults(why):
        raise InvalidInput(faults)
    code = read_code(quote_code)
    _refuse_sold(work, read_quote(work, find_quote(work, code)))
    lessons = load_lessons(work.session, codes_given_back_with(work.session, code), to_change=True)
    if not lessons:
        raise NotFound("quote", f"No fee was given back with quote {code}.")
    entries, refused = decide_charges(lessons.values(), code, work.today, why.strip())
    if not entries:
        raise Conflict([Fault("quote", f"Lesson {one.code}: {one.because}") for one in refused])
    total = sum(entry.amount for entry in entries)
    if expected is not None and expected != total:
        raise Conflict([Fault("quote", f"It is {decimal_of(total)} by now: look at it again.")])
    save_entries(work.session, entries, work.now, work.actor)
    work.note_deed(f"charged {decimal_of(total)} again, kit of quote {code} came back")
    work.commit()
    return entries


def _earlier(work: Work, quote: Quote, codes: Iterable[str]) -> tuple[Quote, ...]:
    """The quotes of parts bought before, each once and not the quote itself."""
    plain = dict.fromkeys(read_code(code, "together") for code in codes)
    quotes = (read_quote(work, find_quote(work, code)) for code in plain)
    return tuple(one for one in quotes if one.code != quote.code)


def _decided(
    work: Work, quote: Quote, together: tuple[Quote, ...], *, to_change: bool = False, as_of: date | None = None
) -> Purchase:
    today = as_of or work.today
    quotes = (quote, *together)
    named = (code for one in quotes for code in one.answers.get("deposit_codes") or () if isinstance(code, str))
    back_with = {one.code: codes_given_back_with(work.session, one.code) for one in quotes}
    codes = {read_code(code) for code in named}.union(*back_with.values())
    lessons = load_lessons(work.session, sorted(codes), to_change=to_change)
    policy = work.catalogue.policy
    slots = {line.slot for one in quotes for line in one.kit.price.lines if line.is_core}
    tier = tier_for(slots, policy)
    included = tier.lessons if tier else None
    before = [
        (lesson.code, amount)
        for lesson in lessons.values()
        if (amount := sum(lesson.with_kit(one.code) for one in quotes)) > 0
    ]
    rest = [lesson for lesson in lessons.values() if lesson.code not in dict(before)]
    missing = () if included else missing_for_lessons(slots, policy.tiers)
    kind = included.kind if included else missing[0].lessons.kind if missing else None
    charges, not_charged = decide_charges(
        (lessons[code] for code in back_with[quote.code] if lessons[code].with_kit(quote.code)), quote.code, today
    )
    return Purchase(
        quote=quote,
        together=together,
        is_agreed=_is_agreed(work, quote),
        tier=tier,
        lessons=tuple(lessons.values()),
        decision=decide_deposits(rest, included, policy.refund_window_days, today, len(before)),
        window=window_of(lessons.values(), kind, policy.refund_window_days, today) if kind else None,
        missing=missing,
        with_kit=tuple(before),
        charges=charges,
        not_charged=not_charged,
    )


def _is_agreed(work: Work, quote: Quote) -> bool:
    return quote.state_on(work.today, open_hold(work, quote.token)) == "agreed"


# The books.


@dataclass(frozen=True)
class Book:
    """Entries of some days added up by day or month; `change` of the sums and `of_entries`, added up by the database, agree."""

    first: date
    last: date
    periods: tuple[PeriodSums, ...]
    of_entries: Cents

    @property
    def change(self) -> Cents:
        """The sum of the sums, in cents."""
        return sum(period.change for period in self.periods)


def read_book(work: Work, first: date, last: date, period: Period) -> Book:
    """The entries from a day to another, both included, added up by day or month; raises `InvalidInput` for days that cannot be."""
    _check_days(first, last)
    recorded = load_recorded(work.session, first, last)
    return Book(first, last, sums_by(period, recorded), sum_of_entries(work.session, first, last))


def entries_of(work: Work, day: date) -> tuple[Recorded, ...]:
    """The entries of a day, in the order they were made."""
    return tuple(load_recorded(work.session, day, day))


def books_with_vat(work: Work, first: date, last: date) -> tuple[tuple[Taxed, ...], tuple[VatSum, ...]]:
    """The entries from a day to another with the tax inside each, and the tax by rate; raises `InvalidInput`."""
    _check_days(first, last)
    rates = load_vat_rates(work.session)
    entries = tuple(taxed(one, rates) for one in load_recorded(work.session, first, last))
    return entries, vat_by_rate(entries)


def _check_days(first: date, last: date) -> None:
    if first > last or (last - first).days > LONGEST_BOOK_DAYS:
        raise InvalidInput(
            [Fault("to", "These days cannot be listed.", "a day not before the first, ten years at most")]
        )
