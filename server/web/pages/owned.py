"""The customer's own page after the contract: where it stands, what they own, what comes next, and asking the shop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.aftercare import STEP_TITLES, STEP_WORDS, NextStep, Owned, Sessions, care_for
from server.domain.errors import Fault, InvalidInput
from server.domain.kits import size_words
from server.domain.policy import ShopTerms
from server.domain.sales import PAPER_WORDS, Sale
from server.domain.slots import SLOT_WORDS
from server.domain.wind import Window
from server.usecases.aftercare import (
    ask_question,
    next_steps_of,
    owned_of,
    questions_about,
    sessions_of,
    spares_of,
    write_no_more,
)
from server.usecases.photos import photos_of_all
from server.usecases.sales import paper_name, sale_for
from server.usecases.work import Work, new_token
from server.web.pages.forms import PhotoForm, TypedForm, photos_in, text_in
from server.web.pages.handover import RecordShown, SentShown, records_of, sent_shown
from server.web.render import day_words, moment_words, see_other
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

PRIVATE = {"X-Robots-Tag": "noindex, nofollow", "Cache-Control": "private, no-cache"}
MOST_PHOTOS = 4
FIELD_WORDS = {"text": "Your question", "item": "About which part", "photos": "Photos"}
STANDS = {
    "confirmed": "Your kit is bought, and its parts are set aside for you.",
    "paid": "Your kit is paid, and its parts are set aside for you.",
    "on_its_way": "Your kit is on its way.",
    "handed_over": "Your kit is with you.",
    "returned": "What you bought came back to us.",
    "withdrawn": "This purchase was cancelled.",
}


@dataclass(frozen=True, slots=True)
class PartShown:
    """A part owned: what, its serial number, since when, until when its warranty runs; or that it is still to come."""

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


@dataclass(frozen=True)
class OwnedPage:
    """The customer's page; amounts in cents."""

    token: str
    code: str
    name: str
    state: str
    stands: str
    owed: int
    parts: tuple[PartShown, ...]
    sent: tuple[SentShown, ...]
    papers: tuple[tuple[int, str, str, int], ...]
    records: tuple[RecordShown, ...]
    sessions: tuple[tuple[str, Sessions], ...]
    questions: tuple[QuestionShown, ...]
    steps: tuple[StepShown, ...]
    care: tuple[tuple[str, tuple[str, ...]], ...]
    spares: tuple[tuple[str, str, int, bool], ...]
    may_write: bool
    is_over: bool
    has_parts: bool


@dataclass(frozen=True)
class AskPage(TypedForm):
    """A question to the shop, as it was typed."""

    token: str
    parts: tuple[tuple[str, str], ...]
    most_photos: int
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

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
    return OwnedPage(
        token=sale.token,
        code=sale.code,
        name=sale.contact.name,
        state=sale.state,
        stands=STANDS[sale.state],
        owed=sale.owed,
        parts=_parts(owned, terms),
        sent=sent_shown(sale, work.today, terms) if sale.state == "on_its_way" else (),
        papers=tuple(
            (
                one.number,
                f"{PAPER_WORDS[one.kind]} {paper_name(work, one)}",
                day_words(one.day, terms),
                one.gross,
            )
            for one in sale.papers
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
    )


def _parts(owned: Sequence[Owned], terms: ShopTerms) -> tuple[PartShown, ...]:
    """The parts of the kit one by one, and after them the extras of the same day together, which have no serial numbers."""
    each = [_part(one, terms) for one in owned if one.item.is_core or one.item.piece is not None]
    together: dict[tuple[str, str, str], list[str]] = {}
    for one in owned:
        if not one.item.is_core and one.item.piece is None:
            shown = _part(one, terms)
            together.setdefault((shown.since, shown.warranty, shown.waits), []).append(one.item.label)
    rest = [
        PartShown(", ".join(labels), "", "", since, warranty, waits)
        for (since, warranty, waits), labels in together.items()
    ]
    return (*each, *rest)


def _part(one: Owned, terms: ShopTerms) -> PartShown:
    item = one.item

    def said(day: date | None) -> str:
        return "" if day is None else day_words(day, terms)

    waits = (
        "" if item.received_on else "on its way" if item.sent_on else "set aside" if item.is_held else "still to come"
    )
    serial = item.serial or ("none on it" if item.received_on and item.is_core else "")
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
                ("Tail volume", f"{now.tail_volume:.2f}", f"{then.tail_volume:.2f}"),
                ("Floats you with", f"{now.float_margin_l:.0f} l to spare", f"{then.float_margin_l:.0f} l to spare"),
                ("Winds for new hands", _winds(now.winds.new), _winds(then.winds.new)),
                ("Winds for practised hands", _winds(now.winds.practised), _winds(then.winds.practised)),
            )
            if before != after
        ),
        price=one.price,
        trade_in=one.trade_in,
        difference=one.difference,
        in_stock=is_free,
    )


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
def no_letters(token: str, shop: ShopOf) -> Response:
    """Write no more letters that ask how it goes."""
    with shop.writing() as work:
        write_no_more(work, sale_for(work, token))
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
) -> Response:
    parts = tuple((str(item.number), item.label) for item in sale.goods if not item.gone)
    key = (typed or {}).get("key") or new_token()
    page = AskPage(sale.token, parts, MOST_PHOTOS, key, typed or {}, tuple(faults))
    answer = pages.show(request, "owned/ask.html", page, work.catalogue.policy.shop, status=status)
    answer.headers.update(PRIVATE)
    return answer


@router.post("/owned/{token}/ask")
def ask(request: Request, token: str, form: PhotoForm, shop: ShopOf, pages: PagesOf) -> Response:
    """Ask; what is wrong is said at its field and by each photo, and the text is kept. A browser keeps no photos: choose them again."""
    with shop.reading() as work:
        sale_for(work, token)
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
        if photos or photo_faults:
            words = "Choose the photos again: a browser does not keep them."
            faults = (*faults, Fault("photos", words, f"at most {MOST_PHOTOS}"))
        return _asked(request, work, pages, sale_for(work, token), typed, faults, 422)
