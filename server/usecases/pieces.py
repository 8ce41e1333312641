"""Used and demonstration pieces: how they come, what was found of them, what they cost, and their sale under a contract of their own.

Locks are taken in one order: the sale that a piece came with, the piece, its reservation, parts, and the series of papers last.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from server.domain.contracts import DELIVERY
from server.domain.days import day_in_words
from server.domain.deposits import decimal_of
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.money import Cents
from server.domain.periods import whole_months_between
from server.domain.pieces import (
    IN_THE_SHOP,
    MOST_PRICE,
    VALUE_ACCEPTED,
    Details,
    Inspection,
    Piece,
    Source,
    inspected,
    read_details,
    read_inspection,
    scheme_for,
)
from server.domain.reservations import BOUGHT, Reservation, due_faults, kept_until
from server.domain.sales import CONCLUDED, MEANS_WORDS, Concluded, Item, PaperLine, Sale
from server.domain.slots import CORE_SLOTS
from server.domain.stock import Contact, Movement
from server.domain.trade_in import fetches
from server.outside.photos import Photo
from server.persistence.photos import place_photos
from server.persistence.pieces import (
    add_piece,
    load_piece,
    load_pieces,
    piece_with_token,
    pieces_from_sale,
    sale_of_piece,
    save_piece,
)
from server.persistence.quotes import is_code_taken, lock_key
from server.persistence.reservations import end_reservation, extend_reservation, open_reservation_of_piece
from server.persistence.sales import add_sale, load_sales, sale_under, sales_with_code
from server.persistence.stock import keep_hold, load_free, lock_parts, save_movements
from server.usecases.photos import drop_photo, keep_photos, photos_of
from server.usecases.quotes import read_quote
from server.usecases.reservations import (
    NO_PIECE,
    let_go_of_piece,
    locked_reservation,
    read_reservation,
    reserved,
    tell_arrived,
    tell_due,
)
from server.usecases.sales import (
    CONCLUDED_ACCEPTED,
    Payment,
    address_faults,
    check_key,
    issue,
    locked_sale,
    mark,
    money_of,
    payment_faults,
    read_sale,
    settle,
    tell_owner,
    tidy_address,
)
from server.usecases.work import Work, is_token, new_code, new_token

MOST_PHOTOS = 6
GONE = "This piece is not in the shop any more."
CHANGED_PRICE = "The price has changed meanwhile: look at it again."


def about_piece(number: int) -> str:
    """What the photographs of a piece are kept under."""
    return f"piece:{number}"


# Reading.


def read_piece(work: Work, number: int) -> Piece:
    """A piece by its number, with the rate of VAT of today while it is not sold; raises `NotFound`."""
    piece = load_piece(work.session, number)
    if piece is None:
        raise NotFound("piece", NO_PIECE)
    return _at_todays_rate(work, piece)


def _at_todays_rate(work: Work, piece: Piece) -> Piece:
    return piece if piece.state == "sold" else replace(piece, percent=work.catalogue.policy.shop.vat_percent)


def list_pieces(work: Work, slot: str = "") -> list[Piece]:
    """The pieces of a slot, or all of them, the newest first."""
    return load_pieces(work.session, slot=slot)


def offered_pieces(work: Work, slot: str = "") -> list[Piece]:
    """The pieces that customers are shown: for sale at a price, or to come about a day."""
    return [one for one in load_pieces(work.session, slot=slot, states=("for_sale", "expected")) if one.can_be_reserved]


def pieces_of_sale(work: Work, sale_id: int) -> list[Piece]:
    """The pieces that came, or are to come, with a sale, in order."""
    return pieces_from_sale(work.session, sale_id)


def sales_they_come_with(work: Work, pieces: Iterable[Piece]) -> dict[int, Sale]:
    """The sales that pieces came with, or are to come with, by number."""
    numbers = sorted({one.from_sale for one in pieces if one.from_sale is not None})
    return {sale.id: sale for sale in load_sales(work.session, numbers)} if numbers else {}


def sold_with(work: Work, number: int) -> int | None:
    """The number of the sale of a piece, or None."""
    return sale_of_piece(work.session, number)


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What such a piece fetches used, in cents, from what it cost new and its age."""

    price_new: Cents
    months: int
    price: Cents


def suggest_price(
    work: Work, piece: Piece, price_new: Cents | None = None, months: int | None = None
) -> Suggestion | None:
    """A price by the trade-in curve, only to be looked at: from what is given or known of the piece; None where too little is."""
    known_price, known_months = _known_of(work, piece)
    price_new = known_price if price_new is None else price_new
    months = known_months if months is None else months
    if piece.slot not in CORE_SLOTS or price_new is None or months is None:
        return None
    terms = work.catalogue.policy.trade_in
    return Suggestion(price_new, months, fetches(price_new, piece.slot, months, terms, piece.condition))


def _known_of(work: Work, piece: Piece) -> tuple[Cents | None, int | None]:
    """What a piece cost new and its age in months, as far as the catalogue or the quote it came with tell."""
    part = work.catalogue.parts.get(piece.sku)
    price_new = part.price if part is not None else None
    if piece.source != "trade_in" or piece.from_sale is None or piece.from_item is None:
        return price_new, None
    sale = read_sale(work, piece.from_sale)
    if not sale.quote_token:
        return price_new, None
    trades = read_quote(work, sale.quote_token).answers.get("trades") or ()
    if piece.from_item >= len(trades):
        return price_new, None
    given = trades[piece.from_item]
    return given["price_new"], given["months"] + whole_months_between(sale.made_on, work.today)


# How they come, and what the desk says of them.


def add_bought_piece(
    work: Work, raw: Mapping[str, Any], paid: object, photos: Sequence[Photo], key: str, *, before: Sequence[Fault] = ()
) -> Piece:
    """A piece bought from a private person: for sale under the margin scheme; once for each form.

    Raises `InvalidInput` with every fault, those that the door has found `before` first.
    """
    return _add(work, "bought", raw, paid, photos, key, before)


def add_demo_piece(
    work: Work, raw: Mapping[str, Any], photos: Sequence[Photo], key: str, *, before: Sequence[Fault] = ()
) -> Piece:
    """A piece taken out of the stock for demonstration, which books it; its VAT is on the whole price. Otherwise as bought ones."""
    return _add(work, "demo", raw, None, photos, key, before)


def _add(
    work: Work,
    source: Source,
    raw: Mapping[str, Any],
    paid: object,
    photos: Sequence[Photo],
    key: str,
    before: Sequence[Fault],
) -> Piece:
    if not is_token(key):
        raise InvalidInput([Fault("key", "The form has lost its key: load the page again.")])
    lock_key(work.session, f"piece:{key}")
    done = piece_with_token(work.session, key)
    if done is not None:
        return read_piece(work, done)
    sku = str(raw.get("sku") or "").strip()
    part = work.catalogue.parts.get(sku)
    faults = list(before)
    if part is not None:
        lock_parts(work.session, [sku])
        raw = {**raw, "slot": part.slot, "name": raw.get("name") or part.name, "maker": raw.get("maker") or part.maker}
    if (part is None and sku) or (source == "demo" and part is None):
        faults.append(Fault("sku", "The catalogue has no such SKU.", "a SKU of the catalogue"))
        raw = {**raw, "slot": raw.get("slot") or "board", "name": raw.get("name") or sku}
    elif source == "demo" and load_free(work.session, work.now).get(sku, 0) < 1:
        faults.append(Fault("sku", "None of it is free: all are sold or set aside.", "a part in stock"))
    bought = part.cost if source == "demo" and part is not None else paid
    if source == "bought" and not (isinstance(paid, int) and 0 <= paid <= MOST_PRICE):
        faults.append(Fault("paid", "This is not an amount.", VALUE_ACCEPTED))
    details = _read(raw, "", faults)
    assert isinstance(bought, int)  # Anything else was a fault.
    if part is not None and not details.measures:
        details = replace(details, measures=dict(part.gear.measures))
    piece = Piece(
        id=0,
        token=key,
        source=source,
        state="for_sale",
        bought=bought,
        scheme=scheme_for(source),
        percent=work.catalogue.policy.shop.vat_percent,
        slot=details.slot,
        name=details.name,
        maker=details.maker,
        condition=details.condition,
        sku=sku,
        serial=details.serial,
        measures=details.measures,
        hours=details.hours,
        note=details.note,
        price=details.price,
    )
    number = add_piece(work.session, piece, work.now, work.actor)
    if source == "demo":
        moved = Movement(sku, "demo", 1, f"piece {number}")
        save_movements(work.session, [moved], work.now, work.actor)
    keep_photos(work, about_piece(number), photos)
    work.note_deed(f"took in piece {number}, {source}, for {decimal_of(bought)}")
    work.commit()
    return read_piece(work, number)


def _read(raw: Mapping[str, Any], slot: str, faults: list[Fault]) -> Details:
    """The details, or every fault of them with those found before."""
    try:
        details = read_details(raw, slot)
    except InvalidInput as error:
        raise InvalidInput([*faults, *error.faults]) from error
    if faults:
        raise InvalidInput(faults)
    return details


@dataclass(frozen=True, slots=True)
class PhotoChanges:
    """What becomes of a piece's photographs: new ones, tokens of those to delete, and a place for each of the others."""

    new: tuple[Photo, ...] = ()
    drop: tuple[str, ...] = ()
    places: Mapping[str, float] | None = None


def change_piece(
    work: Work,
    number: int,
    raw: Mapping[str, Any],
    due: date | None,
    changes: PhotoChanges = PhotoChanges(),
    *,
    before: Sequence[Fault] = (),
) -> Piece:
    """Say anew what a piece is, how it is, what it costs, when it is due if it is to come, and which photographs show it.

    Raises `NotFound`, `InvalidInput` with every fault, those that the door has found `before` first, or `Conflict` where it is
    gone. What is set aside for somebody gets no dearer.
    """
    piece = _locked(work, number)
    if piece.state not in ("expected", *IN_THE_SHOP):
        raise Conflict([Fault("piece", GONE)])
    faults = list(before)
    if piece.state == "expected" and due is not None and due != piece.due_about:
        faults += due_faults(due, work.today)
    shown = [photo for photo in photos_of(work, about_piece(number)) if photo.token not in changes.drop]
    if len(shown) + len(changes.new) > MOST_PHOTOS:
        words = f"{len(shown)} photographs are kept, and these are {len(changes.new)} more."
        faults.append(Fault("photos", words, f"at most {MOST_PHOTOS} in all"))
    one = open_reservation_of_piece(work.session, number, work.now)
    price = raw.get("price")
    if one is not None and piece.price is not None and (not isinstance(price, int) or price > piece.price):
        faults.append(
            Fault("price", "It is set aside for somebody at this price.", f"at most {money_of(work)(piece.price)}")
        )
    sku = str(raw.get("sku") or "").strip()
    if sku and sku not in work.catalogue.parts:
        faults.append(Fault("sku", "The catalogue has no such SKU.", "a SKU of the catalogue, or nothing"))
    details = _read(raw, piece.slot, faults)
    part = work.catalogue.parts.get(details.sku)
    measures = details.measures or (dict(part.gear.measures) if part is not None and part.slot == piece.slot else {})
    changed = replace(
        piece,
        name=details.name,
        maker=details.maker,
        sku=details.sku,
        serial=details.serial,
        condition=details.condition,
        hours=details.hours,
        note=details.note,
        price=details.price,
        measures=measures,
        due_about=due if piece.state == "expected" else None,
    )
    save_piece(work.session, changed, work.now)
    if one is not None and changed.due_about != piece.due_about:
        _wait_until(work, one, changed.due_about)
    for token in changes.drop:
        drop_photo(work, about_piece(number), token)
    keep_photos(work, about_piece(number), changes.new)
    if changes.places:
        place_photos(work.session, about_piece(number), changes.places)
    if changed.price != piece.price:
        work.note_deed(f"changed the price of piece {number}")
    work.commit()
    return read_piece(work, number)


def _wait_until(work: Work, one: Reservation, due: date | None) -> None:
    if one.is_confirmed:
        extend_reservation(work.session, one.id, kept_until(work.now, due, work.catalogue.policy))
    work.session.flush()
    words = day_in_words(due) if due else "a day that we do not know yet"
    tell_due(work, reserved(work, read_reservation(work, one.id)), words)


def _locked(work: Work, number: int) -> Piece:
    piece = load_piece(work.session, number, to_change=True)
    if piece is None:
        raise NotFound("piece", NO_PIECE)
    return _at_todays_rate(work, piece)


def throw_away(work: Work, number: int, why: str) -> Piece:
    """Take a piece out of the sale for good, with a reason; raises `NotFound`, `InvalidInput`, or `Conflict` where it is set aside."""
    piece = _locked(work, number)
    if piece.state == "scrapped":
        return piece
    why = why.strip()
    if not 1 <= len(why) <= 200 or not why.isprintable():
        raise InvalidInput([Fault("scrap_why", "Say why it is not sold on.", "one line of 1 to 200 characters")])
    if piece.state not in IN_THE_SHOP:
        raise Conflict([Fault("piece", GONE)])
    if open_reservation_of_piece(work.session, number, work.now) is not None:
        raise Conflict([Fault("piece", "It is set aside for somebody: let go of that first.")])
    note = "\n".join(line for line in (piece.note, f"Thrown away: {why}") if line)
    save_piece(work.session, replace(piece, state="scrapped", note=note, price=None), work.now)
    work.note_deed(f"threw away piece {number}")
    work.commit()
    return read_piece(work, number)


# Looking at what has come.


def inspect_piece(work: Work, number: int, raw: Mapping[str, Any], key: str) -> Piece:
    """Write down what was found of a piece that came; of old gear that was traded in the value is firm from now on.

    The difference to what was agreed goes into the sale it came with, once, and the customer is told. Raises `NotFound`, `InvalidInput`
    with every fault, or `Conflict` where it was looked at already or the sale has ended meanwhile.
    """
    check_key(key)
    seen = read_piece(work, number)
    sale = locked_sale(work, seen.from_sale) if seen.source == "trade_in" and seen.from_sale is not None else None
    piece = _locked(work, number)
    if sale is not None and sale.done_under(key) is not None:
        return piece
    if sale is not None and _is_firm(sale, number):
        sale = None  # It was taken in long ago, sold on, and has come back from whoever bought it.
    found = read_inspection(piece, raw, has_value=sale is not None)
    if piece.state not in ("expected", "to_inspect"):
        if sale is None and _was_found_so(piece, found):
            return piece
        raise Conflict([Fault("piece", "This piece was looked at already.")])
    if sale is not None and sale.state in ("withdrawn", "returned"):
        words = "The sale that it belongs to has ended meanwhile: the old gear stays, or goes back, with its owner."
        raise Conflict([Fault("piece", words)])
    after = inspected(piece, found)
    save_piece(work.session, after, work.now)
    if sale is not None:
        _firm(work, sale, piece, after, found, key)
    if after.state == "for_sale":
        _tell_waiting(work, number)
    else:
        let_go_of_piece(work, number, "We looked at it when it came, and it is not for sale.")
    work.note_deed(f"looked over piece {number}: {after.state.replace('_', ' ')}, {decimal_of(after.bought)}")
    work.commit()
    return read_piece(work, number)


def awaits_value(work: Work, piece: Piece) -> bool:
    """Whether a piece was traded in and what it counts for is not firm yet."""
    if piece.source != "trade_in" or piece.from_sale is None or piece.state not in ("expected", "to_inspect"):
        return False
    return not _is_firm(read_sale(work, piece.from_sale), piece.id)


def gear_to_look_at(work: Work, sale: Sale) -> list[Piece]:
    """The old gear of a sale that nobody has looked at yet, so that what it counts for is not firm."""
    there = pieces_from_sale(work.session, sale.id)
    return [piece for piece in there if awaits_value(work, piece)]


def _is_firm(sale: Sale, number: int) -> bool:
    return any(one.kind == "traded_in" and one.about.get("piece") == number for one in sale.marks)


def _was_found_so(piece: Piece, found: Inspection) -> bool:
    """Whether this is what a piece was found to be: then the form was only sent again."""
    is_same = piece.condition == found.condition and found.hours in (None, piece.hours)
    return is_same and piece.state == ("scrapped" if found.faults else "for_sale")


def _firm(work: Work, sale: Sale, piece: Piece, after: Piece, found: Inspection, key: str) -> None:
    """Put the firm value of old gear in place of the one agreed, and tell the customer where it is another."""
    difference = after.bought - piece.bought
    about = {"piece": piece.id, "agreed": piece.bought, "value": after.bought, "outcome": after.state}
    mark(work, sale.id, "traded_in", key, found.because, about)
    if not difference:
        return
    sale = settle(work, sale, "trade_in", difference, found.because, checked=False)
    said = money_of(work)
    tell_owner(
        work,
        sale,
        "gear_valued",
        {
            "what": piece.name or piece.slot.replace("_", " "),
            "agreed": said(piece.bought),
            "value": said(after.bought),
            "because": found.because,
            "left": f"Left to pay: {said(sale.owed)}" if sale.owed > 0 else "",
        },
    )


def _tell_waiting(work: Work, number: int) -> None:
    """Tell somebody who waits for a piece that it has come."""
    one = open_reservation_of_piece(work.session, number, work.now)
    if one is None:
        return
    until = kept_until(work.now, None, work.catalogue.policy)
    extend_reservation(work.session, one.id, until, confirmed_at=work.now)
    work.session.flush()
    tell_arrived(work, reserved(work, read_reservation(work, one.id)))


# Selling.


@dataclass(frozen=True, slots=True)
class Selling:
    """How a piece is sold: to whom, where, for how much as the form showed it, what is paid at once, and where it is sent, if it is."""

    contact: Contact
    concluded: Concluded
    price: Cents
    payment: Payment
    zone: str = ""
    address: str = ""
    may_write: bool = False
    reservation: int | None = None
    was_here: bool = False
    """Whether they stood in the shop when they bought it, though it is sent to them."""


def sell_piece(work: Work, number: int, selling: Selling, key: str) -> Sale:
    """Sell a used piece: a contract with one item, its invoice, and what is paid; once for each form.

    Raises `NotFound`, `InvalidInput` with every fault, or `Conflict` where it is not for sale, its price has changed, or it is set
    aside for somebody else.
    """
    check_key(key)
    piece = _locked(work, number)
    there = sale_under(work.session, key)
    if there is not None:
        return read_sale(work, there)
    if not piece.is_offered or piece.price is None:
        raise Conflict(
            [Fault("piece", GONE if piece.state == "sold" else "This piece is not for sale at a price yet.")]
        )
    one = open_reservation_of_piece(work.session, number, work.now)
    if one is not None and one.id != selling.reservation:
        raise Conflict([Fault("piece", "It is set aside for somebody: sell it to them, or let go of that first.")])
    item = Item(
        number=1,
        sku=piece.sku,
        label=_label(piece),
        slot=piece.slot,
        list=piece.price,
        charged=piece.price,
        alone=piece.price,
        percent=piece.percent,
        scheme=piece.scheme,
        bought=piece.bought if piece.scheme == "margin" else 0,
        piece=piece.id,
        serial=piece.serial,
    )
    sale = _contract(work, item, None, selling, key)
    save_piece(work.session, replace(piece, state="sold"), work.now)
    if one is not None:
        end_reservation(work.session, one.id, work.now, BOUGHT)
    return _paid(work, sale, item, selling, key)


def sell_reserved(work: Work, number: int, selling: Selling, key: str) -> Sale:
    """Sell a part to whom it was set aside for when its delivery came; otherwise as `sell_piece`."""
    check_key(key)
    lock_key(work.session, f"contract:{key}")
    there = sale_under(work.session, key)
    if there is not None:
        return read_sale(work, there)
    one = locked_reservation(work, number)
    what = reserved(work, one)
    part = work.catalogue.parts.get(what.sku)
    if what.delivery is None or one.hold is None or part is None:
        raise Conflict([Fault("reservation", "It has not come yet: it is sold once it is here.")])
    price = part.price_on(work.today)
    percent = work.catalogue.policy.shop.vat_percent
    item = Item(
        number=1,
        sku=part.sku,
        label=f"{part.name}, {part.maker}",
        slot=part.slot,
        list=part.price,
        charged=price,
        alone=price,
        percent=percent,
        is_held=True,
    )
    sale = _contract(work, item, one.hold, selling, key)
    keep_hold(work.session, one.hold, work.now)
    end_reservation(work.session, one.id, work.now, BOUGHT)
    return _paid(work, sale, item, selling, key)


def _label(piece: Piece) -> str:
    named = ", ".join(word for word in (piece.name, piece.maker) if word)
    return f"{named} ({'demonstration' if piece.source == 'demo' else 'used'})"


def _contract(work: Work, item: Item, hold: int | None, selling: Selling, key: str) -> Sale:
    """The contract with its one item, after everything was checked."""
    faults = [*_faults_of(work, selling), *payment_faults(selling.payment)]
    if faults:
        raise InvalidInput(faults)
    if selling.price != item.charged:
        raise Conflict([Fault("price", f"{CHANGED_PRICE} It is {money_of(work)(item.charged)} now.")])
    policy = work.catalogue.policy
    code = new_code(lambda code: is_code_taken(work.session, code) or bool(sales_with_code(work.session, code)))
    sale = Sale(
        id=0,
        token=new_token(),
        code=code,
        quote_token="",
        revision=None,
        concluded=selling.concluded,
        made_at=work.now,
        made_on=work.today,
        contact=selling.contact,
        delivery="deliver" if selling.zone else "collect",
        zone=selling.zone or policy.shop.home_zone,
        address=tidy_address(selling.address),
        tier_name="",
        tier_percent=0,
        agreed_share=(0, 0),
        policy_version=policy.version,
        may_write=selling.may_write,
        items=(item,),
    )
    number = add_sale(work.session, sale, key, hold)
    mark(work, number, "confirmed", key, about={"concluded": selling.concluded})
    return read_sale(work, number)


def _faults_of(work: Work, selling: Selling) -> list[Fault]:
    faults = []
    if selling.concluded not in CONCLUDED:
        faults.append(Fault("concluded", "This is not a way to make a contract here.", CONCLUDED_ACCEPTED))
    zones = work.catalogue.zones
    if selling.zone and selling.zone not in zones:
        faults.append(Fault("zone", "The shop delivers to no such zone.", "one of: " + ", ".join(zones)))
    if selling.zone and selling.concluded == "counter" and not selling.was_here:
        words = (
            "It is sent to them: then it was bought at a distance, unless they stood in the shop and bought it there."
        )
        faults.append(Fault("concluded", words, "at a distance, or the tick that they were in the shop"))
    faults += address_faults(selling.address, is_sent=bool(selling.zone))
    if selling.payment.amount < 0:
        faults.append(Fault("amount", "This is not an amount to pay.", "an amount from 0.01 on"))
    return faults


def _paid(work: Work, sale: Sale, item: Item, selling: Selling, key: str) -> Sale:
    """The invoice and the first payment; the customer is told, and all of it is committed."""
    lines = [PaperLine(item.label, item.charged, item.percent, item.scheme, item.bought, item.number)]
    fee = work.catalogue.zones[selling.zone].fee if selling.zone else 0
    if fee:
        lines.append(PaperLine(DELIVERY, fee, work.catalogue.policy.shop.vat_percent))
    sale = issue(work, sale, "invoice", lines)
    paid = selling.payment
    said = f"{decimal_of(paid.amount)}, {MEANS_WORDS[paid.means]}"
    about = {"amount": paid.amount, "means": paid.means, "said": said}
    mark(work, sale.id, "payment", f"{key[:90]}:payment", about=about)
    sale = settle(work, sale, paid.means, paid.amount, paid.note)
    tell_owner(
        work,
        sale,
        "piece_bought",
        {
            "what": item.label,
            "paid": money_of(work)(paid.amount),
            "left": f"Left to pay: {money_of(work)(sale.owed)}" if sale.owed > 0 else "",
        },
    )
    work.commit()
    return sale
