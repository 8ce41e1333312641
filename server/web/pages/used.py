"""Used, demonstration and due soon, for customers: what there is, a request to hold it, and how that stands."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput, NotFound, TooMany
from server.domain.money import Cents
from server.domain.pieces import PIECE_SLOTS, Piece
from server.domain.reservations import Delivery, Reservation, ReservationState
from server.domain.returns import Told, told_before
from server.domain.slots import SLOT_WORDS
from server.domain.stock import Contact, read_contact
from server.domain.trade_in import CONDITION_WORDS
from server.usecases.expected import list_deliveries, read_delivery
from server.usecases.photos import photos_of, photos_of_all
from server.usecases.pieces import about_piece, offered_pieces, read_piece
from server.usecases.reservations import (
    NO_DELIVERY,
    NO_PIECE,
    Reserved,
    open_reservations,
    reservation_for,
    reservation_of_piece,
    reserve_delivery,
    reserve_piece,
    still_free,
    take_reservation_back,
    token_of_bought,
    what_words,
)
from server.usecases.work import Work, new_token
from server.web.pages.bookings import PRIVATE
from server.web.pages.calls import RowNumber
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.pages.piece_words import (
    SAID_SOURCES,
    PhotoShown,
    due_words,
    hours_words,
    measures_said,
    photos_shown,
    size_of,
    title_of_piece,
)
from server.web.render import moment_words, see_other
from server.web.state import PagesOf, ShopOf
from server.web.units import Units, units_of

router = APIRouter(include_in_schema=False)

FIELD_WORDS = {"name": "Your name", "email": "E-mail", "phone": "Telephone"}


@dataclass(frozen=True, slots=True)
class OfferShown:
    """A used piece, or a part to come, in words; the price in cents where it is known. `address` is the page of its own."""

    address: str
    word: str
    size: str
    title: str
    maker: str
    facts: str
    due: str
    price: Cents | None
    photo: PhotoShown | None
    is_held: bool
    left: int = 0


@dataclass(frozen=True)
class UsedPage:
    """What there is now and what is due, of a slot or all of it; `slots` are those of which there is something."""

    here: tuple[OfferShown, ...]
    due: tuple[OfferShown, ...]
    slot: str
    slot_word: str
    slots: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class OfferPage(TypedForm):
    """One piece or part to come, with the form to ask to hold it."""

    offer: OfferShown
    photos: tuple[PhotoShown, ...]
    told: tuple[tuple[str, str], ...]
    note: str
    is_margin: bool
    is_used: bool
    before: Told | None
    """What is told before the purchase about giving it back; None where it has no price yet."""
    hold_hours: int
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for."""
        return FIELD_WORDS.get(name, "")


@dataclass(frozen=True)
class ReservedPage:
    """How a request to hold stands."""

    token: str
    what: str
    slot_word: str
    state: ReservationState
    until: str
    because: str
    due: str
    price: Cents | None
    address: str
    """Where it is shown still; empty where it is not."""
    owned: str
    """The token of the customer's own page once it is bought."""


# What there is.


@router.get("/used")
def show_all(request: Request, shop: ShopOf, pages: PagesOf) -> Response:
    """Used and demonstration pieces, and what is due soon."""
    asked = request.query_params.get("slot", "")
    slot = asked if asked in PIECE_SLOTS else ""
    with shop.reading() as work:
        page = _used_page(work, slot, units_of(request))
        return pages.show(request, "pieces/used.html", page, work.catalogue.policy.shop)


def _used_page(work: Work, slot: str, units: Units) -> UsedPage:
    offered = offered_pieces(work)
    held = {one.piece for one in open_reservations(work)}
    photos = photos_of_all(work, [about_piece(one.id) for one in offered])
    first = {
        one.id: shown[0]
        for one in offered
        if (shown := photos_shown(photos.get(about_piece(one.id), ()), title_of_piece(one)))
    }
    pieces = [(one, piece_offer(work, one, units, first.get(one.id), is_held=one.id in held)) for one in offered]
    deliveries = [(one, delivery_offer(work, one, units)) for one in list_deliveries(work)]
    slots = {one.slot for one in offered} | {work.catalogue.parts[one.sku].slot for one, _ in deliveries}
    due = [
        *((one.due_about, shown, work.catalogue.parts[one.sku].slot) for one, shown in deliveries),
        *((one.due_about, shown, one.slot) for one, shown in pieces if one.due_about is not None),
    ]
    here = [shown for one, shown in pieces if one.is_offered and slot in ("", one.slot)]
    return UsedPage(
        here=tuple(sorted(here, key=lambda one: one.is_held)),
        due=tuple(shown for _, shown, place in sorted(due, key=lambda one: one[0]) if slot in ("", place)),
        slot=slot,
        slot_word=SLOT_WORDS.get(slot, ""),
        slots=tuple((one, SLOT_WORDS[one]) for one in PIECE_SLOTS if one in slots),
    )


def piece_offer(work: Work, piece: Piece, units: Units, photo: PhotoShown | None, *, is_held: bool) -> OfferShown:
    """A used piece as customers are shown it."""
    terms = work.catalogue.policy.shop
    return OfferShown(
        address=f"/used/pieces/{piece.id}",
        word=SLOT_WORDS[piece.slot],
        size=size_of(piece.slot, piece.measures, units),
        title=title_of_piece(piece),
        maker=piece.maker,
        facts=f"{CONDITION_WORDS[piece.condition]}, {hours_words(piece.hours)}; {SAID_SOURCES[piece.source]}",
        due=due_words(piece.due_about, work.today, terms) if piece.due_about else "",
        price=piece.price,
        photo=photo,
        is_held=is_held,
    )


def delivery_offer(work: Work, delivery: Delivery, units: Units) -> OfferShown:
    """A part to come as customers are shown it."""
    part = work.catalogue.parts[delivery.sku]
    left = still_free(work, delivery)
    return OfferShown(
        address=f"/used/expected/{delivery.id}",
        word=SLOT_WORDS[part.slot],
        size=size_of(part.slot, part.gear.measures, units),
        title=part.name,
        maker=part.maker,
        facts="new",
        due=due_words(delivery.due_about, work.today, work.catalogue.policy.shop),
        price=part.price_on(work.today),
        photo=None,
        is_held=left == 0,
        left=left,
    )


# One of them, and a request to hold it.


@router.get("/used/pieces/{number}")
def show_piece(request: Request, number: RowNumber, shop: ShopOf, pages: PagesOf) -> Response:
    """A used piece, with the form to ask to hold it."""
    with shop.reading() as work:
        page = _piece_page(request, work, number)
        return pages.show(request, "pieces/offer.html", page, work.catalogue.policy.shop)


def _piece_page(
    request: Request, work: Work, number: int, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()
) -> OfferPage:
    piece = read_piece(work, number)
    if not piece.can_be_reserved and not faults:
        raise NotFound("piece", NO_PIECE)
    photos = photos_shown(photos_of(work, about_piece(number)), title_of_piece(piece))
    is_held = reservation_of_piece(work, number) is not None or not piece.can_be_reserved
    return OfferPage(
        offer=piece_offer(work, piece, units_of(request), photos[0] if photos else None, is_held=is_held),
        photos=photos,
        told=measures_said(piece.slot, piece.measures or {}),
        note=piece.note if piece.state == "for_sale" else "",
        is_margin=piece.scheme == "margin",
        is_used=True,
        before=_told_before(work, title_of_piece(piece), piece.slot, piece.price),
        hold_hours=work.catalogue.policy.hold_unconfirmed_hours,
        key=new_token(),
        typed=typed or {},
        faults=faults,
    )


@dataclass(frozen=True, slots=True)
class _Offered:
    """A piece at its price, as what is told before the purchase is worked out for it."""

    label: str
    slot: str
    charged: Cents


def _told_before(work: Work, label: str, slot: str, price: Cents | None) -> Told | None:
    return None if price is None else told_before(work.catalogue.policy.sales, [_Offered(label, slot, price)])


@router.get("/used/expected/{number}")
def show_delivery(request: Request, number: RowNumber, shop: ShopOf, pages: PagesOf) -> Response:
    """A part to come, with the form to ask to hold one."""
    with shop.reading() as work:
        page = _delivery_page(request, work, number)
        return pages.show(request, "pieces/offer.html", page, work.catalogue.policy.shop)


def _delivery_page(
    request: Request, work: Work, number: int, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()
) -> OfferPage:
    delivery = read_delivery(work, number)
    if delivery.is_ended and not faults:
        raise NotFound("delivery", NO_DELIVERY)
    part = work.catalogue.parts[delivery.sku]
    return OfferPage(
        offer=delivery_offer(work, delivery, units_of(request)),
        photos=(),
        told=measures_said(part.slot, part.gear.measures),
        note="",
        is_margin=False,
        is_used=False,
        before=_told_before(work, part.name, part.slot, part.price_on(work.today)),
        hold_hours=work.catalogue.policy.hold_unconfirmed_hours,
        key=new_token(),
        typed=typed or {},
        faults=faults,
    )


@router.post("/used/pieces/{number}/hold")
def hold_piece(request: Request, number: RowNumber, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Ask to hold a used piece."""

    def verb(work: Work, contact: Contact, key: str) -> Reservation:
        return reserve_piece(work, number, contact, key)

    return _asked(request, form, shop, pages, number, verb, _piece_page)


@router.post("/used/expected/{number}/hold")
def hold_delivery(request: Request, number: RowNumber, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Ask to hold one of a delivery."""

    def verb(work: Work, contact: Contact, key: str) -> Reservation:
        return reserve_delivery(work, number, contact, key)

    return _asked(request, form, shop, pages, number, verb, _delivery_page)


def _asked(
    request: Request,
    form: Form,
    shop: ShopOf,
    pages: PagesOf,
    number: int,
    verb: Callable[[Work, Contact, str], Reservation],
    page_of: Callable[[Request, Work, int, Mapping[str, str], tuple[Fault, ...]], OfferPage],
) -> Response:
    """Ask to hold something, and on to the page of the request; what stands against it is said, with what was typed."""
    typed = {name: text_in(form, name) for name in FIELD_WORDS}
    try:
        with shop.writing() as work:
            contact = read_contact(typed["name"], typed["email"], typed["phone"])
            one = verb(work, contact, text_in(form, "key"))
        return see_other(f"/used/reservations/{one.token}")
    except InvalidInput as error:
        faults, status = error.faults, 422
    except Conflict as error:
        faults, status = error.faults, 409
    except TooMany as error:
        faults, status = (Fault(error.field, str(error), error.accepted),), 429
    with shop.reading() as work:
        page = page_of(request, work, number, typed, faults)
        return pages.show(request, "pieces/offer.html", page, work.catalogue.policy.shop, status=status)


# How a request stands.


@router.get("/used/reservations/{token}")
def show_reserved(request: Request, token: str, shop: ShopOf, pages: PagesOf) -> Response:
    """How a request to hold stands."""
    with shop.reading() as work:
        page = _reserved_page(work, reservation_for(work, token))
        answer = pages.show(request, "pieces/reserved.html", page, work.catalogue.policy.shop)
    answer.headers.update(PRIVATE)
    return answer


def _reserved_page(work: Work, what: Reserved) -> ReservedPage:
    one, terms = what.reservation, work.catalogue.policy.shop
    part = work.catalogue.parts.get(what.sku) if what.delivery else None
    price = part.price_on(work.today) if part else what.piece.price if what.piece else None
    due, is_open = what.due_about, one.is_open(work.now)
    return ReservedPage(
        token=one.token,
        what=what_words(work, what),
        slot_word=SLOT_WORDS[part.slot if part else what.slot],
        state="ended" if what.is_gone and is_open else one.state_at(work.now),
        until=moment_words(one.expires_at, terms),
        because=one.ended_because or "it is not for sale after all",
        due=due_words(due, work.today, terms) if due and is_open else "",
        price=price,
        address=_address_of(what),
        owned=token_of_bought(work, one) if one.state_at(work.now) == "bought" else "",
    )


def _address_of(what: Reserved) -> str:
    """The page of what is set aside, while there is one."""
    if what.piece is not None:
        return f"/used/pieces/{what.piece.id}" if what.piece.can_be_reserved else ""
    return f"/used/expected/{what.delivery.id}" if what.delivery is not None and not what.delivery.is_ended else ""


@router.post("/used/reservations/{token}/take-back")
def take_back(token: str, shop: ShopOf) -> Response:
    """Take a request to hold back."""
    with shop.writing() as work:
        take_reservation_back(work, token)
    return see_other(f"/used/reservations/{token}")
