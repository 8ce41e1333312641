"""Used and demonstration pieces at the desk: what is there, what has come and must be looked at, and selling one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.lessons import read_day
from server.domain.money import Cents
from server.domain.pieces import (
    IN_THE_SHOP,
    PIECE_SLOTS,
    SOURCE_WORDS,
    STATE_WORDS,
    Piece,
    earned_at,
    vat_at,
)
from server.domain.reservations import Reservation
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.domain.trade_in import CONDITION_WORDS, FAULT_WORDS
from server.outside.photos import Photo
from server.usecases.photos import photos_of
from server.usecases.pieces import (
    MOST_PHOTOS,
    PhotoChanges,
    Suggestion,
    about_piece,
    add_bought_piece,
    add_demo_piece,
    awaits_value,
    change_piece,
    inspect_piece,
    list_pieces,
    read_piece,
    sales_they_come_with,
    sell_piece,
    sold_with,
    suggest_price,
    throw_away,
)
from server.usecases.reservations import open_reservations, reservation_of_piece, reserved, what_words
from server.usecases.work import Work, new_token
from server.web.pages.calls import RowNumber
from server.web.pages.desk import when_words
from server.web.pages.forms import (
    Form,
    PhotoForm,
    TypedForm,
    amount,
    cents,
    photos_in,
    plain,
    text_in,
    texts_in,
    whole_or_number,
)
from server.web.pages.forms import number as as_number
from server.web.pages.piece_words import (
    CONDITION_CHOICES,
    SLOT_CHOICES,
    MeasureField,
    PhotoShown,
    due_words,
    hours_words,
    measure_fields,
    photos_shown,
    size_of,
    title_of_piece,
)
from server.web.pages.selling import (
    CONCLUDED_CHOICES,
    MEANS_CHOICES,
    SELL_FIELDS,
    SELL_WORDS,
    read_selling,
    typed_selling,
    zones_of,
)
from server.web.render import see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf
from server.web.units import Units, units_of

router = APIRouter(include_in_schema=False)

DETAIL_FIELDS = ("slot", "sku", "name", "maker", "serial", "condition", "hours", "note", "price")
NEW_FIELDS = (*DETAIL_FIELDS, "source", "paid")
FOUND_FIELDS = ("found_condition", "found_hours", "value", "why", "outcome")
MOST_GONE = 20
FIELD_WORDS = {
    "source": "How it came",
    "slot": "What it is",
    "sku": "SKU",
    "name": "Name",
    "maker": "Maker",
    "serial": "Serial number",
    "condition": "Condition",
    "hours": "Hours on the water",
    "note": "Note",
    "price": "Price",
    "paid": "What was given for it",
    "due_about": "Due about",
    "photos": "Photographs",
    "found_condition": "Condition found",
    "found_hours": "Hours on the water",
    "faults": "Faults of safety",
    "value": "What it counts for",
    "why": "Why",
    "scrap_why": "Why it is thrown away",
    **SELL_WORDS,
}
FAULT_CHOICES = tuple(FAULT_WORDS.items())


@dataclass(frozen=True, slots=True)
class PieceRow:
    """A piece in a list, in words; the price in cents."""

    number: int
    title: str
    what: str
    condition: str
    came: str
    price: Cents | None
    state: str
    due: str
    held: str
    reservation: int
    brought_by: str = ""
    sale: int = 0
    code: str = ""


@dataclass(frozen=True, slots=True)
class AskedRow:
    """A reservation in a list, in words."""

    number: int
    what: str
    name: str
    email: str
    phone: str
    until: str
    is_confirmed: bool
    is_here: bool
    note: str


@dataclass(frozen=True)
class PiecesPage(TypedForm):
    """All pieces by where they stand, what is set aside for whom, and the form for a new one."""

    asked: tuple[AskedRow, ...]
    to_look: tuple[PieceRow, ...]
    for_sale: tuple[PieceRow, ...]
    gone: tuple[PieceRow, ...]
    slot: str
    slots: tuple[tuple[str, str], ...]
    conditions: tuple[tuple[str, str], ...]
    most_photos: int
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for."""
        return FIELD_WORDS.get(name, "")


@dataclass(frozen=True, slots=True)
class PriceShown:
    """What a price comes to: the VAT in it, what the shop gave, and what it earns; in cents."""

    price: Cents
    vat: Cents
    rate: str
    bought: Cents
    earned: Cents
    is_margin: bool


@dataclass(frozen=True)
class PiecePage(TypedForm):
    """One piece: what it is, how it came, what it comes to, and what can be done with it now."""

    number: int
    title: str
    word: str
    size: str
    state: str
    state_words: str
    source: str
    source_words: str
    condition_words: str
    hours_words: str
    note: str
    bought: Cents
    price: Cents | None
    comes_to: PriceShown | None
    suggestion: Suggestion | None
    can_suggest: bool
    due: str
    earliest: str
    asked: AskedRow | None
    sale: int | None
    from_sale: int | None
    photos: tuple[PhotoShown, ...]
    photos_left: int
    most_photos: int
    measures: tuple[MeasureField, ...]
    conditions: tuple[tuple[str, str], ...]
    fault_choices: tuple[tuple[str, str], ...]
    found: tuple[str, ...]
    has_value: bool
    concluded: tuple[tuple[str, str], ...]
    means: tuple[tuple[str, str], ...]
    zones: tuple[tuple[str, str], ...]
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    @property
    def is_here(self) -> bool:
        """Whether it can still be changed."""
        return self.state in ("expected", *IN_THE_SHOP)

    def words_of(self, name: str) -> str:
        """What a field asks for."""
        measure = next((one.word for one in self.measures if one.name == name), "")
        return FIELD_WORDS.get(name, measure)

    def has_fault_in(self, *names: str) -> bool:
        """Whether something is wrong in one of these fields, so that their form is unfolded."""
        return any(fault.field in names for fault in self.faults)


# The list.


@router.get("/desk/pieces")
def show_all(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """All pieces, or those of a slot."""
    with shop.reading(account.name) as work:
        slot = request.query_params.get("slot", "")
        page = _pieces_page(work, units_of(request), slot if slot in PIECE_SLOTS else "")
        return pages.show(request, "pieces/pieces.html", page, work.catalogue.policy.shop)


def _pieces_page(
    work: Work, units: Units, slot: str, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()
) -> PiecesPage:
    held = {one.piece: one for one in open_reservations(work) if one.piece is not None}
    pieces = list_pieces(work, slot)
    sales = sales_they_come_with(work, (one for one in pieces if one.state in ("to_inspect", "expected")))

    def rows(*states: str) -> tuple[PieceRow, ...]:
        shown = (
            (one, piece_row(work, one, held.get(one.id), units), sales.get(one.from_sale or 0))
            for one in pieces
            if one.state in states
        )
        return tuple(
            replace(row, brought_by=sale.contact.name, sale=sale.id, code=sale.code)
            if sale is not None and one.state in ("to_inspect", "expected")
            else row
            for one, row, sale in shown
        )

    return PiecesPage(
        asked=tuple(asked_row(work, one) for one in open_reservations(work)),
        to_look=rows("to_inspect", "expected"),
        for_sale=rows("for_sale"),
        gone=rows("sold", "scrapped", "given_back")[:MOST_GONE],
        slot=slot,
        slots=SLOT_CHOICES,
        conditions=CONDITION_CHOICES,
        most_photos=MOST_PHOTOS,
        key=new_token(),
        typed=typed or {},
        faults=faults,
    )


def piece_row(work: Work, piece: Piece, one: Reservation | None, units: Units) -> PieceRow:
    """A piece in a list."""
    terms = work.catalogue.policy.shop
    size = size_of(piece.slot, piece.measures, units)
    due = due_words(piece.due_about, work.today, terms) if piece.due_about else ""
    held = ""
    if one is not None:
        until = when_words(one.expires_at, work.now, terms)
        held = f"{'held' if one.is_confirmed else 'asked for'} by {one.contact.name} until {until}"
    return PieceRow(
        number=piece.id,
        title=title_of_piece(piece),
        what=" ".join(word for word in (SLOT_WORDS[piece.slot], size) if word),
        condition=f"{CONDITION_WORDS[piece.condition]}, {hours_words(piece.hours)}",
        came=SOURCE_WORDS[piece.source],
        price=piece.price,
        state=STATE_WORDS[piece.state],
        due=due,
        held=held,
        reservation=one.id if one else 0,
    )


def asked_row(work: Work, one: Reservation) -> AskedRow:
    """A reservation in a list."""
    what = reserved(work, one)
    terms = work.catalogue.policy.shop
    note = "in the shop" if what.due_about is None else f"due about {due_words(what.due_about, work.today, terms)}"
    if what.is_gone and one.is_open(work.now):
        note = "gone meanwhile: let go of it, and they are told"
    return AskedRow(
        number=one.id,
        what=what_words(work, what),
        name=one.contact.name,
        email=one.contact.email,
        phone=one.contact.phone,
        until=when_words(one.expires_at, work.now, terms),
        is_confirmed=one.is_confirmed,
        is_here=what.due_about is None,
        note=note,
    )


@router.post("/desk/pieces")
def add(request: Request, form: PhotoForm, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """A new piece, bought from a private person or taken out of the stock, and on to it; what is wrong is said as it was typed."""
    typed = {name: text_in(form, name) for name in NEW_FIELDS}
    photos, faults = photos_in(form, "photos", MOST_PHOTOS)
    status = 422
    try:
        with shop.writing(account.name) as work:
            piece = _added(work, typed, form, photos, faults)
        return see_other(f"/desk/pieces/{piece.id}")
    except InvalidInput as error:
        faults = error.faults
    with shop.reading(account.name) as work:
        page = _pieces_page(work, units_of(request), "", typed, faults)
        return pages.show(request, "pieces/pieces.html", page, work.catalogue.policy.shop, status=status)


def _added(
    work: Work, typed: Mapping[str, str], form: Form, photos: tuple[Photo, ...], faults: tuple[Fault, ...]
) -> Piece:
    raw, key = _raw(typed, {}), text_in(form, "key")
    paid = cents(typed["paid"])
    wrong = list(faults)
    if typed["source"] not in ("bought", "demo"):
        wrong.append(
            Fault("source", "This has to be said.", "bought used, or taken out of the stock for demonstration")
        )
    if typed["source"] == "demo":
        return add_demo_piece(work, raw, photos, key, before=wrong)
    return add_bought_piece(work, raw, paid, photos, key, before=wrong)


def _raw(typed: Mapping[str, str], measures: Mapping[str, Any]) -> dict[str, Any]:
    """The details as plain values; what was left blank is None."""
    raw: dict[str, Any] = {name: typed.get(name, "") for name in ("slot", "sku", "name", "maker", "serial", "note")}
    raw["condition"] = typed.get("condition", "")
    raw["hours"] = whole_or_number(typed["hours"]) if typed.get("hours") else None
    raw["price"] = cents(typed["price"]) if typed.get("price") else None
    return {**raw, "measures": measures}


# One piece.


@router.get("/desk/pieces/{number}")
def show(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """One piece; `price_new` and `months` ask for a suggested price."""
    with shop.reading(account.name) as work:
        return _shown(request, work, pages, number)


def _shown(
    request: Request,
    work: Work,
    pages: PagesOf,
    number: int,
    typed: Mapping[str, str] | None = None,
    faults: tuple[Fault, ...] = (),
    status: int = 200,
    found: tuple[str, ...] = (),
) -> Response:
    page = _piece_page(request, work, number, typed or {}, faults, found)
    return pages.show(request, "pieces/piece.html", page, work.catalogue.policy.shop, status=status)


def _piece_page(
    request: Request,
    work: Work,
    number: int,
    typed: Mapping[str, str],
    faults: tuple[Fault, ...],
    found: tuple[str, ...],
) -> PiecePage:
    piece = read_piece(work, number)
    one = reservation_of_piece(work, number)
    terms = work.catalogue.policy.shop
    photos = photos_shown(photos_of(work, about_piece(number)), title_of_piece(piece))
    asked = dict(request.query_params)
    suggestion = _suggestion(work, piece, asked)
    price = piece.price
    return PiecePage(
        number=number,
        title=title_of_piece(piece),
        word=SLOT_WORDS[piece.slot] if piece.name else "no name yet",
        size=size_of(piece.slot, piece.measures, units_of(request)),
        state=piece.state,
        state_words=STATE_WORDS[piece.state],
        source=piece.source,
        source_words=SOURCE_WORDS[piece.source],
        condition_words=CONDITION_WORDS[piece.condition],
        hours_words=hours_words(piece.hours),
        note=piece.note,
        bought=piece.bought,
        price=price,
        comes_to=_comes_to(piece, price) if price is not None else None,
        suggestion=suggestion,
        can_suggest=piece.slot in CORE_SLOTS,
        due=due_words(piece.due_about, work.today, terms) if piece.due_about else "",
        earliest=work.today.isoformat(),
        asked=asked_row(work, one) if one else None,
        sale=sold_with(work, number),
        from_sale=piece.from_sale,
        photos=photos,
        photos_left=max(0, MOST_PHOTOS - len(photos)),
        most_photos=MOST_PHOTOS,
        measures=measure_fields(piece.slot),
        conditions=CONDITION_CHOICES,
        fault_choices=FAULT_CHOICES,
        found=found,
        has_value=awaits_value(work, piece),
        concluded=CONCLUDED_CHOICES,
        means=MEANS_CHOICES,
        zones=zones_of(work, price),
        key=new_token(),
        typed={**_typed(piece, suggestion), **typed_selling(one), **typed},
        faults=faults,
    )


def _suggestion(work: Work, piece: Piece, asked: Mapping[str, str]) -> Suggestion | None:
    price_new, months = cents(asked.get("price_new", "")), asked.get("months", "")
    is_age = months.isascii() and months.isdigit() and len(months) <= 3 and int(months) <= 240
    return suggest_price(
        work, piece, price_new if isinstance(price_new, int) else None, int(months) if is_age else None
    )


def _comes_to(piece: Piece, price: Cents) -> PriceShown:
    is_margin = piece.scheme == "margin"
    return PriceShown(
        price, vat_at(piece, price), f"{piece.percent:f} %", piece.bought, earned_at(piece, price), is_margin
    )


def _typed(piece: Piece, suggestion: Suggestion | None) -> dict[str, str]:
    """The forms as they stand at first: filled with what is known."""
    measures = {f"measure-{name}": plain(value) for name, value in (piece.measures or {}).items()}
    hours = "" if piece.hours is None else str(piece.hours)
    return {
        **measures,
        "sku": piece.sku,
        "name": piece.name,
        "maker": piece.maker,
        "serial": piece.serial,
        "condition": piece.condition,
        "hours": hours,
        "note": piece.note,
        "price": amount(piece.price) if piece.price is not None else "",
        "due_about": piece.due_about.isoformat() if piece.due_about else "",
        "found_condition": piece.condition,
        "found_hours": hours,
        "value": amount(piece.bought),
        "outcome": "taken",
        "price_new": amount(suggestion.price_new) if suggestion else "",
        "months": str(suggestion.months) if suggestion else "",
    }


@router.post("/desk/pieces/{number}")
def change(
    request: Request, number: RowNumber, form: PhotoForm, account: StaffOf, shop: ShopOf, pages: PagesOf
) -> Response:
    """Say anew what it is and what it costs, with further photographs; what is wrong is said with all that was typed."""
    typed = {name: text_in(form, name) for name in (*DETAIL_FIELDS, "due_about")}
    measures = {
        name.removeprefix("measure-"): text_in(form, name)
        for name in form
        if name.startswith("measure-") and text_in(form, name)
    }
    typed |= {f"measure-{name}": value for name, value in measures.items()}
    photos, faults = photos_in(form, "photos", MOST_PHOTOS)
    with shop.reading(account.name) as work:
        numbers = {one.name for one in measure_fields(read_piece(work, number).slot) if one.is_number}
    read = {name: as_number(value) if f"measure-{name}" in numbers else value for name, value in measures.items()}

    def verb(work: Work) -> None:
        due, wrong = read_day(typed["due_about"]), list(faults)
        if typed["due_about"] and due is None:
            wrong.append(Fault("due_about", "This is not a day.", "a day such as 2026-12-12, or nothing"))
        changes = PhotoChanges(photos, tuple(texts_in(form, "drop")), _places(form))
        change_piece(work, number, _raw(typed, read), due, changes, before=wrong)

    return _done(request, verb, number, account.name, shop, pages, typed)


def _places(form: Form) -> dict[str, float]:
    """Where each photograph is to stand, as far as it was typed."""
    read = {name.removeprefix("place-"): as_number(text_in(form, name)) for name in form if name.startswith("place-")}
    return {token: value for token, value in read.items() if isinstance(value, float)}


@router.post("/desk/pieces/{number}/inspect")
def inspect(
    request: Request, number: RowNumber, form: Form, account: StaffOf, shop: ShopOf, pages: PagesOf
) -> Response:
    """Write down what was found of a piece that came."""
    typed = {name: text_in(form, name) for name in FOUND_FIELDS}
    found = tuple(texts_in(form, "faults"))
    raw = {
        "condition": typed["found_condition"],
        "hours": whole_or_number(typed["found_hours"]) if typed["found_hours"] else None,
        "faults": found,
        "value": cents(typed["value"]) if typed["value"] else None,
        "why": typed["why"],
        "outcome": typed["outcome"],
    }
    moved = {"condition": "found_condition", "hours": "found_hours"}

    def verb(work: Work) -> None:
        inspect_piece(work, number, raw, text_in(form, "key"))

    return _done(request, verb, number, account.name, shop, pages, typed, found=found, moved=moved)


@router.post("/desk/pieces/{number}/throw-away")
def scrap(request: Request, number: RowNumber, form: Form, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Take a piece out of the sale for good."""
    typed = {"scrap_why": text_in(form, "scrap_why")}

    def verb(work: Work) -> None:
        throw_away(work, number, typed["scrap_why"])

    return _done(request, verb, number, account.name, shop, pages, typed)


@router.post("/desk/pieces/{number}/sell")
def sell(request: Request, number: RowNumber, form: Form, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Sell it, and on to the sale."""
    typed = {name: text_in(form, name) for name in SELL_FIELDS}
    sold: list[int] = []

    def verb(work: Work) -> None:
        sold.append(sell_piece(work, number, read_selling(form, work), text_in(form, "key")).id)

    answer = _done(request, verb, number, account.name, shop, pages, typed)
    return see_other(f"/desk/sales/{sold[0]}") if sold else answer


def _done(
    request: Request,
    verb: Callable[[Work], None],
    number: int,
    actor: str,
    shop: ShopOf,
    pages: PagesOf,
    typed: Mapping[str, str],
    *,
    found: tuple[str, ...] = (),
    moved: Mapping[str, str] | None = None,
) -> Response:
    """Do something with a piece and show it again; what is wrong is said at its field, with all that was typed."""
    try:
        with shop.writing(actor) as work:
            read_piece(work, number)
            verb(work)
        return see_other(f"/desk/pieces/{number}")
    except (InvalidInput, Conflict) as error:
        status = 422 if isinstance(error, InvalidInput) else 409
        names = moved or {}
        faults = tuple(Fault(names.get(one.field, one.field), one.message, one.accepted) for one in error.faults)
    with shop.reading(actor) as work:
        return _shown(request, work, pages, number, typed, faults, status, found)
