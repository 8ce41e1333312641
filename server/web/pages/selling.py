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
from server.usecases.sales import Payment, payment_faults
from server.usecases.work import Work
from server.web.pages.forms import Form, amount, cents, text_in

SELL_FIELDS = ("who", "email", "phone", "concluded", "zone", "address", "amount", "means", "may_write")
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


def typed_selling(price: Cents | None, reservation: Reservation | None) -> dict[str, str]:
    """The form as it stands at first: filled with who has it set aside, and the whole price to pay."""
    contact = reservation.contact if reservation else Contact("")
    return {
        "who": contact.name,
        "email": contact.email,
        "phone": contact.phone,
        "concluded": "counter",
        "amount": amount(price) if price is not None else "",
    }


def zones_of(work: Work) -> tuple[tuple[str, str], ...]:
    """The zones that the shop delivers to, to choose from."""
    return tuple((zone, f"sent: {zone}") for zone in work.catalogue.zones)


def read_selling(form: Form) -> Selling:
    """The form as it was sent; raises `InvalidInput` with every fault, under the names of its fields."""
    faults: list[Fault] = []
    contact = Contact("")
    try:
        contact = read_contact(*(text_in(form, name) for name in ("who", "email", "phone")))
    except InvalidInput as error:
        faults += [replace(fault, field="who") if fault.field == "name" else fault for fault in error.faults]
    paid = cents(text_in(form, "amount"))
    payment = Payment(paid if isinstance(paid, int) else 0, cast(Means, text_in(form, "means")))
    faults += payment_faults(payment)
    if text_in(form, "concluded") not in CONCLUDED:
        faults.append(Fault("concluded", "This has to be said.", "one of: " + ", ".join(CONCLUDED)))
    if faults:
        raise InvalidInput(faults)
    price, reservation = text_in(form, "shown_price"), text_in(form, "reservation")
    return Selling(
        contact,
        cast(Concluded, text_in(form, "concluded")),
        int(price) if price.isascii() and price.isdigit() and len(price) < 12 else 0,
        payment,
        text_in(form, "zone"),
        text_in(form, "address"),
        text_in(form, "may_write") == "yes",
        int(reservation) if reservation.isascii() and reservation.isdigit() and len(reservation) < 10 else None,
    )
