"""Lesson fees at the desk: taken, handed back, given back with a kit and charged again; the books and their export."""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, cast
from urllib.parse import urlencode

from babel.dates import format_date
from fastapi import APIRouter
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from server.domain.codes import read_code
from server.domain.deposits import (
    ENTRY_WORDS,
    LESSON_STATES,
    LessonState,
    Period,
    Recorded,
    Taxed,
    VatSum,
    decimal_of,
)
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.lessons import METHOD_WORDS, METHODS, read_day
from server.domain.money import Cents
from server.domain.policy import ShopTerms
from server.domain.slots import SLOT_WORDS
from server.usecases.accounts import Account
from server.usecases.deposits import (
    AMOUNT_ACCEPTED,
    NOT_AGREED,
    Book,
    Fee,
    Ledger,
    Purchase,
    books_with_vat,
    decide_for,
    draw_code,
    entries_of,
    extend_window,
    give_back_for,
    hand_back,
    read_book,
    read_ledger,
    take_fee,
    take_further_fee,
)
from server.usecases.desk import count_guess, quote_by_code, refuse_while_waiting
from server.usecases.kit_lessons import charge_again, charges_of
from server.usecases.sales import sale_of
from server.usecases.work import Work
from server.web.pages.desk import when_words
from server.web.pages.forms import Form, amount, cents, text_in
from server.web.pages.tables import table_to_save
from server.web.render import see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

DAY_ACCEPTED = "a day such as 2026-11-25"
METHOD_CHOICES = tuple((method, METHOD_WORDS[method]) for method in METHODS)
STATE_WORDS: dict[LessonState, str] = {
    "taken": "taken",
    "booked": "still booked",
    "missed": "missed",
    "called_off_late": "called off late by the learner",
    "called_off_by_shop": "called off by the shop",
    "called_off": "called off in time",
}
STATE_CHOICES = tuple((state, STATE_WORDS[state]) for state in LESSON_STATES)
WITH_KIT = "with the kit"
NOT_NAMED = "The quote does not name this lesson. Add its code to the quote first, so that its price counts the fee."
WRONG_CODE = "We know no paid lesson under this code."
FEE_FIELDS = ("amount", "method", "paid_for_voucher", "note")
REFUND_FIELDS = {"amount": "refund", "method": "refund_method", "why": "refund_why"}
WINDOW_FIELDS = {"until": "until", "why": "window_why"}
CHARGE_FIELDS = {"why": "charge_why"}


@dataclass(frozen=True)
class Typed:
    """What was typed into the forms of a page, and what is wrong with it."""

    values: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class EntryShown:
    """An entry in words; `change` and the balance after it in cents."""

    when: str
    code: str
    lesson: str
    kind: str
    method: str
    change: Cents
    balance: Cents
    by: str
    quote: str
    why: str


@dataclass(frozen=True)
class DepositsPage:
    """The first page of the fees: finding one, today's entries, and the form for a new lesson."""

    today: str
    entries: tuple[EntryShown, ...]
    change: Cents
    kinds: tuple[tuple[str, str], ...]
    states: tuple[tuple[str, str], ...]
    methods: tuple[tuple[str, str], ...]
    new_code: str
    typed: Typed = Typed()

    def value(self, name: str) -> str:
        """A field as typed."""
        return self.typed.values.get(name, "")

    def fault_at(self, name: str) -> Fault | None:
        """What is wrong with a field."""
        return next((fault for fault in self.typed.faults if fault.field == name), None)


@dataclass(frozen=True, slots=True)
class FeeShown:
    """A lesson of a purchase: what is given back of its fee in cents, or why nothing is."""

    code: str
    amount: Cents
    because: str


@dataclass(frozen=True)
class PurchaseShown:
    """What a purchase gives back today, in words; amounts in cents.

    `counted` is what the quote's own price counts already; `missing` says what a staged purchase still lacks, and until when.
    """

    code: str
    together: str
    revision: int
    is_agreed: bool
    not_agreed: str
    tier: str
    includes: str
    fees: tuple[FeeShown, ...]
    total: Cents
    counted: Cents
    before: tuple[FeeShown, ...]
    window: str
    missing: tuple[str, ...]
    until: str
    charges: tuple[FeeShown, ...]
    charged: Cents


@dataclass(frozen=True)
class LedgerPage:
    """One lesson: its ledger, its window, what a quote would do to its fee, and the forms for all that may become of it."""

    code: str
    title: str
    state: str
    its_day: str
    balance: Cents
    has_lost_balance: bool
    entries: tuple[EntryShown, ...]
    last_day: str
    is_open: bool
    window_because: str
    earliest: str
    methods: tuple[tuple[str, str], ...]
    given_with: str
    purchase: PurchaseShown | None
    typed: Typed = Typed()

    def value(self, name: str) -> str:
        """A field as typed, or as it is offered."""
        return self.typed.values.get(name, "")

    def fault_at(self, name: str) -> Fault | None:
        """What is wrong with a field."""
        return next((fault for fault in self.typed.faults if fault.field == name), None)

    @property
    def other_faults(self) -> tuple[Fault, ...]:
        """What is wrong that stands at no field."""
        fields = (*FEE_FIELDS, *REFUND_FIELDS.values(), *WINDOW_FIELDS.values(), *CHARGE_FIELDS.values())
        return tuple(fault for fault in self.typed.faults if fault.field not in (*fields, "code", "together"))

    def is_wrong(self, *names: str) -> bool:
        """Whether a field of a form is wrong."""
        return any(self.fault_at(name) for name in names)


@dataclass(frozen=True, slots=True)
class SumShown:
    """Entries of one kind and method added up."""

    kind: str
    method: str
    entries: int
    change: Cents


@dataclass(frozen=True, slots=True)
class PeriodShown:
    """A day or month with its sums."""

    title: str
    sums: tuple[SumShown, ...]
    change: Cents


@dataclass(frozen=True)
class BookPage:
    """The sums of days or months beside the sum of the entries."""

    period: str
    title: str
    periods: tuple[PeriodShown, ...]
    change: Cents
    of_entries: Cents
    query: str
    before: str
    after: str
    other: str
    vat: tuple[tuple[str, Cents, Cents, Cents], ...]
    typed: Typed

    def value(self, name: str) -> str:
        """A field as typed."""
        return self.typed.values.get(name, "")

    def fault_at(self, name: str) -> Fault | None:
        """What is wrong with a field."""
        return next((fault for fault in self.typed.faults if fault.field == name), None)


# The first page.


@router.get("/desk/deposits")
def show(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf, code: str | None = None) -> Response:
    """Today's entries and the form for a new lesson; with a `code` on to its lesson, or why it leads nowhere."""
    faults: tuple[Fault, ...] = ()
    if code is not None:
        with shop.writing(account.name) as work:
            refuse_while_waiting(work, account.id)
            try:
                return see_other(f"/desk/deposits/{read_ledger(work, read_code(code)).lesson.code}")
            except InvalidInput as error:
                faults = error.faults
            except NotFound:
                count_guess(work, account.id)
                faults = (Fault("code", WRONG_CODE, "the code on the lesson’s receipt"),)
    with shop.reading(account.name) as work:
        page = _first_page(work, Typed({"code": code or ""}, faults))
        return pages.show(
            request, "deposits/deposits.html", page, work.catalogue.policy.shop, status=422 if faults else 200
        )


@router.post("/desk/deposits")
def take(request: Request, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Record a new lesson and its fee, and on to its ledger; where that cannot be, the form again with the reasons."""
    names = ("kind", "day", "state", *FEE_FIELDS, "new_code")
    typed = {name: text_in(form, name) for name in names}
    day, (fee, faults) = read_day(typed["day"]), fee_in(form)
    if day is None:
        faults = (Fault("day", "This is not a day.", DAY_ACCEPTED), *faults)
    status = 422
    try:
        with shop.writing(account.name) as work:
            if faults or day is None:
                raise InvalidInput(faults)
            state = cast(LessonState, typed["state"])
            lesson = take_fee(work, typed["kind"], state, day, fee, read_code(typed["new_code"], "kind"))
        return see_other(f"/desk/deposits/{lesson.code}")
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(account.name) as work:
        page = _first_page(work, Typed(typed, faults))
        return pages.show(request, "deposits/deposits.html", page, work.catalogue.policy.shop, status=status)


def _first_page(work: Work, typed: Typed) -> DepositsPage:
    recorded = entries_of(work, work.today)
    return DepositsPage(
        today=work.today.isoformat(),
        entries=_entries(work, recorded),
        change=sum(one.entry.change for one in recorded),
        kinds=tuple((kind.kind, kind.title) for kind in work.catalogue.lessons.values()),
        states=STATE_CHOICES,
        methods=METHOD_CHOICES,
        new_code=draw_code(work),
        typed=Typed({"day": work.today.isoformat(), **typed.values}, typed.faults),
    )


def fee_in(form: FormData) -> tuple[Fee, tuple[Fault, ...]]:
    """The fee of a form, and what of it cannot be read."""
    faults = []
    paid = _cents_in(form, "amount")
    if paid is None:
        faults.append(Fault("amount", "This is not an amount.", AMOUNT_ACCEPTED))
    method, of_voucher = text_in(form, "method"), None
    if text_in(form, "paid_for_voucher"):
        of_voucher = _cents_in(form, "paid_for_voucher")
        if of_voucher is None:
            faults.append(Fault("paid_for_voucher", "This is not an amount.", AMOUNT_ACCEPTED))
        elif method != "voucher":
            faults.append(Fault("paid_for_voucher", "Nothing is paid by voucher here.", "blank, or paid by voucher"))
    return Fee(paid or 0, method, text_in(form, "note"), of_voucher), tuple(faults)


def _cents_in(form: FormData, name: str) -> Cents | None:
    read = cents(text_in(form, name))
    return read if isinstance(read, int) else None


# The books.


@router.get("/desk/deposits/days")
def days(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The sums of each day from one to another, by kind and method."""
    return _book(request, account.name, shop, pages, "day")


@router.get("/desk/deposits/months")
def months(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The sums of each month that a day from one to another lies in, by kind and method."""
    return _book(request, account.name, shop, pages, "month")


def _book(request: Request, who: str, shop: ShopOf, pages: PagesOf, period: Period) -> Response:
    with shop.reading(who) as work:
        typed: dict[str, str] = {}
        faults: tuple[Fault, ...] = ()
        first, last = _usual_days(work, period)
        try:
            first, last = _days_asked(request, work, period)
            book = read_book(work, first, last, period)
        except InvalidInput as error:
            faults = error.faults
            typed = {name: request.query_params.get(name, "") for name in ("from", "to")}
            first, last = _usual_days(work, period)
            book = read_book(work, first, last, period)
        page = _book_page(work, book, period, Typed(typed, faults))
        return pages.show(
            request, "deposits/book.html", page, work.catalogue.policy.shop, status=422 if faults else 200
        )


def _usual_days(work: Work, period: Period) -> tuple[date, date]:
    """This month until today, or the months of this year until this one."""
    first = work.today.replace(day=1)
    return (first, work.today) if period == "day" else _whole_months(first.replace(month=1), work.today)


def _days_asked(request: Request, work: Work, period: Period) -> tuple[date, date]:
    """The days of the address, both included; raises `InvalidInput` for what is no day. Months are listed whole."""
    usual = _usual_days(work, period)
    asked = [request.query_params.get(name, "").strip() for name in ("from", "to")]
    read = [read_day(text) if text else day for text, day in zip(asked, usual, strict=True)]
    faults = [
        Fault(name, "This is not a day.", DAY_ACCEPTED)
        for name, day in zip(("from", "to"), read, strict=True)
        if day is None
    ]
    if faults:
        raise InvalidInput(faults)
    first, last = cast(Sequence[date], read)
    return (first, last) if period == "day" else _whole_months(first, last)


def _whole_months(first: date, last: date) -> tuple[date, date]:
    """The days from the first of one month to the last of another."""
    return first.replace(day=1), last.replace(day=monthrange(last.year, last.month)[1])


def _book_page(work: Work, book: Book, period: Period, typed: Typed) -> BookPage:
    terms, locale = work.catalogue.policy.shop, work.catalogue.policy.shop.locale
    _, vat = books_with_vat(work, book.first, book.last)
    first, last = book.first, book.last
    shape = "EEEE d MMMM y" if period == "day" else "MMMM y"
    here = {"from": first.isoformat(), "to": last.isoformat()}
    return BookPage(
        period=period,
        title=f"{_day(first, terms)} to {_day(last, terms)}",
        periods=tuple(
            PeriodShown(
                format_date(one.first, shape, locale=locale),
                tuple(SumShown(ENTRY_WORDS[s.kind], _method(s.kind, s.method), s.entries, s.change) for s in one.sums),
                one.change,
            )
            for one in book.periods
        ),
        change=book.change,
        of_entries=book.of_entries,
        query=urlencode(here),
        before=_span(first, period, -1),
        after=_span(first, period, 1),
        other=urlencode(here),
        vat=tuple((f"{rate_words(one.percent)} %", one.gross, one.vat, one.net) for one in vat),
        typed=Typed({**here, **typed.values}, typed.faults),
    )


def _span(first: date, period: Period, step: int) -> str:
    """The address's days one month (or one year) before or after the one that a day lies in."""
    if period == "month":
        year = min(max(first.year + step, 1), 9998)
        start, end = date(year, 1, 1), date(year, 12, 31)
    else:
        months = min(max(12 * first.year + first.month - 1 + step, 12), 12 * 9998)
        start = date(months // 12, months % 12 + 1, 1)
        following = months + 1
        end = date.fromordinal(date(following // 12, following % 12 + 1, 1).toordinal() - 1)
    return urlencode({"from": start.isoformat(), "to": end.isoformat()})


# The export.


@router.get("/desk/deposits/export.csv")
def export(request: Request, account: StaffOf, shop: ShopOf) -> Response:
    """The entries for the bookkeeper, one a row with the VAT inside it, as a table of comma-separated values."""
    with shop.reading(account.name) as work:
        first, last = _days_asked(request, work, "day")
        entries, _ = books_with_vat(work, first, last)
    return table_to_save(
        f"lesson-fees-{first.isoformat()}-{last.isoformat()}.csv", [EXPORT_COLUMNS, *map(_export_row, entries)]
    )


@router.get("/desk/deposits/vat.csv")
def export_vat(request: Request, account: StaffOf, shop: ShopOf) -> Response:
    """The VAT of the same entries by rate, rounded once over their sum; the rows of the other table are rounded each."""
    with shop.reading(account.name) as work:
        first, last = _days_asked(request, work, "day")
        _, rates = books_with_vat(work, first, last)
    return table_to_save(
        f"lesson-fees-vat-{first.isoformat()}-{last.isoformat()}.csv", [VAT_COLUMNS, *map(_vat_row, rates)]
    )


EXPORT_COLUMNS = (
    "day",
    "code",
    "lesson",
    "entry",
    "method",
    "gross",
    "vat_percent",
    "vat",
    "net",
    "quote",
    "by",
    "why",
)
VAT_COLUMNS = ("vat_percent", "gross", "vat", "net")


def rate_words(percent: Decimal) -> str:
    """A rate in per cent as short as it can be said: 23, 13.5."""
    return f"{percent.normalize():f}"


def _export_row(one: Taxed) -> tuple[str, ...]:
    entry = one.recorded.entry
    return (
        entry.day.isoformat(),
        entry.code,
        one.recorded.lesson_kind,
        entry.kind,
        entry.method,
        decimal_of(one.gross),
        rate_words(one.percent),
        decimal_of(one.vat),
        decimal_of(one.net),
        entry.quote,
        one.recorded.by,
        entry.why,
    )


def _vat_row(one: VatSum) -> tuple[str, ...]:
    return rate_words(one.percent), decimal_of(one.gross), decimal_of(one.vat), decimal_of(one.net)


# One lesson.


@router.get("/desk/deposits/{code}")
def show_one(
    request: Request, code: str, account: StaffOf, shop: ShopOf, pages: PagesOf, quote: str = "", together: str = ""
) -> Response:
    """A lesson's ledger and window; with the code of a `quote`, and those it is bought `together` with, what it would give back."""
    return _ledger(request, code, account, shop, pages, {"quote": quote, "together": together})


@router.post("/desk/deposits/{code}/fee")
def take_more(request: Request, code: str, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Record a further fee for a lesson, such as the rest beside a voucher."""
    fee, faults = fee_in(form)

    def verb(work: Work) -> None:
        if faults:
            raise InvalidInput(faults)
        take_further_fee(work, read_code(code), fee, entries_shown(form))

    return _done(request, code, account, form, shop, pages, verb, {name: name for name in FEE_FIELDS})


@router.post("/desk/deposits/{code}/refund")
def refund(request: Request, code: str, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Hand money back for a lesson, with a reason."""

    def verb(work: Work) -> None:
        back = _cents_in(form, "refund")
        if back is None:
            raise InvalidInput([Fault("amount", "This is not an amount.", AMOUNT_ACCEPTED)])
        why, method = text_in(form, "refund_why"), text_in(form, "refund_method")
        hand_back(work, read_code(code), back, why, method, entries_shown(form))

    return _done(request, code, account, form, shop, pages, verb, REFUND_FIELDS)


@router.post("/desk/deposits/{code}/window")
def extend(request: Request, code: str, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Extend the window of a lesson, with a reason."""

    def verb(work: Work) -> None:
        until = read_day(text_in(form, "until"))
        if until is None:
            raise InvalidInput([Fault("until", "This is not a day.", DAY_ACCEPTED)])
        extend_window(work, read_code(code), until, text_in(form, "window_why"))

    return _done(request, code, account, form, shop, pages, verb, WINDOW_FIELDS)


@router.post("/desk/deposits/{code}/give-back")
def give(request: Request, code: str, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Give back what the page showed for the purchase of a quote."""

    def verb(work: Work) -> None:
        give_back_for(work, text_in(form, "quote"), _codes(text_in(form, "together")), _expected(form))

    return _done(request, code, account, form, shop, pages, verb, {})


@router.post("/desk/deposits/{code}/charge-again")
def charge(request: Request, code: str, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Charge again what the page showed, since the kit of a quote came back."""

    def verb(work: Work) -> None:
        charge_again(work, text_in(form, "quote"), text_in(form, "charge_why"), _expected(form))

    return _done(request, code, account, form, shop, pages, verb, CHARGE_FIELDS)


def _done(
    request: Request,
    code: str,
    account: Account,
    form: FormData,
    shop: ShopOf,
    pages: PagesOf,
    verb: Callable[[Work], Any],
    names: Mapping[str, str],
) -> Response:
    """Do something to a lesson's fee and back to its ledger; where that cannot be, the ledger with the reasons at the fields."""
    plain = read_code(code)
    typed = {name: text_in(form, name) for name in form}
    try:
        with shop.writing(account.name) as work:
            refuse_while_waiting(work, account.id)
            read_ledger(work, plain)
            verb(work)
    except NotFound:
        with shop.writing(account.name) as work:
            count_guess(work, account.id)
        raise
    except (InvalidInput, Conflict) as error:
        faults = tuple(
            Fault(names.get(fault.field, fault.field), fault.message, fault.accepted) for fault in error.faults
        )
        status = 422 if isinstance(error, InvalidInput) else 409
        return _ledger(request, code, account, shop, pages, typed, faults, status)
    asked = {name: typed[name] for name in ("quote", "together") if typed.get(name)}
    return see_other(f"/desk/deposits/{plain}" + (f"?{urlencode(asked)}" if asked else ""))


def entries_shown(form: FormData) -> int:
    """How many entries a ledger had when a form about its money was shown; −1 where the form does not say, so that nothing is done."""
    text = text_in(form, "entries")
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 6 else -1


def _expected(form: FormData) -> Cents:
    """The sum that was shown; one that none can be where the form does not say, so that nothing is done unseen."""
    shown = _cents_in(form, "total")
    return -1 if shown is None else shown


def _codes(text: str) -> list[str]:
    """Codes as they were typed, with commas between them."""
    return [part.strip() for part in re.split(r"[,;]", text) if part.strip()]


def _ledger(
    request: Request,
    code: str,
    account: Account,
    shop: ShopOf,
    pages: PagesOf,
    typed: Mapping[str, str],
    faults: tuple[Fault, ...] = (),
    status: int = 200,
) -> Response:
    try:
        plain = read_code(code)
        with shop.reading(account.name) as work:
            refuse_while_waiting(work, account.id)
            read_ledger(work, plain)
    except (InvalidInput, NotFound):
        with shop.writing(account.name) as work:
            count_guess(work, account.id)
        raise
    asked, together, purchase = typed.get("quote", ""), _codes(typed.get("together", "")), None
    if asked:
        try:
            with shop.writing(account.name) as work:
                _know_quote(work, account.id, asked, "quote")
                for one in together:
                    _know_quote(work, account.id, one, "together")
        except InvalidInput as error:
            faults, status, asked = (*faults, *error.faults), max(status, 422), ""
    with shop.reading(account.name) as work:
        ledger = read_ledger(work, plain)
        if asked:
            purchase = _purchase(work, decide_for(work, asked, together), plain)
        page = _ledger_page(work, ledger, purchase, Typed(typed, faults))
        return pages.show(request, "deposits/ledger.html", page, work.catalogue.policy.shop, status=status)


def _know_quote(work: Work, account_id: int, code: str, name: str) -> None:
    """Whether a quote has this code; raises `InvalidInput` at the field, and counts it for the account where none has."""
    try:
        quote_by_code(work, account_id, code)
    except InvalidInput as error:
        raise InvalidInput(Fault(name, fault.message, fault.accepted) for fault in error.faults) from error


def _ledger_page(work: Work, ledger: Ledger, purchase: PurchaseShown | None, typed: Typed) -> LedgerPage:
    terms, lesson, window = work.catalogue.policy.shop, ledger.lesson, ledger.window
    kinds = work.catalogue.lessons
    given = [entry.quote for entry in lesson.entries if entry.kind == "given_back"]
    offered = {"quote": given[-1] if lesson.was_given_back else "", "refund": amount(max(0, lesson.balance))}
    told = {name: value for name, value in typed.values.items() if value}
    return LedgerPage(
        code=lesson.code,
        title=kinds[lesson.kind].title if lesson.kind in kinds else lesson.kind,
        state=STATE_WORDS.get(lesson.state, lesson.state),
        its_day=_day(lesson.day, terms),
        balance=lesson.balance,
        has_lost_balance=lesson.balance == 0 and bool(lesson.entries),
        entries=_entries(work, ledger.recorded),
        last_day=_day(window.last_day, terms) if window.last_day else "",
        is_open=window.is_open(work.today),
        window_because=window.because,
        earliest=work.today.isoformat(),
        methods=METHOD_CHOICES,
        given_with=offered["quote"],
        purchase=purchase,
        typed=Typed({**offered, **told}, typed.faults),
    )


def _purchase(work: Work, bought: Purchase, code: str) -> PurchaseShown:
    terms, decision = work.catalogue.policy.shop, bought.decision
    lessons = bought.tier.lessons if bought.tier else None
    fees = [FeeShown(fee.code, fee.amount, "") for fee in decision.given_back]
    fees += [FeeShown(fee.code, 0, fee.because) for fee in decision.refused]
    if code not in {lesson.code for lesson in bought.lessons}:
        fees.append(FeeShown(code, 0, NOT_NAMED))
    sale = sale_of(work, bought.quote.token)
    charged, not_charged = (bought.charges, bought.not_charged) if sale is None else charges_of(work, sale)
    charges = [FeeShown(one.code, one.amount, "") for one in charged]
    charges += [FeeShown(one.code, 0, one.because) for one in not_charged]
    last_day = bought.window.last_day if bought.window else None
    return PurchaseShown(
        code=bought.quote.code,
        together=", ".join(one.code for one in bought.together),
        revision=bought.quote.revision,
        is_agreed=bought.is_agreed,
        not_agreed="" if bought.is_agreed else NOT_AGREED,
        tier=bought.tier.name if bought.tier else "",
        includes=f"{lessons.number} {lessons.kind} lessons" if lessons else "",
        fees=tuple(fees),
        total=decision.total,
        counted=bought.quote.kit.price.deposit_back,
        before=tuple(FeeShown(lesson, back, "") for lesson, back in bought.with_kit),
        window=bought.window.because if bought.window else "",
        missing=tuple(
            f"{one.tier}: {one.more} more of {', '.join(SLOT_WORDS[slot] for slot in one.slots)}; "
            f"it includes {one.lessons.number} {one.lessons.kind} lesson{'s' if one.lessons.number > 1 else ''}."
            for one in bought.missing
        ),
        until=_day(last_day, terms) if last_day else "",
        charges=tuple(charges),
        charged=sum(one.amount for one in charges),
    )


def _entries(work: Work, recorded: Iterable[Recorded]) -> tuple[EntryShown, ...]:
    """Entries in words, each with the balance after it."""
    terms, kinds, balance = work.catalogue.policy.shop, work.catalogue.lessons, 0
    shown = []
    for one in recorded:
        entry = one.entry
        balance += entry.change
        shown.append(
            EntryShown(
                when=when_words(one.at, work.now, terms),
                code=entry.code,
                lesson=kinds[one.lesson_kind].title if one.lesson_kind in kinds else one.lesson_kind,
                kind=ENTRY_WORDS[entry.kind],
                method=_method(entry.kind, entry.method),
                change=entry.change,
                balance=balance,
                by=one.by,
                quote=entry.quote,
                why=entry.why,
            )
        )
    return tuple(shown)


def _method(kind: str, method: str) -> str:
    """How an entry was settled, in words; of what the command line recorded nobody said."""
    if kind in ("given_back", "charged_again"):
        return WITH_KIT
    return METHOD_WORDS.get(method, "not said")


def _day(day: date, terms: ShopTerms) -> str:
    return str(format_date(day, "EEE d MMM y", locale=terms.locale))
