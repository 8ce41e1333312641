"""Setting a used piece, or one of an expected delivery, aside for somebody who asks; nothing is ever promised twice.

Locks are taken in one order: the contact, then the piece or the delivery, then parts.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from server.domain.days import moment_in_words
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound, TooMany
from server.domain.pieces import Piece
from server.domain.reservations import TAKEN_BACK, Delivery, Reservation, asked_until, kept_until
from server.domain.stock import MOST_OPEN_HOLDS, Contact
from server.persistence.expected import load_delivery
from server.persistence.pieces import load_piece, sale_of_piece
from server.persistence.quotes import lock_key
from server.persistence.reservations import (
    add_reservation,
    end_reservation,
    extend_reservation,
    load_open_reservations,
    load_reservation,
    open_reservation_of_piece,
    open_reservations_for,
    reservation_at,
    reservation_under,
    waiting_for_delivery,
)
from server.persistence.sales import load_sale, sale_with_hold
from server.persistence.stock import end_hold, extend_hold, lock_contact, open_holds_for
from server.usecases.messages import tell
from server.usecases.sales import check_key
from server.usecases.work import Work, is_token, new_token

NO_PIECE = "There is no such piece (any more)."
NO_DELIVERY = "There is no such delivery."
NO_RESERVATION = "There is no such request to hold (any more)."
LONGEST_REASON = 200


@dataclass(frozen=True, slots=True)
class Reserved:
    """A reservation with what it sets aside: a piece, or a delivery of a part."""

    reservation: Reservation
    piece: Piece | None
    delivery: Delivery | None

    @property
    def slot(self) -> str:
        """The slot of the piece; empty for a delivery, whose part says it."""
        return self.piece.slot if self.piece else ""

    @property
    def sku(self) -> str:
        """The SKU of the delivery's part, or of the piece where it is one of ours."""
        return self.delivery.sku if self.delivery else self.piece.sku if self.piece else ""

    @property
    def is_gone(self) -> bool:
        """Whether the piece went another way meanwhile, home with its owner for instance, though it is still set aside."""
        return self.piece is not None and self.piece.state in ("sold", "scrapped", "given_back")

    @property
    def due_about(self) -> date | None:
        """About when it is due; None where it is in the shop."""
        if self.reservation.hold is not None:
            return None
        if self.delivery is not None:
            return self.delivery.due_about
        return self.piece.due_about if self.piece and self.piece.state == "expected" else None


def reserve_piece(work: Work, number: int, contact: Contact, key: str) -> Reservation:
    """Ask to set a used piece aside: one that is for sale, or that is to come about a day; once for each form.

    A request, not yet a contract; it lapses after the policy's hours unless the shop confirms it. Raises `InvalidInput` (no key),
    `NotFound`, `TooMany`, or `Conflict` where it is sold or set aside for somebody else.
    """
    done = _begin(work, contact, key)
    if done is not None:
        return done
    piece = load_piece(work.session, number, to_change=True)
    if piece is None or not (piece.can_be_reserved or piece.state == "sold"):
        raise NotFound("piece", NO_PIECE)
    if not piece.can_be_reserved:
        raise Conflict([Fault("piece", "This piece was sold meanwhile.", "another piece")])
    if open_reservation_of_piece(work.session, number, work.now) is not None:
        words = "Somebody else was quicker: this piece is set aside for them. Call us in case they let go of it."
        raise Conflict([Fault("piece", words, "another piece")])
    return _keep(work, contact, key, piece=number)


def reserve_delivery(work: Work, number: int, contact: Contact, key: str) -> Reservation:
    """Ask to set one piece of an expected delivery aside; otherwise as `reserve_piece`."""
    done = _begin(work, contact, key)
    if done is not None:
        return done
    delivery = load_delivery(work.session, number, to_change=True)
    if delivery is None:
        raise NotFound("delivery", NO_DELIVERY)
    if delivery.is_ended:
        raise Conflict([Fault("delivery", "This delivery has come or was called off: look at what is in stock.")])
    if still_free(work, delivery) <= 0:
        words = "All that is to come is set aside for others. Call us in case one is let go of."
        raise Conflict([Fault("delivery", words, "another part")])
    return _keep(work, contact, key, delivery=number)


def still_free(work: Work, delivery: Delivery) -> int:
    """How many of a delivery are still to come and promised to nobody."""
    return max(0, delivery.to_come - len(waiting_for_delivery(work.session, delivery.id, work.now)))


def _begin(work: Work, contact: Contact, key: str) -> Reservation | None:
    """What the form has made before, or else the contact locked and found to have less than the most open."""
    check_key(key)
    lock_key(work.session, f"reservation:{key}")
    done = reservation_under(work.session, key)
    if done is not None:
        return read_reservation(work, done)
    lock_contact(work.session, contact)
    opened = open_reservations_for(work.session, contact, work.now) + open_holds_for(work.session, contact, work.now)
    if opened >= MOST_OPEN_HOLDS:
        raise TooMany(
            "email" if contact.email else "phone",
            f"There are {MOST_OPEN_HOLDS} requests open under this address or number already. Take one back, or call us.",
            f"at most {MOST_OPEN_HOLDS} open requests",
        )
    return None


def _keep(
    work: Work, contact: Contact, key: str, *, piece: int | None = None, delivery: int | None = None
) -> Reservation:
    until = asked_until(work.now, work.catalogue.policy)
    asked = Reservation(0, new_token(), piece, delivery, contact, work.now, until)
    number = add_reservation(work.session, asked, key)
    work.commit()
    return read_reservation(work, number)


# Reading.


def read_reservation(work: Work, number: int) -> Reservation:
    """A reservation by its number; raises `NotFound`."""
    found = load_reservation(work.session, number)
    if found is None:
        raise NotFound("reservation", NO_RESERVATION)
    return found


def reservation_for(work: Work, token: str) -> Reserved:
    """The reservation at its address, with what it sets aside; raises `NotFound`."""
    number = reservation_at(work.session, token) if is_token(token) else None
    if number is None:
        raise NotFound("token", NO_RESERVATION)
    return reserved(work, read_reservation(work, number))


def reserved(work: Work, one: Reservation) -> Reserved:
    """A reservation with what it sets aside."""
    return Reserved(
        one,
        load_piece(work.session, one.piece) if one.piece is not None else None,
        load_delivery(work.session, one.delivery) if one.delivery is not None else None,
    )


def token_of_bought(work: Work, one: Reservation) -> str:
    """The address of the sale that a reservation ended with; empty where it did not."""
    number = sale_of_piece(work.session, one.piece) if one.piece is not None else None
    if one.piece is None and one.hold is not None:
        number = sale_with_hold(work.session, one.hold)
    sale = load_sale(work.session, number) if number is not None else None
    is_theirs = sale is not None and (sale.contact.email_key, sale.contact.phone_key) == (
        one.contact.email_key,
        one.contact.phone_key,
    )
    return sale.token if sale is not None and is_theirs else ""


def open_reservations(work: Work) -> list[Reservation]:
    """The reservations open now, in the order they were made."""
    return load_open_reservations(work.session, work.now)


def reservation_of_piece(work: Work, number: int) -> Reservation | None:
    """The reservation of a piece that is open now, or None."""
    return open_reservation_of_piece(work.session, number, work.now)


# What the desk and the customer do.


def confirm_reservation(work: Work, number: int) -> Reservation:
    """The shop confirms a request: it stays aside for the policy's days, of what is due counted from that day; told once.

    Raises `NotFound` where there is none, and `Conflict` where it lapsed or ended.
    """
    one = locked_reservation(work, number)
    if not one.is_confirmed:
        what = reserved(work, one)
        until = kept_until(work.now, what.due_about, work.catalogue.policy)
        if one.hold is not None:
            extend_hold(work.session, one.hold, work.now, until, work.actor)
        extend_reservation(work.session, number, until, confirmed_at=work.now)
        tell_held(work, reserved(work, read_reservation(work, number)))
        work.note_deed(f"confirmed reservation {number}")
    work.commit()
    return read_reservation(work, number)


def release_reservation(work: Work, number: int, why: str) -> None:
    """The shop lets go of a reservation, once, with a reason that who asked is told. Raises `NotFound`, `InvalidInput`, `Conflict`."""
    from_desk = why.strip()
    if not 1 <= len(from_desk) <= LONGEST_REASON or not from_desk.isprintable():
        raise InvalidInput(
            [Fault("why", "Say why: they are told.", f"one line of at most {LONGEST_REASON} characters")]
        )
    if read_reservation(work, number).ended_because == from_desk:
        return
    one = locked_reservation(work, number)
    what = reserved(work, one)
    let_go(work, one, from_desk)
    work.note_deed(f"let go of reservation {number}")
    tell_let_go(work, what, from_desk)
    work.commit()


def take_reservation_back(work: Work, token: str) -> None:
    """The customer takes a request back; nothing happens where it has ended already. Raises `NotFound`."""
    found = reservation_for(work, token).reservation
    _lock_what(work, found)
    locked = load_reservation(work.session, found.id, to_change=True)
    if locked is not None and locked.is_open(work.now):
        let_go(work, locked, TAKEN_BACK)
    work.commit()


def _lock_what(work: Work, one: Reservation) -> None:
    """Lock what a reservation sets aside, before the reservation itself."""
    if one.piece is not None:
        load_piece(work.session, one.piece, to_change=True)
    if one.delivery is not None:
        load_delivery(work.session, one.delivery, to_change=True)


def locked_reservation(work: Work, number: int) -> Reservation:
    """An open reservation that nobody else changes meanwhile, nor what it sets aside; raises `NotFound` or `Conflict`."""
    _lock_what(work, read_reservation(work, number))
    one = load_reservation(work.session, number, to_change=True)
    assert one is not None
    if not one.is_open(work.now):
        raise Conflict([Fault("reservation", "This request has lapsed or ended: it sets nothing aside any more.")])
    return one


def let_go_of_piece(work: Work, piece: int, because: str) -> None:
    """End the reservation of a piece that goes another way, and tell whoever waits for it.

    The piece has to be locked. It does not commit.
    """
    one = open_reservation_of_piece(work.session, piece, work.now)
    if one is None:
        return
    what = reserved(work, one)
    let_go(work, one, because)
    tell_let_go(work, what, because)


def let_go(work: Work, one: Reservation, because: str) -> None:
    """End a reservation and what it sets aside in stock. It does not commit."""
    end_reservation(work.session, one.id, work.now, because)
    if one.hold is not None:
        end_hold(work.session, one.hold, work.now, because, work.actor)


def what_words(work: Work, what: Reserved) -> str:
    """What is set aside, by its name and maker."""
    if what.piece is not None:
        return ", ".join(word for word in (what.piece.name, what.piece.maker) if word)
    part = work.catalogue.parts.get(what.sku)
    return f"{part.name}, {part.maker}" if part is not None else what.sku


def tell_held(work: Work, what: Reserved) -> None:
    """Tell somebody until when what they asked for is set aside. It does not commit."""
    local = what.reservation.expires_at.astimezone(work.zone)
    _tell(work, "piece_held", what, {"until": moment_in_words(local)})


def tell_let_go(work: Work, what: Reserved, because: str) -> None:
    """Tell somebody that what they asked for is not set aside any more. It does not commit."""
    _tell(work, "piece_let_go", what, {"because": because})


def tell_arrived(work: Work, what: Reserved) -> None:
    """Tell somebody that what they wait for has come. It does not commit."""
    local = what.reservation.expires_at.astimezone(work.zone)
    _tell(work, "piece_arrived", what, {"until": moment_in_words(local)})


def tell_due(work: Work, what: Reserved, due: str) -> None:
    """Tell somebody that what they wait for is due about another day. It does not commit."""
    _tell(work, "piece_due", what, {"due": due})


def _tell(work: Work, kind: str, what: Reserved, values: dict[str, str]) -> None:
    one = what.reservation
    tell(
        work,
        kind,
        to_name=one.contact.name,
        to_email=one.contact.email,
        about=f"reservation:{one.id}",
        values={"what": what_words(work, what), "link": f"/used/reservations/{one.token}", **values},
    )
