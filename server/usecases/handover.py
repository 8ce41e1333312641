"""Handing things over on the beach and sending them off: stock follows in the same transaction, and one form does it once.

Nothing leaves while money is owed. What is not there stays to come, and a second handover takes it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from server.domain.aftercare import follow_up_days
from server.domain.days import day_in_words
from server.domain.deposits import decimal_of
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound, NotFree
from server.domain.handover import (
    LONGEST_CARRIER,
    MOST_PARCELS,
    Handover,
    Parcel,
    Taken,
    expected_on,
    faults_of_handover,
    faults_of_taken,
    longest_cm,
    parcels_of,
    record_of,
)
from server.domain.sales import Item, Mark, Sale
from server.domain.slots import SIZED_AT_THE_SHOP
from server.domain.stock import Movement
from server.persistence.aftercare import add_follow_ups
from server.persistence.sales import save_contact, save_item
from server.persistence.stock import load_free, lock_parts, save_movements, take_from_hold
from server.usecases.sales import check_key, held_by, holidays_around, locked_sale, mark, read_sale, tell_owner
from server.usecases.work import Work


@dataclass(frozen=True, slots=True)
class Sending:
    """What the desk writes down when a parcel leaves: the items, who carries it, its number there, and how many boxes."""

    taken: tuple[Taken, ...]
    carrier: str = ""
    tracking: str = ""
    parcels: int | None = 1


def refuse_owed(sale: Sale) -> None:
    """Refuse while money is owed; raises `Conflict` with how much."""
    if sale.owed > 0:
        raise Conflict([Fault("owed", f"{decimal_of(sale.owed)} is still to pay: nothing leaves before that.")])


def to_come(sale: Sale) -> tuple[Item, ...]:
    """The things that are still here: not sent, not handed over, not given up."""
    return tuple(item for item in sale.items if item.is_to_come and item.sent_on is None)


def numbers_there(work: Work, items: Sequence[Item]) -> frozenset[int]:
    """The numbers of those items that are here to be given: set aside, a used piece, or free on the shelf."""
    free = load_free(work.session, work.now)
    return frozenset(
        item.number for item in items if item.is_held or item.piece is not None or free.get(item.sku, 0) > 0
    )


def sizes_to_choose(work: Work, item: Item) -> tuple[tuple[str, str], ...]:
    """For what is sized at the shop, the sizes that can be given now: SKU and words, the one that was set aside first."""
    if item.slot not in SIZED_AT_THE_SHOP or item.piece is not None:
        return ()
    free = load_free(work.session, work.now)
    parts = [part for part in work.catalogue.sold_in(item.slot) if part.sku == item.sku or free.get(part.sku, 0) > 0]
    own_first = sorted(parts, key=lambda part: (part.sku != item.sku, part.sku))
    return tuple((part.sku, " ".join([part.name, part.gear.text("size")]).strip()) for part in own_first)


def hand_over(work: Work, number: int, handover: Handover, key: str) -> Sale:
    """Hand things over, signed for, once for each form; the sale with it.

    Raises `InvalidInput` with every fault, `Conflict` while money is owed, and `NotFree` where something is not on the shelf.
    """
    check_key(key)
    sale = locked_sale(work, number)
    if sale.done_under(key) is not None:
        return sale
    refuse_owed(sale)
    faults = faults_of_handover(handover, to_come(sale))
    if faults:
        raise InvalidInput(faults)
    _book(work, sale, handover.taken, received_on=work.today)
    save_contact(work.session, sale.id, sale.contact, sale.address, handover.may_write)
    taken = tuple(replace(one, sku=one.sku or _item(sale, one.number).sku) for one in handover.taken)
    mark(work, sale.id, "handed_over", key, about=record_of(replace(handover, taken=taken), sale.items))
    _plan_follow_ups(work, read_sale(work, sale.id))
    work.commit()
    return read_sale(work, number)


def _item(sale: Sale, number: int) -> Item:
    item = sale.item(number)
    assert item is not None
    return item


def _book(
    work: Work, sale: Sale, taken: Sequence[Taken], *, received_on: date | None = None, sent_on: date | None = None
) -> None:
    """Take things off the stock and write down that they left; raises `NotFree` for all that is not there.

    A piece set aside for the sale comes out of its hold; what was to follow, and another size than the one set aside, off the shelf.
    """
    hold_id = held_by(work, sale)
    changed: list[Item] = []
    off_the_shelf: list[Item] = []
    to_release: list[Item] = []
    from_hold: list[Item] = []
    for one in taken:
        item = _item(sale, one.number)
        other = one.sku if one.sku != item.sku else ""
        if other:
            _refuse_other(work, item, other)
        given = replace(
            item,
            sku=other or item.sku,
            label=_label(work, other) if other else item.label,
            serial=one.serial,
            is_held=False,
            received_on=received_on,
            sent_on=sent_on or item.sent_on,
        )
        changed.append(given)
        if item.piece is None and item.is_held and hold_id is not None:
            (to_release if other else from_hold).append(item)
        if item.piece is None and (other or not item.is_held or hold_id is None):
            off_the_shelf.append(given)
    lock_parts(work.session, [item.sku for item in (*from_hold, *to_release, *off_the_shelf)])
    why = f"sale {sale.id}"
    for item, kind in (*((item, "release") for item in to_release), *((item, "handed_over") for item in from_hold)):
        assert hold_id is not None
        take_from_hold(work.session, hold_id, item.sku, kind, work.now, work.actor, why)  # type: ignore[arg-type]
    work.session.flush()
    _refuse_not_free(work, off_the_shelf)
    moved = [Movement(item.sku, "handed_over", item.quantity, why) for item in off_the_shelf]
    save_movements(work.session, moved, work.now, work.actor)
    for item in changed:
        save_item(work.session, sale.id, item)
    work.session.flush()


def _refuse_other(work: Work, item: Item, sku: str) -> None:
    part = work.catalogue.parts.get(sku)
    if item.slot not in SIZED_AT_THE_SHOP or part is None or part.slot != item.slot:
        words = "Another size can be given only of what is sized at the shop."
        raise InvalidInput([Fault(f"sku-{item.number}", words, "one of the list")])


def _label(work: Work, sku: str) -> str:
    part = work.catalogue.parts[sku]
    return ", ".join(text for text in (part.name, part.gear.text("size")) if text)


def _refuse_not_free(work: Work, items: Sequence[Item]) -> None:
    """Refuse what the shelf has not; one SKU asked for twice needs two."""
    free = dict(load_free(work.session, work.now))
    gone = []
    for item in items:
        free[item.sku] = free.get(item.sku, 0) - item.quantity
        if free[item.sku] < 0:
            words = f"There is no {item.label} on the shelf that is free: leave it to follow, or count the shelf."
            gone.append(Fault(f"item-{item.number}", words, "what is in stock"))
    if gone:
        raise NotFree(gone)


def _plan_follow_ups(work: Work, sale: Sale) -> None:
    """Once the kit is theirs, keep when to ask how it goes, where the customer allows it."""
    core = [item for item in sale.goods if item.is_core and not item.gone]
    received = [item.received_on for item in core if item.received_on is not None]
    if sale.may_write and core and len(received) == len(core):
        weeks = work.catalogue.policy.sales.follow_up_weeks
        add_follow_ups(work.session, sale.id, follow_up_days(max(received), weeks))


def read_handover(sale: Sale, place: int) -> Mark:
    """A handover that was signed for, by its place among those of the sale, from 1 on; raises `NotFound`."""
    found = [one for one in sale.marks if one.kind == "handed_over"]
    if not 1 <= place <= len(found):
        raise NotFound("mark", "There is no such handover.")
    return found[place - 1]


# Sending.


def expected_day(work: Work, sale: Sale, sent_on: date) -> date | None:
    """The day by which a parcel that is sent on a day is expected in the sale's zone; None where nobody can say."""
    zone = work.catalogue.zones.get(sale.zone)
    return None if zone is None else expected_on(sent_on, zone.days, holidays_around(work, sale))


def longest_of(work: Work, items: Sequence[Item]) -> float | None:
    """The longest of some items in centimetres, where the catalogue knows."""
    parts = work.catalogue.parts
    return longest_cm(parts[item.sku].gear for item in items if item.sku in parts)


def send_off(work: Work, number: int, sending: Sending, key: str) -> Sale:
    """Send things off, once for each form, and tell the customer by when they are expected; the sale with it.

    Raises `InvalidInput` with every fault, `Conflict` while money is owed, and `NotFree`.
    """
    check_key(key)
    sale = locked_sale(work, number)
    if sale.done_under(key) is not None:
        return sale
    refuse_owed(sale)
    faults = faults_of_taken(sending.taken, to_come(sale))
    for name, text in (("carrier", sending.carrier), ("tracking", sending.tracking)):
        if len(text) > LONGEST_CARRIER or not text.isprintable():
            faults.append(Fault(name, "This cannot be kept.", f"one line of at most {LONGEST_CARRIER} characters"))
    if sending.parcels is None or not 1 <= sending.parcels <= MOST_PARCELS:
        faults.append(Fault("parcels", "How many boxes?", f"a whole number from 1 to {MOST_PARCELS}"))
    if not sale.address:
        faults.append(Fault("address", "This sale has no address to send to.", "an address, on the page of the sale"))
    if faults:
        raise InvalidInput(faults)
    _book(work, sale, sending.taken, sent_on=work.today)
    expected = expected_day(work, sale, work.today)
    about: dict[str, Any] = {
        "items": [
            {
                "number": one.number,
                "label": _item(sale, one.number).label,
                "serial": one.serial,
                "has_none": one.has_none,
            }
            for one in sending.taken
        ],
        "carrier": sending.carrier,
        "tracking": sending.tracking,
        "parcels": sending.parcels,
        "expected": expected.isoformat() if expected else "",
    }
    mark(work, sale.id, "sent", key, about=about)
    tell_owner(
        work,
        sale,
        "sent_off",
        {
            "expected": f"We expect it with you by {expected:%A} {day_in_words(expected)}." if expected else "",
            "carrier": f"Carrier: {sending.carrier}" if sending.carrier else "",
            "tracking": f"Tracking: {sending.tracking}" if sending.tracking else "",
        },
    )
    work.commit()
    return read_sale(work, number)


def on_the_way(sale: Sale) -> tuple[Parcel, ...]:
    """What was sent together and has not arrived yet, oldest first."""
    return tuple(parcel for parcel in parcels_of(sale) if parcel.on_the_way)


def note_arrival(work: Work, number: int, day: date | None, key: str, place: int | None = None) -> Sale:
    """Write down the day on which what was sent together came to the customer, once for each form.

    The right to cancel runs from the last of them (Directive 2011/83/EU, Article 9(2)(b)(i)), so where several are on their way `place`
    says which one came. Raises `InvalidInput` for a day that cannot be, or where nobody says which; `Conflict` where nothing is on
    its way.
    """
    check_key(key)
    sale = locked_sale(work, number)
    if sale.done_under(key) is not None:
        return sale
    way = on_the_way(sale)
    if not way:
        raise Conflict([Fault("day", "Nothing of this sale is on its way.")])
    came = [parcel for parcel in way if parcel.place == place or (place is None and len(way) == 1)]
    if not came:
        raise InvalidInput([Fault("place", "Which of them arrived?", "one of those on their way")])
    items = came[0].on_the_way
    first = max(item.sent_on for item in items if item.sent_on is not None)
    if day is None or not first <= day <= work.today:
        words = "It cannot have arrived that day."
        raise InvalidInput([Fault("day", words, f"a day from {first.isoformat()} to {work.today.isoformat()}")])
    for item in items:
        save_item(work.session, sale.id, replace(item, received_on=day))
    work.session.flush()
    mark(work, sale.id, "arrived", key, about={"day": day.isoformat(), "items": [item.number for item in items]})
    _plan_follow_ups(work, read_sale(work, sale.id))
    work.commit()
    return read_sale(work, number)


def is_late(sent: Mark, today: date) -> bool:
    """Whether a parcel is past the day on which it was expected."""
    expected = str(sent.about.get("expected") or "")
    return bool(expected) and date.fromisoformat(expected) + timedelta(days=1) <= today


def label_of(sale: Sale) -> tuple[str, ...]:
    """The lines of a parcel's label: who gets it, where, and a telephone number for the carrier."""
    address = sale.address.split("\n")
    named = (
        address if address and address[0].casefold() == sale.contact.name.casefold() else [sale.contact.name, *address]
    )
    return tuple(line for line in (*named, sale.contact.phone) if line)
