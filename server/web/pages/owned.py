"""The customer's own page after the contract: where it stands, what they own, what comes next, and asking the shop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from fastapi import APIRouter, Depends
from starlette.requests import Request
from starlette.responses import Response

from server.domain.aftercare import STEP_TITLES, STEP_WORDS, NextStep, Owned, Sessions, care_for
from server.domain.errors import Fault, InvalidInput
from server.domain.faulty import Case
from server.domain.kits import Neighbour, size_words
from server.domain.money import Cents
from server.domain.policy import ShopTerms
from server.domain.returns import last_day_for, may_come_back, usual_kind
from server.domain.sales import MONEY, PAPER_WORDS, Item, Sale
from server.domain.serials import serial_words
from server.domain.slots import SLOT_WORDS
from server.domain.swaps import may_be_swapped
from server.domain.wind import Window
from server.usecases.aftercare import (
    ask_question,
    next_steps_of,
    owned_of,
    questions_about,
    sessions_of,
    spares_of,
    write_again,
    write_no_more,
)
from server.usecases.handover import note_arrival, on_the_way
from server.usecases.photos import photos_of_all
from server.usecases.returns import cases_of
from server.usecases.sales import holidays_around, paper_name, policy_of, sale_for
from server.usecases.swaps import last_day_of_swap
from server.usecases.work import Work, new_token
from server.web.pages.forms import Form, PhotoForm, TypedForm, photos_in, text_in
from server.web.pages.handover import RecordShown, SentShown, records_of, sent_shown
from server.web.pages.papers import bank_of
from server.web.render import day_words, moment_words, see_other
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

PRIVATE = {"X-Robots-Tag": "noindex, nofollow", "Cache-Control": "no-store"}
MOST_PHOTOS = 4
FIELD_WORDS = {"text": "Your question", "item": "About which part", "photos": "Photos"}
STANDS = {
    "confirmed": "Your kit is bought, and its parts are set aside for you.",
    "paid": "Your kit is paid, and its parts are set aside for you.",
    "on_its_way": "Your kit is on its way.",
    "handed_over": "Your kit is with you.",
    "rest": "The rest of your kit is with you.",
    "returned": "What you bought came back to us.",
    "withdrawn": "This purchase was cancelled.",
}


@dataclass(frozen=True, slots=True)
class PartShown:
    """A part owned: what, its serial number or what is known of it, since when, until when its warranty runs; or that it is to come."""

    label: str
    maker: str
    serial: str
    since: str
    warranty: str
    waits: str


@dataclass(frozen=True, slots=True)
class StepShown:
    """The next step: the part, what changes in numbers, what it costs and the old one is worth today, in cents."""

    title: str
    words: str
    part: str
    size: str
    was: str
    changes: tuple[tuple[str, str, str], ...]
    price: int
    trade_in: int
    difference: int
    in_stock: bool


@dataclass(frozen=True, slots=True)
class QuestionShown:
    """A question with its photographs and its answer, if there is one."""

    number: int
    asked: str
    about: str
    text: str
    photos: tuple[tuple[str, int, int], ...]
    answer: str
    answered: str


@dataclass(frozen=True, slots=True)
class ComingBack:
    """A notice that we have and that is not worked out yet, in words: what, told on which day, money due by which day."""

    what: str
    told_on: str
    due: str


@dataclass(frozen=True)
class OwnedPage:
    """The customer's page; amounts in cents."""

    token: str
    code: str
    name: str
    state: str
    stands: str
    owed: int
    bank: tuple[str, ...]
    parts: tuple[PartShown, ...]
    sent: tuple[SentShown, ...]
    papers: tuple[tuple[int, str, str, int], ...]
    receipts: tuple[tuple[int, str, str, int], ...]
    records: tuple[RecordShown, ...]
    sessions: tuple[tuple[str, Sessions], ...]
    questions: tuple[QuestionShown, ...]
    steps: tuple[StepShown, ...]
    care: tuple[tuple[str, tuple[str, ...]], ...]
    spares: tuple[tuple[str, str, int, bool], ...]
    may_write: bool
    is_over: bool
    has_parts: bool
    key: str
    may_give_back: bool
    coming_back: tuple[ComingBack, ...] = ()
    gone: tuple[tuple[str, str], ...] = ()
    owed_by: str = ""
    give_back_until: str = ""
    is_unused_only: bool = False
    swap_until: str = ""
    swap_fees: tuple[tuple[str, Cents], ...] = ()


@dataclass(frozen=True)
class AskPage(TypedForm):
    """A question to the shop, as it was typed."""

    token: str
    parts: tuple[tuple[str, str], ...]
    most_photos: int
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()
    had_photos: bool = False

    def words_of(self, name: str) -> str:
        """What a field asks for; empty for what is no field."""
        return FIELD_WORDS.get(name, "")


@router.get("/owned/{token}")
def show(request: Request, token: str, shop: ShopOf, pages: PagesOf) -> Response:
    """The customer's page."""
    with shop.reading() as work:
        page = _page(work, sale_for(work, token))
        answer = pages.show(request, "owned/owned.html", page, work.catalogue.policy.shop)
    answer.headers.update(PRIVATE)
    return answer


def _page(work: Work, sale: Sale) -> OwnedPage:
    terms = work.catalogue.policy.shop
    owned = owned_of(work, sale)
    is_over = sale.state in ("returned", "withdrawn")
    has_parts = any(one.item.is_with_customer for one in owned)
    support, lessons = sessions_of(work, sale)
    shelf = work.shelf
    cases = cases_of(work, sale)
    waiting = [case for case in cases if case.is_waiting]
    awaited = {number for case in waiting for number in case.items}
    may_give_back = any(may_come_back(item) and item.number not in awaited for item in sale.goods)
    due = [case.due_on for case in cases if case.outcome and not case.is_settled and case.due_on is not None]
    return OwnedPage(
        token=sale.token,
        code=sale.code,
        name=sale.contact.name,
        state=sale.state,
        stands=_stands(sale, waiting),
        owed=sale.owed,
        bank=bank_of(work.catalogue.policy, sale),
        parts=_parts(sale, owned, terms),
        sent=tuple(one for one in sent_shown(sale, work.today, terms) if one.is_on_its_way),
        papers=tuple(
            (
                one.number,
                f"{PAPER_WORDS[one.kind]} {paper_name(work, one)}",
                day_words(one.day, terms),
                one.gross,
            )
            for one in sale.papers
        ),
        receipts=tuple(
            (one.id, "Received" if one.amount > 0 else "Paid out", day_words(one.day, terms), abs(one.amount))
            for one in sale.settlements
            if one.means in MONEY
        ),
        records=records_of(sale, terms),
        sessions=tuple(
            (words, one)
            for words, one in (("Sessions on the water with us", support), ("Lessons that came with it", lessons))
            if one.promised and not is_over
        ),
        questions=questions_shown(work, sale),
        steps=tuple(_step(one, shelf.is_free(one.beside.part)) for one in next_steps_of(work, sale))
        if has_parts
        else (),
        care=tuple(
            (SLOT_WORDS[slot], lines) for slot, lines in care_for(one.item.slot for one in owned if not is_over)
        ),
        spares=tuple(
            (part.name, part.maker, part.price_on(work.today), shelf.is_free(part)) for part in spares_of(work, owned)
        )
        if has_parts
        else (),
        may_write=sale.may_write,
        is_over=is_over,
        has_parts=has_parts,
        key=new_token(),
        may_give_back=may_give_back,
        coming_back=tuple(
            ComingBack(
                _names(sale, case.items),
                day_words(case.notice_on, terms),
                day_words(case.due_on, terms) if case.due_on else "",
            )
            for case in waiting
        ),
        gone=_gone(sale, terms),
        owed_by=day_words(max(due), terms) if due else "",
        give_back_until=_give_back_until(work, sale) if may_give_back else "",
        is_unused_only=usual_kind(sale) == "counter",
        swap_until=_swap_until(work, sale),
        swap_fees=_swap_fees(work, sale),
    )


def _stands(sale: Sale, waiting: Sequence[Case]) -> str:
    """How it stands in a sentence: what is coming back first, then where the kit is."""
    if waiting:
        awaited = {number for case in waiting for number in case.items}
        is_all = all(item.gone or item.number in awaited for item in sale.goods)
        return "Your kit is coming back." if is_all else "A part of your kit is coming back."
    is_rest = any(item.gone == "returned" and item.is_core for item in sale.goods)
    return STANDS["rest" if sale.state == "handed_over" and is_rest else sale.state]


def _names(sale: Sale, numbers: Sequence[int]) -> str:
    """The names of items in a row: the parts of the kit, and how many others."""
    items = [item for item in sale.items if item.number in numbers]
    core = [item.label for item in items if item.is_core] or [item.label for item in items]
    others = len(items) - len(core)
    return ", ".join(core) + (f" and {others} more" if others else "")


def _gone(sale: Sale, terms: ShopTerms) -> tuple[tuple[str, str], ...]:
    """What is not with the customer any more and how that came, with its day: each once."""
    words = {"returned": "Came back to us", "swapped": "Swapped", "withdrawn": "Does not come any more"}
    together: dict[tuple[str, date | None], list[int]] = {}
    for item in sale.goods:
        if item.gone:
            together.setdefault((words[item.gone], item.gone_on), []).append(item.number)
    return tuple(
        (said if day is None else f"{said} on {day_words(day, terms)}", _names(sale, numbers))
        for (said, day), numbers in together.items()
    )


def _give_back_until(work: Work, sale: Sale) -> str:
    """The last day of giving back without a reason, while it is not over; empty where there is none or nobody can say yet."""
    last = last_day_for(sale, usual_kind(sale), policy_of(work, sale).sales, holidays_around(work, sale))
    return day_words(last, work.catalogue.policy.shop) if last is not None and last >= work.today else ""


def _swap_until(work: Work, sale: Sale) -> str:
    """The last day on which any part may be swapped for another size, while it is not over."""
    days = [last_day_of_swap(work, sale, item) for item in sale.items if may_be_swapped(item)]
    last = max((day for day in days if day is not None and day >= work.today), default=None)
    return "" if last is None else day_words(last, work.catalogue.policy.shop)


def _swap_fees(work: Work, sale: Sale) -> tuple[tuple[str, Cents], ...]:
    """What swapping each part that still can be swapped costs, in cents."""
    fees = policy_of(work, sale).sales
    return tuple(
        (SLOT_WORDS[item.slot], fees.swap_fee_of(item.slot))
        for item in sale.items
        if may_be_swapped(item) and (last_day_of_swap(work, sale, item) or date.min) >= work.today
    )


def _parts(sale: Sale, owned: Sequence[Owned], terms: ShopTerms) -> tuple[PartShown, ...]:
    """The parts of the kit one by one, and after them the extras of the same day together, which have no serial numbers."""
    each = [
        _part(one, serial_words(sale, one.item), terms)
        for one in owned
        if one.item.is_core or one.item.piece is not None
    ]
    together: dict[tuple[str, str, str], list[str]] = {}
    for one in owned:
        if not one.item.is_core and one.item.piece is None:
            shown = _part(one, "", terms)
            together.setdefault((shown.since, shown.warranty, shown.waits), []).append(one.item.label)
    rest = [
        PartShown(", ".join(labels), "", "", since, warranty, waits)
        for (since, warranty, waits), labels in together.items()
    ]
    return (*each, *rest)


def _part(one: Owned, serial: str, terms: ShopTerms) -> PartShown:
    item: Item = one.item

    def said(day: date | None) -> str:
        return "" if day is None else day_words(day, terms)

    waits = (
        "" if item.received_on else "on its way" if item.sent_on else "set aside" if item.is_held else "still to come"
    )
    return PartShown(item.label, one.maker, serial, said(item.received_on), said(one.warranty_until), waits)


def _step(one: NextStep, is_free: bool) -> StepShown:
    now, then = one.beside.instead_of, one.beside.kit
    return StepShown(
        title=STEP_TITLES[one.slot],
        words=STEP_WORDS[one.slot],
        part=one.beside.part.name,
        size=size_words(one.beside.part.gear),
        was=size_words(now.bought[one.slot].gear),
        changes=tuple(
            (words, before, after)
            for words, before, after in (
                ("Takes off at", f"{now.takeoff_kn:.1f} kn", f"{then.takeoff_kn:.1f} kn"),
                ("It rocks", "as now", _rocks(one.beside)),
                ("Floats you with", f"{now.float_margin_l:.0f} l to spare", f"{then.float_margin_l:.0f} l to spare"),
                ("Winds for new hands", _winds(now.winds.new), _winds(then.winds.new)),
                ("Winds for practised hands", _winds(now.winds.practised), _winds(then.winds.practised)),
            )
            if after and before != after
        ),
        price=one.price,
        trade_in=one.trade_in,
        difference=one.difference,
        in_stock=is_free,
    )


def _rocks(beside: Neighbour) -> str:
    """How much more or less it rocks fore and aft, in the words of the kit page; empty where it does as before."""
    steadier = round(beside.steadiness_change_percent)
    return f"{abs(steadier)} % {'less' if steadier > 0 else 'more'}" if steadier else ""


def _winds(window: Window) -> str:
    return f"{window.low:.0f} to {window.high:.0f} kn" if window.is_open else "none"


def questions_shown(work: Work, sale: Sale) -> tuple[QuestionShown, ...]:
    """A sale's questions in words, newest first, with their photographs and answers."""
    terms = work.catalogue.policy.shop
    questions = questions_about(work, sale)
    photos = photos_of_all(work, [f"question:{one.id}" for one in questions])
    shown = []
    for one in questions:
        item = sale.item(one.item) if one.item is not None else None
        shown.append(
            QuestionShown(
                one.id,
                moment_words(one.asked_at, terms),
                item.label if item is not None else "",
                one.text,
                tuple((photo.token, photo.width, photo.height) for photo in photos.get(f"question:{one.id}", ())),
                one.answer,
                moment_words(one.answered_at, terms) if one.answered_at else "",
            )
        )
    return tuple(shown)


@router.post("/owned/{token}/letters")
def letters(token: str, form: Form, shop: ShopOf) -> Response:
    """Write no more letters that ask how it goes, or write them again."""
    with shop.writing() as work:
        sale = sale_for(work, token)
        if text_in(form, "do") == "again":
            write_again(work, sale)
        else:
            write_no_more(work, sale)
    return see_other(f"/owned/{token}#letters")


@router.post("/owned/{token}/arrived")
def arrived(token: str, form: Form, shop: ShopOf) -> Response:
    """The customer says that a parcel came today; where the shop knew already nothing is done."""
    place = text_in(form, "place")
    with shop.writing() as work:
        sale = sale_for(work, token)
        came = next((one.place for one in on_the_way(sale) if str(one.place) == place), None)
        if came is not None:
            note_arrival(work, sale.id, work.today, text_in(form, "key"), came)
    return see_other(f"/owned/{token}")


# Asking.


@router.get("/owned/{token}/ask")
def asking(request: Request, token: str, shop: ShopOf, pages: PagesOf) -> Response:
    """The form for a question."""
    with shop.reading() as work:
        return _asked(request, work, pages, sale_for(work, token))


def _asked(
    request: Request,
    work: Work,
    pages: PagesOf,
    sale: Sale,
    typed: Mapping[str, str] | None = None,
    faults: Sequence[Fault] = (),
    status: int = 200,
    had_photos: bool = False,
) -> Response:
    parts = tuple((str(item.number), item.label) for item in sale.goods if not item.gone)
    key = (typed or {}).get("key") or new_token()
    page = AskPage(sale.token, parts, MOST_PHOTOS, key, typed or {}, tuple(faults), had_photos)
    answer = pages.show(request, "owned/ask.html", page, work.catalogue.policy.shop, status=status)
    answer.headers.update(PRIVATE)
    return answer


def _is_somebodys(token: str, shop: ShopOf) -> None:
    """Refuse an address that is nobody's before up to 64 MB of photographs are taken in."""
    with shop.reading() as work:
        sale_for(work, token)


@router.post("/owned/{token}/ask", dependencies=[Depends(_is_somebodys)])
def ask(request: Request, token: str, form: PhotoForm, shop: ShopOf, pages: PagesOf) -> Response:
    """Ask; what is wrong is said at its field and by each photo, and the text is kept. A browser keeps no photos: choose them again."""
    photos, photo_faults = photos_in(form, "photos", MOST_PHOTOS)
    typed = {name: text_in(form, name).replace("\r\n", "\n") for name in ("text", "item", "key")}
    item = typed["item"]
    try:
        with shop.writing() as work:
            number = int(item) if item.isascii() and item.isdigit() and len(item) < 10 else None
            if item and number is None:
                number = 0
            ask_question(work, sale_for(work, token), number, typed["text"], photos, typed["key"], photo_faults)
        return see_other(f"/owned/{token}#questions")
    except InvalidInput as error:
        faults = error.faults
    with shop.reading() as work:
        had_photos = bool(photos or photo_faults)
        return _asked(request, work, pages, sale_for(work, token), typed, faults, 422, had_photos)
