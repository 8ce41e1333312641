"""The form by which the desk sells a used piece, or a part that came for somebody: to whom, where, and what is paid at once."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

from server.domain.errors import Fault, InvalidInput
from server.domain.money import Cents
from server.domain.reservations import Reservation
from server.domain.sales import CONCLUDED, CONCLUDED_WORDS, MEANS_WORDS, MONEY, Concluded, Means
from server.domain.stock import Contact, read_contact
from server.usecases.pieces import Selling
from server.usecases.sales import CONCLUDED_ACCEPTED, Payment, money_of, payment_faults
from server.usecases.work import Work
from server.web.pages.forms import Form, cents, text_in

SELL_FIELDS = ("who", "email", "phone", "concluded", "zone", "address", "amount", "means", "may_write", "was_here")
SELL_WORDS = {
    "who": "Name",
    "email": "E-mail",
    "phone": "Telephone",
    "concluded": "Where it is bought",
    "zone": "Delivery",
    "address": "Address",
    "amount": "Paid now",
    "means": "How it is paid",
}
CONCLUDED_CHOICES = tuple((one, CONCLUDED_WORDS[one]) for one in CONCLUDED)
MEANS_CHOICES = tuple((one, MEANS_WORDS[one]) for one in MONEY)


def typed_selling(reservation: Reservation | None) -> dict[str, str]:
    """The form as it stands at first: filled with who has it set aside; what is left blank of the money is all of it."""
    contact = reservation.contact if reservation else Contact("")
    return {
        "who": contact.name,
        "email": contact.email,
        "phone": contact.phone,
    }


def zones_of(work: Work, price: Cents | None) -> tuple[tuple[str, str], ...]:
    """To be collected, or the zones that the shop delivers to, each with its fee and what it comes to in all."""
    said = money_of(work)
    fees = {zone: one.fee for zone, one in work.catalogue.zones.items()}
    collected = "collected" if price is None else f"collected: {said(price)} in all"
    sent = ((zone, f"sent, {zone}: {said(fee)}") for zone, fee in fees.items())
    if price is None:
        return (("", collected), *sent)
    return (("", collected), *((zone, f"{words}, {said(price + fees[zone])} in all") for zone, words in sent))


def read_selling(form: Form, work: Work) -> Selling:
    """The form as it was sent; raises `InvalidInput` with every fault, under the names of its fields."""
    faults: list[Fault] = []
    contact = Contact("")
    try:
        contact = read_contact(*(text_in(form, name) for name in ("who", "email", "phone")))
    except InvalidInput as error:
        faults += [replace(fault, field="who") if fault.field == "name" else fault for fault in error.faults]
    price, reservation, zone = (text_in(form, name) for name in ("shown_price", "reservation", "zone"))
    shown = int(price) if price.isascii() and price.isdigit() and len(price) < 12 else 0
    fee = work.catalogue.zones[zone].fee if zone in work.catalogue.zones else 0
    paid = cents(text_in(form, "amount")) if text_in(form, "amount") else shown + fee
    payment = Payment(paid if isinstance(paid, int) else 0, cast(Means, text_in(form, "means")))
    faults += payment_faults(payment)
    if text_in(form, "concluded") not in CONCLUDED:
        faults.append(Fault("concluded", "This has to be said: the right to cancel hangs on it.", CONCLUDED_ACCEPTED))
    if faults:
        raise InvalidInput(faults)
    return Selling(
        contact,
        cast(Concluded, text_in(form, "concluded")),
        shown,
        payment,
        zone,
        text_in(form, "address"),
        text_in(form, "may_write") == "yes",
        int(reservation) if reservation.isascii() and reservation.isdigit() and len(reservation) < 10 else None,
        text_in(form, "was_here") == "yes",
    )
