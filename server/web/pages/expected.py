"""At the desk: deliveries to come, and what is set aside for somebody of them or of the used pieces."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.lessons import read_day
from server.domain.money import Cents
from server.domain.reservations import Delivery, ReservationState
from server.usecases.expected import (
    book_arrival,
    call_delivery_off,
    change_delivery,
    expect_item,
    list_deliveries,
    read_delivery,
)
from server.usecases.pieces import sell_reserved
from server.usecases.reservations import (
    confirm_reservation,
    open_reservations,
    read_reservation,
    release_reservation,
    reserved,
    still_free,
)
from server.usecases.work import Work, new_token
from server.web.pages.calls import RowNumber
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.pages.piece_words import due_words
from server.web.pages.pieces import AskedRow, asked_row
from server.web.pages.selling import (
    CONCLUDED_CHOICES,
    MEANS_CHOICES,
    SELL_FIELDS,
    SELL_WORDS,
    read_selling,
    typed_selling,
    zones_of,
)
from server.web.render import moment_words, see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

FIELD_WORDS = {
    "sku": "SKU",
    "pieces": "Pieces",
    "due_about": "Due about",
    "note": "Note",
    "arrived": "Came",
    "why": "Why",
    **SELL_WORDS,
}
RESERVATION_WORDS: Mapping[ReservationState, str] = {
    "asked": "asked for, to confirm",
    "confirmed": "held for them",
    "bought": "bought",
    "ended": "ended",
    "lapsed": "lapsed",
}


@dataclass(frozen=True, slots=True)
class DeliveryRow:
    """A delivery in a list, in words."""

    number: int
    sku: str
    name: str
    due: str
    is_late: bool
    to_come: int
    arrived: int
    free: int
    note: str
    state: str


@dataclass(frozen=True)
class DeliveriesPage(TypedForm):
    """The deliveries to come, those that ended last, and the form for a new one."""

    to_come: tuple[DeliveryRow, ...]
    ended: tuple[DeliveryRow, ...]
    earliest: str
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for."""
        return FIELD_WORDS.get(name, "")


@dataclass(frozen=True)
class DeliveryPage(TypedForm):
    """One delivery, who waits for it, and what can be done with it."""

    row: DeliveryRow
    pieces: int
    asked: tuple[AskedRow, ...]
    earliest: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for."""
        return FIELD_WORDS.get(name, "")


@dataclass(frozen=True)
class ReservationPage(TypedForm):
    """What is set aside for somebody, and what the desk can do about it; the price in cents where it can be sold from here."""

    row: AskedRow
    state: ReservationState
    state_words: str
    until: str
    because: str
    piece: int | None
    delivery: int | None
    price: Cents | None
    concluded: tuple[tuple[str, str], ...]
    means: tuple[tuple[str, str], ...]
    zones: tuple[tuple[str, str], ...]
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for."""
        return FIELD_WORDS.get(name, "")

    def has_fault_in(self, *names: str) -> bool:
        """Whether something is wrong in one of these fields, so that their form is unfolded."""
        return any(fault.field in names for fault in self.faults)


# Deliveries.


@router.get("/desk/expected")
def show_all(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """What is to come, about when, and how much of it is promised."""
    with shop.reading(account.name) as work:
        return pages.show(request, "pieces/expected.html", _deliveries_page(work), work.catalogue.policy.shop)


def _deliveries_page(
    work: Work, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()
) -> DeliveriesPage:
    return DeliveriesPage(
        to_come=tuple(_row(work, one) for one in list_deliveries(work)),
        ended=tuple(_row(work, one) for one in list_deliveries(work, ended=True)),
        earliest=work.today.isoformat(),
        key=new_token(),
        typed=typed or {},
        faults=faults,
    )


def _row(work: Work, delivery: Delivery) -> DeliveryRow:
    part = work.catalogue.parts[delivery.sku]
    return DeliveryRow(
        number=delivery.id,
        sku=delivery.sku,
        name=f"{part.name}, {part.maker}",
        due=due_words(delivery.due_about, work.today, work.catalogue.policy.shop),
        is_late=not delivery.is_ended and delivery.due_about < work.today,
        to_come=delivery.to_come,
        arrived=delivery.arrived,
        free=still_free(work, delivery),
        note=delivery.note,
        state={"to_come": "to come", "arrived": "came", "called_off": "called off"}[delivery.state],
    )


@router.post("/desk/expected")
def add(request: Request, form: Form, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Write down a delivery to come; of a set, one of each of its parts."""
    typed = {name: text_in(form, name) for name in ("sku", "pieces", "due_about", "note")}
    try:
        with shop.writing(account.name) as work:
            due, pieces = read_day(typed["due_about"]), whole_in(typed["pieces"])
            expect_item(work, typed["sku"], pieces, due, typed["note"], text_in(form, "key"))
        return see_other("/desk/expected")
    except InvalidInput as error:
        faults = error.faults
    with shop.reading(account.name) as work:
        page = _deliveries_page(work, typed, faults)
        return pages.show(request, "pieces/expected.html", page, work.catalogue.policy.shop, status=422)


def whole_in(text: str) -> int | None:
    """A small whole number as it was typed, or None."""
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 6 else None


@router.get("/desk/expected/{number}")
def show(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """One delivery with who waits for it."""
    with shop.reading(account.name) as work:
        return pages.show(request, "pieces/delivery.html", _delivery_page(work, number), work.catalogue.policy.shop)


def _delivery_page(
    work: Work, number: int, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()
) -> DeliveryPage:
    delivery = read_delivery(work, number)
    first = {"due_about": delivery.due_about.isoformat(), "note": delivery.note, "arrived": str(delivery.to_come)}
    return DeliveryPage(
        row=_row(work, delivery),
        pieces=delivery.pieces,
        asked=tuple(asked_row(work, one) for one in open_reservations(work) if one.delivery == number),
        earliest=work.today.isoformat(),
        typed={**first, **(typed or {})},
        faults=faults,
    )


@router.post("/desk/expected/{number}")
def change(request: Request, number: RowNumber, form: Form, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Another day about which it is due; who waits is told."""
    typed = {name: text_in(form, name) for name in ("due_about", "note")}

    def verb(work: Work) -> None:
        change_delivery(work, number, read_day(typed["due_about"]), typed["note"])

    return _delivery_done(request, verb, number, account.name, shop, pages, typed)


@router.post("/desk/expected/{number}/arrived")
def arrived(
    request: Request, number: RowNumber, form: Form, account: StaffOf, shop: ShopOf, pages: PagesOf
) -> Response:
    """Book what came: onto the stock, and aside for those who asked first."""
    typed = {"arrived": text_in(form, "arrived")}

    def verb(work: Work) -> None:
        book_arrival(work, number, whole_in(typed["arrived"]), whole_in(text_in(form, "shown")) or 0)

    return _delivery_done(request, verb, number, account.name, shop, pages, typed)


@router.post("/desk/expected/{number}/call-off")
def call_off(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Nothing more comes; who waits is told."""

    def verb(work: Work) -> None:
        call_delivery_off(work, number)

    return _delivery_done(request, verb, number, account.name, shop, pages, {})


def _delivery_done(
    request: Request,
    verb: Callable[[Work], None],
    number: int,
    actor: str,
    shop: ShopOf,
    pages: PagesOf,
    typed: Mapping[str, str],
) -> Response:
    try:
        with shop.writing(actor) as work:
            verb(work)
        return see_other(f"/desk/expected/{number}")
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(actor) as work:
        page = _delivery_page(work, number, typed, faults)
        return pages.show(request, "pieces/delivery.html", page, work.catalogue.policy.shop, status=status)


# Reservations.


@router.get("/desk/reservations/{number}")
def show_reservation(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """What is set aside for somebody."""
    with shop.reading(account.name) as work:
        page = _reservation_page(work, number)
        return pages.show(request, "pieces/reservation.html", page, work.catalogue.policy.shop)


def _reservation_page(
    work: Work, number: int, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()
) -> ReservationPage:
    one = read_reservation(work, number)
    what = reserved(work, one)
    state = one.state_at(work.now)
    part = work.catalogue.parts.get(what.sku) if one.hold is not None else None
    price = part.price_on(work.today) if part is not None and state == "confirmed" else None
    return ReservationPage(
        row=asked_row(work, one),
        state=state,
        state_words=RESERVATION_WORDS[state],
        until=moment_words(one.expires_at, work.catalogue.policy.shop),
        because=one.ended_because if state == "ended" else "",
        piece=one.piece,
        delivery=one.delivery,
        price=price,
        concluded=CONCLUDED_CHOICES,
        means=MEANS_CHOICES,
        zones=zones_of(work, price),
        key=new_token(),
        typed={**typed_selling(one), **(typed or {})},
        faults=faults,
    )


@router.post("/desk/reservations/{number}/confirm")
def confirm(
    request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf
) -> Response:
    """Confirm a request; who asked is told. From the desk's first page back to it."""

    def verb(work: Work) -> str:
        confirm_reservation(work, number)
        return "/desk" if text_in(form, "back") == "desk" else f"/desk/reservations/{number}"

    return _reservation_done(request, verb, number, account.name, shop, pages, {})


@router.post("/desk/reservations/{number}/let-go")
def release(
    request: Request, number: RowNumber, form: Form, account: StaffOf, shop: ShopOf, pages: PagesOf
) -> Response:
    """Let go of it, with a reason that who asked is told."""
    typed = {"why": text_in(form, "why")}

    def verb(work: Work) -> str:
        release_reservation(work, number, typed["why"])
        return f"/desk/reservations/{number}"

    return _reservation_done(request, verb, number, account.name, shop, pages, typed)


@router.post("/desk/reservations/{number}/sell")
def sell(request: Request, number: RowNumber, form: Form, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Sell the part that came for somebody, and on to the sale."""
    typed = {name: text_in(form, name) for name in SELL_FIELDS}

    def verb(work: Work) -> str:
        read_reservation(work, number)
        return f"/desk/sales/{sell_reserved(work, number, read_selling(form, work), text_in(form, 'key')).id}"

    return _reservation_done(request, verb, number, account.name, shop, pages, typed)


def _reservation_done(
    request: Request,
    verb: Callable[[Work], str],
    number: int,
    actor: str,
    shop: ShopOf,
    pages: PagesOf,
    typed: Mapping[str, str],
) -> Response:
    try:
        with shop.writing(actor) as work:
            return see_other(verb(work))
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(actor) as work:
        page = _reservation_page(work, number, typed, faults)
        return pages.show(request, "pieces/reservation.html", page, work.catalogue.policy.shop, status=status)
