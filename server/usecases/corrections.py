"""Payments that were written down by mistake are taken back, with a reason, by a further entry."""

from __future__ import annotations

from typing import Any

from server.domain.days import day_in_words
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.sales import Sale, Settlement, may_be_taken_back
from server.persistence.sales import add_settlement
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
