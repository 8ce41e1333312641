"""Mistakes at the desk put right, with a reason: an entry of what was paid is taken back, a serial number is written anew."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from server.domain.codes import spaced_code
from server.domain.days import day_in_words
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.handover import SERIAL, SERIAL_ACCEPTED
from server.domain.sales import Item, Sale, Settlement, may_be_taken_back
from server.persistence.pieces import load_piece, save_piece
from server.persistence.sales import add_settlement, save_item, serial_elsewhere
from server.usecases.sales import check_key, locked_sale, mark, money_of, read_sale
from server.usecases.work import Work

LONGEST_WHY = 120
WHY_ACCEPTED = f"a reason of 1 to {LONGEST_WHY} characters"
NO_ENTRY = "There is no such payment."
TAKEN_BACK = "This entry was taken back already, or takes back another one itself."


def entry_of(sale: Sale, number: int) -> Settlement:
    """An entry of what was paid that may be taken back; raises `NotFound`, or `Conflict` where it was taken back already."""
    one = next((one for one in sale.settlements if one.id == number), None)
    if one is None:
        raise NotFound("entry", NO_ENTRY)
    if not may_be_taken_back(sale, one):
        raise Conflict([Fault("entry", TAKEN_BACK)])
    return one


def take_entry_back(work: Work, number: int, entry: int, why: str, key: str) -> Sale:
    """Take back a payment, or a pay-out, that was written down by mistake: a counter-entry of the same kind, once for each entry.

    What rounding settled beside it is taken back with it. No money moves by this. Raises `NotFound`, `InvalidInput` without a reason,
    or `Conflict` where it was taken back already.
    """
    check_key(key)
    sale = locked_sale(work, number)
    if sale.done_under(key) is not None:
        return sale
    one = entry_of(sale, entry)
    why = _read_why(why)
    note = f"takes back {money_of(work)(one.amount)} of {day_in_words(one.day)}: {why}"
    _counter(work, sale, one, note)
    counter = read_sale(work, number).settlements[-1].id
    rounding = next((other for other in sale.settlements if other.id > one.id), None)
    if rounding is not None and rounding.means == "rounding" and rounding.at == one.at:
        _counter(work, sale, rounding, note)
    about: dict[str, Any] = {"entry": one.id, "counter": counter, "amount": one.amount, "means": one.means}
    mark(work, number, "entry_back", key, why, about)
    work.commit()
    return read_sale(work, number)


def _counter(work: Work, sale: Sale, one: Settlement, note: str) -> None:
    add_settlement(work.session, sale.id, one.means, -one.amount, work.today, work.now, work.actor, note)


def _read_why(text: str) -> str:
    why = " ".join(text.split())
    if not 1 <= len(why) <= LONGEST_WHY or not why.isprintable():
        raise InvalidInput([Fault("why", "Say why, in a few words.", WHY_ACCEPTED)])
    return why


def correct_serial(work: Work, number: int, item: int, serial: str, why: str, key: str) -> Sale:
    """Write down another serial number of a thing sold, with a reason, once for each form; a blank one where there is none on it.

    Raises `NotFound`, or `InvalidInput` with every fault: a number that cannot be one, that it has already, or that another
    thing of the same SKU has that is with a customer.
    """
    check_key(key)
    sale = locked_sale(work, number)
    if sale.done_under(key) is not None:
        return sale
    thing, new = sale.item(item), serial.strip()
    faults = _faults_of_serial(work, sale, thing, new)
    try:
        why = _read_why(why)
    except InvalidInput as error:
        faults += error.faults
    if faults:
        raise InvalidInput(faults)
    assert thing is not None
    save_item(work.session, sale.id, replace(thing, serial=new))
    piece = load_piece(work.session, thing.piece, to_change=True) if thing.piece is not None else None
    if piece is not None:
        save_piece(work.session, replace(piece, serial=new), work.now)
    said = f"{thing.label}: {thing.serial or 'none'}, now {new or 'none'}"
    mark(work, number, "serial", key, why, {"item": item, "before": thing.serial, "after": new, "said": said})
    work.commit()
    return read_sale(work, number)


def _faults_of_serial(work: Work, sale: Sale, thing: Item | None, new: str) -> list[Fault]:
    if thing is None or not thing.is_goods:
        return [Fault("item", "Which thing is it?", "one of the list")]
    if new and not SERIAL.fullmatch(new):
        return [Fault("serial", "This cannot be a serial number.", SERIAL_ACCEPTED)]
    if new == thing.serial:
        words = f"It has the number {new} already." if new else "No number is written down for it as it is."
        return [Fault("serial", words, "another number")]
    if new and (code := serial_elsewhere(work.session, thing.sku, new, sale.id, thing.number)):
        words = f"Another {thing.label} has this number, in sale {spaced_code(code)}: look at both."
        return [Fault("serial", words, "a number that stands on no other of them")]
    return []
