"""Serial numbers once things were handed over: what is known of them, and what a corrected one has to be."""

from __future__ import annotations

from collections.abc import Iterable

from server.domain.errors import Fault
from server.domain.handover import SERIAL, SERIAL_ACCEPTED, folded_serial, needs_serial
from server.domain.sales import Item, Mark, Sale

LONGEST_WHY = 200
WHY_ACCEPTED = f"one line of 3 to {LONGEST_WHY} characters"
NONE_ON_IT, NOT_WRITTEN = "none on it", "not written down"


def said_to_have_none(marks: Iterable[Mark]) -> frozenset[int]:
    """The numbers of the items of which it was written down that they have no serial number; the last word counts."""
    said: dict[int, bool] = {}
    for mark in marks:
        for row in mark.about.get("items", ()):
            if isinstance(row, dict) and "number" in row:
                said[row["number"]] = bool(row.get("has_none"))
        if mark.kind == "swapped":
            said[mark.about.get("new", 0)] = bool(mark.about.get("has_none"))
        if mark.kind in ("serial", "fault") and "has_none" in mark.about:
            said[mark.about.get("item", 0)] = bool(mark.about.get("has_none"))
    return frozenset(number for number, has_none in said.items() if has_none)


def serial_words(sale: Sale, item: Item) -> str:
    """The serial number of an item, or that it has none, or that nobody wrote it down; empty for what needs none."""
    if item.serial:
        return item.serial
    if not needs_serial(item) or not item.is_with_customer:
        return ""
    return NONE_ON_IT if item.number in said_to_have_none(sale.marks) else NOT_WRITTEN


def may_be_corrected(item: Item) -> bool:
    """Whether a serial number can be written down for it: it needs one, and it is with the customer or on its way there."""
    return needs_serial(item) and not item.gone and (item.received_on is not None or item.sent_on is not None)


def faults_of_typed(serial: str, has_none: bool) -> list[Fault]:
    """What is wrong with a serial number as it was typed for a part that needs one, or with the tick that there is none on it."""
    if serial and has_none:
        return [
            Fault("serial", "There is a serial number here, and the tick says that there is none.", "one of the two")
        ]
    if not serial and not has_none:
        return [Fault("serial", "Its serial number is needed.", "the number on it, or the tick that there is none")]
    if serial and not SERIAL.fullmatch(serial):
        return [Fault("serial", "This cannot be a serial number.", SERIAL_ACCEPTED)]
    return []


def faults_of_serial(item: Item | None, serial: str, has_none: bool, why: str, others: Iterable[str]) -> list[Fault]:
    """Everything that is wrong with a correction; `others` are the serial numbers of the same SKU that are with customers."""
    faults = []
    if item is None or not may_be_corrected(item):
        words = "Which part? It has to be with the customer, or on its way there."
        faults.append(Fault("item", words, "one of the list"))
    faults += faults_of_typed(serial, has_none)
    if serial and folded_serial(serial) in {folded_serial(other) for other in others}:
        words = "Another one of the same part was sold under this serial number: look at both again."
        faults.append(Fault("serial", words, "the number on this one"))
    elif item is not None and item.serial == serial and serial:
        faults.append(Fault("serial", "This is the number that stands there already.", "another number"))
    if not 3 <= len(why) <= LONGEST_WHY or not why.isprintable():
        faults.append(Fault("why", "Say why it is corrected.", WHY_ACCEPTED))
    return faults
