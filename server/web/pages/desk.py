"""The desk's first page: what needs a hand today, and finding a quote by what the caller says."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, fields
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from babel.dates import format_date
from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.codes import read_code
from server.domain.errors import Fault, InvalidInput, NotFound, TooMany
from server.domain.faulty import Case
from server.domain.finding import Changed, Met, said_code, spelled
from server.domain.lessons import call_due
from server.domain.messages import one_line
from server.domain.pieces import Piece
from server.domain.policy import ShopTerms
from server.domain.sales import STATE_WORDS, Sale
from server.domain.slots import SLOT_WORDS
from server.domain.stock import OpenHold
from server.domain.worksheets import Worksheet
from server.security.tokens import digest_of
from server.usecases.desk import (
    Found,
    TimeToCall,
    Today,
    find_at_desk,
    find_by_code,
    know_code,
    parcels_out,
    today_at_desk,
)
from server.usecases.quotes import find_quote, refuse_settled
from server.usecases.reservations import Reserved, what_words
from server.usecases.standing import words_of_code
from server.usecases.stock import confirm_hold, list_open_holds, release_hold
from server.usecases.work import Work
from server.web.pages.forms import Form, text_in
from server.web.pages.promised import CallForm, call_form
from server.web.pages.revised import CUSTOMER
from server.web.render import PAGES_VARY, see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

MOST_REASON = 300
LONGEST_ASKED = 90
REASON_ACCEPTED = f"1 to {MOST_REASON} characters"
MET_AS = {
    "hold": "Asked to hold",
    "worksheet": "Worksheet",
    "call": "Call promised",
    "sale": "Bought",
    "reservation": "Asked to hold a piece",
}
KINDS = {
    "to_confirm": "requests to hold",
    "calls": "calls promised",
    "lapsing": "holds about to lapse",
    "waiting": "worksheets for the owner's word",
    "changed": "quotes changed since yesterday",
    "unopened": "links sent and not opened",
    "weather": "calls on the weather to make",
    "lessons": "lessons today",
    "questions": "questions to answer",
    "to_pay": "contracts to be paid",
    "to_hand_over": "sales to hand over or send",
    "we_owe": "customers to whom we owe money",
    "reserved": "used pieces set aside to see to",
    "coming_back": "things coming back",
    "faulty": "faulty things",
    "on_the_way": "parcels on the way",
    "gear_to_come": "old gear still to come",
}


@dataclass(frozen=True, slots=True)
class HoldShown:
    """A hold in words."""

    code: str
    name: str
    phone: str
    email: str
    until: str


@dataclass(frozen=True, slots=True)
class CallShown:
    """A promised call in words."""

    id: int
    name: str
    phone: str
    about: str
    due: str
    is_overdue: bool
    made_by: str
    code: str


@dataclass(frozen=True, slots=True)
class SheetShown:
    """A worksheet in words: for whom, who asked or sent, when, and until when its link is good."""

    token: str
    name: str
    by: str
    when: str
    until: str


@dataclass(frozen=True, slots=True)
class ChangedShown:
    """A quote that was changed of late, in words."""

    code: str
    name: str
    revision: int
    by: str
    seen: str
    when: str


@dataclass(frozen=True, slots=True)
class LessonShown:
    """A lesson in words; `call` is the call on its weather that is to be made, or how it was called."""

    number: int
    title: str
    spot: str
    instructor: str
    when: str
    taken: str
    call: str


@dataclass(frozen=True, slots=True)
class QuestionShown:
    """A customer's question that waits for an answer, in words."""

    number: int
    name: str
    text: str
    when: str


@dataclass(frozen=True, slots=True)
class SaleShown:
    """A sale that waits, in words; `owed` in cents without its sign, `when` is since when or by when."""

    number: int
    code: str
    name: str
    phone: str
    email: str
    owed: int
    when: str
    is_late: bool = False
    what: str = ""


@dataclass(frozen=True, slots=True)
class ReservedShown:
    """A used piece, or a part to come, that is set aside for somebody, in words."""

    number: int
    what: str
    name: str
    phone: str
    email: str
    until: str
    stands: str
    is_confirmed: bool
    is_here: bool


@dataclass(frozen=True)
class Lists:
    """What needs a hand, as it is shown."""

    to_confirm: tuple[HoldShown, ...]
    calls: tuple[CallShown, ...]
    lapsing: tuple[HoldShown, ...]
    waiting: tuple[SheetShown, ...]
    changed: tuple[ChangedShown, ...]
    unopened: tuple[SheetShown, ...]
    weather: tuple[LessonShown, ...]
    lessons: tuple[LessonShown, ...]
    questions: tuple[QuestionShown, ...]
    to_pay: tuple[SaleShown, ...]
    to_hand_over: tuple[SaleShown, ...]
    we_owe: tuple[SaleShown, ...]
    reserved: tuple[ReservedShown, ...]
    coming_back: tuple[SaleShown, ...]
    faulty: tuple[SaleShown, ...]
    on_the_way: tuple[SaleShown, ...]
    gear_to_come: tuple[SaleShown, ...]

    @property
    def empty(self) -> tuple[str, ...]:
        """The kinds of which there are none."""
        return tuple(words for kind, words in KINDS.items() if not getattr(self, kind))

    @property
    def is_empty(self) -> bool:
        """Whether nothing at all needs a hand."""
        return len(self.empty) == len(KINDS)

    @property
    def version(self) -> str:
        """A text that is another one as soon as anything else is shown: how many of each kind, and a digest of it all."""
        counts = ".".join(str(len(getattr(self, one.name))) for one in fields(self))
        return f"{counts}-{digest_of(repr(self))[:16]}"


@dataclass(frozen=True)
class DeskPage:
    """The desk's first page."""

    lists: Lists
    version: str
    announced: str
    call: CallForm
    q: str = ""
    is_to_find: bool = True


@dataclass(frozen=True, slots=True)
class MetShown:
    """Where somebody was met, in words, and the address it leads to."""

    what: str
    name: str
    reached_at: str
    when: str
    code: str
    address: str
    stands: str


@dataclass(frozen=True)
class FoundPage:
    """What a search led to."""

    q: str
    met: tuple[MetShown, ...]
    words: str
    heard: str
    accepted: str
    is_to_find: bool


@dataclass(frozen=True)
class LetGoPage:
    """A hold to let go of, and why."""

    code: str
    name: str
    until: str
    typed: str
    faults: tuple[Fault, ...] = field(default=())

    def value(self, _name: str) -> str:
        """The reason as typed."""
        return self.typed

    def fault_at(self, name: str) -> Fault | None:
        """What is wrong with the reason."""
        return next((fault for fault in self.faults if fault.field == name), None)


@router.get("/desk")
def show(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf, shown: str = "") -> Response:
    """What needs a hand; asked again with the version that is `shown`, an empty answer while nothing has changed."""
    with shop.reading(account.name) as work:
        page = desk_page(work, shown=shown)
        if shown == page.version:
            return Response(status_code=204, headers={"Vary": PAGES_VARY})
        return pages.show(request, "desk/desk.html", page, work.catalogue.policy.shop, block="today")


def desk_page(work: Work, call: CallForm | None = None, shown: str = "") -> DeskPage:
    """The first page with a form for a call as it was typed, or a blank one."""
    lists = _lists(work, today_at_desk(work))
    return DeskPage(lists, lists.version, _announced(lists, shown), call or call_form(work), is_to_find=call is None)


def _lists(work: Work, today: Today) -> Lists:
    def when(moment: datetime) -> str:
        return when_words(moment, work.now, work.catalogue.policy.shop)

    def hold(one: OpenHold) -> HoldShown:
        contact = one.contact
        return HoldShown(one.code, contact.name, contact.phone, contact.email, when(one.hold.expires_at))

    def changed(one: Changed) -> ChangedShown:
        by = "the customer" if one.by == CUSTOMER else one.by
        seen = "seen" if one.is_seen else f"has seen {one.seen_revision}" if one.seen_revision else "not seen"
        return ChangedShown(one.code, one.name, one.revision, by, seen, when(one.at))

    def sheet(one: Worksheet, by: str, at: datetime | None) -> SheetShown:
        until = when(one.lapses_at) if one.lapses_at else ""
        return SheetShown(one.token, one.name, by, when(at) if at else "", until)

    def lesson(one: TimeToCall) -> LessonShown:
        called = {"off": "called off", "on": "on", None: ""}[one.time.final]
        if one.to_call and one.taken:
            called = f"{one.to_call} call due {when(call_due(one.time, one.to_call, work.catalogue.policy))}"
        taken = f"{one.taken} of {one.time.places}"
        time = one.time
        return LessonShown(time.id, one.title, time.spot, time.instructor, when(time.starts_at), taken, called)

    def short_day(day: date) -> str:
        return str(format_date(day, "EEE d MMM", locale=work.catalogue.policy.shop.locale))

    def sale(one: Sale, due: date | None = None, what: str = "", otherwise: str | None = None) -> SaleShown:
        contact = one.contact
        by = short_day(due) if due else otherwise
        is_late = due is not None and due < work.today
        by = when(one.made_at) if by is None else by
        return SaleShown(one.id, one.code, contact.name, contact.phone, contact.email, abs(one.owed), by, is_late, what)

    def held(one: Reserved) -> ReservedShown:
        asked, contact = one.reservation, one.reservation.contact
        is_here = one.due_about is None and not one.is_gone
        stands = "here, to sell" if is_here and asked.is_confirmed else "in the shop" if is_here else "to come"
        return ReservedShown(
            asked.id,
            what_words(work, one),
            contact.name,
            contact.phone,
            contact.email,
            when(asked.expires_at),
            "gone another way" if one.is_gone else stands,
            asked.is_confirmed,
            is_here,
        )

    return Lists(
        to_pay=tuple(map(sale, today.to_pay)),
        to_hand_over=tuple(map(sale, today.to_hand_over)),
        we_owe=tuple(sale(one, due) for one, due in today.we_owe),
        reserved=tuple(map(held, today.reserved)),
        coming_back=tuple(sale(one, case.due_on, things_of(case, one)) for case, one in today.coming_back),
        faulty=tuple(sale(one, None, things_of(case, one), short_day(case.notice_on)) for case, one in today.faulty),
        on_the_way=tuple(sale(one, due, parcel_words(one), "a day nobody knows") for one, due in today.on_the_way),
        gear_to_come=tuple(sale(one, None, gear_words(piece)) for piece, one in today.gear_to_come),
        to_confirm=tuple(map(hold, today.to_confirm)),
        calls=tuple(
            CallShown(
                call.id,
                call.contact.name,
                call.contact.phone,
                call.about,
                when(call.due_at),
                call.is_overdue(work.now),
                call.made_by,
                call.code,
            )
            for call in today.calls
        ),
        lapsing=tuple(map(hold, today.lapsing)),
        waiting=tuple(sheet(one, one.asked_by, one.asked_at) for one in today.waiting),
        changed=tuple(map(changed, today.changed)),
        unopened=tuple(sheet(one, one.sent_by, one.sent_at) for one in today.unopened),
        weather=tuple(lesson(one) for one in today.weather),
        lessons=tuple(lesson(one) for one in today.lessons),
        questions=tuple(
            QuestionShown(
                one.question.id, one.name, one_line(one.question.text)[:LONGEST_ASKED], when(one.question.asked_at)
            )
            for one in today.questions
        ),
    )


def things_of(case: Case, sale: Sale) -> str:
    """What a return or a fault is about."""
    found = (sale.item(number) for number in case.items)
    return ", ".join(item.label for item in found if item is not None)


def parcel_words(sale: Sale) -> str:
    """Who carries what is on its way, and its number there."""
    said = (
        " ".join(str(mark.about.get(name) or "") for name in ("carrier", "tracking")).strip()
        for mark in parcels_out(sale)
    )
    return ", ".join(text for text in said if text)


def gear_words(piece: Piece) -> str:
    """Old gear in words: board, Shearwater 95."""
    return ", ".join(text for text in (SLOT_WORDS[piece.slot], piece.name) if text)


def when_words(moment: datetime, now: datetime, terms: ShopTerms) -> str:
    """A moment by the shop's clock as short as it can be said today: 14:30, tomorrow 09:00, Friday 27 November 14:30."""
    zone = ZoneInfo(terms.time_zone)
    local, today = moment.astimezone(zone), now.astimezone(zone).date()
    near = {today: "", today + timedelta(days=1): "tomorrow ", today - timedelta(days=1): "yesterday "}
    day = near.get(local.date())
    if day is None:
        day = f"{format_date(local.date(), 'EEE d MMM', locale=terms.locale)} "
        day = day if local.year == now.astimezone(zone).year else f"{day}{local.year} "
    return f"{day}{local:%H:%M}"


def _announced(lists: Lists, shown: str) -> str:
    """Which kinds have grown since the version that was shown; empty where the page was opened anew."""
    if not re.fullmatch(rf"\d{{1,4}}(\.\d{{1,4}}){{{len(KINDS) - 1}}}-[0-9a-f]{{16}}", shown, re.ASCII):
        return ""
    before = [int(count) for count in shown.partition("-")[0].split(".")]
    grown = [
        f"{KINDS[one.name]}, now {len(getattr(lists, one.name))}"
        for one, count in zip(fields(lists), before, strict=True)
        if len(getattr(lists, one.name)) > count
    ]
    return f"New: {'; '.join(grown)}." if grown else ""


@router.get("/desk/find")
def back_to_desk() -> Response:
    """Where somebody asks anew for what was found: whom they looked for stands in no address."""
    return see_other("/desk")


@router.post("/desk/find")
def find(request: Request, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """To the quote of a code; else where somebody of this name, number or address was met."""
    q = text_in(form, "q").strip()
    # Only a code that leads nowhere is written down; all else must not wait for other writers.
    with shop.reading(account.name) as work:
        known = find_by_code(work, account.id, q)
    if known is not None:
        return _to_found(known)
    with (shop.writing if said_code(q) else shop.reading)(account.name) as work:
        terms = work.catalogue.policy.shop
        try:
            found = find_at_desk(work, account.id, q)
        except InvalidInput:
            return see_other("/desk")
        except TooMany as error:
            page = FoundPage(q, (), str(error), "", "", is_to_find=True)
            return pages.show(request, "desk/found.html", page, terms, status=429)
        if found.code or found.sale:
            return _to_found(found)
        status = 200 if found.met else 422 if found.misheard and not found.sought.is_right else 404
        return pages.show(request, "desk/found.html", _found_page(q, found, work), terms, status=status)


def _to_found(found: Found) -> Response:
    return see_other(f"/desk/quotes/{found.code}" if found.code else f"/desk/sales/{found.sale}")


def _found_page(q: str, found: Found, work: Work) -> FoundPage:
    words, accepted = "", ""
    if found.misheard:
        words = "There is no quote with this code." if found.sought.is_right else "One sign was heard wrong: ask again."
        words = f"If it was a code: {words[0].lower()}{words[1:]}" if found.met else words
    elif not found.met:
        words = "Nobody was met under this name, number or address."
        accepted = "a code of eight signs, a part of a name, the last four digits of a number or more, a whole address"
    met = tuple(_met_shown(one, work) for one in found.met)
    return FoundPage(q, met, words, spelled(found.misheard), accepted, is_to_find=not met)


def _met_shown(one: Met, work: Work) -> MetShown:
    address = f"/desk/worksheets/{one.worksheet}" if one.worksheet else ""
    address = f"/desk/quotes/{one.code}" if one.code else address
    address = f"/desk/sales/{one.sale}" if one.sale else address
    address = f"/desk/reservations/{one.reservation}" if one.reservation else address
    reached_at = ", ".join(text for text in (one.contact.phone, one.contact.email) if text)
    when = when_words(one.at, work.now, work.catalogue.policy.shop)
    stands = words_of_code(work, one.code) if one.code else STATE_WORDS["draft"] if one.worksheet else ""
    return MetShown(MET_AS[one.met_as], one.contact.name, reached_at, when, one.code, address, stands)


# Requests to hold, from the first page and from the page of the quote.


@router.post("/desk/holds/{code}/confirm")
def confirm(code: str, account: StaffOf, form: Form, shop: ShopOf) -> Response:
    """Confirm a request to hold."""
    know_code(shop, account.id, code)
    with shop.writing(account.name) as work:
        confirm_hold(work, find_quote(work, code))
    return _back(form, code)


@router.get("/desk/holds/{code}/let-go")
def ask_why(request: Request, code: str, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Ask why a hold is let go of, before it is; what was bought is not let go of."""
    know_code(shop, account.id, code)
    with shop.reading(account.name) as work:
        refuse_settled(work, find_quote(work, code))
        return pages.show(request, "desk/let_go.html", _let_go_page(work, code), work.catalogue.policy.shop)


@router.post("/desk/holds/{code}/let-go")
def let_go(request: Request, code: str, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Let go of a hold, with the reason; its parts are free at once."""
    because = text_in(form, "because")
    know_code(shop, account.id, code)
    with shop.writing(account.name) as work:
        if not 1 <= len(because) <= MOST_REASON or not because.isprintable():
            faults = (Fault("because", "A reason is needed, so that the next one knows.", REASON_ACCEPTED),)
            page = _let_go_page(work, code, because, faults)
            return pages.show(request, "desk/let_go.html", page, work.catalogue.policy.shop, status=422)
        release_hold(work, find_quote(work, code), because)
    return see_other("/desk")


def _let_go_page(work: Work, code: str, typed: str = "", faults: tuple[Fault, ...] = ()) -> LetGoPage:
    plain = read_code(code)
    there = next((one for one in list_open_holds(work) if one.code == plain), None)
    if there is None:
        raise NotFound("code", "No request to hold is open for this quote (any more).")
    until = when_words(there.hold.expires_at, work.now, work.catalogue.policy.shop)
    return LetGoPage(plain, there.contact.name, until, typed, faults)


def _back(form: Any, code: str) -> Response:
    """To the page on which the button stood."""
    return see_other("/desk" if text_in(form, "back") == "desk" else f"/desk/quotes/{code}")
