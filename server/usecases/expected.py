"""Deliveries to come: what is due about when, what has come, and what was called off; those who wait are told."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date

from server.domain.days import day_in_words
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.reservations import CALLED_OFF, LONGEST_NOTE, Delivery, delivery_faults, due_faults, kept_until
from server.domain.sets import can_be_sold
from server.domain.stock import Movement
from server.persistence.expected import (
    add_delivery,
    delivery_under,
    load_deliveries,
    load_delivery,
    save_delivery,
)
from server.persistence.quotes import lock_key
from server.persistence.reservations import extend_reservation, waiting_for_delivery
from server.persistence.stock import add_hold, lock_parts, save_movements
from server.usecases.reservations import (
    NO_DELIVERY,
    let_go,
    read_reservation,
    reserved,
    tell_arrived,
    tell_due,
    tell_let_go,
)
from server.usecases.sales import check_key
from server.usecases.work import Work

CHANGED_MEANWHILE = "Something came meanwhile, perhaps by this very form: look at it again."


def expect_item(
    work: Work, sku: str, pieces: int | None, due: date | None, note: str, key: str
) -> tuple[Delivery, ...]:
    """As `expect_delivery`; of a set, a delivery of each of its parts, all or none."""
    one = work.catalogue.sets.get(sku)
    if one is None or sku in work.catalogue.parts:
        return (expect_delivery(work, sku, pieces, due, note, key),)
    check_key(key)
    lock_key(work.session, f"delivery:{key}")
    forms = {part: f"{key}/{part}" for part in dict.fromkeys(one.parts)}
    done = [delivery_under(work.session, form) for form in forms.values()]
    if None not in done:
        return tuple(read_delivery(work, number) for number in done if number is not None)
    faults = delivery_faults(can_be_sold(one, work.catalogue.parts), pieces, due, note, work.today)
    if faults or pieces is None or due is None:
        raise InvalidInput(faults)
    times = Counter(one.parts)
    numbers = [
        add_delivery(work.session, Delivery(0, part, pieces * times[part], due, note), work.now, work.actor, form)
        for part, form in forms.items()
    ]
    work.commit()
    return tuple(read_delivery(work, number) for number in numbers)


def expect_delivery(work: Work, sku: str, pieces: int | None, due: date | None, note: str, key: str) -> Delivery:
    """Write down that a maker is to deliver pieces of a part about a day; once for each form. Raises `InvalidInput`."""
    check_key(key)
    lock_key(work.session, f"delivery:{key}")
    done = delivery_under(work.session, key)
    if done is not None:
        return read_delivery(work, done)
    part = work.catalogue.parts.get(sku)
    faults = delivery_faults(part is not None and part.on_sale, pieces, due, note, work.today)
    if faults or pieces is None or due is None:
        raise InvalidInput(faults)
    number = add_delivery(work.session, Delivery(0, sku, pieces, due, note), work.now, work.actor, key)
    work.commit()
    return read_delivery(work, number)


def read_delivery(work: Work, number: int) -> Delivery:
    """A delivery by its number; raises `NotFound`."""
    found = load_delivery(work.session, number)
    if found is None:
        raise NotFound("delivery", NO_DELIVERY)
    return found


def list_deliveries(work: Work, *, ended: bool = False) -> list[Delivery]:
    """The deliveries to come, those first that are due first; or the newest of those that ended."""
    return load_deliveries(work.session, ended=ended, most=20 if ended else 200)


def _locked(work: Work, number: int) -> Delivery:
    delivery = load_delivery(work.session, number, to_change=True)
    if delivery is None:
        raise NotFound("delivery", NO_DELIVERY)
    return delivery


def _refuse_ended(delivery: Delivery) -> None:
    if delivery.is_ended:
        raise Conflict([Fault("delivery", "This delivery has come whole, or was called off.")])


def change_delivery(work: Work, number: int, due: date | None, note: str) -> Delivery:
    """Another day about which it is due, or another note; who waits is told of another day, and waits until after it.

    Raises `NotFound`, `InvalidInput` with every fault, or `Conflict` where it has ended.
    """
    delivery = _locked(work, number)
    _refuse_ended(delivery)
    faults = due_faults(due, work.today) if due != delivery.due_about else []
    if len(note) > LONGEST_NOTE or not note.isprintable():
        faults.append(Fault("note", "This note cannot be kept.", f"one line of at most {LONGEST_NOTE} characters"))
    if faults or due is None:
        raise InvalidInput(faults)
    save_delivery(work.session, replace(delivery, due_about=due, note=note), work.now)
    if due != delivery.due_about:
        for one in waiting_for_delivery(work.session, number, work.now):
            if one.is_confirmed:
                extend_reservation(work.session, one.id, kept_until(work.now, due, work.catalogue.policy))
            work.session.flush()
            tell_due(work, reserved(work, read_reservation(work, one.id)), day_in_words(due))
    work.commit()
    return read_delivery(work, number)


def book_arrival(work: Work, number: int, pieces: int | None, shown: int) -> Delivery:
    """Book that pieces of a delivery have come: onto the stock, and aside for those who asked first.

    `shown` is how many had come as the form was shown, so that the same form does nothing twice. Raises `NotFound`, `InvalidInput` for
    more than is to come, or `Conflict` where something came meanwhile.
    """
    delivery = _locked(work, number)
    if delivery.arrived != shown or delivery.is_ended:
        raise Conflict([Fault("arrived", CHANGED_MEANWHILE)])
    if pieces is None or not 1 <= pieces <= delivery.to_come:
        raise InvalidInput([Fault("arrived", "How many have come?", f"a whole number from 1 to {delivery.to_come}")])
    arrived = delivery.arrived + pieces
    save_delivery(work.session, replace(delivery, arrived=arrived, is_ended=arrived >= delivery.pieces), work.now)
    lock_parts(work.session, [delivery.sku])
    came = Movement(delivery.sku, "delivery", pieces, f"expected delivery {number}")
    save_movements(work.session, [came], work.now, work.actor)
    until = kept_until(work.now, None, work.catalogue.policy)
    for one in waiting_for_delivery(work.session, number, work.now)[:pieces]:
        hold = add_hold(work.session, [delivery.sku], work.now, until, work.actor, f"reservation {one.id}")
        extend_reservation(work.session, one.id, until, confirmed_at=work.now, hold=hold)
        work.session.flush()
        tell_arrived(work, reserved(work, read_reservation(work, one.id)))
    work.commit()
    return read_delivery(work, number)


def call_delivery_off(work: Work, number: int) -> Delivery:
    """Nothing more of a delivery comes: who waits for it is told, and their requests end. Raises `NotFound`."""
    delivery = _locked(work, number)
    if delivery.is_ended:
        return delivery
    save_delivery(work.session, replace(delivery, is_ended=True), work.now)
    for one in waiting_for_delivery(work.session, number, work.now):
        what = reserved(work, one)
        let_go(work, one, CALLED_OFF)
        tell_let_go(work, what, "The delivery that it was to come with was called off.")
    work.commit()
    return read_delivery(work, number)
